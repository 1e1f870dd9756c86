"""The stand-in's distance field, sampled once on a grid so that rays can march through it fast.

Sampling takes a second or two, so the grid is kept for the life of the process and, when a folder
is given, on disk for the next one.
"""

import hashlib
import logging
import os
import tempfile
from dataclasses import dataclass
from functools import lru_cache
from pathlib import Path

import numpy as np

from server.preview.bust import HIGH, LOW, distance
from server.preview.scene import StandIn
from server.preview.shapes import Floats

STEP_CM = 0.3
_log = logging.getLogger(__name__)


@dataclass(frozen=True, eq=False)
class Grid:
    """Distances to the nearest surface at the grid's corners, from LOW on. [cm]"""

    values: Floats
    step: float

    def at(self, x: Floats, y: Floats, z: Floats) -> Floats:
        """Distance at any points, linear between the corners; clamped outside the box. [cm]"""
        nx, ny, nz = self.values.shape
        scale = 1.0 / self.step
        fx = np.clip((x - LOW[0]) * scale, 0.0, nx - 1.001)
        fy = np.clip((y - LOW[1]) * scale, 0.0, ny - 1.001)
        fz = np.clip((z - LOW[2]) * scale, 0.0, nz - 1.001)
        i, j, k = fx.astype(np.int32), fy.astype(np.int32), fz.astype(np.int32)
        fx -= i
        fy -= j
        fz -= k
        corner = (i * ny + j) * nz + k
        flat = self.values.reshape(-1)
        up, side = nz, ny * nz
        c00 = flat.take(corner)
        c00 += fz * (flat.take(corner + 1) - c00)
        c01 = flat.take(corner + up)
        c01 += fz * (flat.take(corner + (up + 1)) - c01)
        c10 = flat.take(corner + side)
        c10 += fz * (flat.take(corner + (side + 1)) - c10)
        c11 = flat.take(corner + (side + up))
        c11 += fz * (flat.take(corner + (side + up + 1)) - c11)
        c00 += fy * (c01 - c00)
        c10 += fy * (c11 - c10)
        c10 -= c00
        c10 *= fx
        c10 += c00
        return c10


def bake(who: StandIn, step: float = STEP_CM) -> Grid:
    """Sample the drawing on a fresh grid."""
    counts = [int(n) for n in np.ceil((HIGH - LOW) / step) + 1]
    axes = [
        LOW[i] + np.arange(count, dtype=np.float32) * np.float32(step)
        for i, count in enumerate(counts)
    ]
    corners = np.stack(np.meshgrid(*axes, indexing="ij"), -1).reshape(-1, 3)
    return Grid(np.ascontiguousarray(distance(corners, who).reshape(counts)), step)


@lru_cache(maxsize=4)
def grid_of(who: StandIn, folder: Path | None = None) -> Grid:
    """The stand-in's grid: from memory, else from `folder`, else sampled now (and kept there)."""
    if folder is None:
        return bake(who)
    look = hashlib.sha256(repr(who).encode()).hexdigest()[:8]
    file = folder / f"grid-{who.name}-{look}-{drawing_signature()}.npy"
    if file.exists():
        try:
            return Grid(np.load(file, allow_pickle=False), STEP_CM)
        except (ValueError, OSError, EOFError) as problem:
            _log.warning("%s cannot be read (%s); drawing it again", file, problem)
    fresh = bake(who)
    write_array(file, fresh.values)
    for outdated in folder.glob(f"grid-{who.name}-*.npy"):
        if outdated != file:
            outdated.unlink(missing_ok=True)
    return fresh


def write_array(file: Path, array: Floats) -> None:
    """Write so that a reader sees the whole file or none; a full disk is logged, not fatal."""
    try:
        file.parent.mkdir(parents=True, exist_ok=True)
        handle, name = tempfile.mkstemp(dir=file.parent, prefix=".writing-")
        try:
            with os.fdopen(handle, "wb") as stream:
                np.save(stream, array, allow_pickle=False)
            os.replace(name, file)
        except BaseException:
            Path(name).unlink(missing_ok=True)
            raise
    except OSError as problem:
        _log.warning("%s could not be kept (%s); it will be drawn again next time", file, problem)


@lru_cache(maxsize=1)
def drawing_signature() -> str:
    """Short name for this version of the drawing: changes when any module of it changes."""
    text = hashlib.sha256()
    for file in sorted(Path(__file__).parent.glob("*.py")):
        text.update(file.read_bytes())
    return text.hexdigest()[:12]
