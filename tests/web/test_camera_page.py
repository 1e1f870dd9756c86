"""The camera as the meter on the page: one reading in, the other heads at that point out.

The frames are synthetic: the same stand-in, each head so many times as bright; the room's own
light of 0.01 is taken off each.
"""

import html
import re
from collections.abc import Iterator
from pathlib import Path

import pytest
from starlette.testclient import TestClient

from server.app import create_app
from server.settings import Settings
from tests.web.test_photographs_page import drop, frame

LIGHT = {"Key": 0.3, "Fill": 0.15, "Rim": 0.06}
ROOM = 0.01


@pytest.fixture
def client(tmp_path: Path) -> Iterator[TestClient]:
    """The demo studio with faces, and photographs of three heads."""
    settings = Settings(database=tmp_path / "studio.db", faces=str(tmp_path / "faces"))
    with TestClient(create_app(settings)) as client:
        assert drop(client, "", frame(ROOM)).is_success
        for head, light in LIGHT.items():
            assert drop(client, head, frame(light)).is_success
        yield client


def page(client: TestClient, taps: str) -> str:
    return html.unescape(client.get(f"/photographs/camera/{taps}").text)


def meter(client: TestClient, head: str, lux: float, point: str = "cheek right") -> None:
    client.post("/meter/light", data={"head": head})
    wish = {"point": point, "head": head, "value": lux, "kind": "lux"}
    assert client.post("/api/readings", json=wish).status_code == 200


def told(text: str, point: str = "cheek camera right") -> dict[str, float]:
    row = re.search(rf"<dt>{point}</dt><dd>([^<]*)</dd>", text)[1]
    return {h: float(lux) for h, lux in re.findall(r"([A-Z]\w+) (\d+) lx", row)}


def test_one_reading_tells_the_other_heads(client: TestClient) -> None:
    text = page(client, "0.6,0.5")
    assert "No reading yet to go by: the face" in text
    meter(client, "Key", 800.0)
    text = page(client, "0.6,0.5")
    lux = told(text)
    assert lux["Fill"] / lux["Key"] == pytest.approx(0.14 / 0.29, rel=0.03)
    assert lux["Rim"] / lux["Key"] == pytest.approx(0.05 / 0.29, rel=0.06)
    assert "1 pair metered, 2 more told by the camera" in text
    assert "Take 2 as readings" in text


def test_what_it_tells_is_taken_as_readings_and_the_figures_follow(client: TestClient) -> None:
    meter(client, "Key", 800.0)
    answer = client.post("/photographs/camera/take", data={"taps": "0.6,0.5"})
    assert answer.status_code == 200
    kept = {(r["head"], r["point"]): r for r in client.get("/api/readings").json()}
    assert set(kept) == {("Key", "cheek right"), ("Fill", "cheek right"), ("Rim", "cheek right")}
    assert {h: r["by"] for (h, _), r in kept.items()} == {
        "Key": "meter", "Fill": "camera", "Rim": "camera",
    }  # fmt: skip
    assert "2 readings told by the camera" in client.get("/board").text
    # its own readings prove nothing, and no page says that the meter read them
    text = page(client, "0.6,0.5")
    assert "agree" not in text
    assert "1 pair metered, 2 more told by the camera, 2 of them taken as readings" in text
    client.post("/api/levels", json={"levels": {"Key": 50, "Fill": 50}})
    trust = html.unescape(client.get("/meter/trust").text)
    assert "◈ Fill" in trust
    assert "Told by the camera on" in trust
    assert trust.count("Read ") == 1
    again = client.post("/photographs/camera/take", data={"taps": "0.6,0.5"})
    assert again.status_code == 409
    assert "no pair that is not metered or taken already" in again.text
    # and read by the meter too, the agreement is told: the fill 0.6 over what the camera says:
    # the scale lies between the two readings, so each is 0.3 off
    expected = 4 * 800 * 0.14 / 0.29
    meter(client, "Fill", 0.25 * expected * 2**0.6)
    assert "Camera and meter are up to 0.3 stop apart" in page(client, "0.6,0.5")


def test_taps_and_troubles(client: TestClient) -> None:
    first = client.get("/photographs/camera")
    assert first.url.path == "/photographs/camera/none"
    assert "Tap <strong>cheek camera right</strong>" in first.text
    link = re.search(r'href="(/photographs/camera/none/tap)"', first.text)[1]
    second = client.get(f"{link}?230,240")
    assert "Tap <strong>cheek camera left</strong>" in second.text
    assert client.get("/photographs/camera.jpg").headers["content-type"] == "image/jpeg"
    assert client.get("/photographs/camera/x").status_code == 422
    assert client.post("/photographs/camera/take", data={"taps": "none"}).status_code == 409
    client.post("/meter/receptor", data={"receptor": "dome"})
    assert "read with the dome" in page(client, "0.6,0.5")
    client.post("/photographs/anew")
    gone = client.get("/photographs/camera/none")
    assert gone.status_code == 409
    assert "no photographs of the heads as they stand" in gone.text
