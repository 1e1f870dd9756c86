"""A triangle mesh of the drawing's exact surface, for the ray caster that checks the shadows.

Surface nets: one vertex in each cell that the surface passes through, at the mean of the crossings
of its edges; one quad around each crossed edge of the grid.
"""

import itertools

import numpy as np


def surface_mesh(distance, low, high, step):
    """Vertices (n, 3) and triangles (m, 3) of distance(points) = 0 inside the box."""
    axes = [np.arange(a, b, step, dtype=np.float32) for a, b in zip(low, high, strict=True)]
    shape = tuple(len(axis) for axis in axes)
    corners = np.stack(np.meshgrid(*axes, indexing="ij"), -1).reshape(-1, 3)
    value = distance(corners).reshape(shape)
    inside = value < 0

    total = np.zeros((*(n - 1 for n in shape), 3))
    count = np.zeros(total.shape[:3], int)
    quads = []
    for axis in range(3):
        ahead = _shift(axis, 1)
        here = _shift(axis, 0)
        crossed = inside[here] != inside[ahead]
        with np.errstate(divide="ignore", invalid="ignore"):
            share = np.where(crossed, value[here] / (value[here] - value[ahead]), 0.0)
        position = np.stack(np.meshgrid(*(np.arange(n) for n in share.shape), indexing="ij"), -1)
        position = position.astype(float)
        position[..., axis] += share
        others = [i for i in range(3) if i != axis]
        cells = [np.array(i) for i in np.nonzero(crossed)]
        around = []
        for offset in itertools.product((-1, 0), repeat=2):
            cell = [index.copy() for index in cells]
            for other, back in zip(others, offset, strict=True):
                cell[other] += back
            around.append(cell)
        ok = np.all(
            [(cell[i] >= 0) & (cell[i] < total.shape[i]) for cell in around for i in range(3)],
            axis=0,
        )
        for cell in around:
            keep = tuple(index[ok] for index in cell)
            np.add.at(total, keep, position[tuple(index[ok] for index in cells)])
            np.add.at(count, keep, 1)
        quads.append([tuple(index[ok] for index in cell) for cell in around])

    number = np.full(count.shape, -1)
    used = count > 0
    number[used] = np.arange(int(used.sum()))
    vertices = total[used] / count[used][:, None] * step + np.array([axis[0] for axis in axes])
    triangles = []
    for around in quads:
        a, b, c, d = (number[cell] for cell in around)
        triangles += [np.stack([a, b, c], -1), np.stack([b, d, c], -1)]
    return vertices, np.concatenate(triangles)


def _shift(axis, by):
    return tuple(
        slice(by, None) if i == axis and by else slice(None, -1) if i == axis else slice(None)
        for i in range(3)
    )
