"""Patterns of looks: kept, found by, and brought to an older database."""

from collections.abc import Iterator
from pathlib import Path

import pytest
from sqlalchemy import Engine, text
from sqlmodel import Session

from server.paths import DEMO_DATA
from server.store.burning import hours_lit
from server.store.database import open_database
from server.store.devices import devices
from server.store.journal import load_live
from server.store.looks import delete_look, find_looks, name_taken
from server.store.patterns import known_patterns, put_pattern, unread_looks
from server.store.seed import seed
from server.studio.pattern import Pattern

NEAR = Pattern("loop", "broad", ("loop", "Rembrandt"))


@pytest.fixture
def session(tmp_path: Path) -> Iterator[Session]:
    database = open_database(tmp_path / "studio.db")
    with Session(database) as session:
        seed(session, DEMO_DATA)
        session.commit()
        yield session
    database.dispose()


def test_what_is_kept_comes_back(session: Session) -> None:
    put_pattern(session, [4, 5], "abc", NEAR)
    put_pattern(session, [5], "def", Pattern("split", "short"))
    assert known_patterns(session) == [(4, "abc", NEAR), (5, "def", Pattern("split", "short"))]


def test_looks_are_found_by_pattern_by_its_neighbour_and_by_side(session: Session) -> None:
    put_pattern(session, [4], "abc", NEAR)
    put_pattern(session, [2, 3], "def", Pattern("butterfly"))
    found = {
        word: [look.look_id for look in find_looks(session, pattern=word)]
        for word in ("loop", "Rembrandt", "broad", "butterfly", "split")
    }
    assert found == {"loop": [4], "Rembrandt": [4], "broad": [4], "butterfly": [3, 2], "split": []}
    assert [look.look_id for look in find_looks(session, "Clam", pattern="butterfly")] == [3]


def test_looks_not_read_yet_are_known(session: Session) -> None:
    put_pattern(session, [12, 11], "abc", NEAR)
    delete_look(session, 10)
    assert [look.look_id for look in unread_looks(session, 3)] == [9, 8, 7]


def test_a_name_is_taken_until_its_look_is_deleted(session: Session) -> None:
    assert name_taken(session, "Loop")
    assert not name_taken(session, "Loo")
    delete_look(session, 4)
    assert not name_taken(session, "Loop")


def test_a_database_of_version_one_gets_what_came_later(tmp_path: Path) -> None:
    old = open_database(tmp_path / "old.db")
    with old.connect() as connection:
        connection.execute(text("DROP TABLE look_pattern"))
        connection.execute(text("DROP TABLE device"))
        connection.execute(text("DROP TABLE lamp_hours"))
        connection.execute(text("ALTER TABLE live DROP COLUMN way"))
        connection.execute(text("ALTER TABLE look DROP COLUMN room_id"))
        for column in ("is_open", "archived_at", "running"):
            connection.execute(text(f"ALTER TABLE rig DROP COLUMN {column}"))
        connection.execute(text("PRAGMA user_version = 1"))
        connection.commit()
    old.dispose()
    new: Engine = open_database(tmp_path / "old.db")
    with Session(new) as session:
        assert known_patterns(session) == []
        assert devices(session) == []
        assert hours_lit(session, 1) == {}
        assert load_live(session) is None
    new.dispose()
