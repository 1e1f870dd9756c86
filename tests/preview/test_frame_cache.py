"""The store of frames: what makes a new one, what does not, and what a broken file does."""

import os
import shutil
from dataclasses import fields, replace

import numpy as np
import pytest

from server.errors import OutOfRange
from server.preview.frames import FrameCache, frame_key, one_light_frame
from server.preview.grid import grid_of
from server.preview.scene import STAND_INS, Scene, Source

SCENE = Scene("one", 10.0, 1.4, 0.25, 32, 40, 1, 0.01, True)
SOURCE = Source((0.8, 0.7, 1.1), (0.0, -0.03, 0.0), 0.2, 8000.0, 40.0, 60.0, 0.0)


@pytest.fixture
def folder(baked, tmp_path):
    """A folder that holds the sampled sitter already, and no frame."""
    for grid in baked.glob("grid-*.npy"):
        shutil.copy(grid, tmp_path)
    return tmp_path


@pytest.fixture
def cache(folder):
    return FrameCache(folder=folder)


def test_a_kept_frame_is_the_rendered_one(cache, baked):
    got = cache.get(SCENE, SOURCE)
    assert got.dtype == np.float16
    # half precision keeps 11 bits (IEEE 754): 1 part in 2048
    assert got == pytest.approx(one_light_frame(SCENE, SOURCE, baked), rel=1e-3, abs=0.05)
    assert FrameCache(folder=cache.folder).peek(SCENE, SOURCE) == pytest.approx(got)


CHANGED_SCENES = {
    "stand_in": "two",
    "yaw_deg": 11.0,
    "background_distance_m": 1.5,
    "background_reflectance": 0.3,
    "width": 33,
    "height": 41,
    "supersample": 2,
    "bounce": 0.02,
    "gloss": False,
}
CHANGED_SOURCES = {
    "position_m": (0.8, 0.7, 1.2),
    "aim_m": (0.0, 0.0, 0.0),
    "diameter_m": 0.3,
    "beam_deg": 41.0,
    "field_deg": 61.0,
    "curve": ((0.0, 1.0), (30.0, 0.5), (60.0, 0.0)),
}


def test_every_field_that_changes_the_picture_changes_the_key():
    assert set(CHANGED_SCENES) == {f.name for f in fields(Scene)}
    keys = {frame_key(replace(SCENE, **{k: v}), SOURCE) for k, v in CHANGED_SCENES.items()}
    keys |= {frame_key(SCENE, replace(SOURCE, **{k: v})) for k, v in CHANGED_SOURCES.items()}
    keys.add(frame_key(SCENE, SOURCE))
    assert len(keys) == len(CHANGED_SCENES) + len(CHANGED_SOURCES) + 1


def test_candela_and_scrims_only_scale(cache, baked):
    full = cache.get(SCENE, SOURCE)
    for changed in (replace(SOURCE, candela=4000.0), replace(SOURCE, scrim_stops=1.0)):
        half = cache.peek(SCENE, changed)
        assert half is not None
        assert half == pytest.approx(full / 2, rel=2e-3, abs=0.05)
        assert half == pytest.approx(one_light_frame(SCENE, changed, baked), rel=2e-3, abs=0.05)


def test_fields_not_in_the_key_are_the_ones_that_scale():
    assert {f.name for f in fields(Source)} - set(CHANGED_SOURCES) == {"candela", "scrim_stops"}


@pytest.mark.parametrize("damage", [b"", b"not an array", b"\x93NUMPY\x01\x00"])
def test_a_broken_file_is_rendered_again(cache, damage, caplog):
    good = cache.get(SCENE, SOURCE)
    (file,) = cache.folder.glob("frame-*.npy")
    file.write_bytes(damage)
    fresh = FrameCache(folder=cache.folder)
    assert fresh.peek(SCENE, SOURCE) is None
    assert "rendering it again" in caplog.text
    assert (fresh.get(SCENE, SOURCE) == good).all()
    assert FrameCache(folder=cache.folder).peek(SCENE, SOURCE) is not None  # mended on disk


def test_a_cut_off_file_is_rendered_again(cache):
    cache.get(SCENE, SOURCE)
    (file,) = cache.folder.glob("frame-*.npy")
    file.write_bytes(file.read_bytes()[:-500])
    assert FrameCache(folder=cache.folder).peek(SCENE, SOURCE) is None


def test_a_file_with_another_shape_is_not_used(cache):
    cache.get(SCENE, SOURCE)
    (file,) = cache.folder.glob("frame-*.npy")
    np.save(file, np.zeros((3, 3), np.float16))
    assert FrameCache(folder=cache.folder).peek(SCENE, SOURCE) is None


def test_a_broken_drawing_is_sampled_again(tmp_path):
    grid_of.cache_clear()
    before = grid_of(STAND_INS["one"], tmp_path)
    (file,) = tmp_path.glob("grid-*.npy")
    file.write_bytes(b"broken")
    grid_of.cache_clear()
    assert (grid_of(STAND_INS["one"], tmp_path).values == before.values).all()
    assert file.stat().st_size > 1000


def test_the_least_lately_used_leaves(baked):
    one_frame = 40 * 32 * 2
    cache = FrameCache(byte_limit=2 * one_frame)
    heads = [replace(SOURCE, diameter_m=d) for d in (0.1, 0.2, 0.3)]
    cache.get(SCENE, heads[0])
    cache.get(SCENE, heads[1])
    assert cache.peek(SCENE, heads[0]) is not None  # used again
    cache.get(SCENE, heads[2])
    kept = [cache.peek(SCENE, head) is not None for head in heads]
    assert kept == [True, False, True]


def test_ten_is_ten_however_it_is_written():
    alike = (10, 10.0, np.float64(10), np.float32(10))
    assert len({frame_key(replace(SCENE, yaw_deg=yaw), SOURCE) for yaw in alike}) == 1


def test_the_oldest_files_leave_the_folder(folder):
    old = folder / "frame-old.npy"
    old.write_bytes(b"x" * 5000)
    os.utime(old, (1, 1))
    cache = FrameCache(folder=folder, disk_limit=4000)
    cache.get(SCENE, SOURCE)  # 2.7 kB
    assert not old.exists()
    assert FrameCache(folder=folder).peek(SCENE, SOURCE) is not None


def test_a_blinding_head_stays_finite(cache):
    frame = cache.get(SCENE, replace(SOURCE, candela=1e8))
    assert np.isfinite(frame).all()


def test_a_folder_that_cannot_be_written_is_no_disaster(tmp_path, caplog):
    blocked = tmp_path / "file"
    blocked.write_text("in the way")
    frame = FrameCache(folder=blocked / "inside").get(SCENE, SOURCE)
    assert frame.max() > 0
    assert "could not be kept" in caplog.text


@pytest.mark.parametrize(
    ("field", "value"),
    [("stand_in", "nobody"), ("width", 0), ("supersample", 0), ("yaw_deg", float("nan"))],
)
def test_a_bad_scene_is_refused_by_name(field, value):
    with pytest.raises(OutOfRange, match=field):
        replace(SCENE, **{field: value})


@pytest.mark.parametrize(
    ("field", "value"),
    [
        ("diameter_m", 0.0),
        ("candela", -1.0),
        ("field_deg", 30.0),
        ("aim_m", SOURCE.position_m),
        ("scrim_stops", -0.5),
    ],
)
def test_a_bad_head_is_refused_by_name(field, value):
    with pytest.raises(OutOfRange, match=field):
        replace(SOURCE, **{field: value})
