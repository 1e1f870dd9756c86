"""The camera as the meter: one-light photographs tell all pairs, up to one known reading.

A spot of a photograph shows reflectance times illuminance. Skin reflects alike all over the face,
so one reading of one head at one point of it makes all the others known; hair and background are
other surfaces, and need a reading of their own. Only what the meter read gives the scale: what the
camera told before would agree with itself.
"""

from collections.abc import Mapping
from dataclasses import dataclass
from datetime import datetime
from math import log2

from server.errors import Refused
from server.studio.head import Placement
from server.studio.look import differs
from server.studio.readings import LUX, Metered, Reading, ambient_read, metered
from server.studio.rig import Rig
from server.studio.room import Point

FACE = "the face"
FAINT = 0.005
"""A spot with less than this share of its brightest head's light is left out: it is noise."""
SAME_STOPS = 0.01
"""What the camera told before and tells again within this is the same. [stop]"""

Spots = Mapping[str, Mapping[str, float]]
"""Point -> head -> reflectance times illuminance at full. [lx]"""


@dataclass(frozen=True)
class Pair:
    """One head at one point: by the camera, and by the meter where it was read. [lx at full]

    `proves`: its surface has other readings too, so that agreement means something. `kept`: the
    camera told the very same before, and that was kept.
    """

    point: str
    head: str
    camera_lux: float
    meter_lux: float | None
    proves: bool = False
    kept: bool = False

    @property
    def off_stops(self) -> float | None:
        """The camera over the meter. [stop]"""
        return log2(self.camera_lux / self.meter_lux) if self.meter_lux else None


@dataclass(frozen=True)
class ByCamera:
    """All pairs that the photographs tell; surfaces of `unknown` have no reading to go by."""

    pairs: tuple[Pair, ...]
    unknown: tuple[str, ...]

    @property
    def agreement(self) -> tuple[Pair, ...]:
        """Pairs that both have seen, where that proves something."""
        return tuple(p for p in self.pairs if p.proves)

    @property
    def new(self) -> tuple[Pair, ...]:
        """Pairs that only the camera tells, and that are not kept yet."""
        return tuple(p for p in self.pairs if p.meter_lux is None and not p.kept)


def surface(point: Point) -> str:
    """What a point is made of: skin, or a surface of its own."""
    return FACE if point.on == "face" else point.name


def by_camera(rig: Rig, spots: Spots, stood: Mapping[str, Placement]) -> ByCamera:
    """All pairs of the tapped points, in lux, by the readings that there are.

    E(p, h) = L(p, h) * mean over the read pairs of E / L on that surface (mean in stops)

    `stood` tells how each head stood when it was photographed: a reading counts when it stood so.
    Raises Refused for dome points: a camera sees what falls flat on a surface.
    """
    points = {p.name: p for p in rig.points if p.name in spots}
    if any(p.receptor != "flat" for p in points.values()):
        raise Refused("the points are read with the dome: a camera tells what a flat meter reads")
    ambient = {p.name: rig.room.ambient_lux for p in rig.points} | ambient_read(rig.alike)
    read = metered((r for r in rig.alike if r.by == "meter"), ambient, rig.lamps)
    told = metered((r for r in rig.alike if r.by == "camera"), ambient, rig.lamps)
    seen = {
        (point, head): light
        for point, row in spots.items()
        for head, light in row.items()
        if head in stood and light > FAINT * max(row.values())
    }

    def standing(found: Mapping[tuple[str, str, bool], Metered]) -> dict[tuple[str, str], float]:
        return {
            pair: value.lux_full
            for pair in seen
            if (value := found.get((*pair, False))) and value.lux_full > 0
            and _stood_so(value, stood)
        }  # fmt: skip

    both, kept = standing(read), standing(told)
    scales: dict[str, list[float]] = {}
    for pair, lux in both.items():
        scales.setdefault(surface(points[pair[0]]), []).append(log2(lux / seen[pair]))
    pairs = []
    for (point, head), light in seen.items():
        known = scales.get(surface(points[point]))
        if known:
            camera, meter = light * 2 ** (sum(known) / len(known)), both.get((point, head))
            before = kept.get((point, head), 0.0)
            same = before > 0 and abs(log2(camera / before)) < SAME_STOPS
            pairs.append(Pair(point, head, camera, meter, len(known) > 1 and bool(meter), same))
    unknown = {surface(p): None for p in points.values() if surface(p) not in scales}
    return ByCamera(tuple(pairs), tuple(unknown))


def _stood_so(found: Metered, stood: Mapping[str, Placement]) -> bool:
    reading = found.newest
    return (
        reading.receptor == "flat"
        and reading.placement is not None
        and not differs(reading.placement, stood[reading.head])
    )


def camera_readings(
    rig: Rig, told: ByCamera, stood: Mapping[str, Placement], yaw_deg: float, at: datetime
) -> tuple[Reading, ...]:
    """The pairs that only the camera tells, as readings of each head at full."""
    ambient = {p.name: rig.room.ambient_lux for p in rig.points} | ambient_read(rig.alike)
    return tuple(
        Reading(p.point, p.head, lux, 1.0, at, stood[p.head], yaw_deg, by="camera")
        for p in told.new
        if (lux := p.camera_lux + ambient[p.point]) <= LUX[1]
    )
