"""The whole studio as a file: out, looked at, in place; and what is no such file."""

import json
import re
from collections.abc import Callable
from pathlib import Path
from typing import Any

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from starlette.testclient import TestClient

from server.app import create_app
from server.settings import Settings
from server.web.piecewise import parts_of

Json = dict[str, Any]


def exported(client: TestClient) -> Json:
    answer = client.get("/rooms/export")
    assert "attachment" in answer.headers["content-disposition"]
    told: Json = answer.json()
    return told


def looked_at(client: TestClient, document: object) -> Any:
    text = document if isinstance(document, bytes) else json.dumps(document).encode()
    return client.post("/rooms/import", files={"document": ("studio.json", text)})


def put_in_place(client: TestClient, document: object) -> Any:
    page = looked_at(client, document).text
    number = re.search(r'action="/rooms/import/([0-9a-f]+)"', page)
    assert number, page
    return client.post(f"/rooms/import/{number[1]}")


@pytest.fixture
def two_rooms(client: TestClient) -> TestClient:
    """The demo studio with a second room, its own look, and an order with a look of both."""
    client.post("/rooms/1/duplicate")
    client.post("/api/rooms/2/open")
    client.post("/rooms/2/rename", data={"name": "Old mill"})
    client.post("/api/levels", json={"levels": {"Key": 50, "Fill": 20}})
    kept = client.post("/api/looks", json={"name": "Of the mill", "tags": ["stone"]}).json()
    client.put("/api/running-order", json={"looks": [kept["id"], 4]})
    client.post("/rooms/new", data={"name": "Gone"})
    client.post("/rooms/3/archive")
    return client


def test_the_file_tells_everything(two_rooms: TestClient) -> None:
    told = exported(two_rooms)
    assert (told["thirdstop"], told["version"], told["open"]) == ("whole studio", 1, 1)
    assert [room["rig"]["room"]["name"] for room in told["rooms"]] == ["Boathouse", "Old mill"]
    assert told["rooms"][1]["rig"] == two_rooms.get("/api/rig").json()
    assert [look["room"] for look in told["looks"]] == [0] * 12 + [1]
    assert told["looks"][12]["tags"] == ["stone"]
    assert told["rooms"][1]["running_order"] == [12, 3]
    assert len(told["rooms"][0]["running_order"]) == 9


def test_it_goes_to_another_machine_and_comes_out_the_same(
    two_rooms: TestClient, tmp_path: Path
) -> None:
    told = exported(two_rooms)
    two_rooms.post("/api/levels", json={"levels": {"Key": 50}})
    other = Settings(database=tmp_path / "other.db", faces="none", demo=False)
    with TestClient(create_app(other)) as there:
        assert put_in_place(there, told).status_code == 200
        assert exported(there) == told
        assert [look["name"] for look in there.get("/api/running-order").json()] == [
            "Of the mill", "Loop"]  # fmt: skip
        assert there.get("/api/state").json()["room"]["name"] == "Old mill"
    with TestClient(create_app(other)) as there:
        assert exported(there) == told
        there.post("/api/rooms/2/open")
        assert len(there.get("/api/running-order").json()) == 9


def test_nothing_is_changed_by_looking_and_nothing_lost_by_putting(two_rooms: TestClient) -> None:
    told, before = exported(two_rooms), two_rooms.get("/api/state").json()
    told["rooms"] = told["rooms"][:1]
    told["open"] = 0
    told["looks"] = told["looks"][:2]
    told["rooms"][0] |= {"running_order": [1]}
    told["rooms"][0]["rig"]["room"]["name"] = "New place"
    told["rooms"][0]["rig"]["heads"][0]["name"] = "First"
    told["rooms"][0]["rig"]["readings"] = []
    page = looked_at(two_rooms, told).text
    assert "New place" in page
    assert "9 heads · 3 circuits · 2 looks" in page
    assert "Fill keeps the light; Key goes dark" in page
    assert two_rooms.get("/api/state").json() == before
    assert [r["name"] for r in two_rooms.get("/api/rooms").json()][:2] == ["Old mill", "Boathouse"]
    put_in_place(two_rooms, told)
    rooms = {r["name"]: r for r in two_rooms.get("/api/rooms").json()}
    assert [n for n, r in rooms.items() if not r["archived"]] == ["New place"]
    assert len(two_rooms.get("/api/looks").json()) == 2
    state = two_rooms.get("/api/state").json()
    key, *_ = [h["output"] for h in before["heads"] if h["name"] == "Fill"]
    assert {h["name"]: h["output"] for h in state["heads"]}["Fill"] == key
    two_rooms.post(f"/rooms/{rooms['Old mill']['id']}/bring-back")
    assert two_rooms.post(f"/api/rooms/{rooms['Old mill']['id']}/open").status_code == 200
    first, *_ = two_rooms.get("/api/running-order").json()
    assert first["name"] == "Of the mill"


def test_a_file_that_was_forgotten_is_asked_for_again(client: TestClient) -> None:
    answer = client.post("/rooms/import/0123456789abcdef")
    assert answer.status_code == 409
    assert "choose it once more" in answer.text


def test_no_room_is_opened_in_the_middle_of_a_walk(client: TestClient) -> None:
    told = exported(client)
    client.post("/rig/walk/start")
    assert put_in_place(client, told).status_code == 409
    assert len(client.get("/api/rooms").json()) == 1


VALUES = st.recursive(
    st.none() | st.integers() | st.text(),
    lambda inner: st.lists(inner) | st.dictionaries(st.text(), inner),
)


@settings(max_examples=80, deadline=None)
@given(VALUES, st.sampled_from([None, 1]), st.data())
def test_a_file_taken_apart_says_what_it_says_in_one(
    value: object, indent: int | None, data: st.DataObject
) -> None:
    """The standard library's json is the reference, for files with a wrong letter too."""

    def parts(text: str) -> object:
        told = parts_of(text)
        if not isinstance(told, dict) or not text.lstrip().startswith("{"):
            return told
        return {n: [*map(json.loads, v)] if isinstance(v, list) else v for n, v in told.items()}

    def read(reader: Callable[[str], object], text: str) -> object:
        try:
            return reader(text)
        except ValueError:
            return ValueError

    text = json.dumps(value, indent=indent)
    assert parts(text) == value
    at, wrong = data.draw(st.integers(0, len(text))), data.draw(st.sampled_from('{}[],:"1 '))
    for broken in (text[:at] + wrong + text[at:], text[:at] + wrong + text[at + 1 :], text[:at]):
        assert read(parts, broken) == read(json.loads, broken), broken


def spoilt(change: Callable[[Json], object]) -> Callable[[Json], object]:
    """The document after a change that was made to it."""

    def made(document: Json) -> object:
        change(document)
        return document

    return made


def look(document: Json) -> Json:
    first: Json = document["looks"][0]
    return first


def rig(document: Json) -> Json:
    first: Json = document["rooms"][0]["rig"]
    return first


BAD: dict[str, tuple[Callable[[Json], object], str]] = {
    "nothing": (lambda _: b"", "no document of a whole studio"),
    "no JSON": (lambda _: b"\xff\xfe{", "no document of a whole studio"),
    "deep": (lambda _: b"[" * 200_000, "no document of a whole studio"),
    "a long number": (lambda _: b'{"open": ' + b"9" * 5000 + b"}", "no document"),
    "a list": (lambda _: [], "no whole studio"),
    "a rig": (rig, "document of one rig"),
    "no rooms": (spoilt(lambda d: d.update(rooms=[])), "rooms"),
    "newer": (spoilt(lambda d: d.update(version=2)), "version"),
    "open is none": (spoilt(lambda d: d.update(open=7)), "open must be one of the 1 rooms"),
    "a huge place": (spoilt(lambda d: look(d).update(room=10**300)), "room"),
    "a look of no room": (spoilt(lambda d: look(d).update(room=-1)), "looks: room must be one of"),
    "an order of nothing": (
        spoilt(lambda d: d["rooms"][0].update(running_order=[99])), "running_order must be one of"),
    "twice in the order": (
        spoilt(lambda d: d["rooms"][0].update(running_order=[1, 1])), "can stand once"),
    "over nothing": (spoilt(lambda d: look(d)["stops"].update(Key="1/0")), "fraction like 5/3"),
    "less than nothing": (spoilt(lambda d: look(d)["stops"].update(Key="-1")), "fraction like"),
    "no fraction": (spoilt(lambda d: look(d)["stops"].update(Key="１")), "fraction like"),
    "too dark": (spoilt(lambda d: look(d)["stops"].update(Key="9" * 50)), "must lie in 0"),
    "no moment": (spoilt(lambda d: look(d).update(kept_at="soon")), "kept_at must be like"),
    "no zone": (spoilt(lambda d: look(d).update(kept_at="2026-05-01")), "kept_at must be like"),
    "before time": (
        spoilt(lambda d: look(d).update(kept_at="0001-01-01T00:00:00+14:00")), "kept_at must be"),
    "infinite": (spoilt(lambda d: look(d)["lux"].update(hair=float("inf"))), "finite"),
    "no number": (spoilt(lambda d: look(d).update(ratio="four")), "ratio"),
    "no ratio": (spoilt(lambda d: look(d).update(ratio=0)), "ratio must lie above 0"),
    "a name too long": (spoilt(lambda d: look(d).update(name="x" * 99)), "1 to 40 characters"),
    "half a letter": (spoilt(lambda d: look(d).update(notes="\ud800")), "notes"),
    "a stray field": (spoilt(lambda d: look(d).update(colour="blue")), "colour"),
    "a bad lens": (spoilt(lambda d: look(d)["lens"].update(iso=0)), "must lie from 1 to"),
    "under the floor": (
        spoilt(lambda d: look(d)["placements"]["Key"].update(rise_m=-50)), "Key"),
    "a patch twice": (spoilt(lambda d: rig(d)["heads"][0].update(address=3)), "is taken"),
    "no circuit": (spoilt(lambda d: rig(d)["heads"][0].update(circuit="Z")), "is not in the room"),
}  # fmt: skip


@pytest.mark.parametrize("name", BAD)
def test_a_file_that_is_none_is_told_in_a_sentence(client: TestClient, name: str) -> None:
    spoil, said = BAD[name]
    before = exported(client)
    answer = looked_at(client, spoil(exported(client)))
    assert answer.status_code == 422, answer.text
    assert said in answer.text
    assert "Put it in place" not in answer.text
    assert exported(client) == before


def test_a_file_may_be_large_but_not_endless(client: TestClient) -> None:
    told = exported(client)
    for each in told["looks"]:
        each["notes"] = "y" * 2000
    told["looks"] = told["looks"] * 100
    text = json.dumps(told).encode()
    assert len(text) > 4_000_000
    assert looked_at(client, told).status_code == 200
    assert looked_at(client, b" " * (33 * 2**20)).status_code == 413


def test_a_disk_that_refuses_changes_nothing(client: TestClient) -> None:
    desk = client.app.state.desk  # type: ignore[attr-defined]
    told = exported(client)
    before = client.get("/api/state").json()
    with desk.database.connect() as other:
        other.exec_driver_sql(
            "CREATE TRIGGER full BEFORE INSERT ON look WHEN NEW.name = 'Loop'"
            " BEGIN SELECT RAISE(FAIL, 'full'); END"
        )
        other.commit()
        assert put_in_place(client, told).status_code == 503
        other.exec_driver_sql("DROP TRIGGER full")
        other.commit()
    assert exported(client) == told
    assert client.get("/api/state").json() == before
    assert len(client.get("/api/rooms").json()) == 1
