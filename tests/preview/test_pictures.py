"""Portraits under a light, their zones, and the planes that a browser sums up."""

import gzip
import io
import json

import numpy as np
import pytest
from PIL import Image

from server.preview.develop import develop, warm_tones
from server.preview.picture import Exposure, face, split_face
from server.preview.planes import planes_file
from server.preview.portrait import Portrait
from server.preview.subject import AMBIENT
from server.preview.zoned import zone_picture, zone_table

CHANCE = np.random.default_rng(5)
SHAPE = (40, 32)


@pytest.fixture
def portrait():
    """Three heads of very different strength and a little light of the room."""
    frames = {
        name: (CHANCE.random(SHAPE) * most).astype(np.float16)
        for name, most in (("Key", 3000.0), ("Fill", 400.0), ("Rim", 20.0), (AMBIENT, 2.0))
    }
    return Portrait("drawn", 12.0, frames)


def test_light_adds_and_the_room_s_own_stays(portrait):
    key, fill = portrait.lit({"Key": 0.5}), portrait.lit({"Fill": 0.25})
    both, dark = portrait.lit({"Key": 0.5, "Fill": 0.25}), portrait.lit({})
    assert both == pytest.approx(key + fill - dark, rel=1e-5)
    assert dark == pytest.approx(portrait.frames[AMBIENT].astype(float))


def test_a_split_face_has_each_light_on_its_side(portrait):
    bright, dim = Exposure({"Key": 1.0}, 2000.0), Exposure({"Key": 0.1}, 2000.0)
    split = _read(split_face((portrait, bright), (portrait, dim)))
    left, right = _read(face(portrait, bright)), _read(face(portrait, dim))
    assert np.abs(split[:, :12] - left[:, :12]).mean() < 6  # JPEG blocks of 16 reach the line
    assert np.abs(split[:, 20:] - right[:, 20:]).mean() < 6
    assert left.mean() > right.mean() + 40
    assert (split[:, 15:17] < 60).all()


def test_a_split_face_of_a_finer_and_a_coarser_half(portrait):
    coarse = Portrait("drawn", 12.0, {n: f[::2, ::2] for n, f in portrait.frames.items()})
    light = Exposure({"Key": 1.0}, 2000.0)
    assert _read(split_face((portrait, light), (coarse, light))).shape == SHAPE
    assert _read(split_face((coarse, light), (portrait, light))).shape == (20, 16)


def _read(jpeg):
    return np.asarray(Image.open(io.BytesIO(jpeg)).convert("L")).astype(int)


# Zone System, as taught: V is 18 %, a zone is a stop
@pytest.mark.parametrize(("stops", "zone"), [(-4, 1), (-2, 3), (-1, 4), (0, 5), (1, 6), (2, 7)])
def test_a_stop_is_a_zone(stops, zone):
    place = round(4095 * np.sqrt(0.18 * 2.0**stops / 8.0))
    assert zone_table()[place] == zone


def test_white_is_striped_black_is_dotted_and_nothing_else_is_marked():
    reflectance = np.array([0.18 * 2.0**k for k in (-9, -3, 0, 2, 3)], np.float32)
    linear = np.repeat(reflectance[:, None] * 500.0, 56 * 56, axis=1).reshape(5, 56, 56)
    black, dark, middle, bright, white = (zone_picture(band, 500.0) for band in linear)
    assert len(np.unique(black)) == len(np.unique(white)) == 2
    assert [len(np.unique(band)) for band in (dark, middle, bright)] == [1, 1, 1]
    # told apart by shape, not by tone alone: stripes run on, dots stand alone
    striped, dotted = white == white.min(), black == black.max()
    assert striped.sum() == pytest.approx(3 / 8 * striped.size, rel=0.02)
    assert dotted.sum() == pytest.approx(4 / 49 * dotted.size, rel=0.02)
    assert (striped[0, :8] != striped[4, :8]).any()


def test_clipping_starts_where_a_straight_encoding_ends():
    # IEC 61966-2-1 encodes linear 1.0 as 255: 2.47 stops over 18 %
    first_white = int(np.argmax(zone_table() >= 8))
    assert (first_white / 4095) ** 2 * 8.0 == pytest.approx(1.0, abs=0.03)


def test_the_planes_file_can_be_summed_to_the_server_s_own_picture(portrait):
    """Decoded here as its docstring tells: an 8-bit square root keeps the print within 3 codes."""
    raw = gzip.decompress(planes_file(portrait))
    line, _, body = raw.partition(b"\n")
    head = json.loads(line)
    assert (head["width"], head["height"], head["yaw_deg"]) == (32, 40, 12.0)
    size = 32 * 40
    codes = np.frombuffer(body, np.uint8)
    outputs, mid_grey = {"Key": 0.3, "Fill": 0.9, "Rim": 1.0}, 700.0
    linear = np.zeros(size)
    for i, told in enumerate(head["heads"]):
        plane = codes[i * size : (i + 1) * size] / 255.0
        weight = 1.0 if told["name"] == AMBIENT else outputs[told["name"]]
        linear += weight * told["scale"] * plane**2
    tables = codes[len(head["heads"]) * size :]
    red, green, blue, zone = tables[: 4 * 4096].reshape(4, 4096)
    reflectance = linear / mid_grey / head["table_end"]
    place = np.round(4095 * np.sqrt(np.clip(reflectance, 0, 1))).astype(int)
    wanted = warm_tones()[develop(portrait.lit(outputs), mid_grey).reshape(-1)].astype(int)
    for got, channel in ((red, 0), (green, 1), (blue, 2)):
        assert np.abs(got[place].astype(int) - wanted[:, channel]).max() <= 3
    assert (zone == zone_table()).all()
    assert len(tables) == 4 * 4096 + 2 * 11
