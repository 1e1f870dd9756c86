"""What each head throws off the walls to the face: read once, and counted where it was not read."""

from collections.abc import Callable, Mapping
from dataclasses import dataclass

from server.studio.head import Head, Placement
from server.studio.readings import Metered
from server.studio.rig import Rig
from server.studio.room import Point
from server.studio.touched import Found

Predict = Callable[[Head, Placement, Point, float], float]
"""What the geometry alone says of a head that stands so, at a point, the face turned so. [lx]"""
REACHES = 0.02
"""A head whose geometry gives less than this share of what was read lights a point by bounce."""


@dataclass(frozen=True)
class Walls:
    """One head's bounce on the face, the mean where it was read, and one of those readings."""

    lux_full: float
    read: Metered


def can_compare(rig: Rig, placement: Placement) -> bool:
    """Whether what it was aimed at is still there, so that geometry can tell of it."""
    aim = placement.aim
    return not isinstance(aim, str) or aim == "mark" or any(p.name == aim for p in rig.points)


def walls_of(rig: Rig, found: Found, predict: Predict) -> Mapping[str, Walls]:
    """Head -> its bounce on the face, from readings shaded from it or taken around a corner."""
    heads = {h.name: h for h in rig.heads}
    points = {p.name: p for p in rig.face_points}
    read: dict[str, list[Metered]] = {}
    for (name, head_name, shaded), value in found.items():
        point, head, placement = points.get(name), heads.get(head_name), value.newest.placement
        if point is None or head is None or placement is None:
            continue
        if value.newest.receptor != point.receptor or not can_compare(rig, placement):
            continue
        if not shaded:
            was = predict(head, placement, point, value.newest.yaw_deg)
            if was > REACHES * value.lux_full:
                continue
        read.setdefault(head_name, []).append(value)
    return {
        name: Walls(sum(v.lux_full for v in values) / len(values), values[0])
        for name, values in read.items()
    }
