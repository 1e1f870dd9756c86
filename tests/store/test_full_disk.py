"""A disk that is full in a sitting: the light follows, the pages say so, nothing is lost.

The full disk is real: the system's limit on the size of a file (setrlimit(2), RLIMIT_FSIZE) is set
below the size of the database while the server runs, and lifted again.
"""

import resource
import signal
import time
from pathlib import Path

import pytest
from starlette.testclient import TestClient

from server.app import create_app
from server.settings import Settings


@pytest.fixture
def full():
    """Makes the disk full, and gives it room again."""
    before = resource.getrlimit(resource.RLIMIT_FSIZE)
    ignored = signal.signal(signal.SIGXFSZ, signal.SIG_IGN)

    def switch(on: bool) -> None:
        resource.setrlimit(resource.RLIMIT_FSIZE, (512 if on else before[0], before[1]))

    yield switch
    resource.setrlimit(resource.RLIMIT_FSIZE, before)
    signal.signal(signal.SIGXFSZ, ignored)


def test_the_light_follows_and_is_saved_when_there_is_room_again(tmp_path: Path, full) -> None:
    settings = Settings(database=tmp_path / "s.db", faces="none")
    with TestClient(create_app(settings)) as client:
        client.post("/api/recall", json={"look": 4})
        full(True)
        first = client.post("/api/nudge", json={"role": "key", "thirds": -1})
        assert first.status_code == 200
        state = client.post("/api/nudge", json={"role": "fill", "thirds": 1}).json()
        assert "nothing since" in state["unsaved"]
        assert "Not saved" in client.get("/board").text
        keep = client.post("/api/looks", json={"name": "Kept on a full disk"})
        assert keep.status_code == 503
        assert "could not be stored" in keep.json()["detail"]
        full(False)
        for _ in range(60):  # by itself, with nobody touching anything
            time.sleep(0.1)
            state = client.get("/api/state").json()
            if not state["unsaved"]:
                break
        assert state["unsaved"] is None
    with TestClient(create_app(settings)) as client:
        after = client.get("/api/state").json()
        assert [h["signal"] for h in after["heads"]] == [h["signal"] for h in state["heads"]]
        assert after["undo"] == state["undo"]
        client.post("/api/undo")  # the steps that were missed are there too
        undone = client.get("/api/state").json()
        assert [h["signal"] for h in undone["heads"]] == [
            h["signal"] for h in first.json()["heads"]
        ]
        names = [look["name"] for look in client.get("/api/looks").json()]
        assert "Kept on a full disk" not in names


def test_a_lamp_read_on_a_full_disk_corrects_the_looks_when_there_is_room(
    tmp_path: Path, full
) -> None:
    def keys(client: TestClient) -> dict[int, float | None]:
        return {
            look["id"]: next(h["stops_below_full"] for h in look["heads"] if h["name"] == "Key")
            for look in client.get("/api/looks").json()
        }

    settings = Settings(database=tmp_path / "s.db", faces="none")
    with TestClient(create_app(settings)) as client:
        before = keys(client)
        client.post("/rig/heads/Key/lamp/light")
        state = client.get("/api/state").json()
        lux = next(p["lux"] for p in state["points"] if p["name"] == "cheek right")
        typed = {"point": "cheek right", "value": f"{lux * 2**0.5:.6g}", "below": "2"}
        full(True)
        client.post("/rig/heads/Key/lamp/apply", data=typed)
        again = client.post("/rig/heads/Key/lamp/apply", data=typed)
        assert again.status_code == 409  # a second tap
        assert client.get("/api/state").json()["unsaved"]
        assert keys(client) == before
        full(False)
        for _ in range(60):
            time.sleep(0.1)
            if not client.get("/api/state").json()["unsaved"]:
                break
        rig = client.get("/api/rig").json()
    with TestClient(create_app(settings)) as client:
        assert client.get("/api/rig").json() == rig
        gained = sum(c["stops"] for c in rig["lamps"])
        assert 0.4 < gained < 0.6
        assert keys(client) == {
            look: None if s is None else pytest.approx(s + gained) for look, s in before.items()
        }
