"""Tones read off a synthetic portrait: patches of known light come back in stops.

Coding by IEC 61966-2-1, written anew here.
"""

import io
import json
import tracemalloc
from math import log2

import numpy as np
import pytest
from PIL import Image

from server.errors import OutOfRange
from server.paths import DEMO_DATA
from server.preview.photograph import read_photograph
from server.preview.scene import STAND_INS, Scene
from server.preview.tapped import shown, tone_at, tones_of
from server.studio.document import rig_from_document

RIG = rig_from_document(json.loads((DEMO_DATA / "rig.json").read_text()))
PATCHES = {
    "cheek right": (0.3, 0.5, 0.40),
    "cheek left": (0.7, 0.5, 0.10),
    "forehead": (0.5, 0.2, 0.30),
    "hair": (0.5, 0.06, 0.05),
    "background": (0.06, 0.5, 0.02),
}


def portrait(patches=PATCHES, ground: float = 0.01, kind: str = "PNG") -> bytes:
    """Grey squares on a ground, 640 by 800. Linear light, sRGB coded."""
    linear = np.full((800, 640), ground)
    for x, y, light in patches.values():
        row, column = round(800 * y), round(640 * x)
        linear[max(0, row - 40) : row + 40, max(0, column - 40) : column + 40] = light
    coded = np.where(linear <= 0.0031308, 12.92 * linear, 1.055 * linear ** (1 / 2.4) - 0.055)
    data = io.BytesIO()
    Image.fromarray((255 * coded + 0.5).astype(np.uint8)).save(data, kind, quality=95)
    return data.getvalue()


@pytest.mark.parametrize("kind", ["PNG", "JPEG"])
def test_tones_come_back_in_stops_with_what_things_are_made_of_taken_off(kind: str) -> None:
    picture = read_photograph("own.jpg", portrait(kind=kind), finished=True)
    tones = tones_of(picture, {n: (x, y) for n, (x, y, _) in PATCHES.items()}, RIG)
    who = STAND_INS[RIG.sitter.stand_in]
    ground = Scene(who.name, 0.0).background_reflectance
    assert tones["cheek right"] - tones["cheek left"] == pytest.approx(2.0, abs=0.05)
    assert tones["cheek right"] - tones["forehead"] == pytest.approx(log2(4 / 3), abs=0.05)
    hair = log2(0.05 / who.hair_reflectance) - log2(0.4 / who.skin_reflectance)
    assert tones["hair"] - tones["cheek right"] == pytest.approx(hair, abs=0.05)
    wall = log2(0.02 / ground) - log2(0.4 / who.skin_reflectance)
    assert tones["background"] - tones["cheek right"] == pytest.approx(wall, abs=0.07)


def test_paper_white_and_deep_black_hold_no_tone_but_the_picture_is_taken() -> None:
    white = portrait({**PATCHES, "background": (0.06, 0.5, 1.0)}, ground=0.0)
    picture = read_photograph("own.png", white, finished=True)
    with pytest.raises(OutOfRange, match="plain white there"):
        tone_at(picture, 0.06, 0.5)
    with pytest.raises(OutOfRange, match="plain black there"):
        tone_at(picture, 0.95, 0.95)
    with pytest.raises(OutOfRange, match="clipped white"):
        read_photograph("own.png", white)  # as a frame to measure by it stays refused


def test_it_is_shown_as_it_was() -> None:
    picture = read_photograph("own.png", portrait(), finished=True)
    grey = np.asarray(Image.open(io.BytesIO(shown(picture))).convert("L")).astype(float)
    assert grey.shape == (400, 320)
    assert grey[200, 96] == pytest.approx(255 * (1.055 * 0.4 ** (1 / 2.4) - 0.055), abs=6)


def test_a_large_picture_is_read_strip_by_strip() -> None:
    """12 million pixels in floats, three colours at once, would be 144 MB, and several times so."""
    data = io.BytesIO()
    Image.new("L", (4000, 3000), 118).save(data, "JPEG")
    tracemalloc.start()
    try:
        picture = read_photograph("large.jpg", data.getvalue(), finished=True)
        peak = tracemalloc.get_traced_memory()[1]
    finally:
        tracemalloc.stop()
    assert picture.linear.mean() == pytest.approx(0.18, abs=0.005)  # sRGB 118 is middle grey
    assert peak < 250_000_000
