"""A lamp is out: two taps, a rescue, one undo; back from low, one after another."""

import time

import pytest
from starlette.testclient import TestClient


def heads(client: TestClient) -> dict[str, float]:
    return {h["name"]: h["output"] for h in client.get("/api/state").json()["heads"]}


@pytest.fixture
def lit(client: TestClient) -> TestClient:
    client.post("/api/recall", json={"look": 4})
    return client


def test_two_taps_mark_a_head_and_the_third_rescues(lit: TestClient) -> None:
    before = heads(lit)
    assert "Lamp out" in lit.get("/board").text
    page = lit.post("/live/out", data={"head": "Fill"}).text
    assert "With what is left" in page
    assert "Without Fill: " in page
    assert heads(lit)["Fill"] == 0
    lit.post("/live/rescue")
    state = lit.get("/api/state").json()
    assert heads(lit) != before
    lit.post("/api/undo")
    assert {**heads(lit), "Fill": before["Fill"]} == before
    assert state["did"].startswith("without Fill")


def test_recalls_skip_it_until_it_is_back(lit: TestClient) -> None:
    lit.post("/api/out", json={"head": "Fill"})
    lit.post("/api/recall", json={"look": 5})
    assert heads(lit)["Fill"] == 0
    lit.post("/api/recall", json={"look": 4})
    told = lit.post("/api/out", json={"head": "Fill", "out": False}).json()
    assert told["fading"]  # from low, not at once
    assert heads(lit)["Fill"] > 0


def test_a_look_kept_meanwhile_has_it_dark(lit: TestClient) -> None:
    lit.post("/api/out", json={"head": "Fill"})
    look = lit.post("/api/looks", json={"name": "Without"}).json()
    lit.post("/api/out", json={"head": "Fill", "out": False})
    lit.post("/api/recall", json={"look": look["id"]})
    assert heads(lit)["Fill"] == 0


def test_a_circuit_goes_out_and_comes_back_one_head_after_another(
    lit: TestClient, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr("server.web.routes.rescue.ONE_AFTER_ANOTHER_S", 0.05)
    before = heads(lit)
    rig = lit.get("/api/rig").json()
    on_a = [h["name"] for h in rig["heads"] if h["circuit"] == "A" and before[h["name"]] > 0]
    lit.post("/live/out", data={"circuit": "A"})
    assert all(heads(lit)[name] == 0 for name in on_a)
    assert "Circuit A" in lit.get("/board/out").text
    lit.post("/live/in-again", data={"circuit": "A"})
    assert any(h["out"] for h in lit.get("/api/rig").json()["heads"]), "not all at once"
    until = time.monotonic() + 5
    while heads(lit) != before:
        assert time.monotonic() < until
        time.sleep(0.05)


@pytest.mark.parametrize(
    "wish", [{}, {"head": "Nobody"}, {"circuit": "Z"}, {"head": "A", "circuit": "A"}]
)
def test_what_cannot_be_out_is_told(lit: TestClient, wish: dict[str, str]) -> None:
    assert lit.post("/api/out", json=wish).status_code == 404
    assert lit.get("/api/rescue").status_code == 409


def test_a_nudge_at_full_leads_to_the_ways(client: TestClient) -> None:
    client.post("/api/levels", json={"levels": {"Key": 100, "Fill": 60}})
    steps = client.get("/api/state").json()["undo"]
    answer = client.post(
        "/live/nudge", data={"group": "key", "thirds": 1}, headers={"HX-Request": "true"}
    )
    assert 'href="/board/ways?head=Key&amp;thirds=1"' in answer.text
    assert client.get("/api/state").json()["undo"] == steps  # nothing moved, nothing to take back


def test_said_out_once_more_it_stays_out(lit: TestClient, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr("server.web.routes.rescue.ONE_AFTER_ANOTHER_S", 0.1)
    lit.post("/api/out", json={"circuit": "A"})
    lit.post("/api/out", json={"circuit": "A", "out": False})
    lit.post("/api/out", json={"circuit": "A"})
    time.sleep(0.8)
    rig = lit.get("/api/rig").json()
    assert all(h["out"] for h in rig["heads"] if h["circuit"] == "A")


def test_the_board_says_what_is_out_and_leaves_its_keys_off(lit: TestClient) -> None:
    lit.post("/api/out", json={"head": "Fill"})
    board = lit.get("/board").text
    assert "Fill is out" in board
    # the other head of the row comes in instead, never the dead one
    lit.post("/live/nudge", data={"group": "fill", "thirds": 1})
    assert lit.get("/api/state").json()["did"] == "Under fill in, low"
    lit.post("/api/out", json={"head": "Background"})
    answer = lit.post("/live/nudge", data={"group": "background", "thirds": 1})
    assert answer.status_code == 409
    assert "out until it is back" in answer.text
