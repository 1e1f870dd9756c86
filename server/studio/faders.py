"""Set by hand: which faders of a desk without a data input must move, and which have been moved."""

from collections.abc import Mapping
from dataclasses import dataclass, field, replace
from math import floor
from types import MappingProxyType

from server.errors import NotFound
from server.studio.rig import Rig
from server.studio.setting import Setting

FULL = 100

Numbers = Mapping[str, int]
"""Head -> where its fader stands, 0..100."""


def fader_numbers(rig: Rig, setting: Setting) -> dict[str, int]:
    """Where each head's fader belongs for this light, rounded once. [0..100]"""
    return {
        head.name: floor(FULL * head.level(min(1.0, setting.output(head))) + 0.5)
        for head in rig.heads
    }


@dataclass(frozen=True)
class FaderMove:
    """One fader to be moved; `done` when somebody has ticked it."""

    head: str
    before: int
    number: int
    done: bool


@dataclass(frozen=True)
class Faders:
    """Where the faders stand, as far as they have been ticked, and where the light wants them.

    `before` is where they stood when the light changed last: what must move, and in which order,
    stays as it is while one fader after another is ticked.
    """

    stand: Numbers = field(default_factory=dict)
    before: Numbers = field(default_factory=dict)
    wanted: Numbers = field(default_factory=dict)

    def __post_init__(self) -> None:
        for name in ("stand", "before", "wanted"):
            object.__setattr__(self, name, MappingProxyType(dict(getattr(self, name))))

    def aimed(self, wanted: Numbers) -> "Faders":
        """The same faders when the light wants them elsewhere."""
        if wanted == self.wanted:
            return self
        return Faders(self.stand, self.stand, wanted)

    def ticked(self, head: str, number: int) -> "Faders":
        """A fader was moved to the number that was shown."""
        if head not in self.wanted:
            raise NotFound(f"no head is called {head!r:.60}; there are {', '.join(self.wanted)}")
        return replace(self, stand={**self.stand, head: number})

    def unticked(self, head: str) -> "Faders":
        """A tick was a mistake: the fader stands where it stood."""
        return self.ticked(head, self.before.get(head, 0))

    def all_ticked(self) -> "Faders":
        """Every fader stands where it is wanted."""
        return replace(self, stand={**self.stand, **self.wanted})

    @property
    def moves(self) -> tuple[FaderMove, ...]:
        """What must move for this light, largest change first."""
        found = [
            FaderMove(head, self.before.get(head, 0), number, self.stand.get(head, 0) == number)
            for head, number in self.wanted.items()
            if {number} != {self.before.get(head, 0), self.stand.get(head, 0)}
        ]
        return tuple(sorted(found, key=lambda m: -abs(m.number - m.before)))
