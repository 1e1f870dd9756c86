"""The pass of one-light photographs on the page: frames in, faces of them out, troubles told."""

import io
from collections.abc import Iterator
from pathlib import Path

import numpy as np
import pytest
from PIL import Image
from starlette.testclient import TestClient

from server.app import create_app
from server.settings import Settings
from tests.web.test_faces import until

LIT_AT_KEY = 0.3


@pytest.fixture
def client(tmp_path: Path) -> Iterator[TestClient]:
    """The demo studio with faces."""
    settings = Settings(database=tmp_path / "studio.db", faces=str(tmp_path / "faces"))
    with TestClient(create_app(settings)) as client:
        yield client


def frame(light: float, side: float = 0.0, seed: int = 3) -> bytes:
    """A JPEG of a textured stand-in, lit from a side. Linear 0..1, sRGB coded, with Exif tags."""
    shapes = np.random.default_rng(seed).uniform(0.3, 1.0, (20, 16))
    scene = np.asarray(
        Image.fromarray(shapes.astype(np.float32)).resize((640, 800), Image.Resampling.BICUBIC)
    )
    slope = 1 + side * np.linspace(-1, 1, 640)[None, :]
    linear = np.clip(light * scene * slope, 0, 1)
    coded = np.where(linear <= 0.0031308, 12.92 * linear, 1.055 * linear ** (1 / 2.4) - 0.055)
    picture = Image.fromarray(np.repeat((coded * 255 + 0.5).astype(np.uint8)[..., None], 3, 2))
    exif = Image.Exif()
    exif.get_ifd(0x8769).update({0x829A: 1 / 60, 0x829D: 5.6, 0x8827: 400})
    data = io.BytesIO()
    picture.save(data, "JPEG", quality=95, exif=exif)
    return data.getvalue()


def drop(client: TestClient, head: str, data: bytes, **typed: str):
    name = f"{head or 'room'}.jpg"
    return client.post(
        "/photographs/frame", data={"head": head, **typed}, files={"file": (name, data)}
    )


def test_photographs_take_the_place_of_the_drawn_face(client: TestClient) -> None:
    client.post("/api/recall", json={"look": 4})
    client.post("/api/dark", json={})
    client.post("/api/levels", json={"levels": {"Key": 50}})
    assert drop(client, "", frame(0.01)).status_code == 200
    # the live face can be lit by any head, so all have their frame
    for head in client.get("/api/rig").json()["heads"]:
        assert drop(client, head["name"], frame(LIT_AT_KEY, side=0.6)).status_code == 200
    page = client.get("/photographs").text
    assert "Key.jpg" in page
    client.post("/photographs/use", data={"on": "true"})
    assert "photographed in this room" in client.get("/board").text
    picture = until(lambda: client.get("/faces/now.jpg"))
    shown = np.asarray(Image.open(io.BytesIO(picture.content)).convert("L")).astype(float)
    assert shown[:, -80:].mean() > 1.3 * shown[:, :80].mean()  # lit from camera right, as it was

    client.post("/photographs/use", data={"on": "false"})
    assert "photographed in this room" not in client.get("/board").text


def test_a_moved_head_goes_back_to_the_drawing(client: TestClient) -> None:
    client.post("/api/levels", json={"levels": {"Key": 50}})
    drop(client, "", frame(0.01))
    for head in client.get("/api/rig").json()["heads"]:
        drop(client, head["name"], frame(LIT_AT_KEY))
    client.post("/photographs/use", data={"on": "true"})
    rig = client.get("/api/rig").json()
    rig["heads"][0]["placement"]["distance_m"] += 0.4
    assert client.put("/api/rig", json=rig).status_code == 200
    assert "moved since photographed" in client.get("/photographs").text
    assert "photographed in this room" not in client.get("/board").text


def test_a_pass_lights_one_head_alone(client: TestClient) -> None:
    page = client.post("/meter/light", data={"head": "Fill", "back": "/photographs"}).text
    assert "lit alone: shoot now" in page
    lit = {h["name"]: h["output"] for h in client.get("/api/state").json()["heads"]}
    assert lit.pop("Fill") == pytest.approx(0.25, abs=0.01)
    assert not any(lit.values())


@pytest.mark.parametrize(
    ("head", "data", "words"),
    [
        ("Key", b"hello", "no JPEG"),
        ("Key", frame(0.3), "comes first"),
        ("Nobody", frame(0.3), "Nobody"),
        ("", frame(4.0), "clipped"),
    ],
)
def test_what_cannot_be_taken_is_told_and_nothing_kept(
    client: TestClient, head: str, data: bytes, words: str
) -> None:
    answer = drop(client, head, data)
    assert 400 <= answer.status_code < 500
    assert words in answer.text
    assert "jpg," not in client.get("/photographs").text
    assert client.post("/photographs/use", data={"on": "true"}).status_code == 409


def test_a_frame_of_a_moved_stand_in_is_refused(client: TestClient) -> None:
    drop(client, "", frame(0.01))
    drop(client, "Key", frame(LIT_AT_KEY))
    shifted = np.asarray(Image.open(io.BytesIO(frame(LIT_AT_KEY))))
    shifted = np.roll(shifted, 40, axis=1)
    data = io.BytesIO()
    Image.fromarray(shifted).save(data, "JPEG", quality=95)
    answer = drop(client, "Fill", data.getvalue(), f_number="5.6", shutter="1/60", iso="400")
    assert answer.status_code == 409
    assert "moved since Key.jpg" in answer.text


def test_exposure_is_asked_for_when_the_file_does_not_tell(client: TestClient) -> None:
    data = io.BytesIO()
    Image.open(io.BytesIO(frame(0.01))).save(data, "JPEG", quality=95)
    answer = drop(client, "", data.getvalue())
    assert answer.status_code == 422
    assert "type them in" in answer.text
    assert drop(client, "", data.getvalue(), f_number="5,6", shutter="1/60", iso="400").is_success
    worse = drop(client, "", data.getvalue(), f_number="five", shutter="1/60", iso="400")
    assert worse.status_code == 422


def test_without_faces_the_page_says_so(tmp_path: Path) -> None:
    app = create_app(Settings(database=tmp_path / "studio.db", faces="none"))
    with TestClient(app) as client:
        answer = client.get("/photographs")
        assert answer.status_code == 409
        assert "switched off" in answer.text
