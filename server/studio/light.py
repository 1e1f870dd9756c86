"""How much light each head gives at each point, at full: the matrix everything is summed from."""

from collections.abc import Collection, Mapping
from dataclasses import dataclass, field, replace
from functools import cached_property
from math import acos, degrees

from server.errors import OutOfRange
from server.physics.geometry import MARK, Vector, cosine_between, from_to, length
from server.physics.photometry import illuminance_lx
from server.studio.anchor import LEAST_TRUSTED, Anchors, anchors_of
from server.studio.head import Head, Placement
from server.studio.lamps import gained_since
from server.studio.rig import Rig
from server.studio.room import Point

MATTERS = 0.02
"""A head that gives less than this share of a point does not decide how it is trusted."""


@dataclass(frozen=True)
class LightMatrix:
    """Illuminance at full output. [lx]

    `at[point][head]` as the point's receptor reads it, bounce included; `bounce[point][head]` the
    part of it that comes off the walls, where that was read; `mark[head]` with the meter at the
    mark pointed at the head; `ambient[point]` the room's own light. `source[point][head]` tells
    where a number comes from: metered, told by the camera, moved since, or predicted.
    """

    at: Mapping[str, Mapping[str, float]]
    mark: Mapping[str, float]
    ambient: Mapping[str, float]
    bounce: Mapping[str, Mapping[str, float]] = field(default_factory=dict)
    source: Mapping[str, Mapping[str, str]] = field(default_factory=dict)
    plain: Mapping[str, Mapping[str, float]] = field(default_factory=dict)
    """What the geometry alone says. [lx at full]"""

    def lux(self, point: str, outputs: Mapping[str, float]) -> float:
        """Light at a point: the room's own plus every head. [lx]"""
        row = self.at[point]
        return self.ambient[point] + sum(row[name] * output for name, output in outputs.items())

    def lux_in_shadow(
        self, point: str, outputs: Mapping[str, float], shaded: Collection[str]
    ) -> float:
        """Light at a point in the shadow of some heads: of these only the bounce counts. [lx]"""
        row, bounce = self.at[point], self.bounce.get(point, {})
        return self.ambient[point] + sum(
            (bounce.get(name, 0.0) if name in shaded else row[name]) * output
            for name, output in outputs.items()
        )

    @cached_property
    def _unread(self) -> frozenset[str]:
        """Points where nothing was ever read."""
        return frozenset(
            p for p in self.at if set(self.source.get(p, {}).values()) <= {"predicted"}
        )

    def trust(self, point: str, outputs: Mapping[str, float]) -> str:
        """Where the light at a point comes from: the least trusted head that matters there."""
        if point in self._unread:
            return "predicted"
        row, told = self.at[point], self.source.get(point, {})
        total = self.lux(point, outputs)
        kinds = {
            told.get(name, "predicted")
            for name, output in outputs.items()
            if row[name] * output > MATTERS * total
        }
        return next((k for k in LEAST_TRUSTED if k in kinds), "predicted")


def anchors(rig: Rig) -> Anchors:
    """What the rig's readings make of its figures."""
    return anchors_of(rig, _Geometry(rig).lux)


def light_matrix(rig: Rig, yaw_deg: float) -> LightMatrix:
    """Light of every head at every point of a rig, at full output. [lx]

    E = I(theta) g(phi) 2**(-scrims) / d**2, times what was metered over what was predicted there
    """
    points = {p.name: p.place(yaw_deg) for p in rig.points}
    known = anchors(rig)
    at: dict[str, dict[str, float]] = {}
    bounce: dict[str, dict[str, float]] = {}
    source: dict[str, dict[str, str]] = {}
    alone: dict[str, dict[str, float]] = {}
    ratios: dict[str, list[float]] = {}
    for point in rig.points:
        at[point.name], bounce[point.name], source[point.name] = {}, {}, {}
        alone[point.name] = {}
        for head in rig.heads:
            plain = _at_point(head, point, points, *points[point.name])
            anchored = known.of(point, head, yaw_deg, plain)
            alone[point.name][head.name] = plain
            bounce[point.name][head.name] = anchored.bounce
            at[point.name][head.name] = plain * anchored.factor + anchored.bounce
            source[point.name][head.name] = anchored.source
            if anchored.source != "predicted" and point.on == "face" and not anchored.around:
                ratios.setdefault(head.name, []).append(anchored.factor)
    return LightMatrix(
        at=at,
        mark={
            h.name: _toward(h, points, MARK)
            * (_mean(ratios.get(h.name)) or gained_since(rig.lamps, h.name))
            for h in rig.heads
        },
        ambient={p.name: known.ambient.get(p.name, rig.room.ambient_lux) for p in rig.points},
        bounce=bounce,
        source=source,
        plain=alone,
    )


def _mean(factors: list[float] | None) -> float | None:
    """Mean in stops of the factors by which a head was found off on the face. [1]"""
    known = [f for f in factors or () if f > 0]
    product = 1.0
    for factor in known:
        product *= factor
    return product ** (1 / len(known)) if known else None


Places = Mapping[str, tuple[Vector, Vector]]


class _Geometry:
    """What the geometry alone says of heads where they stood when they were read."""

    def __init__(self, rig: Rig) -> None:
        self._rig = rig
        self._places: dict[float, Places] = {}
        self._heads: dict[tuple[str, Placement], Head] = {}

    def lux(self, head: Head, placement: Placement, point: Point, yaw_deg: float) -> float:
        """Light of one head at one point, at full. [lx]"""
        if yaw_deg not in self._places:
            self._places[yaw_deg] = {p.name: p.place(yaw_deg) for p in self._rig.points}
        stood = (head.name, placement)
        if stood not in self._heads:
            self._heads[stood] = replace(head, placement=placement)
        places = self._places[yaw_deg]
        return _at_point(self._heads[stood], point, places, *places[point.name])


def aim_point(head: Head, points: Places) -> Vector:
    """Where the head's axis goes through. [m]"""
    aim = head.placement.aim
    if not isinstance(aim, str):
        return aim
    return MARK if aim == "mark" else points[aim][0]


def _toward(head: Head, points: Places, place: Vector, response: float = 1.0) -> float:
    lens = head.placement.position_m
    axis, ray = from_to(lens, aim_point(head, points)), from_to(lens, place)
    if length(axis) == 0 or length(ray) == 0:
        raise OutOfRange(
            f"head {head.name}: its lens stands on the point it is aimed at or read from;"
            " move the head or the point"
        )
    off_axis = degrees(acos(cosine_between(axis, ray)))
    return illuminance_lx(
        head.intensity_cd(off_axis),
        length(ray),
        response,
        head.placement.scrim_stops,
    )


def _at_point(head: Head, point: Point, points: Places, place: Vector, normal: Vector) -> float:
    ray_back = from_to(place, head.placement.position_m)
    if length(ray_back) == 0:
        raise OutOfRange(f"head {head.name}: its lens stands on the point {point.name}")
    return _toward(head, points, place, point.response(cosine_between(normal, ray_back)))
