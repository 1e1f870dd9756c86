"""What the light falls on: painted reflectance, strands of hair, and how open each point lies."""

from dataclasses import dataclass

import numpy as np

from server.preview.bust import EYEBALL, GARMENT, HAIR, SKIN
from server.preview.camera import View
from server.preview.face import EYE, EYE_RADIUS, MOUTH_Y, lid_opening
from server.preview.grid import Grid
from server.preview.hair import PARTING_X, hair, hairline
from server.preview.noise import noise, solid_noise
from server.preview.scene import StandIn
from server.preview.shapes import Floats, ramp
from server.preview.torso import garment

_EYE_WHITE = 0.34
_IRIS_RADIUS = 0.60


@dataclass(frozen=True, eq=False)
class Surface:
    """One row per surface point of the view."""

    material: Floats
    reflectance: Floats  # [0..1]
    normal: Floats  # strands and cloth included
    openness: Floats  # [0..1] how much of the room each point sees
    hair: Floats  # rows that are hair, in order
    strand: Floats  # (hair rows,) light and dark strands, about 0..1
    strand_way: Floats  # (hair rows, 3) direction of the strands


def paint(view: View, grid: Grid, who: StandIn) -> Surface:
    """Give every visible point its reflectance."""
    x, y, z = view.point[:, 0], view.point[:, 1], view.point[:, 2]
    head_x = x / who.face_width
    side = np.abs(head_x)
    material = view.material.copy()
    cloth_gap = garment(np.abs(x), y, z, who)
    material[(material == SKIN) & (y < -8.6) & (cloth_gap < 0.1)] = GARMENT
    eye_white = _EYE_WHITE * (0.55 + 0.45 * min(1.0, who.skin_reflectance / 0.34))
    base = np.array(
        [who.skin_reflectance, eye_white, who.hair_reflectance, who.garment_reflectance],
        np.float32,
    )
    reflectance = base[material]
    is_skin = material == SKIN
    reflectance[is_skin] *= _skin_tone(head_x, side, y, z, view.normal, who)[is_skin]
    root = _hair_roots(head_x, y, z, who)
    reflectance[is_skin] += (who.hair_reflectance * 1.1 - reflectance[is_skin]) * root[is_skin]
    is_eye = material == EYEBALL
    reflectance[is_eye] = _eye(side[is_eye], y[is_eye], eye_white)

    normal = view.normal.copy()
    is_hair = np.flatnonzero(material == HAIR)
    strand, sideways = _strands(head_x[is_hair], y[is_hair], z[is_hair], who)
    reflectance[is_hair] *= 0.55 + 0.9 * strand
    normal[is_hair] += sideways * ((strand - 0.5) * 0.55)[:, None]
    normal[is_hair] /= np.linalg.norm(normal[is_hair], axis=1, keepdims=True)
    strand_way = np.cross(normal[is_hair], sideways).astype(np.float32)
    strand_way /= np.linalg.norm(strand_way, axis=1, keepdims=True) + 1e-6
    openness = _openness(view, grid)
    return Surface(material, reflectance, normal, openness, is_hair, strand, strand_way)


def _skin_tone(
    head_x: Floats, side: Floats, y: Floats, z: Floats, normal: Floats, who: StandIn
) -> Floats:
    tone = 1.0 + 0.06 * (noise(head_x * 0.9 + 7, y * 0.9) - 0.5)
    tone += 0.07 * (noise(head_x * 5.1, y * 5.3 + 0.7 * z) - 0.5)
    cheek = np.exp(-(((side - 4.0) / 1.9) ** 2) - ((y + 3.6) / 1.7) ** 2)
    tone *= 1.0 - 0.05 * cheek
    socket = np.exp(-(((side - EYE[0]) / 1.9) ** 2) - ((y + 0.2) / 1.0) ** 2)
    tone *= 1.0 - 0.10 * socket * (z > 3)
    tone *= _lips(side, y, who) ** (z > 6.0)
    tone *= 1.0 - 0.72 * _brow(head_x, side, y) * (z > 3.5)
    nostril = ramp(1.25, 0.6, np.sqrt(((side - 0.6) / 0.40) ** 2 + ((z - 9.15) / 0.6) ** 2))
    nostril *= ramp(-3.9, -4.4, y) * ramp(-5.1, -4.7, y) * ramp(-0.15, -0.6, normal[:, 1])
    tone *= 1.0 - 0.75 * nostril
    upper, lower = lid_opening(side, y)
    near_eye = (z > 6.0) * ramp(1.65, 1.25, np.abs(side - EYE[0]))
    lash = ramp(0.17, 0.02, np.abs(upper - 0.04)) * (y > -0.15)
    tone *= 1.0 - 0.8 * lash * near_eye
    crease = np.exp(-(((upper - 0.40 - 0.05 * (side - EYE[0])) / 0.10) ** 2)) * (y > 0)
    tone *= 1.0 - 0.28 * crease * near_eye
    low_lash = ramp(0.14, 0.02, np.abs(lower - 0.05)) * (y < 0.1)
    tone *= 1.0 - 0.30 * low_lash * near_eye
    return tone.astype(np.float32)


def _lips(side: Floats, y: Floats, who: StandIn) -> Floats:
    line = MOUTH_Y - 0.02 + 0.06 * side
    taper = np.sqrt(np.maximum(1.0 - (side / 2.42) ** 2, 0.0))
    bow = 0.13 * np.exp(-(((side - 0.55) / 0.5) ** 2))
    above = (0.62 * who.lip_fullness + bow) * taper**1.3 + 0.02
    below = 1.0 * who.lip_fullness * taper**0.8 + 0.02
    part = np.where(y > line, (y - line) / above, (line - y) / below)
    tone = 1.0 - 0.36 * ramp(1.12, 0.78, part) * ramp(2.42, 1.8, side)
    tone *= 1.0 - 0.10 * ramp(0.9, 0.2, part) * (y > line)  # the upper lip is the darker one
    parting = np.exp(-(((y - line) / 0.075) ** 2)) * ramp(2.42, 1.7, side)
    return tone * (1.0 - 0.6 * parting)


def _brow(head_x: Floats, side: Floats, y: Floats) -> Floats:
    along = (side - 3.05) / 2.0  # -1 at the nose, +1 at the temple
    line = 1.98 + 0.36 * np.clip(along, -1, 1) - 0.62 * np.clip(along, 0, 1.3) ** 2
    thick = 0.36 - 0.15 * along
    across = (y - line) / np.maximum(thick, 0.12)
    shape = ramp(1.15, 0.35, np.sqrt(np.minimum(np.abs(along), 9.0) ** 5 + across * across))
    return shape * (0.55 + 0.45 * noise(head_x * 7.0 - y * 4.0, y * 3.0 + head_x))


def _eye(side: Floats, y: Floats, white: float) -> Floats:
    r = np.sqrt((side - EYE[0] + 0.02) ** 2 + (y - EYE[1] - 0.05) ** 2)
    tone = white * (1.0 - 0.35 * ramp(0.5, 1.3, np.abs(side - EYE[0])))
    iris = ramp(_IRIS_RADIUS + 0.05, _IRIS_RADIUS - 0.05, r)
    rim = ramp(0.16, 0.0, np.abs(r - _IRIS_RADIUS + 0.04))
    tone += iris * (0.075 * (1.0 - 0.55 * rim) - tone)
    tone *= 1.0 - 0.93 * ramp(0.27, 0.21, r)
    upper, _ = lid_opening(side, y)
    tone *= 1.0 - 0.45 * ramp(-0.32, -0.02, upper)  # the shade of the upper lid and its lashes
    return tone.astype(np.float32)


def _hair_roots(head_x: Floats, y: Floats, z: Floats, who: StandIn) -> Floats:
    around = 6.0 * np.arctan2(head_x, np.maximum(y, -1.0) + 1.5)  # along the hairline
    ragged = 0.9 * (noise(around * 4.0, z * 0.9) - 0.5)
    ragged += 0.6 * (noise(around * 9.5, z * 1.7) - 0.5)
    inside = hairline(head_x, y, z, who) + ragged
    return ramp(-0.35, 0.75, inside) * (hair(head_x, y, z, who) < 0.6)


def _strands(head_x: Floats, y: Floats, z: Floats, who: StandIn) -> tuple[Floats, Floats]:
    """Light and dark strands, and the direction across them (unit vectors).

    They start at the parting (or the middle), run to the side, then down, and a little back.
    """
    from_part = head_x - PARTING_X * who.parting
    down = np.minimum(y - 11.5, 0.0)
    run = np.sqrt(from_part * from_part + down * down + 0.3)
    back = 0.55
    across = z + back * run
    wander = 0.9 * noise(run * 0.25 + 3, z * 0.3) + 0.3 * noise(run * 0.7, z * 0.8)
    u = across + wander
    strand = 0.40 * noise(u * 1.9, run * 0.16) + 0.35 * noise(u * 5.1, run * 0.3)
    strand += 0.25 * noise(u * 11.3, run * 0.5)
    if who.curl:
        kinks = 0.6 * solid_noise(head_x * 3.7, y * 3.7, z * 3.7)
        kinks += 0.4 * solid_noise(head_x * 8.3, y * 8.3, z * 8.3)
        strand += who.curl * (kinks - strand)
    around = np.arctan2(head_x, z + 3.5)
    if who.hair_length:
        loose = who.hair_length * ramp(3.5, -2.0, y)
        u = around * 8.0 + 0.5 * noise(around * 6.0, y * 0.25) + 0.1 * noise(around * 13, y * 0.6)
        hanging = 0.40 * noise(u * 1.9, y * 0.10) + 0.35 * noise(u * 5.1, y * 0.2)
        hanging += 0.25 * noise(u * 11.3, y * 0.4)
        strand += loose * (hanging - strand)
    way = np.stack([back * from_part / run, back * down / run, np.ones_like(run)], -1)
    way /= np.linalg.norm(way, axis=1, keepdims=True)
    if who.hair_length:
        level = np.stack([-np.cos(around), np.zeros_like(around), np.sin(around)], -1)
        level *= np.sign(head_x)[:, None]  # the same sense as `way`, or the two cancel half-way
        way += loose[:, None] * (level - way)
    return strand.astype(np.float32), way.astype(np.float32)


def _openness(view: View, grid: Grid) -> Floats:
    total = np.zeros(len(view.point), np.float32)
    weights = 0.0
    for reach, weight in ((0.8, 1.0), (1.8, 0.8), (3.5, 0.6), (6.5, 0.5)):
        p = view.point + view.normal * reach
        total += weight * np.clip(grid.at(p[:, 0], p[:, 1], p[:, 2]) / reach, 0, 1)
        weights += weight
    return total / weights


def eye_normal(point: Floats, face_width: float) -> Floats:
    """Normals of the cornea, whose smaller ball makes the catchlight. Unit vectors."""
    centre = np.stack(
        [
            np.sign(point[:, 0]) * EYE[0] * face_width,
            np.full(len(point), EYE[1]),
            np.full(len(point), EYE[2] + EYE_RADIUS - 0.85),
        ],
        -1,
    )
    normal = point - centre
    return (normal / np.linalg.norm(normal, axis=1, keepdims=True)).astype(np.float32)
