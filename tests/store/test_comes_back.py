"""A change answered is a change stored: the next start finds it, exactly."""

import sqlite3
from pathlib import Path

import pytest
from starlette.testclient import TestClient

from server.app import create_app
from server.errors import Refused
from server.settings import Settings
from server.store.database import open_database


def test_light_steps_and_good_frame_come_back(tmp_path: Path) -> None:
    settings = Settings(database=tmp_path / "studio.db")
    with TestClient(create_app(settings)) as first:
        first.post("/api/recall", json={"look": 4})
        first.post("/api/good")
        first.post("/api/nudge", json={"role": "fill", "thirds": -1})
        before = first.get("/api/state").json()
    with TestClient(create_app(settings)) as second:
        after = second.get("/api/state").json()
        for name in ("revision", "heads", "look", "changed", "points", "undo", "good"):
            assert after[name] == before[name], name
        assert second.post("/api/undo").json()["changed"] is False


def test_a_newer_file_is_refused_and_left_untouched(tmp_path: Path) -> None:
    path = tmp_path / "newer.db"
    connection = sqlite3.connect(path)
    connection.execute("PRAGMA user_version = 99")
    connection.close()
    before = path.read_bytes()
    with pytest.raises(Refused, match="newer Thirdstop"):
        open_database(path)
    assert path.read_bytes() == before


def test_a_file_that_is_no_database_is_refused(tmp_path: Path) -> None:
    path = tmp_path / "notes.db"
    path.write_text("shopping list, not a database at all " * 40)
    with pytest.raises(Refused, match="cannot be used"):
        open_database(path)


@pytest.mark.parametrize(
    "damage",
    [
        "UPDATE rig SET document = '{'",
        "UPDATE rig SET document = '{}'",
        "UPDATE step SET setting = '{}'",
        "DELETE FROM step",
        "UPDATE live SET step = 900",
    ],
)
def test_a_whole_file_with_another_content_is_refused_in_words(tmp_path: Path, damage: str) -> None:
    settings = Settings(database=tmp_path / "studio.db", faces="none")
    with TestClient(create_app(settings)) as first:
        first.post("/api/recall", json={"look": 4})
    with sqlite3.connect(settings.database) as connection:
        connection.execute(damage)
    with pytest.raises(Refused, match="thirdstop restore"):
        create_app(settings)


def test_a_database_that_is_taken_away_is_told(tmp_path: Path) -> None:
    settings = Settings(database=tmp_path / "studio.db", faces="none")
    with TestClient(create_app(settings)) as client:
        client.post("/api/recall", json={"look": 4})
        settings.database.rename(tmp_path / "elsewhere.db")
        told = client.post("/api/nudge", json={"role": "fill", "thirds": -1}).json()
        assert "moved or deleted" in told["unsaved"]
        assert "Not saved" in client.get("/board").text
        (tmp_path / "elsewhere.db").rename(settings.database)
        told = client.post("/api/nudge", json={"role": "fill", "thirds": -1}).json()
        assert told["unsaved"] is None
