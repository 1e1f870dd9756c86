"""Fixed, smooth noise for skin, brows and hair: the same in every process and on every machine."""

import numpy as np

from server.preview.shapes import Floats


def noise(u: Floats, v: Floats) -> Floats:
    """Smooth fixed noise on a plane, 0 to 1: one value per whole step of u and v; no unit."""
    i, j = np.floor(u), np.floor(v)
    fu, fv = u - i, v - j
    fu = fu * fu * (3 - 2 * fu)
    fv = fv * fv * (3 - 2 * fv)
    low = _lattice(i, j) * (1 - fu) + _lattice(i + 1, j) * fu
    high = _lattice(i, j + 1) * (1 - fu) + _lattice(i + 1, j + 1) * fu
    return low * (1 - fv) + high * fv


def solid_noise(u: Floats, v: Floats, w: Floats) -> Floats:
    """The same in space: no direction in which it shows stripes; no unit."""
    k = np.floor(w)
    fw = w - k
    fw = fw * fw * (3 - 2 * fw)
    near = noise(u + 37 * k, v + 61 * k)
    return near + fw * (noise(u + 37 * (k + 1), v + 61 * (k + 1)) - near)


def _lattice(i: Floats, j: Floats) -> Floats:
    mixed = i.astype(np.int64) * 374761393 + j.astype(np.int64) * 668265263
    mixed = (mixed ^ (mixed >> 13)) * 1274126177
    return ((mixed ^ (mixed >> 16)) & 0xFFFF).astype(np.float32) / 65535.0
