"""Match a picture on the page: a portrait of known light goes in, its look comes out first."""

import io
import re
from math import log2

import numpy as np
import pytest
from PIL import Image
from starlette.testclient import TestClient

from server.preview.scene import STAND_INS, Scene

PLACES = {
    "cheek right": (0.3, 0.5),  # patches, not a face: any place will do
    "cheek left": (0.7, 0.5),
    "forehead": (0.5, 0.2),
    "hair": (0.5, 0.06),
    "background": (0.06, 0.5),
}


def portrait_of(client: TestClient, brightest: float = 0.5) -> bytes:
    """What is lit now as patches: light times what the stand-in is made of, sRGB coded."""
    who = STAND_INS["one"]
    of_itself = {"hair": who.hair_reflectance,
                 "background": Scene("one", 0.0).background_reflectance}  # fmt: skip
    lux = {p["name"]: p["lux"] for p in client.get("/api/state").json()["points"]}
    light = {n: lux[n] * of_itself.get(n, who.skin_reflectance) for n in PLACES}
    linear = np.full((800, 640), 0.002)
    for name, (x, y) in PLACES.items():
        row, column = round(800 * y), round(640 * x)
        patch = np.s_[max(0, row - 40) : row + 40, max(0, column - 40) : column + 40]
        linear[patch] = brightest * light[name] / max(light.values())
    linear = np.minimum(linear, 1.0)
    coded = np.where(linear <= 0.0031308, 12.92 * linear, 1.055 * linear ** (1 / 2.4) - 0.055)
    data = io.BytesIO()
    Image.fromarray((65535 * coded + 0.5).astype(np.uint16)).save(data, "PNG")
    return data.getvalue()


def dropped(client: TestClient, data: bytes) -> str:
    """The address of the page with the picture on it."""
    answer = client.post("/match/picture", files={"file": ("own.png", data)})
    assert answer.status_code == 200
    return answer.url.path


def tapped(client: TestClient, path: str, *names: str) -> str:
    """Tap points as a browser without JavaScript does, or skip them; the address then."""
    page = client.get(path).text
    while asked := re.search(r"Tap <strong>([^<]+)</strong>", page):
        name, said = asked[1].replace("camera ", ""), asked[1]
        assert "left" not in said.replace("camera left", "")
        assert "right" not in said.replace("camera right", "")
        if name in names:
            link = re.search(r'href="(/match/[^"]+/tap)"', page)
            x, y = PLACES[name]
            answer = client.get(f"{link[1]}?{round(383 * x)},{round(479 * y)}")
        else:
            answer = client.get(re.search(rf'href="([^"]+)">Skip {said}', page)[1])
        assert answer.status_code == 200
        page, path = answer.text, answer.url.path
    return path


@pytest.mark.parametrize("look", [2, 4, 7])
def test_the_look_that_made_the_picture_comes_first(client: TestClient, look: int) -> None:
    client.post("/api/recall", json={"look": look, "fade_s": 0})
    name = client.get("/api/state").json()["look"]["name"]
    path = tapped(client, dropped(client, portrait_of(client)), *PLACES)
    page = client.get(path).text
    likes = page[page.index("Looks that are like it") :]
    first = re.search(r"<h3>([^<]+)</h3>", likes)[1]
    assert first == name
    assert "Within a sixth of a stop" in likes[: likes.index("</li>")]
    assert "Approximate" in page


def test_the_mix_is_lit_with_one_undo(client: TestClient) -> None:
    client.post("/api/recall", json={"look": 4, "fade_s": 0})
    wanted = {p["name"]: p["lux"] for p in client.get("/api/state").json()["points"]}
    path = tapped(client, dropped(client, portrait_of(client)), *PLACES)
    client.post("/api/recall", json={"look": 2, "fade_s": 0})
    before = client.get("/api/state").json()
    _, _, picture, taps = path.split("/")
    answer = client.post("/match/light", data={"picture": picture, "taps": taps})
    assert answer.url.path == path, answer.text
    state = client.get("/api/state").json()
    got = {p["name"]: p["lux"] for p in state["points"]}
    apart = [log2(got[n] / wanted[n]) for n in ("cheek right", "cheek left", "forehead")]
    assert max(apart) - min(apart) < 1 / 6
    assert "the light of a picture" in client.get("/board").text
    client.post("/api/undo")
    undone = client.get("/api/state").json()
    assert [h["output"] for h in undone["heads"]] == [h["output"] for h in before["heads"]]


def test_two_points_of_the_face_are_enough_and_one_is_not(client: TestClient) -> None:
    client.post("/api/recall", json={"look": 4, "fade_s": 0})
    path = dropped(client, portrait_of(client))
    one = client.get(tapped(client, path, "cheek right")).text
    assert "At least two points on the face are needed" in one
    assert "Looks that are like it" not in one
    two = client.get(tapped(client, path, "cheek right", "cheek left")).text
    assert "Looks that are like it" in two


def test_what_cannot_be_read_is_said(client: TestClient) -> None:
    refused = client.post("/match/picture", files={"file": ("a.png", b"no picture")})
    assert refused.status_code == 422
    assert "no JPEG, TIFF or PNG" in refused.text
    assert client.get("/match/abc/none").status_code == 404
    assert "drop it in again" in client.get("/match/abc.jpg").text
    client.post("/api/recall", json={"look": 4, "fade_s": 0})
    path = dropped(client, portrait_of(client))
    for bad in ("1,2,3", "x,y", "nan,0", "2,2", ";".join(["-"] * 9)):
        assert client.get(path.replace("none", bad)).status_code == 422, bad
    assert client.get(f"{path}/tap?left").status_code == 422
    assert client.get(f"{path}/tap").status_code == 422
    assert client.get(f"{path}/tap?9999,1").status_code == 422
    white = dropped(client, portrait_of(client, brightest=60.0))
    page = client.get(tapped(client, white, "cheek right", "cheek left")).text
    assert "The picture is plain white there: tap beside it, or skip this point." in page
    answer = client.post("/match/light", data={"picture": "abc", "taps": "none"})
    assert answer.status_code == 404
    assert client.get("/library").text.count('href="/match"') == 1
