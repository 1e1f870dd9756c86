"""What is lit: each head's output as an exact number of stops below full, lens and face."""

from collections.abc import Iterable, Mapping
from dataclasses import dataclass, field, replace
from fractions import Fraction
from functools import cached_property
from types import MappingProxyType

from server.physics.signal import level_of, signal_for
from server.physics.stops import light_factor, stops_below_full
from server.studio.head import Head
from server.studio.rig import Lens, Rig

Stops = Mapping[str, Fraction | None]
"""Head name -> exact stops below full (>= 0), or None for a dark head."""


@dataclass(frozen=True)
class Origin:
    """The look that was recalled last, as it was at that moment."""

    look_id: int
    name: str
    stops: Stops


@dataclass(frozen=True)
class Setting:
    """One light: every head's output, the set lens, the sitter's turn, and where it came from.

    Stops are kept as fractions, so that thirds up and thirds down meet again exactly; a level
    is rounded once, in the bytes that are sent.
    """

    stops: Stops = field(default_factory=dict)
    lens: Lens = field(default_factory=Lens)
    yaw_deg: float = 0.0
    origin: Origin | None = None

    def __post_init__(self) -> None:
        object.__setattr__(self, "stops", MappingProxyType(dict(self.stops)))

    def of(self, head: Head) -> Fraction | None:
        """Exact stops below full of a head; None when it is dark, new or out."""
        return None if head.out else self.stops.get(head.name)

    def output(self, head: Head) -> float:
        """Light of a head as a fraction of full. [1], 0..1"""
        return 0.0 if head.out else self._lights.get(head.name, 0.0)

    @cached_property
    def _lights(self) -> Mapping[str, float]:
        return {n: light_factor(-float(s)) for n, s in self.stops.items() if s is not None}

    def with_stops(self, changed: Stops) -> "Setting":
        """The same setting with some heads changed."""
        return replace(self, stops={**self.stops, **changed})

    def with_outputs(self, outputs: Mapping[str, float]) -> "Setting":
        """The same setting with some heads at outputs 0..1."""
        return self.with_stops({n: exact_stops(o) for n, o in outputs.items()})

    def with_lens(self, lens: Lens) -> "Setting":
        """The same light with another lens setting."""
        return replace(self, lens=lens)

    def shifted(self, heads: Iterable[Head], stops: Fraction) -> "Setting":
        """Heads brighter by so many stops; dark ones stay dark. May pass full: see `nudge`."""
        lit = {h.name: s - stops for h in heads if (s := self.of(h)) is not None}
        return self.with_stops(lit)

    def renamed(self, names: Mapping[str, str]) -> "Setting":
        """The same light after heads got other names (old name -> new name)."""
        origin = self.origin and replace(self.origin, stops=_renamed(self.origin.stops, names))
        return replace(self, stops=_renamed(self.stops, names), origin=origin)

    def same_light(self, other: "Setting") -> bool:
        """Whether both are one light, whichever look it came from; a head that one of them does not
        know is dark in it."""
        return (self.lens, self.yaw_deg) == (other.lens, other.yaw_deg) and all(
            self.stops.get(name) == other.stops.get(name) for name in {*self.stops, *other.stops}
        )

    @property
    def changed(self) -> bool:
        """Whether the light differs from the look that was recalled."""
        if self.origin is None:
            return any(s is not None for s in self.stops.values())
        return any(self.stops.get(n) != s for n, s in self.origin.stops.items()) or any(
            s is not None and n not in self.origin.stops for n, s in self.stops.items()
        )


def _renamed(stops: Stops, names: Mapping[str, str]) -> Stops:
    others = {name: value for name, value in stops.items() if name not in names}
    # a head that is gone may have had the new name: whoever is there comes first
    return others | {new: stops[old] for old, new in names.items() if old in stops}


def exact_stops(output: float) -> Fraction | None:
    """Exact stops below full for an output 0..1; None for darkness."""
    return Fraction(stops_below_full(output)) if output > 0 else None


def level(head: Head, output: float) -> float:
    """The control level that gives this output on the head's curve. [1], 0..1"""
    return head.level(min(1.0, output))


def signal(head: Head, output: float) -> tuple[int, ...]:
    """The slot values that are sent for this output."""
    return signal_for(level(head, output), head.bits)


def signalled_output(head: Head, output: float) -> float:
    """The light that the rounded signal really gives. [1], 0..1"""
    return head.dimmer.output(level_of(signal(head, output)))


def kept_over(rig: Rig, setting: Setting) -> Setting:
    """The setting for a changed rig: heads that keep their name keep their output."""
    return replace(setting, stops={h.name: setting.stops.get(h.name) for h in rig.heads})


def ready_on(rig: Rig, setting: Setting) -> Setting:
    """The same with the camera and the turn of the face that the rig tells."""
    return replace(kept_over(rig, setting), lens=rig.lens, yaw_deg=rig.sitter.yaw_deg)
