"""What no meter shows, what is typed by mistake, and a pass that was left: one sentence each, and
nothing is lost."""

import json
import re
from html import unescape

import pytest
from starlette.testclient import TestClient

from tests.web.test_meter import real_lux, step


@pytest.fixture
def waiting(client: TestClient) -> tuple[TestClient, dict[str, str]]:
    """A pass in which the key is lit alone and its reading is waited for; the room is read."""
    client.post("/api/recall", json={"look": 4})
    while True:
        _, asked = step(client)
        if asked["head"]:
            return client, asked
        client.post("/meter/reading", data={**asked, "value": "2", "kind": "lux"})


@pytest.mark.parametrize(
    ("typed", "says"),
    [
        ({"value": "9999999"}, "lux must lie in 0.01..500000, or be 0 for too dark, got 1e+07"),
        ({"value": "-4"}, "lux must lie"),
        ({"value": ""}, "value must be a number"),
        ({"value": "0.001"}, "lux must lie"),
        ({"value": "nan"}, "value must be a number"),
        ({"value": "inf"}, "value must be a number"),
        ({"value": "812 lux"}, "value must be a number, got '812 lux'"),
        ({"value": "f/5.6", "kind": "f"}, "value must be a number, got 'f/5.6'"),
        ({"value": "5.6.4"}, "value must be a number"),
        ({"value": "812", "kind": "f"}, "an f-number must lie in 0.5..128, got 812: is it lux?"),
        ({"value": "812", "kind": "ev"}, "EV must lie in -6..24, got 812: is it lux"),
        ({"value": "5.6", "kind": "f", "tenths": "14"}, "tenths must lie in 0..9"),
        ({"value": "5.6", "kind": "f", "shutter": "1/0"}, "shutter must be like 1/125"),
        ({"value": "5.6", "kind": "f", "shutter": "soon"}, "shutter must be like 1/125"),
        ({"value": "9", "kind": "ev", "iso": "0"}, "ISO must"),
        ({"value": "9", "kind": "foot"}, "kind must be lux, ev or f"),
    ],
)
def test_it_is_told_in_a_sentence_and_the_form_stays(
    waiting: tuple[TestClient, dict[str, str]], typed: dict[str, str], says: str
) -> None:
    client, asked = waiting
    before = client.get("/api/readings").json()
    lit = [h["signal"] for h in client.get("/api/state").json()["heads"]]
    data = {**asked, "kind": "lux", **typed}
    page = client.post("/meter/reading", data=data)
    assert page.status_code == 422
    assert says in unescape(page.text)
    notice = client.post("/meter/reading", data=data, headers={"HX-Request": "true"})
    assert notice.status_code == 422
    assert says in unescape(notice.text)
    assert 'id="notice"' in notice.text  # over the page: what was typed still stands there
    assert client.get("/api/readings").json() == before
    assert [h["signal"] for h in client.get("/api/state").json()["heads"]] == lit
    assert step(client)[1]["head"] == asked["head"]  # and the pass goes on where it was


def test_a_comma_is_a_point(waiting: tuple[TestClient, dict[str, str]]) -> None:
    client, asked = waiting
    lux = f"{real_lux(client, asked):.2f}".replace(".", ",")
    client.post("/meter/reading", data={**asked, "value": lux, "kind": "lux"})
    assert client.get("/api/readings").json()[-1]["lux"] == pytest.approx(
        float(lux.replace(",", "."))
    )


def test_repeats_show_how_far_they_lie_apart(waiting: tuple[TestClient, dict[str, str]]) -> None:
    client, asked = waiting
    lux = real_lux(client, asked)
    for factor in (1.0, 2**0.1):
        body = {"point": asked["point"], "head": asked["head"], "value": lux * factor}
        client.post("/api/readings", json=body)
    page = client.get("/meter").text
    assert re.search(r"2 readings, 0\.1\d stop apart", page)
    assert "was it touched?" not in page
    body = {"point": asked["point"], "head": asked["head"], "value": lux * 2**-0.4}
    client.post("/api/readings", json=body)
    page = client.get("/meter").text
    found = re.search(r"(0\.\d\d) stop under the reading before: was it touched\?", page)
    assert found is not None
    assert float(found[1]) == pytest.approx(0.5, abs=0.03)


def test_another_head_was_lit_meanwhile(waiting: tuple[TestClient, dict[str, str]]) -> None:
    client, asked = waiting
    client.post("/api/levels", json={"levels": {"Fill": 60}})
    before = client.get("/api/readings").json()
    answer = client.post("/meter/reading", data={**asked, "value": "500", "kind": "lux"})
    assert answer.status_code == 409
    assert f"{asked['head']} must be lit alone for its reading: light it first" in answer.text
    assert client.get("/api/readings").json() == before


def test_a_point_or_head_that_is_gone_meanwhile(
    waiting: tuple[TestClient, dict[str, str]],
) -> None:
    client, asked = waiting
    kept = client.get("/api/readings").json()
    document = client.get("/api/rig").json()
    fewer = [p for p in document["points"] if p["name"] != asked["point"]]
    client.put("/api/rig", json={**document, "points": fewer})
    answer = client.post("/meter/reading", data={**asked, "value": "500", "kind": "lux"})
    assert answer.status_code == 404
    assert f"no point is called '{asked['point']}'; there are" in unescape(answer.text)
    other = next(p["name"] for p in fewer)
    both = json.dumps([[asked["point"], "Nobody", False], [other, "", False]])
    page = unescape(client.get("/meter", params={"asked": both}).text)
    assert f"{asked['point']} and Nobody are gone from the rig: left out." in page
    none = client.get("/meter", params={"asked": json.dumps([[asked["point"], "", False]])})
    assert none.status_code == 404
    assert "nothing is left of the readings that were asked for" in none.text
    client.put("/api/rig", json=document)
    client.post(f"/rig/heads/{asked['head']}/delete")
    answer = client.post("/meter/reading", data={**asked, "value": "500", "kind": "lux"})
    assert answer.status_code in (404, 409)
    assert asked["head"] in answer.text
    assert client.get("/api/readings").json() == kept


def test_a_resumed_pass_knows_what_holds_after_a_stand_was_moved(
    waiting: tuple[TestClient, dict[str, str]],
) -> None:
    client, _ = waiting
    for _ in range(6):
        _, asked = step(client)
        lux = real_lux(client, asked)
        client.post(
            "/meter/reading",
            data={**asked, "sure": "true", "value": f"{lux:.6g}", "kind": "lux"},
        )
    done = int(re.search(r"(\d+) of \d+ read", client.get("/meter").text)[1])
    kept = client.get("/api/readings").json()
    own = [r for r in kept if r["head"] == "Key"]
    assert own
    document = client.get("/api/rig").json()
    document["heads"][0]["placement"]["distance_m"] += 0.3
    client.put("/api/rig", json=document)
    assert client.get("/api/readings").json() == kept  # nothing is thrown away
    left = int(re.search(r"(\d+) of \d+ read", client.get("/meter").text)[1])
    assert left == done - len(own)
    assert step(client)[1]["head"] == "Key"  # what no longer holds is asked for again


def test_a_touched_head_is_asked_for_again(waiting: tuple[TestClient, dict[str, str]]) -> None:
    client, asked = waiting
    lux = real_lux(client, asked)
    client.post("/meter/reading", data={**asked, "value": f"{lux:.6g}", "kind": "lux"})
    done = int(re.search(r"(\d+) of \d+ read", client.get("/meter").text)[1])
    client.post("/meter/touched", data={"head": asked["head"]})
    assert int(re.search(r"(\d+) of \d+ read", client.get("/meter").text)[1]) == done - 1


def test_a_form_of_another_room_takes_nothing_here(
    waiting: tuple[TestClient, dict[str, str]],
) -> None:
    client, asked = waiting
    pages = [client.get(path).text for path in ("/meter", "/meter/trust", "/rig")]
    forms = [f for p in pages for f in re.findall(r'<form[^>]*action="/meter.*?</form>', p, re.S)]
    forms = [form for form in forms if "/files/" not in form]
    assert len(forms) > 8
    assert [form for form in forms if 'name="room_id" value="1"' not in form] == []
    client.post("/rooms/1/duplicate")
    client.post("/api/rooms/2/open")
    old = {**asked, "value": "500", "kind": "lux", "room_id": "1", "head": "Key", "back": "/rig"}
    before = client.get("/api/rig").json()
    for path in ("reading", "receptor", "end", "touched", "new", "skip"):
        answer = client.post(f"/meter/{path}", data={**old, "receptor": "dome"})
        assert answer.status_code == 409, path
        assert "this form was of another room" in answer.text
    assert client.get("/api/rig").json() == before
