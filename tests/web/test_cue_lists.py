"""Cue lists by the pages: the running order goes out and comes back with the same bytes."""

import random

from starlette.testclient import TestClient

from tests.web.bringing import bring, damaged_files_change_nothing, keep, told

CUES = "/library/files/cues"


def signals(client: TestClient, look_id: int) -> dict[str, list[int]]:
    state = client.post("/api/recall", json={"look": look_id}).json()
    return {head["name"]: head["signal"] for head in state["heads"]}


def test_the_running_order_goes_out_and_comes_back(client: TestClient) -> None:
    out = client.get(CUES)
    assert out.headers["content-type"].startswith("text/plain")
    assert b"Text Rembrandt, short\r\n" in out.content
    order = client.get("/api/running-order").json()
    page = bring(client, out.content, CUES)
    assert f"{len(order)} will be added" in page.text
    assert "another look of this name is here: both stay" in page.text
    keep(client, page)
    both = client.get("/api/running-order").json()
    assert [k["name"] for k in both] == 2 * [k["name"] for k in order]
    for old, new in zip(order, both[len(order) :], strict=True):
        assert new["tags"] == ["cue list"]
        was, now = signals(client, old["id"]), signals(client, new["id"])
        assert {n: s for n, s in now.items() if len(s) == 1} == {
            n: s for n, s in was.items() if len(s) == 1
        }
        for name in was:  # 16 bits: within half a step of the 255 that the file can say
            if len(was[name]) == 2:
                a, b = (256 * s[0] + s[1] for s in (was[name], now[name]))
                assert abs(a - b) <= 129
    assert "Nothing will be added" in bring(client, out.content, CUES).text


def test_all_looks_and_percent(client: TestClient) -> None:
    whole = client.get(CUES, params={"which": "all", "levels": "percent"}).text
    assert whole.count("\r\nCue ") == 12
    assert "@H" not in whole
    assert "@FL" in whole
    assert client.get(CUES, params={"which": "some"}).status_code == 422


def test_the_page_says_what_it_is_and_is_not(client: TestClient) -> None:
    page = client.get("/rig/cues").text
    assert "We do not claim that it conforms" in page
    assert "1 · Key" in page
    for path in ("/library", "/rig"):
        assert 'href="/rig/cues"' in client.get(path).text


def test_a_refused_list_changes_nothing(client: TestClient) -> None:
    before = told(client)
    answer = bring(client, b"Cue 1\nChan 1@50\nCue 2\nChan 1@5O\nEndData\n", CUES)
    assert answer.status_code == 422
    assert "line 4, CHAN: a level must be" in answer.text
    assert told(client) == before


def test_damaged_lists(client: TestClient, empty: TestClient) -> None:
    empty.put("/api/rig", json=client.get("/api/rig").json())
    data = client.get(CUES).content
    assert damaged_files_change_nothing(client, empty, CUES, data) > 30


def test_anything_at_all_is_no_cue_list(client: TestClient) -> None:
    chance = random.Random(3)
    for _ in range(60):
        answer = bring(client, chance.randbytes(chance.randint(1, 400)), CUES)
        assert answer.status_code == 422
