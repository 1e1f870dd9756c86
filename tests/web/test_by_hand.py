"""A desk without a data input: the page says which fader goes where, and remembers the ticks."""

import re
from collections.abc import Iterator
from pathlib import Path

import pytest
from starlette.testclient import TestClient

from server.app import create_app
from server.settings import Settings
from server.web.templating import page_parts
from tests.web.test_devices import device


@pytest.fixture
def client(tmp_path: Path) -> Iterator[TestClient]:
    settings = Settings(database=tmp_path / "s.db", outputs=("by-hand",), faces="none")
    with TestClient(create_app(settings)) as client:
        yield client


def rows(page: str) -> dict[str, tuple[int, str, str, int]]:
    """Head -> place, state, fader and number, in the order of the places."""
    found = re.findall(
        r'data-state="(\w+)" data-place="(\d+)".*?fader-head">([^<]+)<.*?fader-which">([^<]+)<'
        r'.*?fader-number">(\d+)<',
        page, re.DOTALL,
    )  # fmt: skip
    told = {head: (int(place), state, which, int(n)) for state, place, head, which, n in found}
    return dict(sorted(told.items(), key=lambda item: item[1][0] or 99))


def levels(client: TestClient) -> dict[str, float]:
    return {h["name"]: h["level_percent"] for h in client.get("/api/state").json()["heads"]}


def test_every_head_that_must_move_largest_change_first(client: TestClient) -> None:
    client.post("/api/recall", json={"look": 4})
    page = client.get("/by-hand").text
    wanted = {name: round(level) for name, level in levels(client).items()}
    told = rows(page)
    assert {head: number for head, (_, _, _, number) in told.items()} == wanted
    moving = [head for head, (place, _, _, _) in told.items() if place]
    assert moving == sorted(moving, key=lambda head: -wanted[head])
    assert set(moving) == {head for head, number in wanted.items() if number}
    assert told["Fill"][2] == "fader 5"
    assert f"{len(moving)} faders to move" in page


def test_a_tick_stays_and_the_next_light_starts_from_it(client: TestClient) -> None:
    client.post("/api/recall", json={"look": 4})
    first = rows(client.get("/by-hand").text)
    answer = client.post("/by-hand/set", data={"head": "Key", "number": str(first["Key"][3])})
    assert answer.url.path == "/by-hand"
    ticked = rows(answer.text)
    assert list(ticked) == list(first), "no row moves under the finger"
    assert ticked["Key"][1] == "set"
    client.post("/by-hand/not-set", data={"head": "Key"})
    assert rows(client.get("/by-hand").text)["Key"][1] == "move"
    client.post("/by-hand/all-set")
    assert "All set" in client.get("/by-hand").text
    client.post("/api/nudge", json={"head": "Fill", "thirds": 1})
    after = client.get("/by-hand").text
    assert [head for head, row in rows(after).items() if row[1] == "move"] == ["Fill"]
    assert f"up from {first['Fill'][3]}" in after


def test_looking_at_the_good_frame_asks_nobody_to_move(client: TestClient) -> None:
    client.post("/api/recall", json={"look": 4})
    client.post("/api/good")
    client.post("/api/nudge", json={"head": "Fill", "thirds": -3})
    before = rows(client.get("/by-hand").text)
    client.post("/api/compare", json={"hold": True})
    assert rows(client.get("/by-hand").text) == before


def test_open_pages_hear_of_ticks_and_of_light(client: TestClient) -> None:
    """What the event stream carries for this page."""
    desk = client.app.state.desk
    parts = page_parts(desk, "by_hand")
    client.post("/api/recall", json={"look": 4})
    first = parts(desk.engine.now())
    assert 'hx-swap-oob="true"' in first
    number = rows(first)["Key"][3]
    client.post("/by-hand/set", data={"head": "Key", "number": number})
    assert rows(parts(desk.engine.now()))["Key"][1] == "set"
    assert "<button" not in first, "keys are never swapped"


def test_the_strip_says_that_light_is_set_by_hand(client: TestClient) -> None:
    page = client.get("/").text
    assert "Set by hand" in page
    assert 'href="/by-hand"' in page
    state = client.get("/api/state").json()["output"]
    assert (state["kind"], state["live"]) == ("by hand", False)


@pytest.mark.parametrize(
    ("path", "data", "status"),
    [
        ("set", {"head": "Candle", "number": "5"}, 404),
        ("set", {"head": "Key", "number": "101"}, 422),
        ("set", {"head": "Key"}, 422),
        ("not-set", {"head": ""}, 422),
    ],
)
def test_bad_input_is_told(client: TestClient, path: str, data: dict, status: int) -> None:
    before = rows(client.get("/by-hand").text)
    assert client.post(f"/by-hand/{path}", data=data).status_code == status
    assert rows(client.get("/by-hand").text) == before


def test_an_assistant_at_the_desk_may_tick(client: TestClient) -> None:
    client.post("/api/recall", json={"look": 4})
    assistant = device(client, "Assistant", "ask")
    assistant.post("/by-hand/set", data={"head": "Fill", "number": "40"})
    assert rows(client.get("/by-hand").text)["Fill"][1] == "set"
