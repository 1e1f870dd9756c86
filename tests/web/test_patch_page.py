"""The patch page: channels at a glance, giving and swapping them, the sheet to print."""

import re

import pytest
from starlette.testclient import TestClient


def channels(client: TestClient) -> dict[str, tuple[int, int]]:
    heads = client.get("/api/rig").json()["heads"]
    return {h["name"]: (h["universe"], h["address"]) for h in heads}


def test_the_twelve_channels_at_a_glance(client: TestClient) -> None:
    page = client.get("/rig/patch").text
    cells = re.findall(r'href="/rig/patch/1/(\d+)" data-state="(\w+)"', page)
    assert [int(n) for n, _ in cells] == list(range(1, 13))
    assert cells[0][1] == "coarse"  # the key has sixteen bits
    assert cells[1][1] == "fine"
    assert "16 bit, with 1" in page
    assert "No channel is given twice." in page
    assert "A · 220 W" in page
    assert re.search(r"Free: [\d–, ]+\.", page)
    assert 'href="/rig/walk"' in page
    assert "patch-sheet" in page


def test_as_many_channels_and_universes_as_one_likes(client: TestClient) -> None:
    page = client.get("/rig/patch?universe=9&channels=512").text
    assert page.count("data-state=") >= 512
    assert "Free: 1–512." in page
    for wrong in ("universe=0", "universe=64000", "channels=513", "channels=x"):
        assert client.get(f"/rig/patch?{wrong}").status_code == 422


def test_a_channel_is_given_and_the_light_stays(client: TestClient) -> None:
    client.post("/api/recall", json={"look": 4, "fade_s": 0})
    before = {h["name"]: h["output"] for h in client.get("/api/state").json()["heads"]}
    assert "now 5" in client.get("/rig/patch/1/12").text
    data = {"head": "Fill", "universe": "1", "address": "12"}
    assert client.post("/rig/patch/give", data=data).url.path == "/rig/patch"
    assert channels(client)["Fill"] == (1, 12)
    after = {h["name"]: h["output"] for h in client.get("/api/state").json()["heads"]}
    assert after == before
    assert client.post("/rig/patch/give", data=data | {"universe": "3"}).url.query == b"universe=3"
    assert "Universe 3" in client.get("/rig/patch").text
    assert "universe 3" in client.get("/rig/patch").text  # on the sheet too


def test_two_heads_swap_on_a_taken_channel(client: TestClient) -> None:
    before = channels(client)
    page = client.get("/rig/patch/1/5").text
    assert "Kicker <small>Fill gets 7</small>" in page
    assert ">Key <small>" not in page  # sixteen bits cannot swap with eight
    client.post("/rig/patch/swap", data={"head": "Kicker", "other": "Fill"})
    after = channels(client)
    assert (after["Kicker"], after["Fill"]) == (before["Fill"], before["Kicker"])


@pytest.mark.parametrize(
    ("call", "data", "code", "said"),
    [
        ("give", {"head": "Fill", "universe": "1", "address": "2"}, 409,
         "channel 2 is Key’s, so Fill cannot have it too"),
        ("give", {"head": "Key", "universe": "1", "address": "4"}, 409, "Key side’s, so Key"),
        ("give", {"head": "Fill", "universe": "1", "address": "513"}, 422, "channel"),
        ("give", {"head": "Fill", "universe": "0", "address": "1"}, 422, "universe"),
        ("give", {"head": "Fill", "universe": "1", "address": "x"}, 422, "channel"),
        ("give", {"head": "Nobody", "universe": "1", "address": "12"}, 404, "Nobody"),
        ("swap", {"head": "Key", "other": "Fill"}, 409, "16 bits"),
        ("swap", {"head": "Fill", "other": "Fill"}, 422, "itself"),
        ("swap", {"head": "Fill", "other": "Nobody"}, 404, "no head"),
    ],
)  # fmt: skip
def test_what_cannot_be_is_said_and_nothing_changes(
    client: TestClient, call: str, data: dict[str, str], code: int, said: str
) -> None:
    before = client.get("/api/rig").json()
    for headers in ({}, {"HX-Request": "true"}):
        answer = client.post(f"/rig/patch/{call}", data=data, headers=headers)
        assert answer.status_code == code
        assert said in answer.text
    assert client.get("/api/rig").json() == before


@pytest.mark.parametrize(("path", "code"), [("0/1", 422), ("1/0", 422), ("1/513", 422)])
def test_no_such_channel(client: TestClient, path: str, code: int) -> None:
    assert client.get(f"/rig/patch/{path}").status_code == code


def test_an_empty_rig_has_a_sheet_too(client: TestClient) -> None:
    for name in channels(client):
        client.post(f"/rig/heads/{name}/delete")
    page = client.get("/rig/patch").text
    assert "Free: 1–12." in page
    assert "No other head" in client.get("/rig/patch/1/1").text
