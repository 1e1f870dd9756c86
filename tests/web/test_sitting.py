"""The sitting told afterwards: what changed since the good frame, and back to any good frame.

The wording of the change follows the trade's "fill down two thirds, hair up one" (common practice).
"""

import re

from starlette.testclient import TestClient


def first_look(client: TestClient) -> None:
    looks = client.get("/api/looks").json()
    client.post("/api/recall", json={"look": looks[1]["id"]})


def test_what_changed_since_the_good_frame_is_said_in_thirds(client: TestClient) -> None:
    first_look(client)
    assert "Since the good frame" not in client.get("/board").text
    client.post("/api/good")
    assert "as in the good frame" in client.get("/board").text
    state = client.post("/api/nudge", json={"role": "fill", "thirds": -2}).json()
    fills = [h["name"] for h in state["heads"] if h["role"] == "fill" and h["output"] > 0]
    for page in ("/board", "/sitting"):
        text = client.get(page).text
        assert all(f"{name} ▼⅔" in text for name in fills)
        assert "rest same" in text


def test_an_earlier_good_frame_comes_back_and_can_be_undone(client: TestClient) -> None:
    first_look(client)
    good = client.post("/api/good").json()
    client.post("/api/nudge", json={"role": "key", "thirds": -3})
    client.post("/api/good")
    nudged = client.post("/api/nudge", json={"role": "fill", "thirds": 1}).json()
    page = client.get("/sitting").text
    numbers = re.findall(r'name="event" value="(\d+)"', page)
    assert len(numbers) == 2  # the newest first
    answer = client.post("/live/good-frame", data={"event": numbers[1]})
    assert answer.status_code == 200
    back = client.get("/api/state").json()
    assert [h["signal"] for h in back["heads"]] == [h["signal"] for h in good["heads"]]
    undone = client.post("/api/undo").json()
    assert [h["signal"] for h in undone["heads"]] == [h["signal"] for h in nudged["heads"]]


def test_a_line_that_is_no_good_frame_changes_nothing(client: TestClient) -> None:
    first_look(client)
    before = client.get("/api/state").json()["revision"]
    for number in (1, 99999, -1):
        assert client.post("/live/good-frame", data={"event": number}).status_code == 404
    assert client.get("/api/state").json()["revision"] == before
