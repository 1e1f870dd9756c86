"""Set-up pages: errors in the page's own words, the way back from them, tabs, what was left."""

import html
import re
from typing import Any

import pytest
from starlette.testclient import TestClient

from tests.web.test_rig_page import HEAD

TAP = {"HX-Request": "true"}


@pytest.mark.parametrize(
    ("path", "changed", "says"),
    [
        ("/rig/heads/new", {"distance_m": "0"}, "distance to the sitter"),
        ("/rig/heads/new", {"address": "600"}, "channel must"),
        ("/rig/heads/new", {"address": "four"}, "channel must be a number"),
        ("/rig/heads/new", {"flood_field_deg": "wide"}, "field angle at flood"),
        ("/rig/heads/new", {"flood_field_deg": "40"}, "at flood: field angle must be larger"),
        ("/rig/heads/new", {"spot_candela": "-1"}, "at spot: peak candela"),
        ("/live/lens", {"f_number": "big"}, "f-number"),
        ("/live/lens", {"f_number": "5.6", "shutter": "125"}, "write 1/125 or 125 s"),
    ],
)
def test_an_error_speaks_as_its_page_does(
    client: TestClient, path: str, changed: dict[str, str], says: str
) -> None:
    form: dict[str, Any] = {**HEAD, "name": "New", "address": "40", **changed}
    answer = client.post(path, data=form, headers=TAP)
    assert answer.status_code == 422
    said = html.unescape(answer.text)
    assert says in said
    assert not re.search(r"\w_(m|deg|candela|number)\b", said)


def test_the_contract_keeps_its_own_names(client: TestClient) -> None:
    rig = client.get("/api/rig").json()
    rig["heads"][0]["placement"]["distance_m"] = 0
    assert "distance_m" in client.put("/api/rig", json=rig).json()["detail"]


@pytest.mark.parametrize(
    ("came", "back"),
    [
        ("http://testserver/meter?kind=ev&iso=100", "/meter?kind=ev&iso=100"),
        ("http://testserver/rig/heads/Key", "/rig/heads/Key"),
        ("http://elsewhere.example/rig", "/"),
        ("http://testserver//elsewhere.example/", "/elsewhere.example/"),
        ("", "/"),
    ],
)
def test_an_error_page_leads_back_to_its_form(client: TestClient, came: str, back: str) -> None:
    answer = client.post("/live/lens", data={"f_number": "big"}, headers={"referer": came})
    assert answer.status_code == 422
    assert f'href="{html.escape(back)}"' in answer.text


def test_what_is_typed_into_the_meter_form_stays(client: TestClient) -> None:
    client.post("/meter/light", data={"head": ""})
    page = client.get("/meter").text
    assert 'hx-post="/meter/reading"' in page
    assert 'hx-post="/live/lens"' in client.get("/rig").text
    form = page[page.index('action="/meter/reading"') :]
    asked = dict(re.findall(r'<input type="hidden" name="(\w+)" value="([^"]*)"', form))
    said = client.post("/meter/reading", data={**asked, "value": "abc"}, headers=TAP)
    assert "number" in said.text
    assert 'id="notice"' in said.text  # a notice: the page and its fields stay
    taken = client.post("/meter/reading", data={**asked, "value": "2"}, headers=TAP)
    assert taken.headers["hx-redirect"] == "/meter"
    assert "1 of " in client.get("/meter").text


@pytest.mark.parametrize(
    ("path", "tab"),
    [
        ("/", "Looks"), ("/board", "Board"), ("/board/compare", "Board"), ("/board/ways", "Board"),
        ("/library/4", "Library"), ("/rig", "Rig"), ("/rig/walk", "Rig"), ("/rig/plan", "Rig"),
        ("/rig/stop", "Rig"), ("/rig/devices", "Rig"), ("/rig/heads/Key", "Rig"), ("/meter", "Rig"),
        ("/by-hand", "Rig"),
    ],
)  # fmt: skip
def test_one_tab_is_lit_on_every_page(client: TestClient, path: str, tab: str) -> None:
    nav = client.get(path).text
    nav = nav[nav.index("<nav") : nav.index("</nav>")]
    assert re.findall(r'aria-current="\w+">([^<]+)<', nav) == [tab]


@pytest.mark.parametrize(
    ("start", "form", "words"),
    [
        ("/meter/light", {"head": "Key"}, "Metering was left half way: only Key is lit."),
        ("/meter/light", {"head": ""}, "Metering was left half way: the heads are down."),
        ("/rig/walk/start", {}, "The channel walk was left half way: only Key is lit."),
    ],
)
def test_what_was_left_off_is_told_on_the_board(
    client: TestClient, start: str, form: dict[str, str], words: str
) -> None:
    client.post("/api/recall", json={"look": 4})
    before = [h["signal"] for h in client.get("/api/state").json()["heads"]]
    assert 'id="left-off" role="status" data-left="no"' in client.get("/board").text
    client.post(start, data=form)
    page = client.get("/board").text
    assert words in page
    assert 'id="left-off" role="status" data-left="yes"' in page
    assert client.post("/live/light-before").url.path == "/board"
    told = client.get("/api/state").json()
    assert [h["signal"] for h in told["heads"]] == before
    assert told["look"]["name"] == "Loop"
    assert 'id="left-off" role="status" data-left="no"' in client.get("/board").text
    assert "Start the walk" in client.get("/rig/walk").text
    assert client.post("/live/light-before", headers=TAP).status_code == 409


def test_taken_out_looks_are_listed_and_come_back_one_by_one(client: TestClient) -> None:
    assert "Taken out lately" not in client.get("/library").text
    for look in (2, 4):
        client.post(f"/library/{look}/delete")
    page = client.get("/library").text
    lately = page[page.index("Taken out lately") :]
    assert lately.index("Loop") < lately.index("Butterfly")  # the last first
    client.post("/library/4/bring-back")
    page = client.get("/library").text
    assert "Loop" not in page[page.index("Taken out lately") :]
    assert client.post("/api/recall", json={"look": 4}).status_code == 200


def test_only_the_last_twenty_are_listed(client: TestClient) -> None:
    client.post("/api/levels", json={"levels": {"Key": 50}})
    for number in range(23):
        look = client.post("/api/looks", json={"name": f"Try {number}"}).json()["id"]
        client.post(f"/library/{look}/delete")
    page = client.get("/library").text
    assert page.count(">Bring back<") == 20
