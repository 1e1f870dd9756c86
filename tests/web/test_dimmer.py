"""What the dimmer does without signal, and the walk through its channels, on the pages."""

import re

import pytest
from starlette.testclient import TestClient

from server.live.output import OutputStatus
from server.studio.walk import GLOW_OUTPUT


class Broken:
    """An output whose line is out."""

    def play(self, timeline: object) -> None:
        """Nothing gets out."""

    def shown(self) -> dict[int, bytes]:
        return {}

    def status(self) -> OutputStatus:
        return OutputStatus("network", False, "nothing gets out to 10.0.0.9")

    def stop(self, *, terminate: bool = True) -> None:
        """Nothing to end."""


def lit(client: TestClient) -> dict[str, float]:
    heads = client.get("/api/state").json()["heads"]
    return {h["name"]: h["output"] for h in heads if h["output"] > 0}


def test_asked_once_stored_and_told_in_the_warning(client: TestClient) -> None:
    engine = client.app.state.desk.engine
    engine._output = Broken()
    assert "nobody has tested" in client.get("/").text
    answer = client.post("/rig/signal-loss", data={"habit": "goes dark"})
    assert answer.url.path == "/rig"
    assert re.search(r'value="goes dark" aria-pressed="true"', answer.text)
    assert client.get("/api/rig").json()["room"]["signal_loss"] == "goes dark"
    page = client.get("/").text
    assert "No signal, the dimmer goes dark: nothing gets out to 10.0.0.9" in page
    # and beside "Disconnected", which only shows when the page has lost its server
    assert "should the signal stop too, the dimmer goes dark" in page


def test_the_habit_travels_with_the_rig_document(client: TestClient) -> None:
    rig = client.get("/api/rig").json()
    assert rig["room"]["signal_loss"] == "not tested"
    rig["room"]["signal_loss"] = "fades"
    assert client.put("/api/rig", json=rig).status_code == 200
    assert client.get("/api/rig").json()["room"]["signal_loss"] == "fades"
    del rig["room"]["signal_loss"]
    assert client.put("/api/rig", json=rig).status_code == 200


def test_no_other_habit_is_taken(client: TestClient) -> None:
    before = client.get("/api/rig").json()
    for habit in ("explodes", "", "x" * 100):
        assert client.post("/rig/signal-loss", data={"habit": habit}).status_code == 422
    bad = {**before, "room": {**before["room"], "signal_loss": "explodes"}}
    answer = client.put("/api/rig", json=bad)
    assert answer.status_code == 422
    assert "holds" in answer.text
    assert client.get("/api/rig").json() == before


def walk(client: TestClient, swapped: dict[str, str]) -> str:
    """Walk to the end and see what `swapped` says instead of the rig's head; the last page."""
    page = client.post("/rig/walk/start").text
    for _ in range(20):
        asked = re.search(r'name="lit" value="([^"]*)"', page)
        if asked is None:
            return page
        name = asked[1]
        assert lit(client) == {name: pytest.approx(GLOW_OUTPUT)}, "one alone, low"
        assert client.app.state.desk.engine.now().fade.lasts_s >= 1.0, "faded, never snapped"
        page = client.post(
            "/rig/walk/saw", data={"lit": name, "head": swapped.get(name, name)}
        ).text
    raise AssertionError("the walk does not end")


def test_a_walk_without_faults_brings_the_light_back(client: TestClient) -> None:
    client.post("/api/recall", json={"look": 4})
    before = client.get("/api/state").json()
    page = walk(client, {})
    assert "Every head is on its channel" in page
    after = client.get("/api/state").json()
    assert after["heads"] == before["heads"]
    assert (after["look"], after["changed"]) == (before["look"], False)


def test_swapped_channels_are_told_and_mended(client: TestClient) -> None:
    client.post("/api/recall", json={"look": 4})
    before = {h["name"]: h for h in client.get("/api/rig").json()["heads"]}
    light = lit(client)
    page = walk(client, {"Key": "Fill", "Fill": "Key", "Hair": ""})
    assert "channel 1 belongs to Key in the rig, but Fill glowed" in page
    assert "channel 5 belongs to Fill in the rig, but Key glowed" in page
    assert "nothing glowed on channel 9 (Hair)" in page
    client.post("/rig/walk/mend")
    after = {h["name"]: h for h in client.get("/api/rig").json()["heads"]}
    assert (after["Key"]["address"], after["Key"]["bits"]) == (5, before["Fill"]["bits"])
    assert (after["Fill"]["address"], after["Fill"]["bits"]) == (1, before["Key"]["bits"])
    assert after["Hair"] == before["Hair"]
    assert lit(client) == light
    assert client.app.state.desk.engine.now().fade.lasts_s >= 1.0, "no lamp jumps"


def test_what_does_not_add_up_is_not_mended(client: TestClient) -> None:
    client.post("/api/recall", json={"look": 4})
    page = walk(client, {"Key": "Fill"})
    assert "cannot be mended by itself" in page
    before = client.get("/api/rig").json()
    assert client.post("/rig/walk/mend").status_code == 409
    assert client.get("/api/rig").json() == before


def test_stopped_on_the_way_and_tapped_twice(client: TestClient) -> None:
    client.post("/api/recall", json={"look": 4})
    light = lit(client)
    page = client.post("/rig/walk/start").text
    first = re.search(r'name="lit" value="([^"]*)"', page)[1]
    answer = {"lit": first, "head": first}
    client.post("/rig/walk/saw", data=answer)
    assert client.post("/rig/walk/saw", data=answer).status_code == 409, "a tap counts once"
    assert client.post("/rig/walk/saw", data={"lit": "Key side", "head": "X"}).status_code >= 400
    client.post("/rig/walk/stop")
    assert lit(client) == light
    for path in ("stop", "mend"):
        assert client.post(f"/rig/walk/{path}").status_code == 409, path


def test_a_light_called_meanwhile_is_not_taken_away(client: TestClient) -> None:
    client.post("/api/recall", json={"look": 4})
    client.post("/rig/walk/start")
    client.post("/api/recall", json={"look": 5})
    light = lit(client)
    client.post("/rig/walk/stop")
    assert lit(client) == light


def test_a_rig_changed_meanwhile_is_told(client: TestClient) -> None:
    client.post("/api/recall", json={"look": 4})
    page = client.post("/rig/walk/start").text
    first = re.search(r'name="lit" value="([^"]*)"', page)[1]
    client.post("/rig/heads/Hair/delete")
    answer = client.post("/rig/walk/saw", data={"lit": first, "head": first})
    assert answer.status_code == 422
    assert "start anew" in answer.text
    assert client.post("/rig/walk/stop").status_code == 200


def test_an_empty_rig_has_nothing_to_walk_through(tmp_path) -> None:
    from server.app import create_app
    from server.settings import Settings

    settings = Settings(database=tmp_path / "e.db", demo=False, faces="none")
    with TestClient(create_app(settings)) as client:
        assert client.post("/rig/walk/start").status_code == 409
        assert client.get("/rig/walk").status_code == 200
        assert client.get("/by-hand").status_code == 200
