"""Flip, half-way and walks on the page, and a recall that would trip a breaker."""

import re

import pytest
from starlette.testclient import TestClient


def state(client: TestClient) -> dict:
    return client.get("/api/state").json()


def stops(client: TestClient) -> dict[str, float]:
    return {h["name"]: h["stops_below_full"] for h in state(client)["heads"]}


@pytest.fixture
def lit(client: TestClient) -> TestClient:
    client.post("/api/recall", json={"look": 4})
    return client


def test_half_way_is_in_stops(lit: TestClient) -> None:
    start = stops(lit)
    lit.post("/live/half-way", data={"look": 5})
    half = stops(lit)
    lit.post("/api/recall", json={"look": 5})
    end = stops(lit)
    for name in start:
        if start[name] is not None and end[name] is not None:
            assert half[name] == pytest.approx((start[name] + end[name]) / 2)


def test_a_walk_by_the_pedal_and_back(lit: TestClient) -> None:
    start = stops(lit)
    lit.post("/live/walk", data={"look": 5, "steps": 3})
    assert "1 of 3 on the way" in lit.get("/board/between").text
    first = stops(lit)
    assert first != start
    lit.post("/live/step", data={"by": 1})
    assert state(lit)["did"].startswith("2 of 3")
    lit.post("/live/step", data={"by": -1})
    assert stops(lit) == first
    lit.post("/live/step", data={"by": 1})
    lit.post("/live/step", data={"by": 1})
    assert state(lit)["look"]["id"] == 5
    assert not state(lit)["changed"]
    looks = [k["id"] for k in lit.get("/api/running-order").json()]
    lit.post("/live/step", data={"by": 1})  # the walk is over: the pedal calls looks again
    assert state(lit)["look"]["id"] == looks[looks.index(5) + 1]


def test_a_recall_ends_the_walk(lit: TestClient) -> None:
    lit.post("/api/walk", json={"look": 5, "steps": 5})
    lit.post("/live/recall", data={"look": 4})
    assert lit.post("/api/walk/step", json={"by": 1}).status_code == 409


def test_turned_round_is_one_step_and_one_undo(lit: TestClient) -> None:
    before = state(lit)
    assert "This light turned round" in lit.get("/board/between").text
    told = lit.post("/api/flip").json()
    assert told["sitter"]["yaw_deg"] == -before["sitter"]["yaw_deg"]
    assert {f["point"] for f in told["flip"]["off"]} <= {p["name"] for p in told["points"]}
    lit.post("/api/undo")
    assert state(lit)["heads"] == before["heads"]
    assert state(lit)["sitter"] == before["sitter"]


@pytest.fixture
def tight(lit: TestClient) -> TestClient:
    """A rig whose circuit C carries little: look 5 would trip it."""
    lit.post("/api/dark", json={})
    rig = lit.get("/api/rig").json()
    for circuit in rig["room"]["circuits"]:
        circuit["breaker_amps"] = 0.2
    assert lit.put("/api/rig", json=rig).status_code == 200
    return lit


def test_a_recall_that_would_trip_a_breaker_is_warned_of_before(tight: TestClient) -> None:
    page = tight.get("/").text
    assert re.search(r"tile-load\">\d+ A on \w, breaker 0.2", page)
    before = stops(tight)
    answer = tight.post("/api/recall", json={"look": 5})
    assert answer.status_code == 409
    assert "breaker is for 0.2 A" in answer.json()["detail"]
    assert stops(tight) == before
    plain = tight.post("/live/recall", data={"look": 5})
    assert plain.status_code == 409
    assert "Recall it all the same" in plain.text
    notice = tight.post("/live/recall", data={"look": 5}, headers={"HX-Request": "true"})
    assert "Recall it all the same" in notice.text
    tight.post("/live/recall", data={"look": 5, "anyway": "true"})
    assert state(tight)["look"]["id"] == 5


def test_the_rig_page_tells_the_worst_of_the_running_order_and_the_neutral(
    tight: TestClient,
) -> None:
    rig = tight.get("/api/rig").json()
    for circuit, phase in zip(rig["room"]["circuits"], ("L1", "L2", "L3"), strict=True):
        circuit["phase"] = phase
    tight.put("/api/rig", json=rig)
    page = tight.get("/rig").text
    assert re.search(r"\w: \d+\.\d A between [^<]*over its breaker of 0.2 A", page)
    assert "that sum does not hold" in page
    rig["room"]["circuits"][0]["phase"] = "L9"
    assert tight.put("/api/rig", json=rig).status_code == 422


def test_a_light_changed_by_hand_ends_the_walk(lit: TestClient) -> None:
    lit.post("/api/walk", json={"look": 5, "steps": 5})
    lit.post("/api/nudge", json={"role": "fill", "thirds": 1})
    assert lit.post("/api/walk/step", json={"by": 1}).status_code == 409
    lit.post("/api/walk", json={"look": 5, "steps": 5})
    lit.post("/api/undo")
    assert "On the way" not in lit.get("/board/between").text


def test_no_way_round_the_breaker(tight: TestClient) -> None:
    before = stops(tight)
    assert tight.post("/api/mix", json={"look": 5, "part": 1.0}).status_code == 409
    assert tight.post("/api/walk", json={"look": 5, "steps": 2}).status_code == 409
    assert stops(tight) == before
