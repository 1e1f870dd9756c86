"""The log of the heads' lamps: when one was changed, its hours, how the new one reads."""

from collections.abc import Iterable, Mapping
from dataclasses import dataclass, replace
from datetime import datetime

from server.errors import OutOfRange
from server.physics.stops import light_factor
from server.studio.head import name_of, number

NOTE_LENGTH = 200
FAR_STOPS = 3.0
"""No new lamp of the rated kind is off by more than this (common practice). [stop]"""


@dataclass(frozen=True)
class LampChange:
    """One line of the log. `hours` are those of the lamp that was taken out, 0 where unknown;
    `counted` the hours the head had been lit in all by then, as Thirdstop counted.

    `stops` tells how much brighter the head reads since, None until it was read at `point`;
    `held` the looks that could not follow, with the stops below full they had.
    """

    head: str
    at: datetime
    hours: float = 0.0
    counted: float = 0.0
    note: str = ""
    stops: float | None = None
    point: str = ""
    held: tuple[tuple[int, str], ...] = ()
    same_lamp: bool = False
    """True when the old lamp was only read again."""

    def __post_init__(self) -> None:
        if self.at.tzinfo is None:
            raise OutOfRange("a lamp change needs its moment with a time zone")
        if not 1970 <= self.at.year <= 2200:
            raise OutOfRange(f"a lamp change's year must lie in 1970..2200, got {self.at.year}")
        name_of("head of a lamp change", self.head)
        if self.point:
            name_of("point of a lamp change", self.point)
        number("hours", self.hours, 0, 1_000_000)
        number("counted", self.counted, 0, 1_000_000)
        if len(self.note) > NOTE_LENGTH or not self.note.isprintable():
            raise OutOfRange(f"note: at most {NOTE_LENGTH} characters, got {self.note!r:.60}")
        if self.stops is not None:
            number("stops", self.stops, -FAR_STOPS, FAR_STOPS)


def gained_since(lamps: Iterable[LampChange], head: str, moment: datetime | None = None) -> float:
    """Light of a head now over what its lamp gave at a moment, or at the very first. [1]"""
    stops = sum(
        change.stops or 0.0
        for change in lamps
        if change.head == head and (moment is None or change.at > moment)
    )
    return light_factor(stops)


def hours_since(lamps: Iterable[LampChange], head: str, counted: float) -> float:
    """Hours a head has been lit since its lamp was changed last. `counted`: in all, by now. [h]"""
    own = [c for c in lamps if c.head == head and not c.same_lamp]
    newest = max(own, key=lambda c: c.at, default=None)
    return max(0.0, counted - (newest.counted if newest else 0.0))


def counted(lamps: Iterable[LampChange]) -> dict[str, float]:
    """Head -> hours it had been lit in all by the newest line of its log. [h]"""
    return {c.head: c.counted for c in sorted(lamps, key=lambda c: c.at)}


def unread(lamps: Iterable[LampChange], head: str) -> LampChange | None:
    """The newest change of a head's lamp, while it has not been read yet."""
    own = sorted((c for c in lamps if c.head == head), key=lambda c: c.at)
    return own[-1] if own and own[-1].stops is None else None


def renamed_lamps(lamps: Iterable[LampChange], names: Mapping[str, str]) -> tuple[LampChange, ...]:
    """The same log after heads got other names (old name -> new name)."""
    return tuple(replace(c, head=names.get(c.head, c.head)) for c in lamps)
