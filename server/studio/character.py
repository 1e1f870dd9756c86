"""What a head's placement means for the picture: soft or hard, steep or flat, near or far."""

from collections.abc import Mapping
from dataclasses import dataclass
from math import log2

from server.physics.geometry import from_to, length
from server.physics.softness import (
    apparent_size_deg,
    falloff_stops,
    inverse_square_excess,
    lean_m,
    penumbra_m,
)
from server.physics.stops import stops_between
from server.studio.figures import ratio_of
from server.studio.head import Head
from server.studio.light import LightMatrix
from server.studio.rig import BACKGROUND, Rig

# Lengths of a face and of a pair of sitters (common practice).
NOSE_M = 0.025
EAR_M = 0.15
LEANING_M = 0.10
SECOND_FACE_M = 0.5
SIXTH = 1 / 6
"""A lean that changes less than this is not seen in the picture (common practice). [stop]"""
HALF = 0.5
"""A second face that loses less than this still looks lit by the same light. [stop]"""
EXACT_FROM_WIDTHS = 5.0
"""From so many widths of a source its light falls with the square, within 1 % (IES)."""


@dataclass(frozen=True)
class LightAt:
    """One head alone at one point, and what all heads give there. Stops against the lit side."""

    point: str
    lux: float
    over_lit_stops: float | None
    all_lux: float
    all_over_lit_stops: float | None


@dataclass(frozen=True)
class Character:
    """What one head does from where it stands.

    `ear_stops`: lost from the cheek to an ear 15 cm deeper; `background_stops`: lost from the face
    to the background, below 0 when the head is nearer to it; `nose_edge_m`: the soft edge of the
    nose's shadow; `lean_m`: how far the sitter may move for a sixth of a stop; `leaning_stops`:
    gained by leaning 10 cm; `second_face_stops`: lost by a sitter half a metre farther, and
    `even_from_m`, the throw from which that is half a stop. `too_bright`: the share by which the
    figures say too much, None from five widths on. `at_full`: it is dark now, so its own light is
    told as it would be at full.
    """

    head: str
    throw_m: float
    at_full: bool
    points: tuple[LightAt, ...]
    ear_stops: float
    background_stops: float | None
    nose_edge_m: float
    size_deg: float
    lean_m: float
    leaning_stops: float | None
    second_face_stops: float
    even_from_m: float
    widths: float
    too_bright: float | None


def character(
    rig: Rig, matrix: LightMatrix, outputs: Mapping[str, float], head: Head, yaw_deg: float
) -> Character:
    """The character of a head of the rig, from its throw, its lens and its light."""
    throw, lens = head.placement.distance_m, head.lens_diameter_m
    widths = throw / lens
    return Character(
        head=head.name,
        throw_m=throw,
        at_full=outputs[head.name] == 0,
        points=_points(rig, matrix, outputs, head),
        ear_stops=falloff_stops(throw, EAR_M),
        background_stops=_to_background(rig, head, yaw_deg),
        nose_edge_m=penumbra_m(lens, throw, NOSE_M),
        size_deg=apparent_size_deg(lens, throw),
        lean_m=lean_m(throw, SIXTH),
        leaning_stops=-falloff_stops(throw, -LEANING_M) if throw > LEANING_M else None,
        second_face_stops=falloff_stops(throw, SECOND_FACE_M),
        even_from_m=even_from_m(SECOND_FACE_M, HALF),
        widths=widths,
        too_bright=inverse_square_excess(lens, throw) if widths < EXACT_FROM_WIDTHS else None,
    )


def even_from_m(deeper_m: float, stops: float) -> float:
    """The throw from which a face so much deeper loses no more than so many stops. [m]

    d = s / (2**(stops / 2) - 1), the inverse-square fall-off solved for the throw
    """
    return deeper_m / (2 ** (stops / 2) - 1)


def moved_stops(before: Character, after: Character) -> dict[str, float]:
    """What a change of a head's placement made of its own light, point by point. [stop]

    Points that get none before or after are left out: there is no number for that.
    """
    was = {at.point: at.lux for at in before.points}
    return {
        at.point: log2(at.lux / was[at.point])
        for at in after.points
        if at.lux > 0 and was.get(at.point, 0.0) > 0
    }


def _points(
    rig: Rig, matrix: LightMatrix, outputs: Mapping[str, float], head: Head
) -> tuple[LightAt, ...]:
    lit_lux = ratio_of(rig, matrix, outputs).lit_lux
    output = outputs[head.name] or 1.0

    def over(lux: float) -> float | None:
        return stops_between(lux, lit_lux) if lux > 0 and lit_lux > 0 else None

    found = []
    for point in rig.points:
        alone, whole = matrix.at[point.name][head.name] * output, matrix.lux(point.name, outputs)
        found.append(LightAt(point.name, alone, over(alone), whole, over(whole)))
    return tuple(found)


def _to_background(rig: Rig, head: Head, yaw_deg: float) -> float | None:
    wall = next((p for p in rig.points if p.name == BACKGROUND), None)
    if wall is None:
        return None
    throw = head.placement.distance_m
    away = length(from_to(head.placement.position_m, wall.place(yaw_deg)[0]))
    return falloff_stops(throw, away - throw) if away > 0 else None
