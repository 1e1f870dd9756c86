"""What a sceptic sent: absurd numbers, half characters, late forms, names that are taken."""

import asyncio
import json
import re
import sqlite3
from datetime import UTC, datetime
from io import BytesIO
from threading import Thread
from typing import Any

import pytest
from starlette.testclient import TestClient

from server.store.backup import check
from server.studio.document import placement_document
from server.studio.head import Placement


def rig(client: TestClient) -> dict[str, Any]:
    return client.get("/api/rig").json()


def reading(**more: Any) -> dict[str, Any]:
    return {
        "point": "cheek right", "head": "Key", "lux": 900.0, "output": 0.5,
        "at": datetime(2026, 5, 1, tzinfo=UTC).isoformat(),
        "placement": placement_document(Placement()),
    } | more  # fmt: skip


def test_tiny_and_huge_numbers_are_refused_and_change_nothing(client: TestClient) -> None:
    before = rig(client)
    hostile = [
        ("heads", {"power_factor": 1e-320}),
        ("heads", {"address": 10**400}),
        ("heads", {"universe": 10**30}),
        ("heads", {"name": "A/delete"}),
        ("heads", {"name": ".."}),
        ("heads", {"name": "new"}),
    ]
    for where, change in hostile:
        wish = json.loads(json.dumps(before))
        wish[where][0] |= change
        answer = client.put(
            "/api/rig", content=json.dumps(wish), headers={"Content-Type": "application/json"}
        )
        assert 400 <= answer.status_code < 500, change
        assert answer.json()["detail"]
        assert rig(client) == before


@pytest.mark.parametrize(
    "wrong",
    [
        {"point": "\ud800"},
        {"head": "\ud800"},
        {"output": 1e-320},
        {"output": 0.0},
        {"at": "9999-12-31T23:59:59-14:00"},
        {"at": "0001-01-01T00:00:00+00:00"},
    ],
)
def test_readings_that_cannot_be_are_refused(client: TestClient, wrong: dict[str, Any]) -> None:
    before = rig(client)
    wish = {**before, "readings": [reading(**wrong)]}
    answer = client.put(
        "/api/rig", content=json.dumps(wish), headers={"Content-Type": "application/json"}
    )
    assert answer.status_code == 422
    assert rig(client) == before
    assert client.get("/meter").status_code == 200


@pytest.mark.parametrize("where", ["readings", "lamps", "heads"])
def test_half_a_character_is_not_kept_in_the_rig(client: TestClient, where: str) -> None:
    before = rig(client)
    wish = json.loads(json.dumps(before))
    half = "\\ud800"
    if where == "readings":
        wish["readings"] = [reading(placement={**placement_document(Placement()), "aim": half})]
    elif where == "lamps":
        wish["lamps"] = [{"head": half, "at": "2026-05-01T10:00:00+00:00"}]
    else:
        wish["heads"][0]["placement"]["aim"] = half
    body = json.dumps(wish).replace("\\\\ud800", "\\ud800")
    answer = client.put("/api/rig", content=body, headers={"Content-Type": "application/json"})
    assert answer.status_code == 422
    assert rig(client) == before


def test_a_reading_aimed_at_a_point_that_is_gone_anchors_nothing(client: TestClient) -> None:
    wish = rig(client)
    aimed = placement_document(Placement(aim="hair"))
    wish["readings"] = [reading(placement=aimed)]
    assert client.put("/api/rig", json=wish).status_code == 200
    wish["points"] = [p for p in wish["points"] if p["name"] != "hair"]
    for head in wish["heads"]:
        head["placement"]["aim"] = "mark"
    assert client.put("/api/rig", json=wish).status_code == 200
    assert client.get("/api/state").status_code == 200
    assert client.get("/").status_code == 200  # looks that aim at it, too


def test_half_a_character_is_not_kept_in_notes(client: TestClient) -> None:
    body = json.dumps({"name": "One", "notes": "\ud800"})
    headers = {"Content-Type": "application/json"}
    assert client.post("/api/looks", content=body, headers=headers).status_code == 422
    body = json.dumps({"notes": "\ud800"})
    assert client.patch("/api/looks/4", content=body, headers=headers).status_code == 422


def test_an_origin_that_is_no_address_is_refused(client: TestClient) -> None:
    assert client.post("/api/good", headers={"Origin": "http://["}).status_code == 403


def test_names_may_join_their_letters(client: TestClient) -> None:
    wish = rig(client)
    wish["room"]["name"] = "\N{WOMAN}\N{ZERO WIDTH JOINER}\N{ARTIST PALETTE} Studio"
    assert client.put("/api/rig", json=wish).status_code == 200
    assert "Studio" in client.get("/board").text


def test_a_slow_form_does_not_undo_what_came_meanwhile(client: TestClient) -> None:
    """The form's head arrives, then a rig is put, then the rest of the form."""
    app = client.app
    body = "stand_in=one&white_over_lit_stops=0.7&yaw_deg=7"
    wish = rig(client)
    wish["heads"][0]["watts"] = 333.0
    sent: list[Any] = []

    async def slowly() -> None:
        parts = [body[:20].encode(), body[20:].encode()]

        async def receive() -> Any:
            part = parts.pop(0)
            if not parts:  # between the two, somebody else changes the rig
                done = await asyncio.to_thread(client.put, "/api/rig", json=wish)
                assert done.status_code == 200
            return {"type": "http.request", "body": part, "more_body": bool(parts)}

        async def send(message: Any) -> None:
            sent.append(message)

        await app(
            {
                "type": "http", "method": "POST", "path": "/rig/sitter", "raw_path": b"/rig/sitter",
                "query_string": b"", "scheme": "http", "http_version": "1.1", "root_path": "",
                "headers": [(b"host", b"testserver"),
                            (b"content-type", b"application/x-www-form-urlencoded")],
                "client": ("127.0.0.1", 1), "server": ("testserver", 80), "app": app, "state": {},
            },
            receive, send,
        )  # fmt: skip

    # in a thread: the browser of other tests may keep a loop of its own in this one
    own = Thread(target=lambda: asyncio.run(slowly()))
    own.start()
    own.join()
    assert sent[0]["status"] == 303
    assert rig(client)["heads"][0]["watts"] == 333.0
    assert rig(client)["sitter"]["yaw_deg"] == 7.0


def test_a_form_that_was_opened_before_another_s_change_is_refused(client: TestClient) -> None:
    page = client.get("/rig/heads/Key").text
    fields = dict(re.findall(r'<input[^>]* name="(\w+)"[^>]* value="([^"]*)"', page))
    for name in ("role", "circuit", "lamp", "curve", "aim", "bits"):
        found = re.search(rf'name="{name}">(.*?)</select>', page, re.S)
        fields[name] = re.search(r"<option selected>([^<]*)", found[1])[1]
    fields["curve_points"] = ""
    assert client.post("/rig/heads/Key", data=fields).status_code == 200
    wish = rig(client)
    wish["heads"][0]["placement"]["distance_m"] = 3.3
    client.put("/api/rig", json=wish)
    answer = client.post("/rig/heads/Key", data=fields)
    assert answer.status_code == 409
    assert "changed by someone else" in answer.text
    assert rig(client)["heads"][0]["placement"]["distance_m"] == 3.3


def test_a_name_that_looks_still_hold_is_not_given_to_another_head(client: TestClient) -> None:
    client.post("/rig/heads/Kicker/delete")
    looks = client.get("/api/looks").json()
    page = client.get("/rig/heads/Key").text
    fields = dict(re.findall(r'<input[^>]* name="(\w+)"[^>]* value="([^"]*)"', page))
    for name in ("role", "circuit", "lamp", "curve", "aim", "bits"):
        found = re.search(rf'name="{name}">(.*?)</select>', page, re.S)
        fields[name] = re.search(r"<option selected>([^<]*)", found[1])[1]
    fields |= {"curve_points": "", "name": "Kicker"}
    answer = client.post("/rig/heads/Key", data=fields)
    assert answer.status_code == 409
    assert "looks still hold" in answer.text
    assert client.get("/api/looks").json() == looks


def test_a_copy_holds_no_key_to_the_door_and_is_not_for_who_only_watches(
    client: TestClient, tmp_path: Any
) -> None:
    answer = client.get("/rig/copy")
    path = tmp_path / "copy.db"
    path.write_bytes(BytesIO(answer.content).read())
    check(path)
    with sqlite3.connect(path) as copy:
        assert copy.execute("SELECT count(*) FROM secret").fetchone() == (0,)
        assert copy.execute("SELECT count(*) FROM device").fetchone() == (0,)
        assert copy.execute("SELECT count(*) FROM look").fetchone()[0] >= 12
    desk = client.app.state.desk
    device = desk.doors.let_in("Guest", "watch")
    tablet = TestClient(client.app, client=("192.0.2.7", 5000))
    tablet.cookies.set("thirdstop", desk.doors.cookie(device))
    assert tablet.get("/rig/copy").status_code == 409
