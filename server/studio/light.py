"""How much light each head gives at each point, at full: the matrix everything is summed from."""

from collections.abc import Mapping
from dataclasses import dataclass
from math import acos, degrees

from server.errors import OutOfRange
from server.physics.beam import intensity_cd
from server.physics.geometry import MARK, Vector, cosine_between, from_to, length
from server.physics.photometry import illuminance_lx
from server.studio.head import Head
from server.studio.rig import Rig
from server.studio.room import Point


@dataclass(frozen=True)
class LightMatrix:
    """Illuminance at full output. [lx]

    `at[point][head]` as the point's receptor reads it; `mark[head]` with the meter at the mark
    pointed at the head; `ambient` everywhere.
    """

    at: Mapping[str, Mapping[str, float]]
    mark: Mapping[str, float]
    ambient: float

    def lux(self, point: str, outputs: Mapping[str, float]) -> float:
        """Light at a point: ambient plus every head. [lx]"""
        row = self.at[point]
        return self.ambient + sum(row[name] * output for name, output in outputs.items())


def light_matrix(rig: Rig, yaw_deg: float) -> LightMatrix:
    """Light of every head at every point of a rig, at full output. [lx]

    E = I(theta) g(phi) 2**(-scrims) / d**2
    """
    points = {p.name: p.place(yaw_deg) for p in rig.points}
    return LightMatrix(
        at={
            p.name: {h.name: _at_point(h, p, points, *points[p.name]) for h in rig.heads}
            for p in rig.points
        },
        mark={h.name: _toward(h, points, MARK) for h in rig.heads},
        ambient=rig.room.ambient_lux,
    )


Places = Mapping[str, tuple[Vector, Vector]]


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
        intensity_cd(head.beam_now, off_axis),
        length(ray),
        response,
        head.placement.scrim_stops,
    )


def _at_point(head: Head, point: Point, points: Places, place: Vector, normal: Vector) -> float:
    ray_back = from_to(place, head.placement.position_m)
    if length(ray_back) == 0:
        raise OutOfRange(f"head {head.name}: its lens stands on the point {point.name}")
    return _toward(head, points, place, point.response(cosine_between(normal, ray_back)))
