"""What readings make of predictions: each pair of head and point is anchored to what was metered.

predicted(new placement) x metered / predicted(metered placement): the geometry then has to be
right only about what has changed since.
"""

from collections.abc import Callable, Mapping
from dataclasses import dataclass, field, replace

from server.studio.head import Head
from server.studio.lamps import gained_since, unread
from server.studio.look import differs
from server.studio.readings import Metered, ambient_read, metered
from server.studio.rig import Rig
from server.studio.room import Point
from server.studio.touched import Found, gains, parted

Predict = Callable[[Head, Point, float, Rig], float]
REACHES = 0.02
"""A head whose geometry gives less than this share of what was read lights a point by bounce."""
YAW_DEG = 0.5


@dataclass(frozen=True)
class Anchored:
    """What a pair's prediction is corrected by; `bounce` comes off the walls. [1], [lx at full]

    `read` and `shaded` are the readings behind it; `carried` tells that they were taken before the
    head was touched, and corrected by one taken since.
    """

    factor: float = 1.0
    bounce: float = 0.0
    source: str = "predicted"
    read: Metered | None = None
    shaded: Metered | None = None
    carried: bool = False


PLAIN = Anchored()


@dataclass(frozen=True)
class Anchors:
    """All anchors of a rig, and the room's own light where it was read. [lx]

    `doubted` are readings of heads that were touched since; `gains` what the touch did. [1]
    """

    rig: Rig
    found: Found
    ambient: Mapping[str, float]
    predict: Predict
    doubted: Found = field(default_factory=dict)
    gains: Mapping[str, float] = field(default_factory=dict)

    def of(self, point: Point, head: Head, yaw_deg: float) -> Anchored:
        """The anchor of one pair for the sitter's turn; plain where nothing was read."""
        there = self._of(self.found, point, head, yaw_deg)
        if there.read is not None and there.shaded is not None:
            return there
        before = self._of(self.doubted, point, head, yaw_deg)
        gain = self.gains.get(head.name)
        if there.read is not None:
            if before.shaded is None or gain is None:
                return there
            again = self._of(self.found, point, head, yaw_deg, before.bounce * gain)
            return replace(again, shaded=before.shaded)
        if before.read is None:
            return there
        if gain is None:
            return replace(before, source="moved")
        factor, bounce = before.factor * gain, before.bounce * gain
        if there.shaded is not None:
            bounce = there.bounce
        return replace(before, factor=factor, bounce=bounce, carried=True)

    def _of(
        self, found: Found, point: Point, head: Head, yaw_deg: float, bounce: float = 0.0
    ) -> Anchored:
        """The anchor that some readings give; `bounce` where none of them tells it. [lx]"""
        read = found.get((point.name, head.name, False))
        shaded = found.get((point.name, head.name, True))
        bounce = shaded.lux_full if shaded else bounce
        if read is None or read.newest.receptor != point.receptor:
            gained = gained_since(self.rig.lamps, head.name)
            if not bounce and gained == 1:
                return PLAIN
            return Anchored(gained, bounce, shaded=shaded)
        placement = read.newest.placement
        assert placement is not None  # a reading of a head always has one
        aims = {"mark", *(p.name for p in self.rig.points)}
        if isinstance(placement.aim, str) and placement.aim not in aims:
            # aimed at a point that is gone: nothing to compare with
            return Anchored(bounce=bounce, shaded=shaded)
        was = self.predict(replace(head, placement=placement), point, read.newest.yaw_deg, self.rig)
        direct = max(0.0, read.lux_full - bounce)
        turned = point.on == "face" and abs(yaw_deg - read.newest.yaw_deg) > YAW_DEG
        lamp = unread(self.rig.lamps, head.name)
        other = lamp is not None and lamp.at > read.newest.at
        elsewhere = turned or other or differs(placement, head.placement)
        source = "moved" if elsewhere else "metered"
        if was <= REACHES * read.lux_full:  # around the corner: all that was read is bounce
            return Anchored(0.0, read.lux_full, source, read, shaded)
        return Anchored(direct / was if was > 0 else 1.0, bounce, source, read, shaded)


def anchors_of(rig: Rig, predict: Predict) -> Anchors:
    """The anchors that a rig's readings give. `predict` is the geometry alone. [lx at full]"""
    ambient = ambient_read(rig.readings)
    whole = {p.name: ambient.get(p.name, rig.room.ambient_lux) for p in rig.points}
    holds, doubted = parted(rig.readings, rig.heads)
    found = metered(holds, whole, rig.lamps)
    if not doubted:
        return Anchors(rig, found, ambient, predict)
    before = metered(doubted, whole, rig.lamps)
    points = {p.name: p for p in rig.points}
    old = Anchors(rig, before, ambient, predict)

    def said(head: Head, again: Metered) -> float:
        reading = again.newest
        point = points.get(reading.point)
        if point is None:
            return 0.0
        anchored = old.of(point, head, reading.yaw_deg)
        if anchored.read is None:
            return 0.0
        return predict(head, point, reading.yaw_deg, rig) * anchored.factor + anchored.bounce

    known = gains(rig.heads, found, before, said)
    return Anchors(rig, found, ambient, predict, before, known)
