"""The Rooms page and its calls: opened, made, copied, renamed, archived, brought back."""

import json
import re
from pathlib import Path
from typing import Any

import pytest
from starlette.testclient import TestClient

from server.app import create_app
from server.settings import Settings
from server.web.doors import COOKIE

MILL = {
    "room": {"name": "Old mill", "mains_volts": 230, "ceiling_m": 3.2},
    "lens": {"iso": 800, "shutter_s": 0.004, "f_number": 8},
    "heads": [
        {"name": "Key", "role": "key", "address": 101},
        {"name": "Lamp", "role": "fill", "address": 102},
    ],
}


def rooms(client: TestClient) -> dict[str, dict[str, Any]]:
    return {room["name"]: room for room in client.get("/api/rooms").json()}


def signals(client: TestClient) -> dict[str, list[int]]:
    return {h["name"]: h["signal"] for h in client.get("/api/state").json()["heads"]}


@pytest.fixture
def mill(client: TestClient) -> int:
    """A second room, entered and left again: its id."""
    client.post("/rooms/new", data={"name": "Old mill"})
    room_id: int = rooms(client)["Old mill"]["id"]
    assert client.post(f"/api/rooms/{room_id}/open").status_code == 200
    assert client.put("/api/rig", json=MILL).status_code == 200
    assert client.post("/api/rooms/1/open").status_code == 200
    return room_id


def test_the_list_tells_what_each_room_holds(client: TestClient, mill: int) -> None:
    assert list(rooms(client)) == ["Boathouse", "Old mill"]
    told = rooms(client)["Old mill"]
    assert told == {
        "id": mill, "name": "Old mill", "open": False, "heads": ["Key", "Lamp"], "circuits": 0,
        "looks": 0, "archived": False,
    }  # fmt: skip
    page = client.get("/rooms").text
    assert "9 heads · 3 circuits · 12 looks" in page
    assert "2 heads · no circuits · no looks" in page
    assert 'href="/rooms"' in client.get("/rig").text
    example = client.get("/openapi.json").json()["paths"]["/api/rooms"]["get"]["responses"]["200"]
    shown = example["content"]["application/json"]["example"][0]
    assert set(shown) == set(told)


def test_heads_that_are_called_the_same_keep_their_light(client: TestClient, mill: int) -> None:
    client.post("/api/levels", json={"levels": {"Key": 50, "Hair": 40}})
    assert "Opened now: Key keeps the light; Hair goes dark." in client.get("/rooms").text
    output = {h["name"]: h["output"] for h in client.get("/api/state").json()["heads"]}
    state = client.post(f"/api/rooms/{mill}/open").json()
    assert {h["name"]: h["output"] for h in state["heads"]} == {"Key": output["Key"], "Lamp": 0.0}
    assert state["room"] == {"id": mill, "name": "Old mill"}
    assert (state["lens"]["iso"], state["lens"]["f_number"]) == (800, 8)
    assert state["did"] == "Old mill opened"
    rig = client.get("/api/rig").json()
    assert [h["address"] for h in rig["heads"]] == [101, 102]
    assert rig["room"]["ceiling_m"] == 3.2


def test_a_room_comes_back_as_it_was_left(client: TestClient, mill: int) -> None:
    client.post("/live/lens", data={"iso": "200", "shutter": "1/60", "f_number": "4"})
    before = client.get("/api/rig").json()
    client.post(f"/api/rooms/{mill}/open")
    client.post("/api/rooms/1/open")
    assert client.get("/api/rig").json() == before
    assert before["lens"]["iso"] == 200


def test_the_open_room_is_open_after_a_start(tmp_path: Path) -> None:
    settings = Settings(database=tmp_path / "s.db", faces="none")
    with TestClient(create_app(settings)) as client:
        client.post("/rooms/1/duplicate")
        client.post("/api/rooms/2/open")
        client.post("/api/levels", json={"levels": {"Key": 50}})
        client.post("/rooms/2/rename", data={"name": "Winter"})
        lit = signals(client)
    with TestClient(create_app(settings)) as client:
        state = client.get("/api/state").json()
        assert state["room"] == {"id": 2, "name": "Winter"}
        assert signals(client) == lit
        assert rooms(client)["Boathouse"]["open"] is False


def test_what_cannot_be_opened_is_said_and_nothing_changes(client: TestClient, mill: int) -> None:
    state = client.get("/api/state").json()
    refused = client.post("/api/rooms/1/open")
    assert (refused.status_code, refused.json()["detail"]) == (409, "Boathouse is open already")
    assert client.post("/api/rooms/77/open").status_code == 404
    assert "no room 77" in client.post("/rooms/77/open").text
    client.post(f"/rooms/{mill}/archive")
    assert "bring it back first" in client.post(f"/api/rooms/{mill}/open").json()["detail"]
    client.post(f"/rooms/{mill}/bring-back")
    assert client.get("/api/state").json() == state
    client.post("/rig/walk/start")
    assert "channel walk" in client.post(f"/api/rooms/{mill}/open").json()["detail"]
    client.post("/rig/walk/stop")
    assert client.post(f"/api/rooms/{mill}/open").status_code == 200


def test_a_look_says_whose_room_it_is_of(client: TestClient, mill: int) -> None:
    client.post(f"/api/rooms/{mill}/open")
    client.post("/api/levels", json={"levels": {"Key": 50}})
    here = client.post("/api/looks", json={"name": "Only the key"}).json()
    client.post("/api/levels", json={"levels": {"Key": 50, "Lamp": 30}})
    both = client.post("/api/looks", json={"name": "With the lamp"}).json()
    assert here["room"] == {"id": mill, "name": "Old mill"}
    client.put("/api/running-order", json={"looks": [here["id"], both["id"]]})
    assert "of the room" not in client.get("/").text
    client.post("/api/rooms/1/open")
    library = client.get("/library").text
    assert "of the room Old mill" not in library
    assert 'aria-checked="false" href="/library?others=true">Other rooms’ looks too (2)' in library
    assert "No look found in this room" in client.get("/library?q=Only").text
    wider = client.get("/library?q=Only&others=true").text
    assert wider.count("of the room Old mill") == 1
    assert '<input type="hidden" name="others" value="true">' in wider  # the next search too
    assert 'aria-checked="true" href="/library?q=Only">' in wider
    assert len(client.get("/api/looks").json()) == 14
    library = client.get("/library?others=true").text
    assert library.count("of the room Old mill") == 2
    client.put("/api/running-order", json={"looks": [here["id"], both["id"], 1]})
    assert client.get("/").text.count("of the room Old mill") == 2
    state = client.post("/api/recall", json={"look": here["id"]}).json()
    assert state["did"] == "Only the key of the room Old mill"
    assert state["look"] == {"id": here["id"], "name": "Only the key"}
    refused = client.post("/api/recall", json={"look": both["id"]})
    assert refused.status_code == 409
    assert "needs Lamp" in refused.json()["detail"]
    assert "open Old mill" in refused.json()["detail"]


def test_a_look_may_aim_at_a_point_that_this_room_has_not_got(client: TestClient) -> None:
    rig = client.get("/api/rig").json()
    points, head = rig["points"], rig["heads"][0]
    rig["points"] = [*points, {**points[0], "name": "cello", "on": "room"}]
    head["placement"]["aim"] = "cello"
    assert client.put("/api/rig", json=rig).status_code == 200
    client.post("/api/levels", json={"levels": {"Key": 50}})
    look = client.post("/api/looks", json={"name": "Cello"}).json()["id"]
    rig["points"], head["placement"]["aim"] = points, "mark"
    client.put("/api/rig", json=rig)
    client.put("/api/running-order", json={"looks": [look]})
    assert "hands needed: Key" in client.get("/").text
    for path in ("/", "/library", f"/library/{look}/plan"):
        assert client.get(path).status_code == 200, path


def test_archiving_is_undone_by_one_tap(client: TestClient, mill: int) -> None:
    told = client.post(f"/rooms/{mill}/archive").text
    assert "Old mill archived" in told
    assert "Undo: bring it back" in told
    assert rooms(client)["Old mill"]["archived"] is True
    client.post(f"/rooms/{mill}/bring-back")
    assert rooms(client)["Old mill"]["archived"] is False
    assert client.post("/rooms/1/archive").status_code == 409


def test_names_are_taken_as_they_should_be(client: TestClient, mill: int) -> None:
    assert client.post("/rooms/new", data={"name": "old MILL"}).status_code == 409
    assert client.post("/rooms/1/rename", data={"name": "Old mill"}).status_code == 409
    assert client.post("/rooms/new", data={"name": "x" * 41}).status_code == 422
    assert client.post("/rooms/new", data={"name": "  "}).status_code == 422
    client.post("/rooms/1/rename", data={"name": "Boathouse by day"})
    assert client.get("/api/rig").json()["room"]["name"] == "Boathouse by day"
    assert set(rooms(client)) == {"Boathouse by day", "Old mill"}


def test_every_key_of_the_page_is_a_form_that_works_without_scripts(
    client: TestClient, mill: int
) -> None:
    page = client.get("/rooms").text
    actions = set(re.findall(r'<form method="post" action="(/rooms/[^"]+)"', page))
    assert actions == {
        "/rooms/new", "/rooms/import", "/rooms/1/duplicate", "/rooms/1/rename",
        f"/rooms/{mill}/open", f"/rooms/{mill}/duplicate", f"/rooms/{mill}/rename",
        f"/rooms/{mill}/archive",
    }  # fmt: skip
    answer = client.post(f"/rooms/{mill}/open", follow_redirects=False)
    assert (answer.status_code, answer.headers["location"]) == (303, "/rig")


@pytest.mark.parametrize("role", ["ask", "watch"])
def test_only_an_operating_device_touches_rooms(client: TestClient, mill: int, role: str) -> None:
    doors = client.app.state.desk.doors  # type: ignore[attr-defined]
    tablet = TestClient(client.app, client=("192.0.2.7", 5000))
    tablet.cookies.set(COOKIE, doors.cookie(doors.let_in("Ana", role)))
    for path in (f"/api/rooms/{mill}/open", f"/rooms/{mill}/open", f"/rooms/{mill}/archive",
                 "/rooms/new", "/rooms/1/duplicate", "/rooms/1/rename"):  # fmt: skip
        assert tablet.post(path, data={"name": "Hers"}).status_code == 403, path
    assert tablet.get("/rooms").status_code == 200
    assert tablet.get("/api/rooms").json() == client.get("/api/rooms").json()
    assert set(rooms(client)) == {"Boathouse", "Old mill"}
    assert client.get("/api/state").json()["room"]["id"] == 1


def test_photographs_are_of_the_room_they_were_taken_in(tmp_path: Path) -> None:
    settings = Settings(database=tmp_path / "s.db", faces=str(tmp_path / "faces"))
    frame = {"file": "a.npy", "scale": 1, "name": "mine.jpg", "at": "2026-05-01T10:00:00+00:00",
             "yaw_deg": 0, "size": [3, 2], "placement": None}  # fmt: skip
    settings.photographs_in(1).mkdir()
    (settings.photographs_in(1) / "set.json").write_text(
        json.dumps({"used": False, "shots": {"": frame}})
    )
    with TestClient(create_app(settings)) as client:
        assert "mine.jpg" in client.get("/photographs").text
        client.post("/rooms/1/duplicate")
        client.post("/rooms/2/open")
        assert "mine.jpg" not in client.get("/photographs").text
        client.post("/rooms/1/open")
        assert "mine.jpg" in client.get("/photographs").text
