"""The lamp log of a head, and story 26: a new lamp reads +0.2, one tap corrects all looks."""

import re
from datetime import UTC, datetime, timedelta
from math import log2
from pathlib import Path

import pytest
from starlette.testclient import TestClient

from server.app import create_app
from server.settings import Settings

LAMP = "/rig/heads/Key/lamp"


def day() -> str:
    """Today, also in a run over midnight."""
    return f"{datetime.now().astimezone():%Y-%m-%d}"


POINT = "cheek right"


def lux_at(client: TestClient, point: str = POINT) -> float:
    state = client.get("/api/state").json()
    return next(p["lux"] for p in state["points"] if p["name"] == point)


def stops_of(client: TestClient, name: str) -> dict[int, float | None]:
    return {
        look["id"]: next(h["stops_below_full"] for h in look["heads"] if h["name"] == name)
        for look in client.get("/api/looks").json()
        if any(h["name"] == name for h in look["heads"])
    }


def metered_in(client: TestClient) -> float:
    """One reading of the key alone, a quarter stop over its figures; what the meter showed."""
    client.post("/meter/light", data={"head": "Key"})
    ambient = client.get("/api/rig").json()["room"]["ambient_lux"]
    shown = ambient + (lux_at(client) - ambient) * 2**0.25
    client.post("/api/readings", json={"point": POINT, "head": "Key", "value": shown})
    return shown


def new_lamp(client: TestClient, stops: float) -> float:
    """Write a lamp change down, light the key alone; what a lamp so much brighter would show."""
    page = client.post(LAMP, data={"day": day(), "hours": "840", "note": "500 W, rated"})
    assert page.url.path == LAMP
    assert "Light Key alone" in page.text or "lit alone" in page.text
    client.post(f"{LAMP}/light")
    ambient = client.get("/api/rig").json()["room"]["ambient_lux"]
    return ambient + (lux_at(client) - ambient) * 2**stops


def typed(lux: float) -> dict[str, str]:
    return {"point": POINT, "kind": "lux", "value": f"{lux:.5g}", "tenths": "", "iso": "400",
            "shutter": "1/125", "below": "2"}  # fmt: skip


def test_story_26(client: TestClient) -> None:
    metered_in(client)
    looks = stops_of(client, "Key")
    lit = {look: s for look, s in looks.items() if s is not None}
    light = {}
    for look in looks:
        state = client.post("/api/recall", json={"look": look}).json()
        light[look] = ({p["name"]: p["lux"] for p in state["points"]},
                       {h["name"]: h["signal"] for h in state["heads"]},
                       state["ratio"]["label"])  # fmt: skip
    others = {n: stops_of(client, n) for n in ("Fill", "Hair")}
    lux = new_lamp(client, 0.2)
    page = client.get(LAMP, params=typed(lux)).text
    assert "Key reads +0.2 at cheek camera right" in page
    assert f"Apply −0.2 to Key in {len(lit)} looks" in page
    assert "was not metered" not in page
    assert stops_of(client, "Key") == looks  # nothing has changed yet
    assert client.post(f"{LAMP}/apply", data=typed(lux)).url.path == "/rig/heads/Key"
    assert stops_of(client, "Key") == {
        look: None if s is None else pytest.approx(s + 0.2) for look, s in looks.items()
    }
    assert {n: stops_of(client, n) for n in others} == others
    for look, (before, signals, label) in light.items():
        state = client.post("/api/recall", json={"look": look}).json()
        assert state["changed"] is False
        assert state["ratio"]["label"] == label
        for point in state["points"]:
            assert abs(log2(point["lux"] / before[point["name"]])) < 0.005, (look, point)
        after = {h["name"]: h["signal"] for h in state["heads"]}
        assert (after.pop("Key") < signals["Key"]) == (look in lit)
        assert after == {n: s for n, s in signals.items() if n != "Key"}
    # a second tap does nothing
    client.post(f"{LAMP}/light")
    page = client.get(LAMP).text
    assert 'name="below" value="2"' in page
    client.post("/api/nudge", json={"head": "Key", "thirds": -1})
    assert client.post(f"{LAMP}/apply", data=typed(lux)).status_code == 409
    # and the head alone now reads what the meter showed
    client.post(f"{LAMP}/light")
    shown = lux_at(client)
    assert abs(log2(shown / lux)) < 0.01
    told = client.get("/rig/heads/Key").text
    assert "after 840 h · 500 W, rated · reads +0.2 at cheek camera right, looks corrected" in told


def test_it_comes_back_with_everything_after_a_restart(tmp_path: Path) -> None:
    settings = Settings(database=tmp_path / "s.db", faces="none")
    with TestClient(create_app(settings)) as first:
        first.post("/api/recall", json={"look": 4})
        first.post("/api/good")
        lux = new_lamp(first, 0.2)
        first.post(f"{LAMP}/apply", data=typed(lux))
        rig, looks = first.get("/api/rig").json(), stops_of(first, "Key")
        first.post("/api/undo")
        before = first.get("/api/state").json()["heads"]
        first.post("/api/redo")
    with TestClient(create_app(settings)) as second:
        assert second.get("/api/rig").json() == rig
        assert stops_of(second, "Key") == looks
        assert second.post("/api/undo").json()["heads"] == before
        assert second.get("/api/state").json()["changed"] is False  # look 4, corrected as its look


def test_looks_that_fall_out_of_range_are_listed_and_come_back(client: TestClient) -> None:
    """A lamp half a stop weaker: looks within half a stop of full cannot follow."""
    metered_in(client)
    client.post("/api/levels", json={"levels": {"Key": 100.0, "Fill": 60.0}})
    kept = client.post("/api/looks", json={"name": "All of it"}).json()
    looks = stops_of(client, "Key")
    assert looks[kept["id"]] == 0
    short = {look for look, s in looks.items() if s is not None and s < 0.5}
    lux = new_lamp(client, -0.5)
    page = client.get(LAMP, params=typed(lux)).text
    assert "Key reads −0.5" in page
    assert "Apply +0.5 to Key" in page
    assert "All of it: 0.50 stop under, the head is at full" in page
    assert len(re.findall("stop under, the head is at full", page)) == len(short)
    client.post(f"{LAMP}/apply", data=typed(lux))
    after = stops_of(client, "Key")
    assert all(after[look] == 0 for look in short)
    told = client.get("/rig/heads/Key").text
    line = re.search(r'name="line" value="(\d+)"', told)
    assert line
    assert "Take the correction back" in told
    back = {"line": line[1], "what": "correction"}
    client.post(f"{LAMP}/take-back", data=back)
    assert stops_of(client, "Key") == looks  # those that were held come back exactly
    assert "not read yet" in client.get("/rig/heads/Key").text
    assert "All of it: 0.50 stop under" in client.get(LAMP, params=typed(lux)).text
    assert client.post(f"{LAMP}/take-back", data=back).status_code == 409  # a second tap
    page = client.post(f"{LAMP}/take-back", data=back | {"what": "line"}).text
    assert "No lamp change yet" in page


def test_a_head_that_was_never_metered_is_doubted(client: TestClient) -> None:
    lux = new_lamp(client, 0.3)
    page = client.get(LAMP, params=typed(lux)).text
    assert "was not metered at cheek camera right" in page
    assert "changed since metering" not in client.get("/board").text


def test_the_pages_work_without_javascript_and_say_the_cautions(client: TestClient) -> None:
    page = client.get("/rig/heads/Key").text
    for word in ("pull its plug", "cool down", "cloth or gloves", "rated for", "Local rules"):
        assert word in page, word
    answer = client.post(LAMP, data={"day": day()}, headers={"HX-Request": "true"})
    assert answer.headers["hx-redirect"] == LAMP
    old = datetime.now().astimezone() - timedelta(days=40)
    client.post(LAMP, data={"day": f"{old:%Y-%m-%d}", "hours": "12,5"})
    page = client.get("/rig/heads/Key").text
    assert f"{old:%d %b %Y}" in page
    assert "after 12.5 h" in page
    assert "Read the new lamp" in page


@pytest.mark.parametrize(
    ("path", "data", "code", "said"),
    [
        (LAMP, {"day": "yesterday"}, 422, "day must be like"),
        (LAMP, {"day": "2999-01-01"}, 422, "must not lie ahead"),
        (LAMP, {"day": "0001-01-01"}, 422, ""),
        (LAMP, {"day": day(), "hours": "many"}, 422, "hours must be a number"),
        (LAMP, {"day": day(), "hours": "-1"}, 422, "hours"),
        (LAMP, {"day": day(), "note": "n" * 300}, 422, "note"),
        ("/rig/heads/Nobody/lamp", {"day": day()}, 404, "Nobody"),
        (f"{LAMP}/apply", typed(500), 409, "lit alone"),
        (f"{LAMP}/take-back", {"line": "1", "what": "line"}, 404, "no line 1"),
        (f"{LAMP}/take-back", {"line": "x", "what": "line"}, 422, "line"),
    ],
)
def test_what_cannot_be_is_said_and_nothing_changes(
    client: TestClient, path: str, data: dict[str, str], code: int, said: str
) -> None:
    before, looks = client.get("/api/rig").json(), stops_of(client, "Key")
    answer = client.post(path, data=data, headers={"HX-Request": "true"})
    if data.get("day") != "0001-01-01":
        assert answer.status_code == code, answer.text
        assert said in answer.text
        assert client.get("/api/rig").json() == before
    assert answer.status_code < 500
    assert stops_of(client, "Key") == looks


def test_what_no_meter_shows(client: TestClient) -> None:
    new_lamp(client, 0.0)
    looks = stops_of(client, "Key")
    for wrong in ({"value": "nan"}, {"value": "x"}, {"kind": "volts"}, {"point": "knee"},
                  {"iso": "0"}, {"shutter": "1/0"}, {"tenths": "x"}, {"value": "4e5"}):  # fmt: skip
        for answer in (client.get(LAMP, params=typed(500) | wrong),
                       client.post(f"{LAMP}/apply", data=typed(500) | wrong)):  # fmt: skip
            assert answer.status_code in (404, 422), (wrong, answer.text)
    assert stops_of(client, "Key") == looks


def test_a_renamed_head_takes_its_log_and_readings_along(client: TestClient) -> None:
    metered_in(client)
    client.post(LAMP, data={"day": day(), "hours": "3"})
    page = client.get("/rig/heads/Key").text
    fields = dict(re.findall(r'<input name="(\w+)"[^>]* value="([^"]*)"', page))
    chosen = re.findall(r'<select name="(\w+)">.*?<option selected>([^<]*)', page)
    client.post("/rig/heads/Key", data=fields | dict(chosen) | {"name": "Big Key"})
    rig = client.get("/api/rig").json()
    assert {r["head"] for r in rig["readings"]} == {"Big Key"}
    assert {c["head"] for c in rig["lamps"]} == {"Big Key"}
    assert "after 3 h" in client.get("/rig/heads/Big%20Key").text


def test_the_moment_of_a_change_is_now_for_today(client: TestClient) -> None:
    client.post(LAMP, data={"day": day()})
    at = datetime.fromisoformat(client.get("/api/rig").json()["lamps"][0]["at"])
    assert abs(datetime.now(UTC) - at) < timedelta(minutes=5)


def test_looks_of_another_room_stay_as_they_are(client: TestClient) -> None:
    """The same name in another room is another head, or another stand: it is read there."""
    client.post("/rooms/1/duplicate")
    other = next(r["id"] for r in client.get("/api/rooms").json() if not r["open"])
    client.post(f"/api/rooms/{other}/open")
    client.post("/api/levels", json={"levels": {"Key": 60.0}})
    kept = client.post("/api/looks", json={"name": "Elsewhere"}).json()
    client.post("/api/rooms/1/open")
    before = stops_of(client, "Key")
    lit = sum(s is not None for look, s in before.items() if look != kept["id"])
    lux = new_lamp(client, 0.2)
    assert f"in {lit} looks" in client.get(LAMP, params=typed(lux)).text
    client.post(f"{LAMP}/apply", data=typed(lux))
    after = stops_of(client, "Key")
    assert after[kept["id"]] == before[kept["id"]]
    client.post(f"/api/rooms/{other}/open")
    assert client.get("/api/rig").json()["lamps"] == []


def test_a_form_of_a_room_that_was_left_changes_nothing(client: TestClient) -> None:
    page = client.get("/rig/heads/Key").text
    room = re.findall(r'name="room_id" value="([^"]*)"', page)
    assert len(room) > 3
    assert len(set(room)) == 1
    before = client.get("/api/rig").json()
    other = {"room_id": "99"}
    for path, data in (
        (LAMP, {"day": day()}),
        (f"{LAMP}/light", {}),
        (f"{LAMP}/apply", typed(500)),
        (f"{LAMP}/take-back", {"line": "1", "what": "line"}),
        ("/rig/heads/Key/photometry/remove", {"focus": "0.5"}),
    ):
        answer = client.post(path, data=data | other)
        assert answer.status_code == 409, path
        assert "was opened meanwhile" in answer.text
    assert client.get("/api/rig").json() == before
