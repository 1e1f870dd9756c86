"""The page of the metering points: presets, forms, undo, and errors that change nothing."""

import re

import pytest
from starlette.testclient import TestClient

CHIN = {
    "name": "chin", "on": "face", "receptor": "flat", "x": "0 cm", "y": "-11", "z": "3 1/4 in",
    "turn": "0", "tilt": "-10",
}  # fmt: skip


def points(client: TestClient) -> dict[str, dict]:
    return {p["name"]: p for p in client.get("/api/rig").json()["points"]}


def fields(page: str) -> dict[str, str]:
    typed = dict(re.findall(r'<input name="(\w+)" value="([^"]*)"', page))
    chosen = re.findall(r'<select name="(\w+)">.*?<option value="(\w+)" selected>', page)
    return typed | dict(chosen)


def read(client: TestClient, point: str, lux: float = 700.0) -> None:
    """Meter the key alone at a point."""
    client.post("/meter/light", data={"head": "Key"})
    told = {"point": point, "head": "Key", "kind": "lux", "value": lux}
    assert client.post("/api/readings", json=told).status_code == 200


def test_every_form_saved_untouched_changes_nothing(client: TestClient) -> None:
    for units in ("m", "ft"):
        client.post("/rig/units", data={"units": units})
        before = client.get("/api/rig").json()
        for name in points(client):
            page = client.get(f"/rig/points/of/{name}").text
            assert client.post(f"/rig/points/of/{name}", data=fields(page)).url.path == (
                "/rig/points"
            )
        assert client.get("/api/rig").json() == before


def test_a_point_is_added_in_any_unit_and_read_at_once(client: TestClient) -> None:
    assert client.post("/rig/points/new", data=CHIN).url.path == "/rig/points"
    chin = points(client)["chin"]
    assert (chin["x"], chin["y"]) == (0.0, -0.11)
    assert chin["z"] == pytest.approx(0.08255)  # 3.25 in
    assert chin["ny"] == pytest.approx(-0.17365, abs=1e-5)  # sin(-10 deg)
    assert "chin" in {p["name"] for p in client.get("/api/state").json()["points"]}
    assert "11 cm below the eyes" in client.get("/rig/points").text


def test_every_preset_opens_as_a_form_that_can_be_saved(client: TestClient) -> None:
    names = re.findall(r"preset=([^\"]+)\"", client.get("/rig/points").text)
    assert len(names) >= 6
    for name in names:
        page = client.get(f"/rig/points/new?preset={name}").text
        assert client.post("/rig/points/new", data=fields(page)).url.path == "/rig/points"
    assert "preset=" not in client.get("/rig/points").text


def test_a_moved_points_readings_are_kept_out_with_words_and_come_back(client: TestClient) -> None:
    read(client, "cheek right")
    before = client.get("/api/rig").json()
    page = client.get("/rig/points/of/cheek%20right").text
    assert "1 reading taken here" in page
    client.post("/rig/points/of/cheek%20right", data=fields(page) | {"x": "7"})
    assert client.get("/api/readings").json() == []
    told = client.get("/rig/points").text
    assert "its 1 reading, taken where it was, is kept out of all figures" in told
    client.post("/rig/points/undo")
    assert client.get("/api/rig").json() == before
    assert client.post("/rig/points/undo").status_code == 409


def test_a_point_taken_out_comes_back_with_its_readings(client: TestClient) -> None:
    read(client, "forehead")
    before = client.get("/api/rig").json()
    client.post("/rig/points/of/forehead/delete")
    assert "forehead" not in points(client)
    assert client.get("/api/readings").json() == []
    assert "Bring forehead back with its 1 reading" in client.get("/rig/points").text
    client.post("/rig/points/undo")
    assert client.get("/api/rig").json() == before


def test_a_reading_whose_point_is_gone_says_so(client: TestClient) -> None:
    read(client, "forehead")
    rig = client.get("/api/rig").json()
    rig["points"] = [p for p in rig["points"] if p["name"] != "forehead"]
    assert client.put("/api/rig", json=rig).status_code == 200
    assert "this point is gone: kept out of all figures" in client.get("/meter").text


@pytest.mark.parametrize(
    ("path", "data", "code", "said"),
    [
        ("/rig/points/new", CHIN | {"name": ""}, 422, "point name"),
        ("/rig/points/new", CHIN | {"name": "hair"}, 422, "hair"),
        ("/rig/points/new", CHIN | {"z": "0.5 m"}, 422, "not on the face"),
        ("/rig/points/new", CHIN | {"y": "low"}, 422, "above the eyes must be like"),
        ("/rig/points/new", CHIN | {"tilt": "91"}, 422, "pointed up"),
        ("/rig/points/new", CHIN | {"turn": "nan"}, 422, "pointed to camera right"),
        ("/rig/points/new", CHIN | {"on": "hat"}, 422, "face or room"),
        ("/rig/points/new", CHIN | {"receptor": "spot"}, 422, "flat or dome"),
        ("/rig/points/of/knee", CHIN, 404, "knee"),
        ("/rig/points/of/hair/delete", {}, 409, "aimed at hair"),
        ("/rig/points/of/hair", CHIN | {"name": "crown", "on": "room"}, 409, "keeps its name"),
        ("/rig/points/undo", {}, 409, "nothing to take back"),
    ],
)
def test_what_cannot_be_is_said_and_nothing_changes(
    client: TestClient, path: str, data: dict[str, str], code: int, said: str
) -> None:
    before = client.get("/api/rig").json()
    for headers in ({}, {"HX-Request": "true"}):
        answer = client.post(path, data=data, headers=headers)
        assert answer.status_code == code
        assert said in answer.text
    assert client.get("/api/rig").json() == before


def test_two_people_at_one_point_lose_nothing(client: TestClient) -> None:
    page = client.get("/rig/points/of/forehead").text
    seen = re.search(r'name="seen" value="(\w+)"', page)[1]
    mine, theirs = (fields(page) | {"seen": seen, "y": y} for y in ("5 cm", "7 cm"))
    assert client.post("/rig/points/of/forehead", data=theirs).status_code == 200
    assert client.post("/rig/points/of/forehead", data=mine).status_code == 409
    assert points(client)["forehead"]["y"] == 0.07


def test_a_point_on_a_lens_is_refused(client: TestClient) -> None:
    """A head 2 m down the camera line: at its very lens there is no light to be told."""
    client.post("/rig/plan/Fill/typed", data={"azimuth_deg": "0", "distance": "2 m", "rise": "0"})
    before = client.get("/api/rig").json()
    data = CHIN | {"name": "lens", "on": "room", "x": "0", "y": "0", "z": "2 m"}
    answer = client.post("/rig/points/new", data=data)
    assert answer.status_code == 422
    assert "Fill" in answer.text
    assert client.get("/api/rig").json() == before
