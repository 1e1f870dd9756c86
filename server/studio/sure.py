"""How far the figures of a carried look are known, and the readings in either room to know better.

A figure compares the light at a point in two rooms, so what is uncertain in either adds to it.
"""

from collections.abc import Iterable, Mapping
from dataclasses import dataclass
from math import sqrt

from server.studio.anchor import Anchors
from server.studio.carry import Carried, Carry
from server.studio.fewest import fewest
from server.studio.light import anchors
from server.studio.rig import Rig
from server.studio.setting import signalled_output
from server.studio.touched import Pair
from server.studio.unsure import LN2, Known, Part

KNOWN_STOPS = 0.075
"""What few readings with a hand meter bring a figure to: it holds to a tenth nearly always. [stop]
"""
GIVE_OR_TAKE = 2.0
"""Standard deviations that hold 95 of 100 (normal distribution)."""


@dataclass(frozen=True)
class Reading:
    """One reading to take: in the room the looks come from (`there`), or in this one."""

    there: bool
    pair: Pair


@dataclass(frozen=True)
class Figure:
    """One figure's variance, and what a reading would take off it. [stop**2]"""

    variance: float
    helps: Mapping[Reading, float]

    @property
    def give_or_take_stops(self) -> float:
        """How far off it may be, 95 times of 100. [stop]"""
        return GIVE_OR_TAKE * sqrt(self.variance)


class Sureness:
    """How far the figures of looks carried between two rooms are known."""

    def __init__(self, carry: Carry) -> None:
        self._carry = carry
        self._here = anchors(carry.target)
        self._there: dict[object, Anchors] = {}

    def figures(self, done: Carried) -> Mapping[str, Figure]:
        """Each of a look's figures by what it is about, as in `Carried.off`."""
        wanted, target = self._carry.wanted(done.look), self._carry.target
        yaw_deg = done.look.yaw_deg
        real = {h.name: signalled_output(h, done.setting.output(h)) for h in target.heads}
        there = Known(wanted.source, wanted.old, self._anchors(wanted.source), wanted.was,
                      yaw_deg, {})  # fmt: skip
        here = Known(target, wanted.new, self._here, real, yaw_deg, {})
        keys = {h.name for h in wanted.source.heads if h.role == "key"}
        shaded = (keys, {b for a, b in wanted.movers if a in keys})
        found = {}
        for name, (point, dark) in zip(wanted.names, wanted.places, strict=True):
            variance, helps = 0.0, {}
            for known, shade in zip((there, here), shaded, strict=True):
                at = next(p for p in known.rig.points if p.name == point)
                parts = list(known.parts(at, shade if dark else ()))
                whole = sum(p.lux for p in parts)
                for part in parts:
                    of_it = (part.off_lux / (whole * LN2)) ** 2 if whole > 0 else 0.0
                    variance += of_it
                    helps[Reading(known is there, part.pair)] = of_it * _taken(part)
            found[name] = Figure(variance, helps)
        return found

    def _anchors(self, source: Rig) -> Anchors:
        key = tuple(h.placement for h in source.heads)
        if key not in self._there:
            self._there[key] = anchors(source)
        return self._there[key]


def readings_for(figures: Iterable[Figure], stops: float = KNOWN_STOPS) -> tuple[Reading, ...]:
    """The fewest readings after which every figure is good to so much; see `fewest`."""
    known = tuple(figures)
    readings = {reading: None for figure in known for reading in figure.helps}
    helps = {r: [figure.helps.get(r, 0.0) for figure in known] for r in readings}
    return fewest(helps, [figure.variance - stops**2 for figure in known])


def after_stops(figures: Iterable[Figure], readings: Iterable[Reading]) -> float:
    """How far off the figure that is known least may be once these are taken. [stop]"""
    taken = tuple(readings)
    left = (f.variance - sum(f.helps.get(r, 0.0) for r in taken) for f in figures)
    return GIVE_OR_TAKE * sqrt(max(0.0, max(left, default=0.0)))


def _taken(part: Part) -> float:
    """The share of a part's variance that one reading takes off it; none where two agree already,
    so that the asking comes to an end."""
    if part.sigma.settled:
        return 0.0
    now, after = part.sigma.now, part.sigma.after
    return max(0.0, 1 - (after / now) ** 2) if now > 0 else 0.0
