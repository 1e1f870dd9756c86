"""Distance to simple solids, and how to blend them: the clay the stand-in is made of. [cm]

Each function takes three float32 arrays of coordinates and returns the signed distance to the
surface: negative inside. Ellipsoids and tapered capsules give a bound that is exact near the
surface and never far too long, which is what marching along a ray needs.
"""

from collections.abc import Sequence

import numpy as np

Floats = np.ndarray


def sphere(x: Floats, y: Floats, z: Floats, centre: Sequence[float], radius: float) -> Floats:
    """Distance to a sphere. [cm]"""
    px, py, pz = x - centre[0], y - centre[1], z - centre[2]
    return np.sqrt(px * px + py * py + pz * pz) - radius


def ellipsoid(
    x: Floats, y: Floats, z: Floats, centre: Sequence[float], radii: Sequence[float]
) -> Floats:
    """Distance to an ellipsoid with its axes along x, y and z: first order in the distance. [cm]"""
    px, py, pz = (x - centre[0]) / radii[0], (y - centre[1]) / radii[1], (z - centre[2]) / radii[2]
    scaled = np.sqrt(px * px + py * py + pz * pz)
    px /= radii[0]
    py /= radii[1]
    pz /= radii[2]
    slope = np.sqrt(px * px + py * py + pz * pz) + 1e-6
    return scaled * (scaled - 1.0) / slope


def capsule(
    x: Floats,
    y: Floats,
    z: Floats,
    start: Sequence[float],
    end: Sequence[float],
    start_radius: float,
    end_radius: float,
) -> Floats:
    """Distance to a rod with round ends whose radius changes evenly from start to end. [cm]"""
    ax, ay, az = (end[i] - start[i] for i in range(3))
    length2 = ax * ax + ay * ay + az * az
    px, py, pz = x - start[0], y - start[1], z - start[2]
    along = np.clip(px * (ax / length2) + py * (ay / length2) + pz * (az / length2), 0.0, 1.0)
    px -= along * ax
    py -= along * ay
    pz -= along * az
    radius = start_radius + along * (end_radius - start_radius)
    return np.sqrt(px * px + py * py + pz * pz) - radius


def union(a: Floats, b: Floats, blend: float) -> Floats:
    """Both solids together, their seam rounded over `blend`. [cm]"""
    overlap = np.maximum(blend - np.abs(a - b), 0.0)
    return np.minimum(a, b) - overlap * overlap * (0.25 / blend)


def intersection(a: Floats, b: Floats, blend: float) -> Floats:
    """What both solids share, its edge rounded over `blend`. [cm]"""
    return -union(-a, -b, blend)


def carve(solid: Floats, tool: Floats, blend: float) -> Floats:
    """The first solid with the second cut out of it, the edge rounded over `blend`. [cm]"""
    return intersection(solid, -tool, blend)


def ramp(low: float, high: float, value: Floats) -> Floats:
    """0 at `low`, 1 at `high`, smooth between (either may be the larger); no unit."""
    t = np.clip((value - low) / (high - low), 0.0, 1.0)
    return t * t * (3.0 - 2.0 * t)
