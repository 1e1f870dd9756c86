"""A metering pass in one hand: nothing typed is lost, no head out is asked for, and what went wrong
is taken back without the light jumping."""

import json
import re
from datetime import UTC, datetime
from html import unescape
from math import log2

import pytest
from starlette.testclient import TestClient

from tests.web.test_meter import fields, real_lux, step


def at_a_head(client: TestClient) -> dict[str, str]:
    """The first reading of a head, after the room's own."""
    while True:
        _, asked = step(client)
        if asked["head"]:
            return asked
        client.post("/meter/reading", data={**asked, "value": "2", "kind": "lux"})


def readings(client: TestClient) -> list[dict]:
    return client.get("/api/readings").json()


def lit(client: TestClient) -> list[str]:
    return [h["name"] for h in client.get("/api/state").json()["heads"] if h["output"] > 0]


def test_what_is_kept_after_a_question_is_what_was_typed(client: TestClient) -> None:
    """E = C N**2 / (S t) with N**2 = 32 * 2**0.9: f/5.6 and 9 tenths (ISO 2720:1974)."""
    asked = at_a_head(client)
    typed = {"value": "5.6", "tenths": "9", "kind": "f", "iso": "6400", "shutter": "1/30"}
    page = client.post("/meter/reading", data={**asked, **typed}).text
    assert "stops under what is expected" in page
    assert "Keep f/5.6 and 9 tenths" in page
    assert 'name="tenths" value="9" checked' in page
    client.post("/meter/reading", data=fields(page))
    lux = readings(client)[-1]["lux"]
    assert log2(lux / (250 * 32 * 30 / 6400)) == pytest.approx(0.9, abs=1e-9)


def test_the_rooms_own_light_is_asked_about_too(client: TestClient) -> None:
    _, asked = step(client)
    assert asked["head"] == ""
    for typed in ({"value": "812", "kind": "lux"}, {"value": "5.6", "kind": "f"}):
        page = client.post("/meter/reading", data={**asked, **typed}).text
        assert "Are all heads dark, the number and its unit right?" in page
        assert readings(client) == []
    page = client.post("/meter/reading", data={**asked, "value": "2", "kind": "f"}).text
    assert "typed as lux it would fit" in page
    # nothing is known of a room: then what half of the heads give is the measure
    rig = client.get("/api/rig").json()
    client.put("/api/rig", json={**rig, "room": {**rig["room"], "ambient_lux": 0}})
    page = client.post("/meter/reading", data={**asked, "value": "812", "kind": "lux"}).text
    assert "more than half of the heads" in page
    client.post("/meter/reading", data={**asked, "value": "7", "kind": "lux"})
    assert [r["lux"] for r in readings(client)] == [7]


def test_the_meter_stays_as_it_is_set_wherever_one_comes_from(client: TestClient) -> None:
    def is_set(page: str) -> bool:
        return all(f'value="{v}"' in page for v in ("800", "1/60")) and (
            'name="kind" value="f" checked' in page
        )

    client.post("/api/recall", json={"look": 4})
    asked = at_a_head(client)
    way = {"kind": "f", "iso": "800", "shutter": "1/60"}
    told = client.post("/meter/way", data={**asked, **way}, headers={"HX-Request": "true"}).text
    shown = re.search(r"Expected: about (f/[\d.]+)(?: and (\d) tenths?)? at ISO 800, 1/60", told)
    assert shown is not None
    stops = log2(real_lux(client, {**asked, "head": ""}) * 800 / 60 / 250)
    mark = 2 * log2(
        {"4.0": 4, "5.6": 32**0.5, "2.8": 8**0.5}.get(shown[1][2:], float(shown[1][2:]))
    )
    assert mark + int(shown[2] or 0) / 10 == pytest.approx(stops, abs=0.06)
    assert is_set(client.get("/meter").text)  # left, and come back
    read = {"value": shown[1][2:], "tenths": shown[2] or "0"}
    page = client.post("/meter/reading", data={**asked, **way, **read}).text
    assert is_set(page)
    assert f"{shown[0].removeprefix('Expected: about ')}" in page  # the line of that reading
    assert is_set(client.post("/meter/forget", data={"number": len(readings(client))}).text)
    client.post("/meter/light", data={"head": "Hair"})
    assert is_set(client.post("/meter/light", data={"head": asked["head"]}).text)
    assert is_set(client.post("/meter/trust/take").text)
    client.post("/meter/receptor", data={"receptor": "dome"})
    assert is_set(client.post("/meter/light", data={"head": ""}).text)
    client.post("/rig/heads/Fill/warm-up/light", data={"point": "hair"})
    assert is_set(client.get("/rig/heads/Fill/warm-up").text)


def test_too_dark_to_read_is_taken_and_asked_about_where_it_is_bright(client: TestClient) -> None:
    _, asked = step(client)
    client.post("/meter/reading", data={**asked, "dark": "true"})
    assert readings(client)[-1]["lux"] == 0
    page = client.get("/meter").text
    assert "too dark to read" in page
    assert "0 lux" not in page.partition("<h2>Readings")[2]
    asked = at_a_head(client)
    count = len(readings(client))
    page = client.post("/meter/reading", data={**asked, "dark": "true"}).text
    assert "reads nothing, though it is bright enough" in page
    assert len(readings(client)) == count
    client.post("/meter/reading", data=fields(page))
    assert (readings(client)[-1]["head"], readings(client)[-1]["lux"]) == (asked["head"], 0)


def test_what_is_skipped_comes_back_at_the_end(client: TestClient) -> None:
    page, first = step(client)
    steps = int(re.search(r"of (\d+) read", page)[1])
    page = client.post("/meter/skip", data=first).text
    assert f"0 of {steps} read, {steps} left" in page
    second = fields(page)
    assert (second["point"], second["head"] != "") == (first["point"], True)
    # with all heads out just the room's own light is left
    rig = client.get("/api/rig").json()
    names = [h["name"] for h in rig["heads"]]
    client.put("/api/rig", json={**rig, "heads": [{**h, "out": True} for h in rig["heads"]]})
    page, asked = step(client)
    assert f"{names[0]} and " in page
    assert "are out: nothing is asked of them" in page
    others = [p["name"] for p in rig["points"] if p["name"] != first["point"]]
    client.post("/meter/skip", data=asked)
    assert asked["point"] == others[0]
    for point in others[1:]:
        _, asked = step(client)
        assert asked["point"] == point
        client.post("/meter/reading", data={**asked, "value": "2", "kind": "lux"})
    page, asked = step(client)
    assert asked["point"] == first["point"]
    assert "put off before" in page
    client.post("/meter/reading", data={**asked, "value": "2", "kind": "lux"})
    page, asked = step(client)
    assert asked["point"] == others[0]
    refused = client.post("/meter/skip", data=asked)
    assert refused.status_code == 409
    assert "the last that is left" in refused.text
    assert client.post("/meter/light", data={"head": "Key"}).status_code == 409


def test_a_new_pass_asks_for_all_and_repeats_tell_their_spread(client: TestClient) -> None:
    rig = client.get("/api/rig").json()
    kept = [h for h in rig["heads"] if h["name"] == "Fill"]
    client.put("/api/rig", json={**rig, "heads": kept})
    for _ in range(20):
        page, asked = step(client)
        if not asked:
            break
        lux = 2.0 if not asked["head"] else 400.0
        client.post("/meter/reading", data={**asked, "value": f"{lux:g}", "sure": "true"})
    assert "Everything is read" in page
    count = len(readings(client))
    page = client.post("/meter/new").text
    assert f"0 of {count} read, {count} left" in page
    assert f"0 of {count} read" in client.get("/meter").text  # left, and come back
    line = next(n for n, r in enumerate(readings(client), 1) if r["head"] and not r["shaded"])
    page = client.post("/meter/again", data={"number": line}).text
    assert "Read again" in page
    assert lit(client) == ["Fill"]
    asked = {k: unescape(v) for k, v in fields(page).items()}
    page = client.post("/meter/reading", data={**asked, "value": "430", "sure": "true"}).text
    spread = re.search(r"2 readings, (0\.\d\d) stop apart", page)
    assert spread is not None
    # the room's 2 lux taken off both
    assert float(spread[1]) == pytest.approx(log2(428 / 398), abs=0.006)
    assert f"1 of {count} read" in page  # it counts for the new pass as well
    assert "Read again ·" not in page


def test_the_last_reading_is_taken_back_once_and_its_head_fades_in_again(
    client: TestClient,
) -> None:
    asked = at_a_head(client)
    client.post("/meter/reading", data={**asked, "value": f"{real_lux(client, asked):.4g}",
                                        "sure": "true"})  # fmt: skip
    page = client.get("/meter").text
    wrong = page[page.index('action="/meter/wrong"') :].partition("</form>")[0]
    assert f"{asked['head']} at" in wrong
    at = re.search(r'name="at" value="([^"]*)"', wrong)
    assert at is not None
    before = readings(client)
    client.post("/api/levels", json={"levels": {"Hair": 50}})
    page = client.post("/meter/wrong", data={"at": at[1]}).text
    assert readings(client) == before[:-1]
    assert fields(page)["head"] == asked["head"]
    state = client.get("/api/state").json()
    assert lit(client) == [asked["head"]]
    assert state["fading"] is True  # faded, not cut
    twice = client.post("/meter/wrong", data={"at": at[1]})
    assert twice.status_code == 409
    assert readings(client) == before[:-1]


def test_a_point_of_another_receptor_is_refused_on_its_page_and_told_where_it_came_by_document(
    client: TestClient,
) -> None:
    form = client.get("/rig/points/of/forehead").text
    data = dict(re.findall(r'name="(\w+)" value="([^"]*)"', form)) | {"on": "face"}
    said = client.post("/rig/points/of/forehead", data={**data, "receptor": "dome"})
    assert said.status_code == 409
    assert "a ratio never mixes them: leave it flat" in said.text
    rig = client.get("/api/rig").json()
    before = client.get("/api/state").json()["ratio"]
    rig["points"][2]["receptor"] = "dome"
    assert client.put("/api/rig", json=rig).status_code == 200
    assert client.get("/api/state").json()["ratio"] == before
    for page in ("/rig/points", "/meter"):
        assert "forehead is read with the dome, the rest of the face with the flat" in unescape(
            client.get(page).text
        )
    client.post("/meter/receptor", data={"receptor": "dome"})
    assert "is no side of it" not in client.get("/meter").text


def test_the_page_says_which_way_the_stand_in_faces(client: TestClient) -> None:
    rig = client.get("/api/rig").json()
    client.put("/api/rig", json={**rig, "sitter": {**rig["sitter"], "yaw_deg": 15}})
    assert "The stand-in’s nose is turned 15° to camera right." in client.get("/meter").text
    behind = client.get("/meter", params={"asked": '[["background","",false]]'}).text
    assert "own light at background" in behind
    assert "turned 15°" not in behind  # the background does not turn


def test_two_taps_take_one_reading_and_take_back_one(client: TestClient) -> None:
    """The first may be followed by a step that lights the same head, so nothing else refuses it."""
    pairs = [["cheek right", "Key", False], ["cheek left", "Key", False]]
    asked = {"asked": json.dumps(pairs), "since": datetime.now(UTC).isoformat()}
    client.post("/meter/light", data={"head": "Key"})
    tap = {**asked, "point": "cheek right", "head": "Key", "value": "300", "sure": "true"}
    for _ in range(2):
        page = client.post("/meter/reading", data=tap).text
        assert "Key at cheek camera left" in page
    assert len(readings(client)) == 1
    other = {**asked, "point": "cheek left", "head": "Key", "value": "200", "sure": "true"}
    client.post("/meter/reading", data=other)
    assert len(readings(client)) == 2
    page = client.get("/meter").text
    first = re.findall(r'action="/meter/forget"><button[^>]* value="(1\.[^"]*)"', page)
    answers = [client.post("/meter/forget", data={"number": first[0]}) for _ in range(2)]
    assert [a.status_code for a in answers] == [200, 409]
    assert "taken back already" in answers[1].text
    assert [r["point"] for r in readings(client)] == ["cheek left"]
    assert client.post("/meter/again", data={"number": first[0]}).status_code == 409
    assert client.post("/meter/forget", data={"number": "x"}).status_code == 422


def test_an_old_form_takes_nothing_in_the_room_opened_meanwhile(client: TestClient) -> None:
    """The other room's heads are called the same, and stay at their light."""
    here = client.get("/api/state").json()["room"]["id"]
    client.post("/meter/light", data={"head": "Key"})
    client.post(f"/rooms/{here}/duplicate")
    other = next(r["id"] for r in client.get("/api/rooms").json() if r["id"] != here)
    client.post(f"/api/rooms/{other}/open")
    old = {"room_id": str(here)}
    take = {**old, "point": "cheek right", "head": "Key", "value": "300", "sure": "true"}
    forms = [("reading", take), ("receptor", {**old, "receptor": "dome"}), ("end", old)]
    for act, form in forms:
        refused = client.post(f"/meter/{act}", data=form)
        assert refused.status_code == 409, act
        assert "was opened meanwhile" in refused.text
    carry = {**old, "room": str(here), "look": "1"}
    for act in ("store", "read"):
        assert client.post(f"/library/carry/{act}", data=carry).status_code == 409
    assert readings(client) == []
    assert client.post("/meter/reading", data={**take, "room_id": str(other)}).status_code == 200
    assert len(readings(client)) == 1
