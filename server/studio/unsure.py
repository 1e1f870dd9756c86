"""How far each part of the light at a point is likely to be off, by where its figure comes from."""

from collections.abc import Collection, Iterator, Mapping
from dataclasses import dataclass, field
from math import hypot, log, sqrt

from server.studio.anchor import Anchored, Anchors
from server.studio.by_camera import surface
from server.studio.head import Head
from server.studio.light import LightMatrix
from server.studio.readings import METERED_STOPS, Metered, Reading
from server.studio.rig import Rig
from server.studio.room import Point
from server.studio.touched import Pair

# One standard deviation each, common practice. [stop]
CARRIED_STOPS = 0.15
MOVED_STOPS = 0.3
PREDICTED_STOPS = 0.6
BOUNCE_UNREAD = 0.05
"""The share of a key that walls may send back, where that was never read (common practice). [1]"""
CAMERA_STOPS = 0.15
"""How far two spots of one surface lie apart that are lit alike: skin is not the same everywhere,
sheen, and where the finger tapped (our estimate). One standard deviation. [stop]"""
LN2 = log(2)


@dataclass(frozen=True)
class Sigma:
    """How uncertain a part is now and after one more reading, and why. [stop]

    `leans` is what of it comes from single meter readings: two parts that lean on the same one are
    off by it together.
    """

    now: float
    after: float
    source: str
    leans: Mapping[Reading, float] = field(default_factory=dict)
    settled: bool = False
    """Read with the meter twice or more, and alike: one reading more hardly tells better."""


@dataclass(frozen=True)
class Part:
    """One part of the light at a point: a head, what it throws off the walls, or the room. [lx]"""

    pair: Pair
    lux: float
    sigma: Sigma
    off_lux: float
    """By how much it is likely to be off."""


@dataclass(frozen=True)
class Known:
    """What is known of a light: the rig's figures, its anchors, and the outputs. [0..1]

    `drifted` tells how far heads have warmed away from their readings. [stop]
    """

    rig: Rig
    matrix: LightMatrix
    anchors: Anchors
    outputs: Mapping[str, float]
    yaw_deg: float
    drifted: Mapping[Pair, float]

    def parts(self, point: Point, shaded: Collection[str] = ()) -> Iterator[Part]:
        """Every part of the light at a point, in the shadow of some heads. [lx]"""
        for head in self.rig.heads:
            output = self.outputs.get(head.name, 0.0)
            if output > 0:
                yield self._of_head(point, head, output, head.name in shaded)
        lux, sigma = self.matrix.ambient[point.name], _of_room(self.anchors, point)
        yield Part((point.name, "", False), lux, sigma, sigma.now * LN2 * lux)

    def _of_head(self, point: Point, head: Head, output: float, shaded: bool) -> Part:
        anchored = self.anchors.of(point, head, self.yaw_deg)
        pair = (point.name, head.name, shaded)
        if not shaded:
            lux = self.matrix.at[point.name][head.name] * output
            plain = self.matrix.plain[point.name][head.name] * anchored.factor * output
            sigma = self._of_direct(anchored, plain, lux, self.drifted.get(pair, 0.0))
            return Part(pair, lux, sigma, sigma.now * LN2 * lux)
        lux, sigma = anchored.bounce * output, _of_bounce(anchored)
        if lux > 0 or _bounce_read(anchored) is not None:
            return Part(pair, lux, sigma, sigma.now * LN2 * lux)
        brightest = max(row[head.name] for row in self.matrix.at.values())
        return Part(pair, lux, sigma, BOUNCE_UNREAD * brightest * output)

    def _of_direct(self, anchored: Anchored, plain: float, lux: float, drift: float) -> Sigma:
        read = anchored.read
        if read is None:
            if lux <= 0:
                return Sigma(PREDICTED_STOPS, METERED_STOPS, "predicted")
            # the head's own light by the geometry, and what comes off the walls
            off = hypot(PREDICTED_STOPS * plain, anchored.bounce_stops * (lux - plain))
            return Sigma(off / lux, METERED_STOPS, anchored.source)
        if anchored.source == "moved":
            return Sigma(MOVED_STOPS, METERED_STOPS, "moved")
        leans = self._leans(read)
        stops = hypot(repeat_stops(read), drift, CARRIED_STOPS if anchored.carried else 0.0)
        if read.newest.by == "camera":
            stops = hypot(stops, *leans.values())
            return Sigma(stops, METERED_STOPS, anchored.source, leans)
        if anchored.carried:
            return Sigma(hypot(CARRIED_STOPS, drift), METERED_STOPS, "metered")
        return Sigma(stops, again_stops(read), "metered", leans, is_settled(read))

    def _leans(self, read: Metered) -> Mapping[Reading, float]:
        """The single meter readings behind a pair. [stop]

        The camera takes its scale from what the meter had read on the same surface, of heads that
        stand as then; where none is found now, it was one at least, which cannot be named.
        """
        newest = read.newest
        if newest.by == "meter":
            return {newest: METERED_STOPS} if read.count == 1 else {}
        points = {p.name: surface(p) for p in self.rig.points}
        stands = {h.name: h.placement for h in self.rig.heads}
        scale = {
            r.pair: r
            for r in sorted(self.rig.readings, key=lambda r: r.at)
            if r.by == "meter" and r.head and not r.shaded and r.receptor == "flat"
            and r.at <= newest.at and r.placement == stands.get(r.head)
            and points.get(r.point) == points.get(newest.point)
        }  # fmt: skip
        behind = tuple(scale.values()) or (newest,)
        return dict.fromkeys(behind, METERED_STOPS / len(behind))


def repeat_stops(read: Metered, more: int = 0) -> float:
    """How well a metered pair is known: a meter's tenth, less for repeats that agree; told by the
    camera, what two spots of one surface lie apart. [stop]"""
    if read.newest.by == "camera":
        return CAMERA_STOPS
    return max(read.spread_stops, METERED_STOPS / sqrt(read.count + more))


def again_stops(read: Metered) -> float:
    """How well it is known after one reading more. [stop]"""
    if read.newest.by == "camera":
        return METERED_STOPS
    return repeat_stops(read, 1)


def is_settled(read: Metered) -> bool:
    """Read with the meter twice or more, and no farther apart than a meter's tenth."""
    return read.newest.by == "meter" and read.count > 1 and read.spread_stops <= METERED_STOPS


def _bounce_read(anchored: Anchored) -> Metered | None:
    """The reading that tells a key's bounce: shaded, or around the corner from the key."""
    return anchored.shaded or (anchored.read if anchored.around else None)


def _of_bounce(anchored: Anchored) -> Sigma:
    read = _bounce_read(anchored)
    if read is None:
        unsure = anchored.bounce_stops or PREDICTED_STOPS
        return Sigma(unsure, METERED_STOPS, "predicted")
    scale = METERED_STOPS if read.newest.by == "camera" else 0.0
    now = CARRIED_STOPS if anchored.carried else hypot(repeat_stops(read), scale)
    after = METERED_STOPS if anchored.carried else again_stops(read)
    if anchored.source == "moved":
        now, after = MOVED_STOPS, METERED_STOPS
    settled = anchored.source == "metered" and not anchored.carried and is_settled(read)
    return Sigma(now, after, anchored.source, settled=settled)


def _of_room(anchors: Anchors, point: Point) -> Sigma:
    if point.name in anchors.ambient:
        return Sigma(METERED_STOPS, METERED_STOPS, "metered")
    return Sigma(PREDICTED_STOPS, METERED_STOPS, "predicted")
