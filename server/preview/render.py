"""One head's light on the stand-in, as the camera receives it: reflectance times illuminance."""

from dataclasses import dataclass, replace
from functools import lru_cache
from pathlib import Path

import numpy as np

from server.preview.bust import EYEBALL
from server.preview.camera import View, look
from server.preview.grid import Grid, grid_of
from server.preview.light import at_mark, head_axes, intensity, on_surface, visible
from server.preview.scene import STAND_INS, Scene, Source
from server.preview.shapes import Floats, ramp
from server.preview.surface import Surface, eye_normal, paint

# Gloss, per material (skin, eye, hair, cloth): strength and exponent of a broad highlight.
# Hair has its own: it shines in bands across the strands.
_GLOSS = np.array([0.09, 0.0, 0.0, 0.008], np.float32)
_GLOSS_POWER = np.array([12, 60, 9, 4], np.float32)
_HAIR_GLOSS = 0.10
_HAIR_GLOSS_POWER = 26


@dataclass(frozen=True, eq=False)
class Stage:
    """Everything about a scene that no head changes."""

    scene: Scene
    grid: Grid
    view: View
    surface: Surface
    backdrop: Floats  # (pixels, 3) background plane behind each pixel, room's axes [cm]


def stage_of(scene: Scene, folder: Path | None = None) -> Stage:
    """The scene made ready for light; the last two are kept in memory (40 MB each)."""
    same_pixels = replace(scene, background_reflectance=0.3, bounce=0.0, gloss=True)
    return replace(_stage(same_pixels, folder), scene=scene)


@lru_cache(maxsize=2)
def _stage(scene: Scene, folder: Path | None) -> Stage:
    who = STAND_INS[scene.stand_in]
    grid = grid_of(who, folder)
    fine = scene.supersample
    view = look(grid, who, scene.yaw_deg, scene.width * fine, scene.height * fine)
    plane_z = -100.0 * scene.background_distance_m
    reach = (plane_z - view.camera_room[2]) / view.ray_room[:, 2]
    backdrop = view.camera_room + view.ray_room * reach[:, None]
    return Stage(scene, grid, view, paint(view, grid, who), backdrop)


def lit_by(stage: Stage, source: Source) -> Floats:
    """Reflectance times illuminance of one head, (height, width). [lx]"""
    scene, view, surface = stage.scene, stage.view, stage.surface
    lux, to_lens = on_surface(stage.grid, view.point, surface.normal, source, view.turn)
    from_room = scene.bounce * at_mark(source)
    upward = surface.normal[:, 1]
    figure = surface.reflectance * (lux + from_room * surface.openness * (0.85 + 0.15 * upward))
    if scene.gloss:
        figure += _sheen(view, surface, to_lens, lux)
        figure[surface.hair] += _hair_sheen(view, surface, to_lens, lux)
        _add_catchlight(figure, stage, source, lux)
    behind = scene.background_reflectance * (_on_backdrop(stage, source) + 0.6 * from_room)
    return _picture(stage, figure, behind)


def evenly_lit(stage: Stage, lux: float) -> Floats:
    """Reflectance times an even light from all around, (height, width). [lx]"""
    surface = stage.surface
    figure = surface.reflectance * (lux * (0.35 + 0.65 * surface.openness))
    behind = np.full(len(stage.backdrop), stage.scene.background_reflectance * lux, np.float32)
    return _picture(stage, figure, behind)


def _sheen(view: View, surface: Surface, to_lens: Floats, lux: Floats) -> Floats:
    sheen = np.zeros_like(lux)
    lit = np.flatnonzero(lux > 0)
    half = to_lens[lit] + view.toward_camera[lit]
    half /= np.linalg.norm(half, axis=1, keepdims=True) + 1e-6
    power = _GLOSS_POWER[surface.material[lit]]
    facing = np.clip(np.einsum("ij,ij->i", surface.normal[lit], half), 0, 1)
    grazing = 1 - np.clip(np.einsum("ij,ij->i", view.toward_camera[lit], half), 0, 1)
    lobe = (power + 8) / 16 * np.power(facing, power) * (1 + 6 * grazing**5)
    sheen[lit] = _GLOSS[surface.material[lit]] * lobe * lux[lit]
    return sheen


def _hair_sheen(view: View, surface: Surface, to_lens: Floats, lux: Floats) -> Floats:
    rows = surface.hair
    half = to_lens[rows] + view.toward_camera[rows]
    half /= np.linalg.norm(half, axis=1, keepdims=True) + 1e-6
    along = np.einsum("ij,ij->i", surface.strand_way, half)
    band = np.maximum(1.0 - along * along, 0.0) ** (_HAIR_GLOSS_POWER / 2)
    facing = np.clip(np.einsum("ij,ij->i", surface.normal[rows], half), 0, 1)
    return _HAIR_GLOSS * band * facing * (2.2 * surface.strand**2 + 0.05) * lux[rows]


def _add_catchlight(figure: Floats, stage: Stage, source: Source, lux: Floats) -> None:
    """The lens mirrored in the eyes, drawn larger than life or it would be under a pixel."""
    view = stage.view
    eye = np.flatnonzero(stage.surface.material == EYEBALL)
    if not len(eye):
        return
    point = view.point[eye]
    normal = eye_normal(point, STAND_INS[stage.scene.stand_in].face_width)
    back = view.toward_camera[eye]
    mirrored = 2 * np.einsum("ij,ij->i", normal, back)[:, None] * normal - back
    lens, axis = head_axes(source, view.turn)
    ray = lens - point
    d = np.linalg.norm(ray, axis=1)
    ray /= d[:, None]
    off = np.arccos(np.clip(np.einsum("ij,ij->i", mirrored, ray), -1, 1))
    seen_size = np.arctan(50.0 * source.diameter_m / float(np.linalg.norm(lens)))
    size = 1.1 * max(seen_size, 0.17)
    facing_lux = intensity(source, -(ray @ axis)) * 1e4 / (d * d)
    # the same light in a larger lens is a duller spot
    strength = 1.25 * min(1.0, 0.6 + 0.025 / size**2)
    sees = np.clip(4 * lux[eye] / np.maximum(facing_lux, 1e-6), 0, 1)
    figure[eye] += ramp(1.35 * size, 0.65 * size, off) * strength * facing_lux * sees


def _on_backdrop(stage: Stage, source: Source) -> Floats:
    """Illuminance on the background plane, with the sitter's own shadow on it. [lx]"""
    view = stage.view
    room = np.eye(3, dtype=np.float32)
    lens, axis = head_axes(source, room)
    ray = lens - stage.backdrop
    d2 = np.einsum("ij,ij->i", ray, ray)
    d = np.sqrt(d2)
    cosine = np.maximum(ray[:, 2], 0) / d
    if not cosine.any():
        return cosine
    lux = cosine * intensity(source, -(ray @ axis) / d) * 1e4 / d2
    if lens[2] <= 20 or lux.max() < 1e-3 * at_mark(source):
        return lux  # from behind the sitter there is no shadow to see
    coarse = 4 * stage.scene.supersample
    grid_y, grid_x = (
        np.arange(coarse // 2, view.height, coarse),
        np.arange(coarse // 2, view.width, coarse),
    )
    spots = stage.backdrop.reshape(view.height, view.width, 3)[grid_y][:, grid_x].reshape(-1, 3)
    toward = lens - spots
    per_z = np.linalg.norm(toward, axis=1) / toward[:, 2]
    open_part = visible(
        stage.grid,
        spots @ view.turn,
        lens @ view.turn,
        max(50.0 * source.diameter_m, 2.0),
        first=((-26 - spots[:, 2]) * per_z).astype(np.float32),
        last=((26 - spots[:, 2]) * per_z).astype(np.float32),
        steps=32,
    ).reshape(len(grid_y), len(grid_x))
    rows = np.stack([np.interp(np.arange(view.width), grid_x, row) for row in open_part])
    share = np.clip((np.arange(view.height) - grid_y[0]) / coarse, 0, len(grid_y) - 1.001)
    low = share.astype(int)
    part = (share - low)[:, None]
    full = rows[low] * (1 - part) + rows[low + 1] * part
    return lux * full.reshape(-1).astype(np.float32)


def _picture(stage: Stage, figure: Floats, behind: Floats) -> Floats:
    """Figure over background, its outline softened, reduced to the picture's size."""
    view, fine = stage.view, stage.scene.supersample
    whole = np.asarray(behind, np.float32).copy()
    whole[view.pixel] = figure
    if len(view.edge_pixel):
        known = view.edge_from >= 0
        lent = np.where(known, figure[view.edge_from], 0).sum(axis=1)
        lent /= np.maximum(known.sum(axis=1), 1)
        cover = np.where(known.any(axis=1), view.edge_cover, 0)
        whole[view.edge_pixel] += cover * (lent - whole[view.edge_pixel])
    picture = whole.reshape(view.height, view.width)
    if fine > 1:
        picture = picture.reshape(stage.scene.height, fine, stage.scene.width, fine).mean((1, 3))
    return picture.astype(np.float32)
