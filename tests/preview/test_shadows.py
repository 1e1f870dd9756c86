"""Soft shadows against exact ray casting (Embree, through trimesh) on a mesh of the same bust."""

import numpy as np
import pytest
from surface_mesh import surface_mesh

from server.preview.bust import SKIN, distance
from server.preview.light import on_surface
from server.preview.render import stage_of
from server.preview.scene import STAND_INS

trimesh = pytest.importorskip("trimesh", reason="the ray-casting oracle is not installed")
pytest.importorskip("embreex", reason="trimesh needs embreex to cast rays fast enough")

_DISK_POINTS = 48


@pytest.fixture(scope="module")
def caster():
    """Everything that can shade the face: head, hair and neck."""
    vertices, triangles = surface_mesh(
        lambda p: distance(p, STAND_INS["one"]), (-11, -14, -13), (11, 14, 12), 0.16
    )
    mesh = trimesh.Trimesh(vertices, triangles, process=False)
    return trimesh.ray.ray_pyembree.RayMeshIntersector(mesh)


def exact_lux(caster, point, normal, source):
    """Mean over points of the lens of cos+ * visible, times candela over distance squared."""
    lens = 100 * np.array(source.position_m)
    axis = -lens / np.linalg.norm(lens)
    across = np.cross(axis, [0, 1, 0])
    across /= np.linalg.norm(across)
    upward = np.cross(across, axis)
    i = np.arange(_DISK_POINTS) + 0.5
    radius = 50 * source.diameter_m * np.sqrt(i / _DISK_POINTS)  # even over the disk
    turn = i * np.pi * (3 - np.sqrt(5))
    total = np.zeros(len(point))
    for r, t in zip(radius, turn, strict=True):
        ray = lens + r * (np.cos(t) * across + np.sin(t) * upward) - point
        ray /= np.linalg.norm(ray, axis=1, keepdims=True)
        cosine = np.maximum(np.einsum("ij,ij->i", normal, ray), 0)
        lit = np.flatnonzero(cosine > 0)
        hidden = caster.intersects_any(point[lit] + 0.06 * normal[lit], ray[lit])
        total[lit] += cosine[lit] * ~hidden
    d2 = ((lens - point) ** 2).sum(axis=1)
    return total / _DISK_POINTS * source.candela * 1e4 / d2


@pytest.mark.parametrize(
    ("azimuth", "elevation", "distance_m", "diameter_m"),
    [
        (0, 45, 1.5, 0.2),
        (33, 38, 1.5, 0.2),
        (-45, 45, 1.8, 0.25),
        (85, 8, 2.0, 0.2),
        (60, 20, 1.5, 0.3),
        (140, 25, 2.0, 0.2),
    ],
)
def test_shadows_of_ordinary_sources(
    bare, head, baked, caster, azimuth, elevation, distance_m, diameter_m
):
    stage = stage_of(bare, baked)
    y = stage.view.point[:, 1]
    rows = np.flatnonzero((stage.surface.material == SKIN) & (y > -10.5) & (y < 8))
    point, normal = stage.view.point[rows], stage.view.normal[rows]
    source = head(azimuth, elevation, distance_m, diameter_m, beam_deg=150.0, field_deg=179.0)
    drawn, _ = on_surface(stage.grid, point, normal, source, stage.view.turn)
    exact = exact_lux(caster, point.astype(float), normal.astype(float), source)
    lit_level = source.candela / distance_m**2
    error = (drawn - exact) / lit_level
    assert exact.max() > 0.5 * lit_level  # there is light
    assert (exact < 0.01 * lit_level).mean() > 0.02  # and there is shadow
    assert np.sqrt((error**2).mean()) <= 0.02
