"""What the live pages say, and what their keys do twice, in the dark, and with odd numbers."""

import re

import pytest
from starlette.testclient import TestClient

from server.app import create_app
from server.errors import OutOfRange
from server.physics.exposure import F_MARKS
from server.settings import Settings
from server.studio.rig import Lens
from server.web.words import (
    f_words,
    look_lens_words,
    point_words,
    seconds_of,
    sixths_words,
    stops_words,
)
from tests.web.test_devices import device


def board(client: TestClient) -> str:
    return client.get("/board").text


def looks(client: TestClient) -> int:
    return len(client.get("/api/looks").json())


def readout(page: str, group: str) -> str:
    part = page[page.index(f'id="row-readout-{group}"') :]
    return re.sub(r"<[^>]+>", " ", part[part.index(">") + 1 : part.index("</div>")])


@pytest.mark.parametrize(
    ("text", "seconds"), [("1/125", 1 / 125), ("0,5", 0.5), ("30", 30), ("125 s", 125), ("90s", 90)]
)
def test_a_shutter_as_it_is_typed(text: str, seconds: float) -> None:
    assert seconds_of(text) == pytest.approx(seconds)


def test_a_bare_number_that_is_meant_as_a_part_of_a_second_is_asked_about() -> None:
    with pytest.raises(OutOfRange, match="write 1/125 or 125 s"):
        seconds_of("125")


def test_a_set_f_number_is_shown_as_it_was_set(client: TestClient) -> None:
    assert [f_words(float(mark)) for mark in F_MARKS] == [f"f/{mark}" for mark in F_MARKS]
    client.post("/live/lens", data={"f_number": "5.3"})
    assert '<span class="big">f/5.3</span>' in board(client)


def test_the_lens_of_a_look_is_the_one_it_was_taken_with() -> None:
    """A quarter stop is a factor of 2**(1/8) = 1.0905 in f-number."""
    lens = Lens(f_number=8)
    assert look_lens_words(lens, 8 * 1.08) == "f/8"
    assert look_lens_words(lens, 8 * 1.10) == "f/9"
    assert look_lens_words(lens, None) == ""


def test_tile_and_board_agree_while_there_is_no_advice(client: TestClient) -> None:
    client.post("/api/recall", json={"look": 4})
    told = client.get("/api/state").json()["lens"]
    assert told["advice"] is None
    shown = f_words(told["f_number"])
    assert f'<span class="big">{shown}</span>' in board(client)
    tile = client.get("/").text
    tile = tile[tile.index('tile-name">Loop<') :]
    assert re.search(r"</strong> (f/[\d.]+)<", tile)[1] == shown


def test_the_camera_is_set_as_advised_with_one_key(client: TestClient) -> None:
    client.post("/api/recall", json={"look": 4})
    refused = client.post("/live/as-advised", headers={"HX-Request": "true"})
    assert refused.status_code == 409
    assert "no advice" in refused.text
    client.post("/live/lens", data={"f_number": "11"})
    page = board(client)
    advice = client.get("/api/state").json()["lens"]["advice"]
    told = re.search(r'<small class="strip-advice">(.*)</small>', page)[1]
    mark = "~"  # where the screen is narrow, in place of the word
    assert re.sub(r"<[^>]*>", "", told).replace(mark, "") == advice.replace("set ", "set about ")
    assert 'data-advice="yes"' in page
    client.post("/live/as-advised")
    lens = client.get("/api/state").json()["lens"]
    assert f"set f/{lens['f_number']:g}" == advice
    assert lens["advice"] is None
    client.post("/api/undo")
    assert client.get("/api/state").json()["lens"]["f_number"] == 11


def test_keep_tapped_twice_keeps_once(client: TestClient) -> None:
    client.post("/api/recall", json={"look": 4})
    client.post("/api/nudge", json={"role": "fill", "thirds": -1})
    before = looks(client)
    tap = {"HX-Request": "true"}
    first = client.post("/live/keep", headers=tap).text
    name = re.search("Kept as “([^”]+)”", first)[1]
    assert f"Kept already as “{name}”" in client.post("/live/keep", headers=tap).text
    assert looks(client) == before + 1
    client.post("/live/lens", data={"f_number": "11"})  # another lens: another look
    assert "Kept as" in client.post("/live/keep", headers=tap).text
    client.post("/library/4/delete")
    client.post("/api/looks", json={"name": "By the contract"})
    client.post(
        "/api/looks", json={"name": "By the contract"}
    )  # the contract keeps what it is told
    assert looks(client) == before + 3


def test_while_the_good_frame_is_looked_at_nothing_differs_from_it(client: TestClient) -> None:
    client.post("/api/recall", json={"look": 4})
    client.post("/api/good")
    client.post("/api/nudge", json={"role": "fill", "thirds": -1})
    assert "Fill ▼⅓" in re.search(r'class="strip-since">(.*?)</p>', board(client))[1]
    client.post("/api/compare", json={"hold": True})
    page = board(client)
    assert re.search(r'class="strip-since">(.*?)</p>', page)[1] == ""
    assert "looking at the good frame" in page
    client.post("/api/compare", json={"hold": False})
    told = client.get("/sitting").text
    told = told[told.index('id="timeline"') :]
    assert "good frame" in told
    assert "look at the good frame" not in told
    assert "back to now" not in told


def test_hold_the_lens_stays_on_until_it_is_switched_off(client: TestClient) -> None:
    client.get("/board?hold=lens")
    assert "samesite=strict" in client.get("/board?hold=lens").headers["set-cookie"].lower()
    client.get("/library")
    assert 'name="keep" value="exposure"' in board(client)
    client.get("/board?hold=off")
    assert 'name="keep" value="exposure"' not in board(client)


def test_in_the_dark_no_look_is_named(client: TestClient) -> None:
    client.post("/api/recall", json={"look": 2})
    client.post("/api/dark")
    page = board(client)
    assert re.search(r'class="strip-look">([^<]*)<', page)[1] == "Dark"
    assert "all heads are dark" in page
    client.post("/api/restore")
    assert re.search(r'class="strip-look">([^<]*)<', board(client))[1] == "Butterfly"


def test_less_than_a_third_is_not_the_top(client: TestClient) -> None:
    level = {h["name"]: h for h in client.get("/api/rig").json()["heads"]}["Fill"]
    assert level["curve"] != "measured"
    client.post("/api/levels", json={"levels": {"Fill": 99, "Key": 100}})
    page = board(client)
    assert "just below full" in readout(page, "fill")
    assert "at the top" in readout(page, "key")
    assert "Key at the top" in readout(page, "all")  # and which of them is
    client.post("/api/levels", json={"levels": {"Fill": 100}})
    told = client.get("/api/state").json()["heads"]
    full = [h["name"] for h in told if h["output"] == 1.0]
    lit = [h["name"] for h in told if h["output"]]
    words = "at the top" if full == lit else f"{len(full)} heads at the top"
    assert words in readout(board(client), "all")


def test_a_row_is_told_by_its_name(client: TestClient) -> None:
    client.post("/api/recall", json={"look": 4})
    client.post("/live/nudge", data={"group": "edge", "thirds": "-1"})
    assert client.get("/api/state").json()["did"].startswith("Hair · rim ▼⅓")


def test_an_empty_studio_sends_to_the_rig(tmp_path) -> None:
    settings = Settings(database=tmp_path / "my.db", demo=False, faces="none")
    with TestClient(create_app(settings)) as empty:
        page = board(empty)
    assert "No heads yet" in page
    assert 'href="/rig">Rig</a>' in page
    assert "being drawn" not in page
    assert "/live/ratio" not in page  # no key that could only refuse


@pytest.mark.parametrize(
    ("name", "words"),
    [
        ("cheek left", "cheek camera left"),
        ("cheek right in the key's shadow", "cheek camera right in the key's shadow"),
        ("cheek camera left", "cheek camera left"),
        ("forehead", "forehead"),
    ],
)
def test_points_are_called_from_the_camera(name: str, words: str) -> None:
    assert point_words(name) == words


@pytest.mark.parametrize(
    ("stops", "words"),
    [(0.02, "0"), (0.17, "⅙"), (-0.3, "⅓"), (0.5, "½"), (1.32, "1⅓"), (2.01, "2"), (0.99, "1")],
)
def test_small_differences_in_sixths(stops: float, words: str) -> None:
    assert sixths_words(stops) == words


def heads_page(client: TestClient, head: str) -> str:
    page = client.get("/board/heads").text
    return readout(page, f"head-{head.encode().hex()}")


def with_eyes(client: TestClient) -> None:
    """The demo rig with its background head told as an accent of another name."""
    rig = client.get("/api/rig").json()
    head = next(h for h in rig["heads"] if h["name"] == "Background")
    head["name"], head["role"] = "Eyes", "accent"
    assert client.put("/api/rig", json=rig).status_code == 200


def stops_of(client: TestClient, head: str) -> float | None:
    heads = {h["name"]: h for h in client.get("/api/state").json()["heads"]}
    return heads[head]["stops_below_full"]


def test_any_dark_head_is_brought_in_by_its_name_and_taken_back(client: TestClient) -> None:
    with_eyes(client)
    client.post("/api/recall", json={"look": 2})
    client.post("/live/nudge", data={"head": "Hair", "thirds": "1"})  # the row would take another
    rig = client.get("/api/rig").json()["heads"]
    page = client.get("/board/heads").text
    assert all(f'name="head" value="{h["name"]}"' in page for h in rig)
    for name in ("Rim", "Eyes"):
        assert stops_of(client, name) is None
        assert "dark" in heads_page(client, name)
        client.post("/live/nudge", data={"head": name, "thirds": "1"})
        assert stops_of(client, name) == pytest.approx(4)
        assert "4 below full" in heads_page(client, name)
        client.post("/live/nudge", data={"head": name, "thirds": "1"})
        assert "3⅔ below full" in heads_page(client, name)
        client.post("/live/undo")
        client.post("/live/undo")
        assert stops_of(client, name) is None
    client.post("/api/out", json={"head": "Eyes"})
    assert "out until it is back" in re.sub(r"\s+", " ", heads_page(client, "Eyes"))
    assert client.post("/live/nudge", data={"head": "Eyes", "thirds": "1"}).status_code == 409


def test_an_assistant_asks_for_a_dark_head(client: TestClient) -> None:
    client.post("/api/recall", json={"look": 2})
    asking = device(client, "Ben", "ask")
    form = {"head": "Rim", "thirds": "1"}
    asked = asking.post("/live/nudge", data=form, headers={"HX-Request": "true"}).text
    assert "Asked: Rim in, low →" in asked
    assert stops_of(client, "Rim") is None
    client.post("/live/grant", data={"ask": client.get("/api/asks").json()["asks"][0]["ask"]})
    assert stops_of(client, "Rim") == pytest.approx(4)


def test_a_dark_head_that_would_trip_its_breaker_stays_dark(client: TestClient) -> None:
    rig = client.get("/api/rig").json()
    for circuit in rig["room"]["circuits"]:
        circuit["breaker_amps"], circuit["other_amps"] = 0.01, 0.0
    assert client.put("/api/rig", json=rig).status_code == 200
    refused = client.post("/live/nudge", data={"head": "Rim", "thirds": "1"})
    assert refused.status_code == 409
    assert "breaker is for 0.01 A: take load off it first" in refused.text
    assert "all the same" not in refused.text
    assert stops_of(client, "Rim") is None


@pytest.mark.parametrize(
    ("stops", "words"), [(1.94, "2"), (1.8, "1⅔"), (1 / 3, "⅓"), (0.1, "0"), (1.2, "1⅓")]
)
def test_the_nearest_third_is_said(stops: float, words: str) -> None:
    """A linear fader at 26 % stands log2(1 / 0.26) = 1.94 stops below full: 2 is nearest."""
    assert stops_words(3 * stops) == words
