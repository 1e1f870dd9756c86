"""A fixed chart of a face: where the nose shadow falls, read without camera, hair or gloss. [cm]"""

from collections.abc import Sequence
from dataclasses import dataclass, replace
from functools import lru_cache
from pathlib import Path

import numpy as np

from server.preview.bust import SKIN
from server.preview.camera import View, look, turned
from server.preview.grid import Grid, grid_of
from server.preview.light import at_mark, on_surface
from server.preview.scene import STAND_INS, Source
from server.preview.shapes import Floats

# both sides alike, so that a light and its mirror image give mirrored charts
CHART_FACE = replace(STAND_INS["one"], name="chart", parting=0.0)
_WIDTH, _HEIGHT = 128, 160
_HALF_HEIGHT_CM = 12.5
_LIT = 0.10  # of the brightest skin: below it, skin counts as in shadow


@dataclass(frozen=True, eq=False)
class Chart:
    """The face seen square on, one row per point of it."""

    grid: Grid
    view: View
    skin: Floats  # bool, the face's skin


@dataclass(frozen=True)
class Shadow:
    """What the chart tells about the keys' shadow. Shares are 0 to 1."""

    face_lit: float  # share of the face that gets at least 8 % of the light at the mark
    cheek_lit: float  # share of the far cheek
    island_closed: bool  # the far cheek's light does not reach the mouth or jaw
    nose_shadow: float  # share of the zone under the nose
    nose_shadow_off_cm: float  # its centre, from the middle toward the lit side


@lru_cache(maxsize=1)
def chart_of(folder: Path | None = None) -> Chart:
    """The chart, made once per process."""
    grid = grid_of(CHART_FACE, folder)
    view = look(
        grid,
        CHART_FACE,
        0.0,
        _WIDTH,
        _HEIGHT,
        distance_cm=400.0,
        half_height=_HALF_HEIGHT_CM,
        middle_y=-3.5,
    )
    y, z = view.point[:, 1], view.point[:, 2]
    skin = (view.material == SKIN) & (y > -10.5) & (y < 1.0) & (z > 0)
    return Chart(grid, view, skin)


def irradiance(
    chart: Chart, yaw_deg: float, sources: Sequence[Source], weights: Sequence[float]
) -> Floats:
    """Illuminance of the weighted sources on the chart's points, 0 off the skin. [lx]"""
    rows = np.flatnonzero(chart.skin)
    point, normal = chart.view.point[rows], chart.view.normal[rows]
    total = np.zeros(len(chart.skin), np.float32)
    for source, weight in zip(sources, weights, strict=True):
        if weight > 0:
            lux, _ = on_surface(chart.grid, point, normal, source, turned(yaw_deg))
            total[rows] += np.float32(weight) * lux
    return total


def picture(chart: Chart, values: Floats) -> Floats:
    """Values of the chart's points as an image, (height, width); same unit."""
    image = np.zeros(chart.view.width * chart.view.height, values.dtype)
    image[chart.view.pixel] = values
    return image.reshape(chart.view.height, chart.view.width)


def read_shadow(
    chart: Chart,
    yaw_deg: float,
    sources: Sequence[Source],
    weights: Sequence[float],
    lit_side: float,
) -> Shadow:
    """Measure the shadow; `lit_side` is +1 when the keys stand on the sitter's +x side, else -1."""
    lux = irradiance(chart, yaw_deg, sources, weights)
    full = sum(w * at_mark(s) for s, w in zip(sources, weights, strict=True))
    brightest = float(np.percentile(lux[chart.skin], 97))
    lit = lux > _LIT * brightest
    x, y = chart.view.point[:, 0] * lit_side, chart.view.point[:, 1]
    face = chart.skin & (np.abs(x) < 5.8) & (y > -9.5) & (y < 0.6)
    cheek = face & (x < -2.0) & (x > -5.0) & (y < -1.3) & (y > -5.2)
    under_nose = face & (np.abs(x) < 3.0) & (y < -4.3) & (y > -6.4)

    far_half = face & (x < -1.0)
    island = _connected(picture(chart, cheek & lit), picture(chart, far_half & lit))
    mouth_and_jaw = picture(chart, far_half & (y < -6.2))
    darkness = np.clip(1 - lux / (0.5 * brightest + 1e-6), 0, 1) * under_nose
    return Shadow(
        face_lit=_share(lux > 0.08 * full, face),
        cheek_lit=_share(lit, cheek),
        island_closed=int((island & mouth_and_jaw).sum()) <= 6,  # six points: noise, not a path
        nose_shadow=_share(~lit, under_nose),
        nose_shadow_off_cm=float((darkness * x).sum() / max(float(darkness.sum()), 1.0)),
    )


def _share(part: Floats, whole: Floats) -> float:
    return float((part & whole).sum() / max(int(whole.sum()), 1))


def _connected(seed: Floats, mask: Floats) -> Floats:
    """The part of the mask that can be reached from the seed, step by step to the four sides."""
    reached = seed & mask
    for _ in range(mask.size):  # ends long before: each round must reach a new pixel
        grown = reached.copy()
        grown[1:] |= reached[:-1]
        grown[:-1] |= reached[1:]
        grown[:, 1:] |= reached[:, :-1]
        grown[:, :-1] |= reached[:, 1:]
        grown &= mask
        if (grown == reached).all():
            break
        reached = grown
    return reached
