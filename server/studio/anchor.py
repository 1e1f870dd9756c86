"""What readings make of predictions: each pair of head and point is anchored to what was metered.

predicted(new placement) x metered / predicted(metered placement): the geometry then has to be
right only about what has changed since. What a head gives around a corner comes off the walls.
"""

from collections.abc import Mapping
from dataclasses import dataclass, field, replace

from server.studio.head import Head
from server.studio.lamps import gained_since, unread
from server.studio.look import differs
from server.studio.readings import Metered, ambient_read, metered
from server.studio.rig import Rig
from server.studio.room import Point
from server.studio.touched import Found, gains, parted
from server.studio.walls import BARELY, Predict, Walls, can_compare, changed, walls_of

YAW_DEG = 0.5
LEAST_TRUSTED = ("predicted", "moved", "camera", "metered")
"""Where a figure comes from, the least trusted first. `camera`: told by the camera."""


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
    around: bool = False
    """Whether that reading was of bounce: the head hardly reached there."""
    bounce_stops: float = 0.0
    """How far bounce is likely to be off that was not read at this point. [stop]"""


PLAIN = Anchored()


@dataclass(frozen=True)
class Anchors:
    """All anchors of a rig, and the room's own light where it was read. [lx]

    `walls` is what comes off the walls, by head. `doubted` are readings of heads that
    were touched since; `gains` what the touch did. [1]
    """

    rig: Rig
    found: Found
    ambient: Mapping[str, float]
    predict: Predict
    walls: Mapping[str, Walls]
    doubted: Found = field(default_factory=dict)
    gains: Mapping[str, float] = field(default_factory=dict)

    def of(
        self, point: Point, head: Head, yaw_deg: float, predicted: float | None = None
    ) -> Anchored:
        """The anchor of one pair for the sitter's turn; `predicted` is what the geometry alone says
        there, worked out where it is not given. [lx]

        Bounce that was not read at this point is reckoned from where it was.
        """
        plain = predicted
        if plain is None:
            plain = self.predict(head, head.placement, point, yaw_deg)
        found, walls = self._read(point, head, yaw_deg, plain), self.walls.get(head.name)
        if walls is None or found.bounce > 0 or found.shaded is not None:
            return found
        bounce, unsure = walls.at(point.name), walls.unsure_stops(point.name)
        if found.read is None:
            # the geometry then hardly matters
            known = bounce > plain and (point.on == "face" or point.name in walls.differs)
            source = self._source(walls.read, point, head, yaw_deg) if known else found.source
            return replace(found, bounce=bounce, source=source, bounce_stops=unsure)
        whole = found.read.lux_full * (self.gains[head.name] if found.carried else 1.0)
        if whole <= 0:
            return found
        bounce = min(bounce, whole)
        factor = found.factor * (1 - bounce / whole)
        return replace(found, factor=factor, bounce=bounce, bounce_stops=unsure)

    def _read(self, point: Point, head: Head, yaw_deg: float, plain: float) -> Anchored:
        """What readings at this very point give; plain where nothing was read."""
        there = self._of(self.found, point, head, yaw_deg, plain)
        if there.read is not None and there.shaded is not None:
            return there
        before = self._of(self.doubted, point, head, yaw_deg, plain)
        gain = self.gains.get(head.name)
        if there.read is not None:
            if before.shaded is None or gain is None:
                return there
            again = self._of(self.found, point, head, yaw_deg, plain, before.bounce * gain)
            return replace(again, shaded=before.shaded)
        if before.read is None:  # never read here: it changed as it did where it was read
            return there if gain is None else replace(there, factor=there.factor * gain)
        if gain is None:
            return replace(before, source="moved")
        factor, bounce = before.factor * gain, before.bounce * gain
        if there.shaded is not None:
            bounce = there.bounce
        return replace(before, factor=factor, bounce=bounce, carried=True)

    def _of(
        self, found: Found, point: Point, head: Head, yaw_deg: float, plain: float,
        bounce: float = 0.0,
    ) -> Anchored:  # fmt: skip
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
        if not can_compare(self.rig, placement):
            gained = gained_since(self.rig.lamps, head.name)
            return Anchored(gained, bounce, shaded=shaded)
        stood = head.placement == placement and yaw_deg == read.newest.yaw_deg
        was = plain if stood else self.predict(head, placement, point, read.newest.yaw_deg)
        direct = max(0.0, read.lux_full - bounce)
        source = self._source(read, point, head, yaw_deg)
        gained = gained_since(self.rig.lamps, head.name)
        if was * gained <= BARELY * read.lux_full:  # around the corner: the rest of it is bounce
            bounce = read.lux_full - was * gained
            return Anchored(gained, bounce, source, read, shaded, around=True)
        return Anchored(direct / was if was > 0 else 1.0, bounce, source, read, shaded)

    def _source(self, read: Metered, point: Point, head: Head, yaw_deg: float) -> str:
        """Whether all stands as it did when that was read."""
        placement, was_deg = read.newest.placement, read.newest.yaw_deg
        turned = point.on == "face" and abs(yaw_deg - was_deg) > YAW_DEG
        lamp = unread(self.rig.lamps, head.name)
        other = lamp is not None and lamp.at > read.newest.at
        moved = placement is None or differs(placement, head.placement)
        if turned or other or moved:
            return "moved"
        return "metered" if read.newest.by == "meter" else read.newest.by


def anchors_of(rig: Rig, predict: Predict) -> Anchors:
    """The anchors that a rig's readings give. [lx at full]"""
    ambient = ambient_read(rig.alike)
    whole = {p.name: ambient.get(p.name, rig.room.ambient_lux) for p in rig.points}
    holds, doubted = parted(rig.alike, rig.heads)
    found = metered(holds, whole, rig.lamps)
    if not doubted:
        return Anchors(rig, found, ambient, predict, walls_of(rig, found, predict))
    before = metered(doubted, whole, rig.lamps)
    points = {p.name: p for p in rig.points}
    old = Anchors(rig, before, ambient, predict, {})

    def said(head: Head, again: Metered) -> float:
        reading = again.newest
        point = points.get(reading.point)
        if point is None:
            return 0.0
        plain = predict(head, head.placement, point, reading.yaw_deg)
        anchored = old.of(point, head, reading.yaw_deg, plain)
        return plain * anchored.factor + anchored.bounce if anchored.read else 0.0

    known = gains(rig.heads, found, before, said)
    walls = walls_of(rig, {**changed(before, known), **found}, predict)
    return Anchors(rig, found, ambient, predict, walls, before, known)
