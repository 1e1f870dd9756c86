"""One-light photographs from a synthetic camera: known linear light in, the same light out.

The camera exposes by N**2 / t = E S / C (ISO 2720:1974), encodes sRGB (IEC 61966-2-1;
colour-science as oracle for the decoding), adds noise, and writes Exif 2.32 tags with Pillow.
"""

import io
import json
import warnings
from dataclasses import replace
from datetime import UTC, datetime, timedelta
from pathlib import Path

import numpy as np
import pytest
from PIL import Image

from server.errors import OutOfRange, Refused
from server.paths import DEMO_DATA
from server.preview.frames import one_light_frame
from server.preview.photograph import Exposure, read_photograph, scene_light, srgb_decoded
from server.preview.photographs import Photographs
from server.preview.subject import AMBIENT, subject_of
from server.studio.document import rig_from_document
from server.studio.lamps import LampChange
from server.studio.rig import Rig
from server.web.routes.photographs import lamp_told

with warnings.catch_warnings():
    warnings.simplefilter("ignore")  # it misses matplotlib, which we do not need
    import colour

NOON = datetime(2026, 5, 1, 12, tzinfo=UTC)
OUTPUT = 0.25
SETTING = Exposure(5.6, 1 / 60, 400)
HEADS = ("Key", "Fill", "Hair")


@pytest.fixture(scope="module")
def rig() -> Rig:
    return rig_from_document(json.loads((DEMO_DATA / "rig.json").read_text()))


@pytest.fixture(scope="module")
def light(rig: Rig, baked: Path) -> dict[str, np.ndarray]:
    """Each head's own light at full, and a room of 6 lux. [lx times reflectance]"""
    subject = subject_of(rig, 0.0, HEADS)
    frames = {
        name: one_light_frame(subject.scene, source, baked) for name, source in subject.lights
    }
    frames[AMBIENT] = 6.0 * 0.4 * np.ones_like(frames["Key"])
    return frames


def encoded(y: np.ndarray) -> np.ndarray:
    return np.where(y <= 0.0031308, 12.92 * y, 1.055 * np.maximum(y, 1e-9) ** (1 / 2.4) - 0.055)


def shot(
    light: np.ndarray, setting: Exposure = SETTING, *, kind: str = "JPEG", tags: bool = True,
    noise: float = 0.002, seed: int = 1,
) -> bytes:  # fmt: skip
    """A frame of so much light: middle grey (18 %) as the incident meter says."""
    f_stop = 2 ** (round(6 * np.log2(setting.f_number)) / 6)
    lux = 250 * f_stop**2 / (setting.iso * setting.shutter_s)
    linear = light / lux
    linear = linear + np.random.default_rng(seed).normal(0, noise, linear.shape) * np.sqrt(
        np.maximum(linear, 1e-4)
    )
    coded = encoded(np.clip(linear, 0, 1))
    large = np.kron(coded, np.ones((2, 2)))  # 640 x 800 pixels
    if kind == "PNG16":
        picture = Image.fromarray((large * 65535 + 0.5).astype(np.uint16))
    else:
        picture = Image.fromarray(np.repeat((large * 255 + 0.5).astype(np.uint8)[..., None], 3, 2))
    exif = Image.Exif()
    if tags:
        ifd = exif.get_ifd(0x8769)
        ifd[0x829A], ifd[0x829D], ifd[0x8827] = (
            setting.shutter_s,
            setting.f_number,
            int(setting.iso),
        )
    data = io.BytesIO()
    how = {"JPEG": {"quality": 95}, "PNG16": {}, "TIFF": {}}[kind]
    picture.save(data, kind.removesuffix("16"), exif=exif.tobytes(), **how)
    return data.getvalue()


def take(photographs: Photographs, rig: Rig, head: str, data: bytes, **more) -> None:
    photographs.add(
        rig, head, read_photograph(f"{head or 'room'}.jpg", data), more.pop("asked", None),
        output=more.pop("output", OUTPUT), yaw_deg=0.0, at=NOON,
    )  # fmt: skip


def error_stops(found: np.ndarray, real: np.ndarray, lux: float) -> float:
    """Root mean square where the light makes middle tones. [stop]"""
    middle = (real > 0.05 * lux) & (real < 0.6 * lux)
    assert middle.sum() > 2000
    return float(np.sqrt(np.mean(np.log2(np.maximum(found, 1e-6)[middle] / real[middle]) ** 2)))


def test_srgb_is_decoded_as_the_standard_says() -> None:
    coded = np.linspace(0, 1, 257)
    oracle = colour.models.eotf_sRGB(coded)
    assert srgb_decoded(coded) == pytest.approx(oracle, abs=1e-6)


@pytest.mark.parametrize("kind", ["JPEG", "PNG16", "TIFF"])
def test_a_known_scene_comes_back_within_a_twentieth_of_a_stop(
    rig: Rig, light: dict[str, np.ndarray], tmp_path: Path, kind: str
) -> None:
    photographs = Photographs(tmp_path)
    room = Exposure(4.0, 1 / 4, 3200)
    take(photographs, rig, "", shot(light[AMBIENT], room, kind=kind))
    for head in HEADS:
        take(photographs, rig, head, shot(OUTPUT * light[head] + light[AMBIENT], kind=kind))
    photographs.use(True)
    offer = photographs.offer(rig, 0.0, HEADS)
    assert offer is not None
    portrait = offer.load()
    assert portrait is not None
    assert portrait.kind == "photographed"
    for head in ("Key", "Fill"):
        lux = float(np.percentile(light[head], 98))
        assert error_stops(portrait.frames[head], light[head], lux) < 0.05
    both = portrait.lit({"Key": 0.5, "Fill": 0.25})
    real = 0.5 * light["Key"] + 0.25 * light["Fill"] + light[AMBIENT]
    assert error_stops(both, real, float(np.percentile(real, 98))) < 0.05


def test_two_exposures_of_one_light_agree(light: dict[str, np.ndarray]) -> None:
    frames = []
    for setting in (Exposure(5.6, 1 / 60, 400), Exposure(8.0, 1 / 30, 800)):
        read = read_photograph("a.jpg", shot(OUTPUT * light["Key"], setting))
        assert read.exposure is not None
        frames.append(scene_light(read, read.exposure, 250))
    lux = float(np.percentile(frames[0], 98))
    assert error_stops(frames[1], frames[0], lux) < 0.05


def test_a_clipped_a_dark_and_a_moved_frame_are_refused(
    rig: Rig, light: dict[str, np.ndarray], tmp_path: Path
) -> None:
    photographs = Photographs(tmp_path)
    with pytest.raises(OutOfRange, match=r"room\.jpg: .* clipped white"):
        take(photographs, rig, "", shot(100 * light["Key"]))
    with pytest.raises(OutOfRange, match=r"room\.jpg: too dark"):
        take(photographs, rig, "", shot(0.0005 * light["Key"], noise=0.0))
    take(photographs, rig, "", shot(light[AMBIENT], Exposure(4.0, 1 / 4, 3200)))
    take(photographs, rig, "Key", shot(OUTPUT * light["Key"] + light[AMBIENT]))
    moved = np.roll(OUTPUT * light["Fill"] + light[AMBIENT], (2, 9), (0, 1))
    with pytest.raises(Refused, match=r"Fill\.jpg \(Fill\): the stand-in or the camera has moved"):
        take(photographs, rig, "Fill", shot(moved))
    take(photographs, rig, "Fill", shot(OUTPUT * light["Fill"] + light[AMBIENT]))
    assert set(photographs.shots()) == {"", "Key", "Fill"}


def test_an_unknown_exposure_is_asked_for(
    rig: Rig, light: dict[str, np.ndarray], tmp_path: Path
) -> None:
    photographs = Photographs(tmp_path)
    data = shot(light[AMBIENT], Exposure(4.0, 1 / 4, 3200), tags=False)
    with pytest.raises(OutOfRange, match="ExposureTime"):
        take(photographs, rig, "", data)
    take(photographs, rig, "", data, asked=Exposure(4.0, 1 / 4, 3200))
    assert set(photographs.shots()) == {""}


def test_the_room_comes_first_and_another_shape_is_refused(
    rig: Rig, light: dict[str, np.ndarray], tmp_path: Path
) -> None:
    photographs = Photographs(tmp_path)
    with pytest.raises(Refused, match="comes first"):
        take(photographs, rig, "Key", shot(OUTPUT * light["Key"]))
    with pytest.raises(Refused, match="no photographs yet"):
        photographs.use(True)
    take(photographs, rig, "", shot(light[AMBIENT], Exposure(4.0, 1 / 4, 3200)))
    with pytest.raises(OutOfRange, match="another shape"):
        take(photographs, rig, "Key", shot(OUTPUT * light["Key"][:300]))


@pytest.mark.parametrize(
    ("name", "data"),
    [
        ("a.jpg", b""),
        ("a.jpg", b"\xff\xd8\xff\xe0 not a picture"),
        ("a.png", b"\x89PNG\r\n\x1a\n" * 9),
        ("a.gif", b"GIF89a" + b"\x00" * 60),
        ("a.dng", b"II*\x00" + b"\x00" * 80),
        ("a.txt", b"hello"),
    ],
)
def test_what_is_no_picture_is_refused(name: str, data: bytes) -> None:
    with pytest.raises(OutOfRange, match=name.replace(".", r"\.")):
        read_photograph(name, data)


def test_an_absurdly_large_picture_is_refused() -> None:
    data = io.BytesIO()
    Image.new("1", (20000, 20000)).save(data, "PNG")
    with pytest.raises(OutOfRange, match=r"million pixels|cannot|can be read"):
        read_photograph("a.png", data.getvalue())


def test_the_set_comes_back_and_a_moved_head_takes_its_frame_out(
    rig: Rig, light: dict[str, np.ndarray], tmp_path: Path
) -> None:
    first = Photographs(tmp_path)
    take(first, rig, "", shot(light[AMBIENT], Exposure(4.0, 1 / 4, 3200)))
    take(first, rig, "Key", shot(OUTPUT * light["Key"] + light[AMBIENT]))
    first.use(True)
    again = Photographs(tmp_path)
    assert again.used
    assert again.offer(rig, 0.0, ("Key",)) is not None
    assert again.offer(rig, 0.0, ("Key", "Fill")) is None
    assert again.offer(rig, 30.0, ("Key",)) is None
    away = rig.standing({"Key": replace(rig.head("Key").placement, distance_m=3.0)})
    assert again.moved(away, "Key")
    assert again.offer(away, 0.0, ("Key",)) is None
    # half a stop brighter since: 2**0.5; a change of before the frame is in the frame already
    half = LampChange("Key", NOON + timedelta(days=2), stops=0.5, point="cheek right")
    early = LampChange("Key", NOON - timedelta(days=2), stops=-1.0, point="cheek right")
    relamped = replace(rig, lamps=(early, half))
    was, now = again.offer(rig, 0.0, ("Key",)), again.offer(relamped, 0.0, ("Key",))
    assert now.version != was.version
    frames = [offer.load().frames for offer in (was, now)]
    np.testing.assert_allclose(frames[1]["Key"], 2**0.5 * frames[0]["Key"], rtol=1e-5)
    np.testing.assert_array_equal(frames[1][AMBIENT], frames[0][AMBIENT])
    np.testing.assert_array_equal(again.portrait(relamped).frames["Key"], frames[1]["Key"])
    told = lamp_told(relamped, "Key", again.gained(relamped, "Key"), NOON.isoformat())
    assert "its lamp reads +0.5 since, counted in" in told
    unread = replace(rig, lamps=(replace(half, stops=None, point=""),))
    assert "shows the lamp before" in lamp_told(unread, "Key", 1.0, NOON.isoformat())
    assert lamp_told(rig, "Key", 1.0, NOON.isoformat()) == ""
    with pytest.raises(Refused, match="another room was opened"):
        again.add(
            rig, "Key", read_photograph("k.jpg", shot(OUTPUT * light["Key"] + light[AMBIENT])),
            None, output=OUTPUT, yaw_deg=0.0, at=NOON, folder=tmp_path / "room-2",
        )  # fmt: skip
    again.start_anew()
    assert Photographs(tmp_path).shots() == {}
    (tmp_path / "set.json").write_text("{broken")
    assert "cannot be read" in Photographs(tmp_path).trouble
