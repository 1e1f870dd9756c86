"""Tone against published values; pictures and planes as files."""

import io

import numpy as np
import pytest
from PIL import Image

from server.errors import OutOfRange
from server.preview.develop import (
    composite,
    develop,
    jpeg,
    resized,
    square_root_planes,
    srgb_encoded,
)


@pytest.mark.parametrize("lux", [10.0, 600.0, 9600.0])
def test_middle_grey_prints_as_118(lux):
    # IEC 61966-2-1: linear 0.18 encodes to 8-bit 118
    assert abs(int(develop(np.array([[0.18 * lux]], np.float32), lux)[0, 0]) - 118) <= 2


# IEC 61966-2-1, 8-bit codes of 0.18 * 2**k
@pytest.mark.parametrize(
    ("stops", "code"), [(-3, 41), (-2, 60), (-1, 85), (0, 118), (1, 162), (2, 221)]
)
def test_srgb_codes_of_whole_stops(stops, code):
    assert round(255 * float(srgb_encoded(np.array(0.18 * 2.0**stops)))) == code


def test_more_light_never_prints_darker_and_highlights_keep_form():
    light = np.geomspace(0.001, 8.0, 200, dtype=np.float32)[None]
    print_ = develop(light, 1.0).astype(int)[0]
    assert (np.diff(print_) >= 0).all()
    # two and a third stops over middle grey (a lit cheek plus a stop) is still short of white
    at = int(develop(np.array([[0.18 * 2 ** (7 / 3)]], np.float32), 1.0)[0, 0])
    assert 200 < at < 250


def test_no_light_to_expose_for_is_refused():
    with pytest.raises(OutOfRange, match="lux_for_mid_grey"):
        develop(np.zeros((2, 2), np.float32), 0.0)


def test_jpeg_opens_with_the_right_size_and_tone():
    grey = np.full((40, 32), 128, np.uint8)
    warm = Image.open(io.BytesIO(jpeg(grey)))
    assert (warm.format, warm.size, warm.mode) == ("JPEG", (32, 40), "RGB")
    red, green, blue = warm.getpixel((16, 20))
    assert red >= green > blue
    plain = Image.open(io.BytesIO(jpeg(grey, warm=False)))
    assert plain.mode == "L"
    assert abs(plain.getpixel((16, 20)) - 128) <= 1


def test_warm_tone_leaves_black_and_white_alone():
    for level in (0, 255):
        picture = Image.open(io.BytesIO(jpeg(np.full((16, 16), level, np.uint8), quality=95)))
        assert all(abs(part - level) <= 1 for part in picture.getpixel((8, 8)))


def test_another_size():
    assert resized(np.zeros((400, 320), np.uint8), 160, 200).shape == (200, 160)


def test_square_root_planes_come_back_within_two_print_codes():
    rng = np.random.default_rng(1)
    frames = [rng.uniform(0, 1, (30, 20)).astype(np.float32) ** 3 * 900 for _ in range(3)]
    planes, scale = square_root_planes(frames)
    assert planes.dtype == np.uint8
    back = [scale * (plane / 255.0) ** 2 for plane in planes]
    outputs = [0.8, 0.3, 0.1]
    exact = develop(composite(frames, outputs), 600.0).astype(int)
    coded = develop(sum(o * b for o, b in zip(outputs, back, strict=True)), 600.0).astype(int)
    assert np.abs(exact - coded).max() <= 2


def test_dark_planes_do_not_divide_by_zero():
    planes, scale = square_root_planes([np.zeros((2, 2), np.float32)])
    assert (planes.max(), scale) == (0, 1.0)


def test_composite_wants_one_output_per_frame():
    with pytest.raises(ValueError, match="argument"):
        composite([np.zeros((2, 2)), np.zeros((2, 2))], [1.0])
    with pytest.raises(ValueError, match="at least one"):
        composite([], [])
