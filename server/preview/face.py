"""The head without hair: skull, face, ears and neck, in the sitter's own coordinates. [cm]

x to the side (mirrored: only x >= 0 is ever asked), y up from eye height, z forward from the
ear. Every number was found by looking at the drawing; the proportions follow what drawing
schools teach (eyes half-way down the head, brow, nose and chin a third of the face each).
"""

import numpy as np

from server.preview.scene import StandIn
from server.preview.shapes import Floats, capsule, carve, ellipsoid, intersection, sphere, union

EYE = (3.12, 0.0, 6.62)
EYE_RADIUS = 1.45
MOUTH_Y = -6.9


def cranium(x: Floats, y: Floats, z: Floats) -> Floats:
    """The skull that carries the hair."""
    d = ellipsoid(x, y, z, (0, 3.0, -0.9), (7.3, 8.3, 9.2))
    return union(d, ellipsoid(x, y, z, (0, 4.0, 4.2), (6.0, 4.8, 5.0)), 2.8)


def skin(x: Floats, y: Floats, z: Floats, who: StandIn) -> Floats:
    """Head and neck."""
    d = _mask(x, y, z, who)
    d = _brow_and_sockets(d, x, y, z, who)
    d = union(d, _nose(x, y, z, who), 1.0)
    d = _mouth(d, x, y, z, who)
    d = union(d, _ear(x, y, z), 0.5)
    d = _lids(d, x, y, z)
    return union(d, _neck(x, y, z, who), 1.5)


def eyeball(x: Floats, y: Floats, z: Floats) -> Floats:
    """The eye itself."""
    return sphere(x, y, z, EYE, EYE_RADIUS)


def _mask(x: Floats, y: Floats, z: Floats, who: StandIn) -> Floats:
    jaw = who.jaw_width
    d = cranium(x, y, z)
    d = union(d, ellipsoid(x, y, z, (0, -2.6, 3.2), (5.5, 7.4, 5.0)), 2.5)
    d = union(
        d, capsule(x, y, z, (4.25 * jaw, -4.8, 0.9), (0.85 * jaw, -9.75, 6.5), 1.2, 1.15), 3.2
    )
    d = union(d, ellipsoid(x, y, z, (0, -6.8, 5.5), (3.2, 3.4, 3.2)), 2.0)  # dental arch
    d = union(d, ellipsoid(x, y, z, (0, -9.75, 6.7), (1.9 * jaw, 1.45, 1.75)), 2.0)  # chin
    d = union(d, ellipsoid(x, y, z, (4.35, -2.1, 5.0), (1.75, 1.4, 2.2)), 2.2)  # cheekbone
    d = union(d, ellipsoid(x, y, z, (3.4, -4.7, 4.75), (2.0, 2.5, 1.95)), 2.4)  # cheek
    d = union(d, ellipsoid(x, y, z, (2.5, -2.2, 5.75), (1.4, 1.3, 1.6)), 1.4)  # under the eye
    return carve(d, ellipsoid(x, y, z, (7.7, 3.0, 6.3), (1.2, 2.6, 2.6)), 2.6)  # temple


def _brow_and_sockets(d: Floats, x: Floats, y: Floats, z: Floats, who: StandIn) -> Floats:
    forward = 0.35 * (who.brow_ridge - 0.5)
    ridge = capsule(x, y, z, (0.9, 1.75, 7.95 + forward), (4.3, 2.15, 6.45 + forward), 0.82, 0.72)
    d = union(d, ridge, 1.4)
    return carve(d, ellipsoid(x, y, z, (3.2, 0.05, 8.9), (2.0, 1.2, 1.6)), 1.1)


def _nose(x: Floats, y: Floats, z: Floats, who: StandIn) -> Floats:
    wide = who.nose_width
    base = ellipsoid(x, y, z, (0, -2.4, 8.05), (1.35, 2.8, 1.5))
    ridge = capsule(x, y, z, (0, 0.9, 7.8), (0, -3.3, 9.8), 0.62, 0.72)
    d = union(base, ridge, 1.1)
    d = union(d, sphere(x, y, z, (0, -3.52, 9.9), 0.84), 0.9)
    d = union(d, ellipsoid(x, y, z, (1.02 * wide, -3.95, 8.8), (0.60 * wide, 0.58, 0.95)), 0.75)
    return union(d, capsule(x, y, z, (0, -4.15, 9.85), (0, -4.75, 8.6), 0.45, 0.55), 0.5)


def _mouth(d: Floats, x: Floats, y: Floats, z: Floats, who: StandIn) -> Floats:
    full = who.lip_fullness
    zb = z + 0.17 * x * x  # straightens the dental arch
    yb = y - 0.14 * np.exp(-(((x - 0.55) / 0.45) ** 2))  # cupid's bow
    d = carve(d, ellipsoid(x, y, zb, (0, -5.75, 9.8), (0.36, 0.75, 0.5)), 0.5)  # philtrum
    upper = union(
        capsule(x, yb, zb, (0, -6.45, 8.58), (2.65, -6.72, 7.85), 0.46 * full, 0.12),
        capsule(x, yb, zb, (0, -6.40, 8.30), (1.0, -6.48, 8.3), 0.58 * full, 0.40),
        0.3,
    )
    lower = union(
        capsule(x, y, zb, (0, -7.36, 8.5), (2.55, -6.82, 7.8), 0.58 * full, 0.12),
        ellipsoid(x, y, zb, (0, -7.42, 8.28), (1.5, 0.66 * full, 0.78)),
        0.4,
    )
    d = union(d, union(upper, lower, 0.15), 0.6)
    return carve(d, ellipsoid(x, y, zb, (0, -8.5, 9.5), (1.9, 0.55, 0.8)), 0.9)  # above the chin


def _ear(x: Floats, y: Floats, z: Floats) -> Floats:
    xe = x + 0.16 * z  # flares away from the head toward the back
    ze = z + 0.18 * y
    d = ellipsoid(xe, y, ze, (6.9, -1.0, -0.9), (0.68, 2.7, 1.6))
    d = carve(d, ellipsoid(xe, y, ze, (7.75, -0.5, -0.85), (0.6, 2.05, 1.12)), 0.25)
    d = union(d, ellipsoid(xe, y, ze, (7.15, -0.7, -1.3), (0.36, 1.6, 0.4)), 0.3)
    return carve(d, ellipsoid(xe, y, ze, (7.6, -1.4, -0.35), (0.62, 0.85, 0.66)), 0.3)


def lid_opening(x: Floats, y: Floats) -> tuple[Floats, Floats]:
    """Signed distances to the upper and the lower lid's edge: negative where the eye is open."""
    ex = x - EYE[0]
    ey = y - EYE[1] - 0.07 * ex  # the outer corner sits a little higher
    upper = np.sqrt(ex * ex + (ey + 1.79) ** 2) - 2.25
    lower = np.sqrt(ex * ex + (ey - 2.46) ** 2) - 2.87
    return upper, lower


def _lids(d: Floats, x: Floats, y: Floats, z: Floats) -> Floats:
    lid = sphere(x, y, z, EYE, EYE_RADIUS + 0.15)
    lid = union(lid, ellipsoid(x, y, z, (3.2, 0.25, 6.5), (1.75, 1.15, 1.2)), 0.4)
    d = union(d, lid, 0.32)
    opening = np.maximum(intersection(*lid_opening(x, y), 0.1), 6.1 - z)
    return carve(d, opening, 0.10)


def _neck(x: Floats, y: Floats, z: Floats, who: StandIn) -> Floats:
    wide = who.neck_width
    d = capsule(x, y, z, (0, -5.5, -2.4), (0, -16.5, -4.2), 4.45 * wide, 4.85 * wide)
    strap = capsule(x, y, z, (4.3 * wide, -6.0, -1.8), (1.8, -17.4, 0.2), 0.65, 0.6)
    d = union(d, strap, 2.4)
    return union(d, ellipsoid(x, y, z, (0, -13.6, 0.9), (1.2, 2.8, 0.6)), 2.2)
