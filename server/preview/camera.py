"""What the camera sees of the stand-in: one surface point per pixel, before any light. [cm]

Everything is kept in the sitter's own coordinates, so a turned face needs no new grid: the camera
and the heads are turned the other way instead.
"""

from dataclasses import dataclass

import numpy as np

from server.preview.bust import distance, parts
from server.preview.grid import Grid
from server.preview.scene import StandIn
from server.preview.shapes import Floats

CAMERA_CM = 240.0  # camera to mark
_HALF_HEIGHT_CM = 18.0  # what the picture shows above and below its middle, at the mark
_MIDDLE_Y_CM = -3.0


@dataclass(frozen=True, eq=False)
class View:
    """Surface points of the pixels the sitter fills, and rays of all pixels for the background."""

    width: int
    height: int
    turn: Floats  # (3, 3), rows: sitter's axes -> room's axes
    pixel: Floats  # (n,) flat pixel number
    point: Floats  # (n, 3) sitter's coordinates
    normal: Floats  # (n, 3)
    toward_camera: Floats  # (n, 3)
    material: Floats  # (n,)
    camera_room: Floats  # (3,)
    ray_room: Floats  # (width*height, 3)
    edge_pixel: Floats  # (m,) pixels the outline just touches
    edge_cover: Floats  # (m,) how much of them it fills
    edge_from: Floats  # (m, 4) row of the neighbour that lends its colour, -1 none


def turned(yaw_deg: float) -> Floats:
    """Rotation from the sitter's to the room's coordinates; positive yaw: nose to camera right."""
    a = np.radians(yaw_deg)
    c, s = np.cos(a), np.sin(a)
    return np.array([[c, 0, s], [0, 1, 0], [-s, 0, c]], np.float32)


def look(
    grid: Grid,
    who: StandIn,
    yaw_deg: float,
    width: int,
    height: int,
    *,
    distance_cm: float = CAMERA_CM,
    half_height: float = _HALF_HEIGHT_CM,
    middle_y: float = _MIDDLE_Y_CM,
) -> View:
    """Trace one ray per pixel: on the grid first, then on the exact drawing."""
    turn = turned(yaw_deg)
    half_width = half_height * width / height
    across = (np.arange(width, dtype=np.float32) + 0.5) / width * 2 - 1
    down = 1 - (np.arange(height, dtype=np.float32) + 0.5) / height * 2
    u, v = np.meshgrid(across * half_width, down * half_height)
    camera = np.array([0.0, middle_y, distance_cm], np.float32)
    ray = np.stack([u, v, np.full_like(u, -distance_cm)], -1).reshape(-1, 3)
    ray /= np.linalg.norm(ray, axis=1, keepdims=True)
    origin, direction = turn.T @ camera, ray @ turn

    rows, along_hit, gap = _trace(grid, who, origin, direction, distance_cm)
    point = origin + direction[rows] * along_hit[:, None]
    cover = np.clip(0.5 - gap * height / (2 * half_height), 0.0, 1.0)
    cover[rows] = 0.0
    cover[_holes(rows, width, height)] = 1.0
    edge = np.flatnonzero(cover > 0)
    return View(
        width=width,
        height=height,
        turn=turn,
        pixel=rows,
        point=point,
        normal=_normals(point, who),
        toward_camera=-direction[rows],
        material=parts(point, who).argmin(axis=0),
        camera_room=camera,
        ray_room=ray,
        edge_pixel=edge,
        edge_cover=cover[edge].astype(np.float32),
        edge_from=_neighbours(edge, rows, width, height),
    )


def _trace(
    grid: Grid, who: StandIn, origin: Floats, ray: Floats, middle: float
) -> tuple[Floats, Floats, Floats]:
    """Hit rays, how far along they hit, and by how much every other ray missed. [cm]"""
    along = np.full(len(ray), middle - 30.0, np.float32)
    gap = np.full(len(ray), np.inf, np.float32)
    hit = np.zeros(len(ray), bool)
    going = np.arange(len(ray))
    for _ in range(6):  # past the tip of the nose a ray goes on to the cheek, the ear, the shoulder
        going, along[going] = _march(grid, origin, ray[going], along[going], middle + 35.0, going)
        near = going[along[going] < middle + 35.0]
        if not len(near):
            break
        along[near], nearest = _refine(who, origin, ray[near], along[near])
        landed = nearest < 0.012
        hit[near[landed]] = True
        going = near[~landed]
        gap[going] = np.minimum(gap[going], nearest[~landed])
        along[going] += 0.02
    rows = np.flatnonzero(hit)
    return rows, along[rows], gap


def _march(
    grid: Grid, origin: Floats, ray: Floats, along: Floats, end: float, rows: Floats
) -> tuple[Floats, Floats]:
    """Walk rays through the grid until each has come close to the sitter anew, or left."""
    along = along.copy()
    active = np.arange(len(ray))
    before = np.full(len(ray), -np.inf, np.float32)
    for _ in range(140):
        p = origin + ray[active] * along[active, None]
        d = grid.at(p[:, 0], p[:, 1], p[:, 2])
        arrived = (d < 0.15) & (d < before[active])  # close, and coming closer
        before[active] = d
        along[active] += np.where(arrived, 0.0, np.maximum(np.abs(d) * 0.9, 0.04))
        active = active[~arrived & (along[active] < end)]
        if not len(active):
            break
    return rows, along


def _refine(who: StandIn, origin: Floats, ray: Floats, along: Floats) -> tuple[Floats, Floats]:
    """Walk on along the exact drawing; the least distance met tells a hit from a near miss."""
    along = along.copy()
    nearest = np.full(len(ray), np.inf, np.float32)
    best = along.copy()
    active = np.arange(len(ray))
    for _ in range(14):
        d = distance(origin + ray[active] * along[active, None], who)
        closer = d < nearest[active]
        nearest[active[closer]] = d[closer]
        best[active[closer]] = along[active[closer]]
        along[active] += d * 0.95
        active = active[(np.abs(d) > 0.004) & (d < 0.4)]
        if not len(active):
            break
    return best, nearest


def _normals(point: Floats, who: StandIn, reach: float = 0.03) -> Floats:
    normal = np.empty_like(point)
    for axis in range(3):  # both ways on each axis: mirrored points get mirrored normals
        way = np.zeros(3, np.float32)
        way[axis] = reach
        normal[:, axis] = distance(point + way, who) - distance(point - way, who)
    return normal / (np.linalg.norm(normal, axis=1, keepdims=True) + 1e-9)


def _holes(rows: Floats, width: int, height: int) -> Floats:
    """Single pixels where a grazing ray slipped through: hits on at least three of four sides."""
    hit = np.zeros((height + 2, width + 2), np.int8)
    inside = hit[1:-1, 1:-1]
    inside[rows // width, rows % width] = 1
    around = hit[:-2, 1:-1] + hit[2:, 1:-1] + hit[1:-1, :-2] + hit[1:-1, 2:]
    return np.flatnonzero((inside == 0) & (around >= 3))


def _neighbours(edge: Floats, rows: Floats, width: int, height: int) -> Floats:
    row_of = np.full((height + 2, width + 2), -1, np.int64)
    inside = row_of[1:-1, 1:-1]
    inside[rows // width, rows % width] = np.arange(len(rows))
    y, x = edge // width + 1, edge % width + 1
    return np.stack([row_of[y, x - 1], row_of[y, x + 1], row_of[y - 1, x], row_of[y + 1, x]], 1)
