"""Who may touch the light: every route that changes something is tried by those who may not."""

import re

import pytest
from fastapi.routing import APIRoute
from starlette.testclient import TestClient

from server.errors import Refused
from server.web.doors import COOKIE, HERE
from server.web.floor import Floor

UNPAIRED_MAY = {"/pair"}
ITS_OWN_NAME = {"/pair/name"}


def device(client: TestClient, name: str, role: str) -> TestClient:
    """A tablet that is paired and may do so much."""
    desk = client.app.state.desk
    paired = desk.doors.let_in(name, role)
    tablet = TestClient(client.app, client=("192.0.2.7", 5000))
    tablet.cookies.set(COOKIE, desk.doors.cookie(paired))
    return tablet


def routes(app) -> list[tuple[str, str]]:
    """Every route of the app that is not only for reading, read from the app itself."""
    found = []
    for route in app.routes:
        if isinstance(route, APIRoute):
            found += [(m, route.path) for m in route.methods - {"GET", "HEAD"}]
    return sorted(set(found))


def filled(path: str) -> str:
    return re.sub(r"\{\w+\}", "1", path)


def test_the_list_of_routes_is_not_empty(client: TestClient) -> None:
    listed = routes(client.app)
    assert ("POST", "/api/nudge") in listed
    assert ("PUT", "/api/rig") in listed
    assert ("DELETE", "/api/looks/{look_id}") in listed
    assert len(listed) > 30


def test_no_stranger_changes_anything(client: TestClient) -> None:
    stranger = TestClient(client.app, client=("192.0.2.9", 5000))
    before = client.get("/api/state").json(), client.get("/api/looks").json()
    for method, path in routes(client.app):
        if path not in UNPAIRED_MAY:
            answer = stranger.request(method, filled(path), json={})
            assert answer.status_code == 401, (method, path)
    assert (client.get("/api/state").json(), client.get("/api/looks").json()) == before


def test_who_watches_changes_nothing(client: TestClient) -> None:
    watcher = device(client, "Visitor", "watch")
    before = client.get("/api/state").json(), client.get("/api/looks").json()
    for method, path in routes(client.app):
        if path not in UNPAIRED_MAY | ITS_OWN_NAME:
            answer = watcher.request(method, filled(path), json={})
            assert answer.status_code == 403, (method, path)
            assert "only watches" in answer.text
    assert watcher.get("/board").status_code == 200
    assert (client.get("/api/state").json(), client.get("/api/looks").json()) == before


def test_no_other_site_changes_anything(client: TestClient) -> None:
    for tablet in (client, device(client, "Tablet", "operate")):
        for method, path in routes(client.app):
            for headers in (
                {"Origin": "http://elsewhere.example"},
                {"Sec-Fetch-Site": "cross-site"},
            ):
                answer = tablet.request(method, filled(path), json={}, headers=headers)
                assert answer.status_code == 403, (method, path)
                assert "another site" in answer.text


def test_a_cookie_is_signed_and_ended_for_good(client: TestClient) -> None:
    desk = client.app.state.desk
    tablet = device(client, "Tablet", "operate")
    assert tablet.get("/api/state").status_code == 200
    known = desk.doors.known[0]
    cookie = desk.doors.cookie(known)
    for forged in (
        cookie[:-1] + ("0" if cookie[-1] != "0" else "1"),
        known.device_id,
        "a.b",
        ".",
        "",
    ):
        assert desk.doors.device_of(forged) is None
    client.post(f"/rig/devices/{known.device_id}/end")
    assert tablet.get("/api/state").status_code == 401
    assert desk.doors.device_of(cookie) is None


def test_the_cookie_is_for_this_site_and_no_script(client: TestClient) -> None:
    stranger = TestClient(client.app, client=("192.0.2.9", 5000), follow_redirects=False)
    answer = stranger.get(f"/board?token={client.app.state.desk.doors.token}")
    assert answer.headers["location"] == "/pair/name?back=/board"
    told = answer.headers["set-cookie"].lower()
    assert "httponly" in told
    assert "samesite=strict" in told


def test_six_digits_let_one_device_in(client: TestClient) -> None:
    page = client.get("/rig/devices").text
    code = re.search(r'class="code">(\d{3} \d{3})<', page)[1]
    tablet = TestClient(client.app, client=("192.0.2.7", 5000))
    assert tablet.get("/board", headers={"Accept": "text/html"}).status_code == 401
    tablet.post("/pair", data={"code": code, "name": "Ana's tablet"})
    state = tablet.post("/api/good").json()
    assert state["by"] == "Ana's tablet"
    again = TestClient(client.app, client=("192.0.2.8", 5000))
    assert again.post("/pair", data={"code": code, "name": "Second"}).status_code == 409
    assert "code" not in re.findall(r'class="(\w+)"', tablet.get("/rig/devices").text)


def test_guessing_spends_the_code(client: TestClient) -> None:
    code = client.app.state.desk.doors.code()
    wrong = f"{(int(code) + 1) % 10**6:06}"
    guesser = TestClient(client.app, client=("192.0.2.9", 5000))
    for _ in range(5):
        assert guesser.post("/pair", data={"code": wrong, "name": "x"}).status_code == 409
    assert guesser.post("/pair", data={"code": code, "name": "x"}).status_code == 409
    for _ in range(6):
        last = guesser.post("/pair", data={"code": wrong, "name": "x"})
    assert "too many tries" in last.text
    assert client.app.state.desk.doors.known == ()


@pytest.mark.parametrize("bad", ["", "12345", "1234567", "abcdef", "１２３４５６"])
def test_what_is_no_code_is_said(client: TestClient, bad: str) -> None:
    answer = client.post("/pair", data={"code": bad, "name": "x"})
    assert answer.status_code in (409, 422)


def test_two_devices_nudge_and_both_count_with_their_names(client: TestClient) -> None:
    """Two people push fill a third in the same second: two thirds, and two names in the log."""
    client.post("/api/recall", json={"look": 4})
    fill = client.get("/api/state").json()["heads"]
    ana, ben = device(client, "Ana", "operate"), device(client, "Ben", "operate")
    ana.post("/api/nudge", json={"role": "fill", "thirds": 1})
    ben.post("/api/nudge", json={"role": "fill", "thirds": 1})
    after = client.get("/api/state").json()["heads"]
    moved = [
        3 * (a["stops_below_full"] - b["stops_below_full"])
        for a, b in zip(fill, after, strict=True)
        if a["role"] == "fill" and a["output"] > 0
    ]
    assert moved == pytest.approx([2.0] * len(moved))
    told = client.get("/sitting").text
    assert "Ana" in told
    assert "Ben" in told


def test_an_assistant_asks_and_nothing_moves_until_yes(client: TestClient) -> None:
    client.post("/api/recall", json={"look": 4})
    before = client.get("/api/state").json()
    assistant = device(client, "Ben", "ask")
    answer = assistant.post("/api/nudge", json={"role": "fill", "thirds": 1})
    assert answer.status_code == 202
    assert re.fullmatch(r"fill ▲⅓ → about [\d.]+:1", answer.json()["asked"]["text"])
    assert client.get("/api/state").json() == before
    assert assistant.post("/api/grant", json={"ask": 1}).status_code == 403
    asks = client.get("/api/asks").json()["asks"]
    granted = client.post("/api/grant", json={"ask": asks[0]["ask"]}).json()
    assert granted["by"] == "Ben"
    assert granted["revision"] == before["revision"] + 1
    assert f"→ about {granted['ratio']['label']}" in asks[0]["text"]
    assert client.post("/api/grant", json={"ask": asks[0]["ask"]}).status_code == 409
    assert assistant.put("/api/rig", json=client.get("/api/rig").json()).status_code == 403


def test_a_page_asks_as_well(client: TestClient) -> None:
    client.post("/api/recall", json={"look": 4})
    assistant = device(client, "Ben", "ask")
    form = {"group": "fill", "thirds": "1"}
    answer = assistant.post("/live/nudge", data=form, headers={"HX-Request": "true"})
    assert "Asked: Fill ▲⅓" in answer.text
    number = client.get("/api/asks").json()["asks"][0]["ask"]
    client.post("/live/grant", data={"ask": number})
    assert client.get("/api/state").json()["by"] == "Ben"
    assistant.post("/live/recall", data={"look": "99"})
    number = client.get("/api/asks").json()["asks"][0]["ask"]
    said = client.post("/live/grant", data={"ask": number}, headers={"HX-Request": "true"})
    assert "99" in said.text or "could not" in said.text


def test_who_holds_the_floor_is_asked(client: TestClient) -> None:
    client.post("/api/recall", json={"look": 4})
    other = device(client, "Ana", "operate")
    assert client.post("/api/only-me", json={"on": True}).json()["holder"] == "this machine"
    assert other.post("/api/nudge", json={"role": "fill", "thirds": 1}).status_code == 202
    assert other.post("/api/only-me", json={"on": True}).status_code == 409
    assert client.post("/api/nudge", json={"role": "fill", "thirds": 1}).status_code == 200
    client.post("/api/only-me", json={"on": False})
    assert other.post("/api/nudge", json={"role": "fill", "thirds": 1}).status_code == 200


def test_wishes_and_the_floor_end_by_themselves() -> None:
    now = [0.0]
    floor = Floor(lambda: now[0])
    wish = floor.ask(HERE, "fill ▲⅓", {}, b"")
    now[0] = 7.9
    assert floor.asks() == (wish,)
    now[0] = 8.1
    assert floor.asks() == ()
    with pytest.raises(Refused, match="eight seconds"):
        floor.granted(wish.number)
    floor.came(HERE)
    floor.take(HERE)
    floor.went(HERE)
    now[0] += 19
    assert floor.holder is HERE
    now[0] += 2
    assert floor.holder is None


def test_a_name_given_at_pairing_is_told(client: TestClient) -> None:
    tablet = device(client, "Tablet 1", "operate")
    tablet.post("/pair/name", data={"name": "  Ana  ", "back": "//elsewhere.example"})
    assert tablet.post("/api/good").json()["by"] == "Ana"
    assert tablet.post("/pair/name", data={"name": "x" * 31}).status_code == 422


def test_an_ended_device_does_not_come_back_by_the_address_it_scanned(client: TestClient) -> None:
    desk = client.app.state.desk
    scanned = f"/?token={desk.doors.token}"
    tablet = TestClient(client.app, client=("192.0.2.7", 5000), follow_redirects=False)
    assert tablet.get(scanned).status_code == 303
    client.post(f"/rig/devices/{desk.doors.known[0].device_id}/end")
    tablet.cookies.clear()
    assert tablet.get(scanned, headers={"Accept": "text/html"}).status_code == 401
    assert tablet.get(f"/?token={desk.doors.token}").status_code == 303


def test_the_address_to_scan_lets_in_with_the_chosen_role(client: TestClient) -> None:
    desk = client.app.state.desk
    desk.base = "http://192.0.2.1:8000"
    client.post("/rig/devices/code", data={"role": "watch"})
    assert "<svg" in client.get("/rig/devices").text
    tablet = TestClient(client.app, client=("192.0.2.7", 5000))
    tablet.get(f"/?token={desk.doors.token}")
    assert tablet.post("/api/good").status_code == 403


@pytest.mark.parametrize("how", ["role", "end"])
def test_who_may_no_longer_operate_gives_the_floor_back(client: TestClient, how: str) -> None:
    desk = client.app.state.desk
    tablet = TestClient(client.app, client=("192.0.2.7", 5000))
    tablet.get(f"/?token={desk.doors.token}")
    device = desk.doors.known[0]
    tablet.post("/api/only-me", json={"on": True})
    assert client.get("/api/asks").json()["holder"] == device.name
    if how == "role":
        client.post(f"/rig/devices/{device.device_id}", data={"name": "Ana", "role": "watch"})
    else:
        client.post(f"/rig/devices/{device.device_id}/end")
    assert client.get("/api/asks").json()["holder"] is None
    assert client.post("/api/good").status_code == 200
