"""The Rig page: a newcomer's order of things, renaming, taking out and bringing back."""

import html
import re
from dataclasses import replace

import pytest
from starlette.testclient import TestClient

from server.app import create_app
from server.settings import Settings

ROOM = {
    "name": "Attic", "mains_volts": "230", "continuous_factor": "0,8", "ambient_lux": "0",
    "circuit_name": ["Wall", ""], "circuit_amps": ["16", ""], "circuit_other": ["", ""],
}  # fmt: skip
HEAD = {
    "name": "Key", "role": "key", "address": "1", "bits": "8", "universe": "1", "circuit": "Wall",
    "lamp": "led", "watts": "200", "power_factor": "0.95", "cct_kelvin": "5600", "curve": "square",
    "spot_candela": "60000", "spot_beam_deg": "11", "spot_field_deg": "20",
    "flood_candela": "9000", "flood_beam_deg": "50", "flood_field_deg": "66",
    "lens_diameter_m": "0.2", "azimuth_deg": "45", "distance_m": "2,2", "rise_m": "1",
    "focus": "0.5", "scrims": "", "aim": "mark",
}  # fmt: skip


@pytest.fixture
def newcomer(tmp_path) -> TestClient:
    with TestClient(create_app(Settings(database=tmp_path / "my.db", demo=False))) as client:
        yield client


def test_a_newcomer_enters_circuits_before_any_head(newcomer: TestClient) -> None:
    assert newcomer.post("/rig/room", data=ROOM).url.path == "/rig"
    assert newcomer.post("/rig/heads/new", data=HEAD).url.path == "/rig"
    rig = newcomer.get("/api/rig").json()
    assert [(c["name"], c["breaker_amps"]) for c in rig["room"]["circuits"]] == [("Wall", 16.0)]
    assert [(h["name"], h["circuit"]) for h in rig["heads"]] == [("Key", "Wall")]
    assert rig["heads"][0]["placement"]["distance_m"] == 2.2
    newcomer.post("/rig/heads/Key", data=HEAD | {"distance_m": "7' 4 1/2\"", "rise_m": "-1 ft"})
    placed = newcomer.get("/api/rig").json()["heads"][0]["placement"]
    assert placed["distance_m"] == pytest.approx(2.2479)  # 88.5 in of 25.4 mm
    assert placed["rise_m"] == pytest.approx(-0.3048)


@pytest.mark.parametrize(
    ("path", "data", "said"),
    [
        ("/rig/room", ROOM | {"circuit_amps": ["much", ""]}, "breaker of Wall"),
        ("/rig/room", ROOM | {"mains_volts": "nan"}, "mains, volts"),
        ("/rig/heads/new", HEAD | {"rise_m": "9"}, "height"),
        ("/rig/heads/new", HEAD | {"flood_beam_deg": "80"}, "field"),
        ("/rig/sitter", {"yaw_deg": "back", "white_over_lit_stops": "1"}, "face turned"),
    ],
)
def test_what_cannot_be_is_said_and_nothing_changes(
    client: TestClient, path: str, data: dict[str, object], said: str
) -> None:
    before = client.get("/api/rig").json()
    for headers in ({}, {"HX-Request": "true"}):
        answer = client.post(path, data=data, headers=headers)
        assert answer.status_code == 422
        assert said in answer.text
    assert "hx-swap-oob" in answer.text  # a notice: the form and what was typed stay
    assert client.get("/api/rig").json() == before


def test_a_renamed_head_takes_its_looks_and_steps_along(client: TestClient) -> None:
    client.post("/api/recall", json={"look": 4})
    client.post("/api/good")
    lit = client.post("/api/nudge", json={"head": "Key", "thirds": -1}).json()
    page = client.get("/rig/heads/Key").text
    fields = dict(re.findall(r'<input name="(\w+)"[^>]* value="([^"]*)"', page))
    chosen = re.findall(r'<select name="(\w+)">.*?<option selected>([^<]*)', page)
    answer = client.post("/rig/heads/Key", data=fields | dict(chosen) | {"name": "Big Key"})
    assert answer.url.path == "/rig"
    after = client.get("/api/state").json()
    assert [h["signal"] for h in after["heads"]] == [h["signal"] for h in lit["heads"]]
    names = {h["name"] for look in client.get("/api/looks").json() for h in look["heads"]}
    assert "Big Key" in names
    assert "Key" not in names
    undone = client.post("/api/undo").json()
    assert next(h for h in undone["heads"] if h["name"] == "Big Key")["output"] > 0
    assert client.post("/api/recall", json={"look": 4}).json()["changed"] is False


def test_steps_of_a_renamed_head_come_back_after_a_restart(tmp_path) -> None:
    settings = Settings(database=tmp_path / "s.db")
    with TestClient(create_app(settings)) as first:
        first.post("/api/recall", json={"look": 4})
        first.post("/api/nudge", json={"head": "Key", "thirds": -1})
        engine = first.app.state.desk.engine
        rig = engine.now().rig
        heads = tuple(replace(h, name="Big Key") if h.name == "Key" else h for h in rig.heads)
        engine.replace_rig(replace(rig, heads=heads), renamed={"Key": "Big Key"})
        first.post("/api/undo")
        before = first.get("/api/state").json()["heads"]
        first.post("/api/redo")
    with TestClient(create_app(settings)) as second:
        assert second.post("/api/undo").json()["heads"] == before


def test_a_head_taken_out_can_be_brought_back(client: TestClient) -> None:
    before = client.get("/api/rig").json()
    page = client.post("/rig/heads/Hair/delete").text
    assert "Hair" not in [h["name"] for h in client.get("/api/rig").json()["heads"]]
    document = html.unescape(re.search(r'name="head" value="([^"]*)"', page)[1])
    client.post("/rig/heads/bring-back", data={"head": document})
    after = client.get("/api/rig").json()
    assert sorted(after["heads"], key=str) == sorted(before["heads"], key=str)
    assert client.post("/rig/heads/bring-back", data={"head": "{"}).status_code == 422
    again = client.post("/rig/heads/bring-back", data={"head": document})
    assert again.status_code == 422  # it is there already


def test_ceiling_and_background_are_entered_with_the_room(client: TestClient) -> None:
    told = ROOM | {"ceiling_m": "3,2", "background_m": "2,25"}
    client.post("/rig/room", data=told | {"circuit_name": ["A", "B", "C"]}
                | {"circuit_amps": ["16"] * 3, "circuit_other": ["0"] * 3})  # fmt: skip
    rig = client.get("/api/rig").json()
    assert rig["room"]["ceiling_m"] == 3.2
    assert [p["z"] for p in rig["points"] if p["name"] == "background"] == [-2.25]
    page = client.get("/rig").text
    assert 'name="ceiling_m" inputmode="text" value="3.2"' in page
    assert 'name="background_m" inputmode="text" value="2.25"' in page
    by_tape = told | {"ceiling_m": "10 ft", "background_m": "6' 6\"", "circuit_name": []}
    feet = client.post("/rig/room", data=by_tape | {"circuit_name": ["A", "B", "C"],
                       "circuit_amps": ["16"] * 3, "circuit_other": ["0"] * 3})  # fmt: skip
    assert feet.url.path == "/rig"
    rig = client.get("/api/rig").json()
    assert rig["room"]["ceiling_m"] == pytest.approx(3.048)  # the foot of 1959, exact
    assert [p["z"] for p in rig["points"] if p["name"] == "background"] == [pytest.approx(-1.9812)]
    low = told | {"ceiling_m": "1", "circuit_name": []}
    assert "ceiling_m must lie from 1.5" in client.post("/rig/room", data=low).text


def test_a_form_of_a_room_that_was_left_changes_nothing(client: TestClient) -> None:
    page = client.get("/rig/heads/Key").text
    assert '<input type="hidden" name="room_id" value="1">' in page
    client.post("/rooms/1/duplicate")
    client.post("/api/rooms/2/open")
    before = client.get("/api/rig").json()
    stale = {"room_id": "1", "name": "Stale", "yaw_deg": "5"}
    for path in ("/rig/heads/Key", "/rig/heads/new", "/rig/heads/Key/delete", "/rig/room",
                 "/rig/sitter"):  # fmt: skip
        answer = client.post(path, data=stale)
        assert answer.status_code == 409, path
        assert "Boathouse 2 was opened meanwhile" in answer.text
    assert client.get("/api/rig").json() == before


def test_readings_follow_a_head_that_gets_another_name(client: TestClient) -> None:
    rig = client.get("/api/rig").json()
    key = rig["heads"][0]
    rig["readings"] = [
        {"point": "forehead", "head": "Key", "lux": 900, "output": 0.25,
         "at": "2026-05-01T10:00:00+00:00", "placement": key["placement"]}
    ]  # fmt: skip
    client.put("/api/rig", json=rig)
    form = HEAD | {"name": "First", "bits": "16", "circuit": "A"}
    assert client.post("/rig/heads/Key", data=form).url.path == "/rig"
    assert [r["head"] for r in client.get("/api/rig").json()["readings"]] == ["First"]


def test_one_head_after_another_without_a_way_back(newcomer: TestClient) -> None:
    newcomer.post("/rig/room", data=ROOM)
    assert "First steps" in newcomer.get("/rig").text
    assert newcomer.post("/rig/heads/new", data=HEAD | {"then": "another"}).url.path == (
        "/rig/heads/new")  # fmt: skip
    offered = newcomer.get("/rig/heads/new").text
    assert 'name="name" value="Fill"' in offered
    assert 'name="address" inputmode="numeric" value="2"' in offered
    assert 'name="spot_candela" inputmode="decimal" value="60000' in offered
    assert "✓ 1 entered" in newcomer.get("/rig").text
    newcomer.post("/live/nudge", data={"group": "key", "thirds": "1"})
    assert "First steps" not in newcomer.get("/rig").text
