"""What readings make of predictions: each pair of head and point is anchored to what was metered.

predicted(new placement) x metered / predicted(metered placement): the geometry then has to be
right only about what has changed since.
"""

from collections.abc import Callable, Mapping
from dataclasses import dataclass, replace

from server.studio.head import Head
from server.studio.lamps import gained_since, unread
from server.studio.look import differs
from server.studio.readings import Metered, ambient_read, metered
from server.studio.rig import Rig
from server.studio.room import Point

Predict = Callable[[Head, Point, float, Rig], float]
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
    """All anchors of a rig, and the room's own light where it was read. [lx]"""

    rig: Rig
    found: Mapping[tuple[str, str, bool], Metered]
    ambient: Mapping[str, float]
    predict: Predict

    def of(self, point: Point, head: Head, yaw_deg: float) -> Anchored:
        """The anchor of one pair for the sitter's turn; plain where nothing was read."""
        read = self.found.get((point.name, head.name, False))
        shaded = self.found.get((point.name, head.name, True))
        bounce = shaded.lux_full if shaded else 0.0
        if read is None or read.newest.receptor != point.receptor:
            gained = gained_since(self.rig.lamps, head.name)
            return Anchored(gained, bounce) if bounce or gained != 1 else PLAIN
        placement = read.newest.placement
        assert placement is not None  # a reading of a head always has one
        aims = {"mark", *(p.name for p in self.rig.points)}
        if isinstance(placement.aim, str) and placement.aim not in aims:
            return Anchored(bounce=bounce)  # aimed at a point that is gone: nothing to compare with
        was = self.predict(replace(head, placement=placement), point, read.newest.yaw_deg, self.rig)
        direct = max(0.0, read.lux_full - bounce)
        turned = point.on == "face" and abs(yaw_deg - read.newest.yaw_deg) > YAW_DEG
        lamp = unread(self.rig.lamps, head.name)
        other = lamp is not None and lamp.at > read.newest.at
        elsewhere = turned or other or differs(placement, head.placement)
        source = "moved" if elsewhere else "metered"
        if was <= REACHES * read.lux_full:  # around the corner: all that was read is bounce
            return Anchored(0.0, read.lux_full, source)
        return Anchored(direct / was if was > 0 else 1.0, bounce, source)


def anchors_of(rig: Rig, predict: Predict) -> Anchors:
    """The anchors that a rig's readings give. `predict` is the geometry alone. [lx at full]"""
    ambient = ambient_read(rig.readings)
    whole = {p.name: ambient.get(p.name, rig.room.ambient_lux) for p in rig.points}
    return Anchors(rig, metered(rig.readings, whole, rig.lamps), ambient, predict)
