"""The channel walk: one head after another glows, and whoever watches says which one it is."""

from collections.abc import Mapping
from dataclasses import dataclass, field, replace
from types import MappingProxyType

from server.errors import OutOfRange, Refused
from server.studio.head import Head
from server.studio.rig import Rig
from server.studio.setting import Setting, exact_stops

GLOW_OUTPUT = 1 / 16
"""How a head glows while its channel is looked for: four stops below full, never more."""
NOTHING = ""
"""Nobody saw anything glow."""

Channel = tuple[int, int, int]


def channel_of(head: Head) -> Channel:
    """Universe, address and bits: what belongs together when a patch is mended."""
    return head.universe, head.address, head.bits


def glow(setting: Setting, rig: Rig, name: str) -> Setting:
    """This head alone, low."""
    stops = {h.name: None for h in rig.heads} | {rig.head(name).name: exact_stops(GLOW_OUTPUT)}
    return replace(setting, stops=stops, origin=None)


@dataclass(frozen=True)
class Walk:
    """The channels in the order they glow, by the head that the rig has on each, and what was
    seen: head of the channel -> head that glowed, or nothing."""

    heads: tuple[str, ...]
    seen: Mapping[str, str] = field(default_factory=dict)

    def __post_init__(self) -> None:
        object.__setattr__(self, "seen", MappingProxyType(dict(self.seen)))

    @property
    def lit(self) -> str | None:
        """The head whose channel glows now; None at the end."""
        return next((name for name in self.heads if name not in self.seen), None)

    def saw(self, lit: str, seen: str) -> "Walk":
        """One answer. Refused when it is for a channel that no longer glows."""
        if lit != self.lit:
            raise Refused("that channel has been answered already: look again")
        if seen != NOTHING and seen not in self.heads:
            raise OutOfRange(f"seen must be a head of the walk or nothing, got {seen!r:.60}")
        return replace(self, seen={**self.seen, lit: seen})

    @property
    def crossed(self) -> dict[str, str]:
        """Channels that light another head than the rig says: the rig's head -> what glowed."""
        return {a: b for a, b in self.seen.items() if b not in (NOTHING, a)}

    @property
    def silent(self) -> tuple[str, ...]:
        """Heads on whose channel nothing glowed."""
        return tuple(a for a, b in self.seen.items() if b == NOTHING)

    @property
    def can_mend(self) -> bool:
        """Whether the crossed channels are the same heads in another order."""
        return bool(self.crossed) and sorted(self.crossed) == sorted(self.crossed.values())


def mended(rig: Rig, walk: Walk) -> Rig:
    """The rig with each crossed head on the channel that really lights it."""
    if not walk.can_mend:
        raise Refused(
            "what was seen does not add up to a swap, so the patch cannot be mended by itself:"
            " walk through the channels again, or change them head by head"
        )
    found = {seen: channel_of(rig.head(lit)) for lit, seen in walk.crossed.items()}
    heads = []
    for head in rig.heads:
        universe, address, bits = found.get(head.name, channel_of(head))
        heads.append(replace(head, universe=universe, address=address, bits=bits))
    return replace(rig, heads=tuple(heads))
