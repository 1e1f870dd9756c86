"""Ways on the page and through the contract: taken with one undo, noted, ticked by hand."""

import re

import pytest
from starlette.testclient import TestClient


def state(client: TestClient) -> dict:
    return client.get("/api/state").json()


@pytest.fixture
def lit(client: TestClient) -> TestClient:
    """The demo studio with a key at full and a fill two stops down."""
    client.post("/api/levels", json={"levels": {"Key": 100, "Fill": 60}})
    return client


def test_a_way_without_hands_is_one_tap_and_one_undo(lit: TestClient) -> None:
    before = state(lit)
    page = lit.get("/board/ways?head=Key&thirds=1").text
    assert "Open the lens ⅓" in page
    lit.post("/live/way", data={"head": "Key", "thirds": 1, "kind": "lens"})
    after = state(lit)
    assert after["lens"]["f_number"] < before["lens"]["f_number"]
    key, fill = after["heads"][0], next(h for h in after["heads"] if h["name"] == "Fill")
    assert key["output"] == 1.0
    assert fill["stops_below_full"] == pytest.approx(
        next(h for h in before["heads"] if h["name"] == "Fill")["stops_below_full"] + 1 / 3
    )
    lit.post("/api/undo")
    undone = state(lit)
    assert undone["heads"] == before["heads"]
    assert undone["lens"]["f_number"] == before["lens"]["f_number"]


def test_a_way_with_hands_is_noted_and_ticked(lit: TestClient) -> None:
    distance = lit.get("/api/rig").json()["heads"][0]["placement"]["distance_m"]
    light = {p["name"]: p["lux"] for p in state(lit)["points"]}
    lit.post("/live/way", data={"head": "Key", "thirds": -1, "kind": "distance"})
    page = lit.get("/board/ways").text
    assert "For hands at the stands" in page
    number = re.search(r"/notes/(\d+)/done", page)[1]
    assert lit.get("/api/rig").json()["heads"][0]["placement"]["distance_m"] == distance
    lit.post(f"/notes/{number}/done")
    moved = lit.get("/api/rig").json()["heads"][0]["placement"]
    assert moved["distance_m"] == pytest.approx(distance * 2 ** (1 / 6), abs=0.1)
    now = {p["name"]: p["lux"] for p in state(lit)["points"]}
    assert now["cheek right"] < light["cheek right"]
    assert "For hands at the stands" not in lit.get("/board/ways").text
    assert lit.post(f"/api/notes/{number}/done").status_code == 404


def test_notes_are_dropped_and_a_newer_one_takes_the_older_one_s_place(lit: TestClient) -> None:
    for thirds in (-1, -2):
        lit.post("/api/ways", json={"head": "Key", "thirds": thirds, "kind": "distance"})
    notes = lit.get("/api/notes").json()["notes"]
    assert len(notes) == 1
    lit.post(f"/notes/{notes[0]['id']}/drop")
    assert lit.get("/api/notes").json()["notes"] == []


def test_a_note_of_a_head_that_is_gone_says_so(lit: TestClient) -> None:
    lit.post("/api/ways", json={"head": "Key", "thirds": -1, "kind": "distance"})
    number = lit.get("/api/notes").json()["notes"][0]["id"]
    lit.post("/rig/heads/Key/delete")
    answer = lit.post(f"/api/notes/{number}/done")
    assert answer.status_code == 409
    assert "no longer in the rig" in answer.json()["detail"]


@pytest.mark.parametrize(
    ("wish", "status"),
    [
        ({"head": "Nobody", "thirds": 1, "kind": "lens"}, 404),
        ({"head": "Key", "thirds": 1, "kind": "magic"}, 404),
        ({"head": "Key", "thirds": 12, "kind": "lens"}, 422),
        ({"head": "Key", "thirds": 1, "kind": "dim"}, 404),  # at full already
        ({"head": "Hair", "thirds": 1, "kind": "lens"}, 409),  # dark
    ],
)
def test_what_is_no_way_is_told(lit: TestClient, wish: dict, status: int) -> None:
    before = state(lit)["revision"]
    answer = lit.post("/api/ways", json=wish)
    assert answer.status_code == status
    assert answer.json()["detail"]
    assert state(lit)["revision"] == before


def test_banding_is_told_on_the_board_and_got_out_of(lit: TestClient) -> None:
    rig = lit.get("/api/rig").json()
    fill = next(h for h in rig["heads"] if h["name"] == "Fill")
    fill["bands_below"] = 0.6
    lit.put("/api/rig", json=rig)
    lit.post("/api/levels", json={"levels": {"Key": 60, "Fill": 55}})
    assert "may band below 60%" in lit.get("/board").text
    page = lit.get("/board/ways?head=Fill&thirds=0").text
    assert "All heads ▲" in page
    lit.post("/live/way", data={"head": "Fill", "thirds": 0, "kind": "lens"})
    assert "may band" not in lit.get("/board").text


def test_colours_are_told_in_a_colour_sitting_only(lit: TestClient) -> None:
    rig = lit.get("/api/rig").json()
    key = rig["heads"][0]
    key |= {"lamp": "tungsten", "cct_kelvin": 3200}
    next(h for h in rig["heads"] if h["name"] == "Fill")["cct_kelvin"] = 3200
    lit.put("/api/rig", json=rig)
    lit.post("/api/nudge", json={"head": "Key", "thirds": -3})
    assert "mired" not in lit.get("/board").text
    rig["sitter"]["colour"] = True
    lit.put("/api/rig", json=rig)
    assert "Key: 28 mired warmer than Fill" in lit.get("/board").text


def test_a_head_of_any_script_is_noted_too(lit: TestClient) -> None:
    rig = lit.get("/api/rig").json()
    rig["heads"][0]["name"] = "\u88dc\u52a9 & \u706f #1"
    assert lit.put("/api/rig", json=rig).status_code == 200
    name = rig["heads"][0]["name"]
    lit.post("/api/levels", json={"levels": {name: 80}})
    answer = lit.post(
        "/live/way", data={"head": name, "thirds": -1, "kind": "distance"},
        headers={"HX-Request": "true"},
    )  # fmt: skip
    assert answer.status_code == 204
    page = lit.get(answer.headers["HX-Redirect"]).text
    assert 'aria-current="true">\u88dc\u52a9 &amp; \u706f #1' in page


def test_a_note_that_dims_is_ticked_by_one_who_operates(lit: TestClient) -> None:
    told = lit.post("/api/ways", json={"head": "Key", "thirds": -2, "kind": "scrim"}).json()
    assert "then Key" in told["note"]["text"]
    desk = lit.app.state.desk
    tablet = TestClient(lit.app, client=("192.0.2.7", 5000))
    tablet.cookies.set("thirdstop", desk.doors.cookie(desk.doors.let_in("Ana", "ask")))
    before = state(lit)["heads"]
    assert tablet.post(f"/api/notes/{told['note']['id']}/done").status_code == 409
    assert state(lit)["heads"] == before
    assert lit.post(f"/api/notes/{told['note']['id']}/done").status_code == 200
