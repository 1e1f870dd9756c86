"""The studio's own record of how each head's light drifts while it warms up."""

from collections.abc import Hashable, Iterable, Mapping
from dataclasses import dataclass
from itertools import pairwise
from math import log2

from server.studio.readings import Reading, light_at_full

STEADY_WITHIN_STOPS = 0.02
"""Nearer than this to where it ends, a head is steady: less than a meter's tenth shows. [stop]"""
MATTERS_STOPS = 1 / 12
"""Drift that is still to come is told from a quarter of a third on. [stop]"""
SAME_START_MIN = 2.0
SHORTEST_MIN = 5.0
SAME_MINUTE = 0.5


@dataclass(frozen=True)
class Drift:
    """Light against minutes on, from where the record begins. ([min], [stop]) in rising minutes."""

    points: tuple[tuple[float, float], ...] = ((0.0, 0.0),)

    def stops(self, minutes: float) -> float:
        """How far the light is from where the record begins; straight between readings. [stop]"""
        if minutes <= self.points[0][0]:
            return self.points[0][1]
        for (m0, s0), (m1, s1) in pairwise(self.points):
            if minutes <= m1:
                return s0 + (s1 - s0) * (minutes - m0) / (m1 - m0)
        return self.points[-1][1]

    def to_come(self, minutes: float) -> float:
        """How far the light will still move. [stop], negative when it will fall"""
        return self.points[-1][1] - self.stops(minutes)

    @property
    def steady_at(self) -> float:
        """Minutes on from which every reading is where it ends. [min]"""
        end = self.points[-1][1]
        steady = self.points[-1][0]
        for minutes, stops in reversed(self.points):
            if abs(stops - end) > STEADY_WITHIN_STOPS:
                break
            steady = minutes
        return steady if len(self.points) > 1 else 0.0


NO_DRIFT = Drift()


def drifts(readings: Iterable[Reading], ambient: Mapping[str, float]) -> dict[str, Drift]:
    """What the readings of one warming-up after another say, head by head.

    Two readings of one head at one point count when it stood still and stayed on between them, for
    five minutes at least. Several warming-ups are laid over each other: the longest first, the
    others moved in stops to lie on it as well as they can.
    """
    runs: dict[str, list[list[Reading]]] = {}
    newest: dict[Hashable, list[Reading]] = {}
    for reading in sorted(readings, key=lambda r: r.at):
        if not reading.head or reading.minutes_on is None:
            continue
        still = (reading.pair, reading.placement, reading.yaw_deg, reading.receptor)
        run = newest.get(still)
        if run is None or not _stayed_on(run[-1], reading):
            run = newest[still] = []
            runs.setdefault(reading.head, []).append(run)
        run.append(reading)
    found = {}
    for head, several in runs.items():
        lines = [line for run in several if (line := _line(run, ambient))]
        if lines:
            found[head] = _laid_over(sorted(lines, key=lambda line: line[0][0] - line[-1][0]))
    return found


def _stayed_on(last: Reading, reading: Reading) -> bool:
    """Whether the head was lit all the time between two readings."""
    passed = (reading.at - last.at).total_seconds() / 60
    gone_by = (reading.minutes_on or 0.0) - (last.minutes_on or 0.0)
    return abs(gone_by - passed) <= SAME_START_MIN


Line = list[tuple[float, float]]


def _line(run: list[Reading], ambient: Mapping[str, float]) -> Line:
    lit = [(r.minutes_on or 0.0, light_at_full(r, ambient)) for r in run]
    points = [(minutes, log2(lux)) for minutes, lux in lit if lux > 0]
    if len(points) < 2 or points[-1][0] - points[0][0] < SHORTEST_MIN:
        return []
    return points


def _laid_over(lines: list[Line]) -> Drift:
    first = lines[0][0][1]
    whole = [(minutes, stops - first) for minutes, stops in lines[0]]
    for line in lines[1:]:
        so_far = Drift(_averaged(whole))
        shift = sum(so_far.stops(m) - s for m, s in line) / len(line)
        whole += [(minutes, stops + shift) for minutes, stops in line]
    return Drift(_averaged(whole))


def _averaged(points: Line) -> tuple[tuple[float, float], ...]:
    """In rising minutes, those of the same minute taken together."""
    groups: list[Line] = []
    for point in sorted(points):
        if groups and point[0] - groups[-1][0][0] <= SAME_MINUTE:
            groups[-1].append(point)
        else:
            groups.append([point])
    means = [(sum(m for m, _ in g) / len(g), sum(s for _, s in g) / len(g)) for g in groups]
    return tuple(means)
