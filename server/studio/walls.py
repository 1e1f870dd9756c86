"""What each head throws off the walls: read at a few points, and reckoned where it was not read.

Bounce is taken as a head's own level times how much of it comes back at a point (in stops: a sum),
fitted to all readings of bounce together. So one reading of one head at a point tells how much
comes back there of the others too.
"""

from collections.abc import Callable, Mapping
from dataclasses import dataclass, replace
from math import hypot, log2

from server.studio.head import Head, Placement
from server.studio.lamps import gained_since
from server.studio.readings import METERED_STOPS, Metered
from server.studio.rig import Rig
from server.studio.room import Point
from server.studio.touched import Found

Predict = Callable[[Head, Placement, Point, float], float]
"""What the geometry alone says of a head that stands so, at a point, the face turned so. [lx]"""
BARELY = 0.25
"""A head whose geometry gives less than this share of what was read lights the point by bounce: no
lamp is two stops off."""
DIFFERS_STOPS = 0.4
"""How much bounce is likely to differ from point to point of one room (our estimate). [stop]"""
ALIKE_STOPS = 0.15
"""How far the walls treat heads unlike each other from point to point (our estimate). [stop]"""


@dataclass(frozen=True)
class Walls:
    """One head's bounce, and one of the readings that tell it.

    `differs` is by how much more than on average comes back at each point that was read at. [stop]
    """

    lux_full: float
    read: Metered
    differs: Mapping[str, float]

    def at(self, point: str) -> float:
        """What comes off the walls at a point with this head at full. [lx]"""
        return float(self.lux_full * 2.0 ** self.differs.get(point, 0.0))

    def unsure_stops(self, point: str) -> float:
        """How far that is likely to be off where this head was not read itself. [stop]"""
        if point in self.differs:
            return hypot(METERED_STOPS, METERED_STOPS, ALIKE_STOPS)
        return hypot(METERED_STOPS, DIFFERS_STOPS)


def can_compare(rig: Rig, placement: Placement) -> bool:
    """Whether what it was aimed at is still there, so that geometry can tell of it."""
    aim = placement.aim
    return not isinstance(aim, str) or aim == "mark" or any(p.name == aim for p in rig.points)


def walls_of(rig: Rig, found: Found, predict: Predict) -> Mapping[str, Walls]:
    """Head -> its bounce, from readings shaded from it or taken around a corner."""
    heads = {h.name: h for h in rig.heads}
    points = {p.name: p for p in rig.points}
    read: dict[str, dict[str, Metered]] = {}
    for (name, head_name, shaded), value in found.items():
        point, head, placement = points.get(name), heads.get(head_name), value.newest.placement
        if point is None or head is None or placement is None or value.lux_full <= 0:
            continue
        if value.newest.receptor != point.receptor or not can_compare(rig, placement):
            continue
        if not shaded:
            was = predict(head, placement, point, value.newest.yaw_deg)
            was *= gained_since(rig.lamps, head_name)
            if was > BARELY * value.lux_full:
                continue
            value = replace(value, lux_full=value.lux_full - was)
        known = read.setdefault(head_name, {}).get(name)
        if known is None or shaded:
            read[head_name][name] = value
    levels, differs = _fitted(
        {h: {p: log2(v.lux_full) for p, v in row.items()} for h, row in read.items()}
    )
    return {
        head: Walls(2.0 ** levels[head], next(iter(row.values())), differs)
        for head, row in read.items()
    }


def _fitted(
    read: Mapping[str, Mapping[str, float]],
) -> tuple[Mapping[str, float], Mapping[str, float]]:
    """Each head's level and each point's difference, nearest to what was read. [stop]

    minimise sum (read - level - difference)**2 / METERED**2 + sum difference**2 / DIFFERS**2

    A level follows from the differences, as the mean of what is left; so only these are solved for.
    """
    points = list(dict.fromkeys(p for row in read.values() for p in row))
    at = {p: i for i, p in enumerate(points)}
    held = (METERED_STOPS / DIFFERS_STOPS) ** 2
    rows = [[held * (i == j) for j in at.values()] + [0.0] for i in at.values()]
    for row in read.values():
        mean = sum(row.values()) / len(row)
        for p, value in row.items():
            rows[at[p]][at[p]] += 1.0
            rows[at[p]][-1] += value - mean
            for q in row:
                rows[at[p]][at[q]] -= 1.0 / len(row)
    differs = dict(zip(points, _solved(rows), strict=True))
    levels = {h: sum(v - differs[p] for p, v in row.items()) / len(row) for h, row in read.items()}
    return levels, differs


def _solved(rows: list[list[float]]) -> list[float]:
    """Solve by elimination in place: positive definite, so no row need be exchanged."""
    size = len(rows)
    for i, pivot in enumerate(rows):
        for below in rows[i + 1 :]:
            share = below[i] / pivot[i]
            for j in range(i, size + 1):
                below[j] -= share * pivot[j]
    found = [0.0] * size
    for i in reversed(range(size)):
        known = sum(rows[i][j] * found[j] for j in range(i + 1, size))
        found[i] = (rows[i][-1] - known) / rows[i][i]
    return found


def changed(found: Found, gains: Mapping[str, float]) -> Found:
    """Readings as they would be after what was done to each head. [1]"""
    return {
        pair: replace(value, lux_full=value.lux_full * gains.get(pair[1], 1.0))
        for pair, value in found.items()
    }
