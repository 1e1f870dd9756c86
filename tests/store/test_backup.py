"""Copies and the way back. Consistency: SQLite documentation, "SQLite Backup API"."""

import os
import sqlite3
from contextlib import closing
from datetime import datetime
from pathlib import Path

import pytest
from starlette.testclient import TestClient

from server.app import create_app
from server.commands import run
from server.errors import Refused
from server.settings import Settings
from server.store.backup import backup, check, restore, take_lock

NOON = datetime(2026, 5, 1, 12, 0, 0)


@pytest.fixture
def studio(tmp_path: Path) -> Settings:
    return Settings(database=tmp_path / "studio.db", faces="none")


def signals(client: TestClient) -> list[list[int]]:
    return [h["signal"] for h in client.get("/api/state").json()["heads"]]


def test_a_copy_made_while_it_runs_brings_everything_back(studio: Settings, tmp_path: Path) -> None:
    copy = tmp_path / "copy.db"
    with TestClient(create_app(studio)) as client:
        client.post("/api/recall", json={"look": 4})
        client.post("/api/looks", json={"name": "Before the copy"})
        lit = signals(client)
        backup(studio.database, copy)
        client.post("/api/looks", json={"name": "After the copy"})
        client.post("/api/nudge", json={"role": "key", "thirds": -2})
    kept = restore(copy, studio.database, NOON)
    assert kept == tmp_path / "studio.db.before-20260501-120000"
    with TestClient(create_app(studio)) as client:
        names = [look["name"] for look in client.get("/api/looks").json()]
        assert "Before the copy" in names
        assert "After the copy" not in names
        assert signals(client) == lit
    check(kept)
    with closing(sqlite3.connect(kept)) as old:  # with what had stood in its log only
        assert old.execute("SELECT count(*) FROM look WHERE name = 'After the copy'").fetchone()[0]


def test_nothing_is_overwritten_and_nothing_left_behind(studio: Settings, tmp_path: Path) -> None:
    with TestClient(create_app(studio)):
        pass
    taken = tmp_path / "taken.txt"
    taken.write_text("notes")
    with pytest.raises(Refused, match="nothing was overwritten"):
        backup(studio.database, taken)
    assert taken.read_text() == "notes"
    with pytest.raises(Refused, match="cannot be written"):
        backup(studio.database, tmp_path / "nowhere" / "copy.db")
    with pytest.raises(Refused, match="no database"):
        backup(tmp_path / "other.db", tmp_path / "copy.db")
    assert not [p for p in tmp_path.iterdir() if p.name.startswith(".")]


def damaged(path: Path) -> Path:
    data = bytearray(path.read_bytes())
    data[4096:8192] = b"\xa5" * 4096  # a whole page
    broken = path.with_name("broken.db")
    broken.write_bytes(data)
    return broken


def test_what_is_no_whole_copy_is_refused(studio: Settings, tmp_path: Path) -> None:
    with TestClient(create_app(studio)):
        pass
    before = studio.database.read_bytes()
    good = tmp_path / "good.db"
    backup(studio.database, good)
    foreign, newer = tmp_path / "foreign.db", tmp_path / "newer.db"
    with closing(sqlite3.connect(foreign)) as other:
        other.execute("CREATE TABLE recipes (name)")
    newer.write_bytes(good.read_bytes())
    with closing(sqlite3.connect(newer)) as other:
        other.execute("PRAGMA user_version = 99")
    text = tmp_path / "text.db"
    text.write_text("shopping list " * 400)
    for path, why in (
        (damaged(good), "damaged|cannot be read"), (foreign, "none of Thirdstop"),
        (newer, "newer"), (text, "cannot be read"), (tmp_path / "gone.db", "no file"),
    ):  # fmt: skip
        with pytest.raises(Refused, match=why):
            restore(path, studio.database, NOON)
    assert studio.database.read_bytes() == before


def test_a_database_in_use_is_not_replaced(
    studio: Settings, tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    with TestClient(create_app(studio)):
        copy = tmp_path / "copy.db"
        assert run(["backup", str(copy), "--database", str(studio.database)]) == 0
        lock = take_lock(studio.database)
        assert run(["restore", str(copy), "--database", str(studio.database)]) == 78
        assert "stop it first" in capsys.readouterr().err
        os.close(lock)


def test_a_damaged_database_is_refused_and_left_alone(studio: Settings, tmp_path: Path) -> None:
    with TestClient(create_app(studio)):
        pass
    copy = tmp_path / "copy.db"
    backup(studio.database, copy)
    broken = damaged(copy)
    before = broken.read_bytes()
    with pytest.raises(Refused, match=r"restore FILE|cannot be used"):
        create_app(Settings(database=broken, faces="none"))
    assert broken.read_bytes() == before
    kept = restore(copy, broken, NOON)
    assert kept is not None
    assert kept.read_bytes() == before
    with TestClient(create_app(Settings(database=broken, faces="none"))) as client:
        assert len(client.get("/api/looks").json()) == 12


def test_the_rig_page_hands_out_a_copy(studio: Settings, tmp_path: Path) -> None:
    with TestClient(create_app(studio)) as client:
        answer = client.get("/rig/copy")
        assert "attachment" in answer.headers["content-disposition"]
        (tmp_path / "got.db").write_bytes(answer.content)
    check(tmp_path / "got.db")
