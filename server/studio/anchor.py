"""What readings make of predictions: each pair of head and point is anchored to what was metered.

predicted(new placement) x metered / predicted(metered placement): the geometry then has to be
right only about what has changed since. What a head gives around a corner comes off the walls.
"""

from collections.abc import Callable, Mapping
from dataclasses import dataclass

from server.studio.head import Head, Placement
from server.studio.look import differs
from server.studio.readings import Metered, ambient_read, metered
from server.studio.rig import Rig
from server.studio.room import Point

Predict = Callable[[Head, Placement, Point, float], float]
"""What the geometry alone says of a head that stands so, at a point, the face turned so. [lx]"""
REACHES = 0.02
"""A head whose geometry gives less than this share of what was read lights a point by bounce."""
YAW_DEG = 0.5


@dataclass(frozen=True)
class Anchored:
    """What a pair's prediction is corrected by; `bounce` comes off the walls. [1], [lx at full]"""

    factor: float = 1.0
    bounce: float = 0.0
    source: str = "predicted"


PLAIN = Anchored()


@dataclass(frozen=True)
class Anchors:
    """All anchors of a rig, the room's own light where it was read [lx], and per head what comes
    off the walls to the face, by one reading and at full. [lx]"""

    found: Mapping[tuple[str, str, bool], Metered]
    ambient: Mapping[str, float]
    walls: Mapping[str, tuple[Metered, float]]
    predict: Predict

    def of(self, point: Point, head: Head, yaw_deg: float, plain: float) -> Anchored:
        """The anchor of one pair for the sitter's turn; `plain` is what is predicted there. [lx]

        Bounce that was not read at this point is that on the face.
        """
        read = self.found.get((point.name, head.name, False))
        shaded = self.found.get((point.name, head.name, True))
        walls = self.walls.get(head.name)
        bounce = shaded.lux_full if shaded else walls[1] if walls else 0.0
        if read is None or read.newest.receptor != point.receptor:
            if walls and point.on == "face" and bounce > plain:  # then the geometry hardly matters
                return Anchored(1.0, bounce, self._source(walls[0], point, head, yaw_deg))
            return Anchored(bounce=bounce) if bounce else PLAIN
        placement = read.newest.placement
        assert placement is not None  # a reading of a head always has one
        stood = head.placement == placement and yaw_deg == read.newest.yaw_deg
        was = plain if stood else self.predict(head, placement, point, read.newest.yaw_deg)
        source = self._source(read, point, head, yaw_deg)
        if was <= REACHES * read.lux_full:  # around the corner: all that was read is bounce
            return Anchored(0.0, read.lux_full, source)
        bounce = min(bounce, read.lux_full)
        return Anchored((read.lux_full - bounce) / was, bounce, source)

    def _source(self, read: Metered, point: Point, head: Head, yaw_deg: float) -> str:
        placement, was_deg = read.newest.placement, read.newest.yaw_deg
        turned = point.on == "face" and abs(yaw_deg - was_deg) > YAW_DEG
        moved = placement is None or differs(placement, head.placement)
        return "moved" if turned or moved else "metered"


def anchors_of(rig: Rig, predict: Predict) -> Anchors:
    """The anchors that a rig's readings give. [lx at full]"""
    ambient = ambient_read(rig.readings)
    whole = {p.name: ambient.get(p.name, rig.room.ambient_lux) for p in rig.points}
    found = metered(rig.readings, whole)
    return Anchors(found, ambient, _walls(rig, found, predict), predict)


def _walls(
    rig: Rig, found: Mapping[tuple[str, str, bool], Metered], predict: Predict
) -> dict[str, tuple[Metered, float]]:
    """Head -> a reading of its bounce on the face, and the mean of them all. [lx at full]"""
    heads = {h.name: h for h in rig.heads}
    points = {p.name: p for p in rig.face_points}
    read: dict[str, list[Metered]] = {}
    for (name, head_name, shaded), value in found.items():
        point, head, placement = points.get(name), heads.get(head_name), value.newest.placement
        if point is None or head is None or placement is None:
            continue
        if value.newest.receptor != point.receptor:
            continue
        if not shaded:
            was = predict(head, placement, point, value.newest.yaw_deg)
            if was > REACHES * value.lux_full:
                continue
        read.setdefault(head_name, []).append(value)
    return {
        name: (values[0], sum(v.lux_full for v in values) / len(values))
        for name, values in read.items()
    }
