"""Illuminance of one head on the stand-in and on the background. [lx]

E = I(theta) * cos(phi) * 2**(-scrims) / d**2, times the part of the lens that is not hidden.
I(theta) = I0 * exp(-ln 2 * (theta / (beam / 2))**n), n = ln(ln 10 / ln 2) / ln(field / beam),
or as it was measured
"""

from math import log

import numpy as np

from server.preview.bust import HIGH, LOW
from server.preview.grid import Grid
from server.preview.scene import Source
from server.preview.shapes import Floats, ramp

_OFF_SURFACE_CM = 0.06  # a shadow ray starts this far out, or the grid's rounding shades itself
_LARGE = 0.3  # lens radius over distance from which one cone no longer describes the shadow


def intensity(source: Source, cos_theta: Floats) -> Floats:
    """Luminous intensity at angles theta from the head's axis, scrims included. [cd]"""
    theta = np.degrees(np.arccos(np.clip(cos_theta, -1.0, 1.0)))
    if source.curve:
        angles, shares = zip(*source.curve, strict=True)
        peak = source.candela * 2.0**-source.scrim_stops
        return (peak * np.interp(theta, angles, shares, right=0.0)).astype(np.float32)
    power = log(log(10) / log(2)) / log(source.field_deg / source.beam_deg)
    peak = source.candela * 2.0**-source.scrim_stops
    # beyond 1e4 half-beams there is nothing left, and the power would overflow
    relative = np.minimum(theta / (source.beam_deg / 2), 1e4).astype(np.float64)
    with np.errstate(under="ignore", over="ignore"):
        return (peak * np.exp(-log(2) * relative**power)).astype(np.float32)


def head_axes(source: Source, turn: Floats) -> tuple[Floats, Floats]:
    """Lens position [cm] and the head's axis (unit), in the sitter's coordinates."""
    position = np.array(source.position_m, np.float64)
    axis = np.array(source.aim_m, np.float64) - position
    axis /= np.linalg.norm(axis)
    back = turn.astype(np.float64)
    return (100.0 * position @ back).astype(np.float32), (axis @ back).astype(np.float32)


def at_mark(source: Source) -> float:
    """Illuminance at the mark, facing the head. [lx]"""
    lens, axis = head_axes(source, np.eye(3, dtype=np.float32))
    d2 = float(lens @ lens)
    cos_theta = np.array([-(lens @ axis) / np.sqrt(d2)])
    return float(intensity(source, cos_theta)[0]) * 1e4 / d2


def on_surface(
    grid: Grid, point: Floats, normal: Floats, source: Source, turn: Floats
) -> tuple[Floats, Floats]:
    """Illuminance [lx] of surface points (sitter's coordinates), and the unit rays to the lens."""
    lens, axis = head_axes(source, turn)
    ray = lens - point
    d2 = np.einsum("ij,ij->i", ray, ray)
    d = np.sqrt(d2)
    ray /= d[:, None]
    cosine = np.einsum("ij,ij->i", normal, ray)
    half_angle = (50.0 * source.diameter_m) / d  # tangent of it
    lux = np.zeros(len(point), np.float32)
    lit = np.flatnonzero(cosine > -half_angle)
    if not len(lit):
        return lux, ray
    c, a = cosine[lit], half_angle[lit]
    # a lens partly below the surface's own horizon: what is above it, at its mean cosine
    part = np.where(c > a, c, (c + a) ** 2 / (4 * a))
    direct = part * intensity(source, -(ray[lit] @ axis)) * 1e4 / d2[lit]
    strong = direct > 1e-4 * max(float(direct.max()), 1e-9)
    lit, direct = lit[strong], direct[strong]
    lux[lit] = direct * _seen(grid, point[lit], normal[lit], lens, axis, source)
    return lux, ray


def _seen(
    grid: Grid, point: Floats, normal: Floats, lens: Floats, axis: Floats, source: Source
) -> Floats:
    """Fraction of the lens each point sees past the sitter's own body."""
    radius = 50.0 * source.diameter_m
    start = point + normal * _OFF_SURFACE_CM
    if radius < _LARGE * float(np.linalg.norm(lens)):
        return visible(grid, start, lens, radius)
    across = np.cross(axis, [0.0, 1.0, 0.01])
    across /= np.linalg.norm(across)
    upward = np.cross(across, axis)
    total = np.zeros(len(point), np.float32)
    for turn_deg in (90.0, 210.0, 330.0):  # three parts of the lens, each a smaller cone
        a = np.radians(turn_deg)
        shift = 0.55 * radius * (np.cos(a) * across + np.sin(a) * upward)
        total += visible(grid, start, (lens + shift).astype(np.float32), 0.6 * radius)
    return total / 3.0


def visible(
    grid: Grid,
    start: Floats,
    lens: Floats,
    radius: float,
    *,
    first: Floats | None = None,
    last: Floats | None = None,
    steps: int = 48,
) -> Floats:
    """Fraction of a round lens seen from each start: one cone marched through the grid. [0..1]

    The clearance beside the ray, measured in cone radii, says how much of the lens is covered:
    +1 nothing, 0 half, -1 all of it. `first` and `last` bound the march along each ray [cm].
    """
    ray = lens - start
    reach = np.sqrt(np.einsum("ij,ij->i", ray, ray))
    ray /= reach[:, None]
    spread = radius / reach
    along = np.full(len(start), 0.2, np.float32) if first is None else first.copy()
    end = np.minimum(reach, 60.0) if last is None else last
    ox, oy, oz = (np.ascontiguousarray(start[:, i]) for i in range(3))
    dx, dy, dz = (np.ascontiguousarray(ray[:, i]) for i in range(3))
    clear = np.ones(len(start), np.float32)
    final = np.ones(len(start), np.float32)
    active = np.arange(len(start))
    for step in range(steps):
        x, y, z = ox + dx * along, oy + dy * along, oz + dz * along
        d = grid.at(x, y, z)
        if first is not None:  # rays from the background come in from outside the grid's box
            d += np.maximum(np.abs(x) - HIGH[0], 0) + np.maximum(y - HIGH[1], 0)
        np.minimum(clear, d / (spread * along), out=clear)
        along += np.clip(d * 0.8, 0.25, 4.0)
        if step % 2 == 0 and step < steps - 1:
            continue
        done = (clear <= -1.0) | (along > end)
        if first is None:
            done |= (np.abs(x) > HIGH[0]) | (y > HIGH[1]) | (y < LOW[1])
            done |= (z > HIGH[2]) | (z < LOW[2])
        final[active[done]] = clear[done]
        keep = np.flatnonzero(~done)
        active = active[keep]
        clear, along, spread, end = clear[keep], along[keep], spread[keep], end[keep]
        ox, oy, oz, dx, dy, dz = ox[keep], oy[keep], oz[keep], dx[keep], dy[keep], dz[keep]
        if not len(active):
            break
    final[active] = clear
    return ramp(-1.0, 1.0, final)
