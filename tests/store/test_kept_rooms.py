"""Rooms: each with its rig and its looks; and a studio of before there were several."""

import sqlite3
from collections.abc import Iterator
from contextlib import closing
from dataclasses import replace
from datetime import UTC, datetime
from pathlib import Path

import pytest
from sqlmodel import Session
from starlette.testclient import TestClient

from server.app import create_app
from server.errors import NotFound, OutOfRange, Refused
from server.paths import DEMO_DATA
from server.settings import Settings
from server.store.database import open_database
from server.store.glance import signal_loss
from server.store.journal import Journal, load_live
from server.store.look_files import add_looks
from server.store.looks import (
    add_look,
    all_tags,
    change_look,
    find_looks,
    get_look,
    running_order,
    set_running_order,
)
from server.store.notes import open_notes
from server.store.rigs import load_rig
from server.store.rooms import (
    active_id,
    add_room,
    archive_room,
    duplicate_room,
    get_room,
    rename_room,
    restore_room,
    room_to_open,
    rooms,
)
from server.store.seed import seed
from server.studio.head import Head
from server.studio.history import Change, History, LiveRecord, RoomAsLeft, Step
from server.studio.rig import Rig
from server.studio.room import USUAL_POINTS, Room
from server.studio.setting import Setting

NOON = datetime(2026, 5, 1, 12, tzinfo=UTC)
MILL = Rig(
    Room("Old mill", ceiling_m=3.4), heads=(Head("Key", "key"), Head("Lamp", "fill", address=2))
)
NOTES_OF_SCHEMA_5 = """
CREATE TABLE note (
	id INTEGER NOT NULL, head VARCHAR NOT NULL, text VARCHAR NOT NULL, placement JSON NOT NULL,
	up VARCHAR NOT NULL, "by" VARCHAR NOT NULL, at DATETIME NOT NULL, closed_at DATETIME,
	PRIMARY KEY (id)
);
INSERT INTO note VALUES (1, 'Key', 'Closer', '{}', '0', 'Ana', '2026-05-01 10:00:00', NULL);
PRAGMA user_version = 5;
"""
BEFORE_ROOMS = (Path(__file__).parent / "schema_4.sql").read_text("utf-8")


@pytest.fixture
def session(tmp_path: Path) -> Iterator[Session]:
    database = open_database(tmp_path / "studio.db")
    with Session(database) as session:
        seed(session, DEMO_DATA)
        session.commit()
        yield session
    database.dispose()


def opened(room_id: int, rig: Rig, left: RoomAsLeft | None = None) -> Change:
    """The change that opening a room hands to be stored."""
    record = LiveRecord(History((Step(1, Setting()),)), room_id=room_id)
    return Change(record, "room", "opened", "", NOON, rig, left)


def test_the_first_room_is_the_rig_there_was(session: Session) -> None:
    (only,) = rooms(session)
    assert (only.name, len(only.heads), only.circuits, only.looks) == ("Boathouse", 9, 3, 12)
    assert only.is_open
    assert get_room(session, only.room_id) == load_rig(session)
    assert {look.room for look in find_looks(session)} == {"Boathouse"}


def test_a_room_is_kept_whole_and_opens_nothing(session: Session) -> None:
    mill = add_room(session, MILL)
    assert get_room(session, mill) == MILL
    assert active_id(session) == 1
    assert [(r.name, r.is_open, r.heads) for r in rooms(session)][1] == (
        "Old mill", False, ("Key", "Lamp"))  # fmt: skip
    with pytest.raises(Refused, match="a room called Old mill already"):
        add_room(session, MILL)
    with pytest.raises(NotFound, match="no room 9"):
        get_room(session, 9)


def test_a_copy_has_a_name_of_its_own_and_the_same_running_order(session: Session) -> None:
    first = [look.look_id for look in running_order(session)]
    copy = duplicate_room(session, 1)
    assert get_room(session, copy).room.name == "Boathouse 2"
    assert get_room(session, copy).heads == get_room(session, 1).heads
    assert get_room(session, duplicate_room(session, copy)).room.name == "Boathouse 3"
    journal = Journal(session.get_bind())  # type: ignore[arg-type]
    journal(opened(copy, get_room(session, copy), RoomAsLeft(1, get_room(session, 1))))
    session.expire_all()
    assert [look.look_id for look in running_order(session)] == first
    assert {r.name: r.looks for r in rooms(session)} == {
        "Boathouse": 12, "Boathouse 2": 0, "Boathouse 3": 0}  # fmt: skip


def test_each_room_has_its_running_order_and_its_looks(session: Session) -> None:
    mill = add_room(session, MILL)
    order = [look.look_id for look in running_order(session)]
    boathouse = replace(get_room(session, 1), lens=MILL.lens)
    journal = Journal(session.get_bind())  # type: ignore[arg-type]
    journal(opened(mill, MILL, RoomAsLeft(1, boathouse)))
    session.expire_all()
    assert (active_id(session), load_rig(session)) == (mill, MILL)
    assert get_room(session, 1) == boathouse
    assert running_order(session) == []
    with pytest.raises(Refused, match="another room was opened"):  # worked out for the other one
        add_looks(session, [get_look(session, 1)], 1)
    kept = add_look(session, replace(get_look(session, 1), name="Here", room_id=0))
    assert (kept.room_id, kept.room) == (mill, "Old mill")
    set_running_order(session, [kept.look_id, 3])
    journal(opened(1, boathouse, RoomAsLeft(mill, MILL)))
    session.expire_all()
    assert [look.look_id for look in running_order(session)] == order
    journal(opened(mill, MILL, RoomAsLeft(1, boathouse)))
    session.expire_all()
    assert [look.name for look in running_order(session)] == ["Here", "Clamshell"]


def test_a_head_gets_another_name_in_the_looks_of_its_room_only(session: Session) -> None:
    mill = add_room(session, MILL)
    there = add_look(session, replace(get_look(session, 1), room_id=mill))
    change = opened(1, get_room(session, 1))
    Journal(session.get_bind())(replace(change, renamed={"Key": "First"}))  # type: ignore[arg-type]
    session.expire_all()
    assert "First" in get_look(session, 1).stops
    assert "Key" in get_look(session, there.look_id).stops


def test_archived_is_out_of_the_way_with_its_looks_and_comes_back(session: Session) -> None:
    mill = add_room(session, MILL)
    look = add_look(session, replace(get_look(session, 1), room_id=mill, name="Of the mill"))
    change_look(session, look.look_id, tags=("stone",))
    archive_room(session, mill)
    assert [(r.name, r.archived_at is None) for r in rooms(session)] == [
        ("Boathouse", True), ("Old mill", False)]  # fmt: skip
    assert find_looks(session, "Of the mill") == []
    assert "stone" not in all_tags(session)
    with pytest.raises(Refused, match="bring it back first"):
        room_to_open(session, mill)
    with pytest.raises(Refused, match="open another room first"):
        archive_room(session, 1)
    restore_room(session, mill)
    assert room_to_open(session, mill) == MILL
    assert [found.name for found in find_looks(session, "Of the mill")] == ["Of the mill"]


def test_brought_back_under_a_name_that_was_taken_meanwhile(session: Session) -> None:
    first = add_room(session, MILL)
    archive_room(session, first)
    add_room(session, MILL)
    restore_room(session, first)
    assert get_room(session, first).room.name == "Old mill 2"
    assert len({room.name for room in rooms(session)}) == 3


def test_another_name_is_no_other_rooms_name(session: Session) -> None:
    mill = add_room(session, MILL)
    rename_room(session, mill, "  New   mill ")
    assert get_room(session, mill).room.name == "New mill"
    with pytest.raises(Refused, match="already"):
        rename_room(session, mill, "boathouse")
    with pytest.raises(OutOfRange, match="1 to 40"):
        rename_room(session, mill, " ")


def test_what_could_not_be_stored_goes_to_the_room_it_was_made_in(tmp_path: Path) -> None:
    database = open_database(tmp_path / "s.db")
    with Session(database) as session:
        seed(session, DEMO_DATA)
        mill = add_room(session, MILL)
        boathouse = get_room(session, 1)
    darker = replace(boathouse, room=replace(boathouse.room, ambient_lux=1.0))
    journal = Journal(database)
    with closing(sqlite3.connect(tmp_path / "s.db")) as other:  # stands in its way
        other.execute(
            "CREATE TRIGGER full BEFORE UPDATE ON rig BEGIN SELECT RAISE(FAIL, 'full'); END"
        )
        for change in (opened(1, darker), opened(mill, MILL, RoomAsLeft(1, darker))):
            with pytest.raises(OSError, match="nothing since"):
                journal(change)
        other.execute("DROP TRIGGER full")
    nudge = replace(opened(mill, MILL), kind="nudge", rig=None)
    journal(nudge)
    with Session(database) as session:
        assert (active_id(session), get_room(session, mill)) == (mill, MILL)
        assert get_room(session, 1) == darker
    database.dispose()


@pytest.mark.parametrize("more", ["", NOTES_OF_SCHEMA_5], ids=["schema 4", "schema 5"])
def test_a_studio_of_before_there_were_rooms_loses_nothing(tmp_path: Path, more: str) -> None:
    """The file is one that was written by schema 4, as SQLite dumps it (`.dump`)."""
    path = tmp_path / "old.db"
    with closing(sqlite3.connect(path)) as old:
        old.executescript(BEFORE_ROOMS + more)
        document = old.execute("SELECT document FROM rig").fetchone()[0]
    database = open_database(path)
    with Session(database) as session:
        (only,) = rooms(session)
        assert (only.name, only.heads, only.looks, only.is_open) == (
            "Old mill", ("Key", "Fill"), 2, True)  # fmt: skip
        assert [(look.name, look.room) for look in running_order(session)] == [
            ("Second", "Old mill"), ("First", "Old mill")]  # fmt: skip
        live = load_live(session)
        assert live is not None
        assert (live.room_id, live.revision, len(live.history.steps)) == (1, 7, 4)
        assert get_room(session, 1).room.ceiling_m is None
        assert [note.text for note in open_notes(session)] == ["Closer"] * bool(more)
    database.dispose()
    assert signal_loss(path) == "fades"
    with closing(sqlite3.connect(path)) as new:
        assert new.execute("SELECT document FROM rig").fetchone()[0] == document
    with TestClient(create_app(Settings(database=path, faces="none"))) as client:
        state = client.get("/api/state").json()
        assert [h["signal"] for h in state["heads"]] == [[121], [48]]
        assert client.post("/api/undo").json()["undo"] == 2
        client.post("/rooms/1/duplicate")
        state = client.post("/api/rooms/2/open").json()
        assert (state["undo"], state["redo"], state["good"]) == (0, 0, False)
    with TestClient(create_app(Settings(database=path, faces="none"))) as client:
        state = client.post("/api/rooms/1/open").json()
        assert (state["undo"], state["redo"], state["good"]) == (2, 1, True)
        assert [h["signal"] for h in client.post("/api/redo").json()["heads"]] == [[121], [48]]


def test_a_step_of_the_schema_is_taken_whole_or_not_at_all(tmp_path: Path) -> None:
    path = tmp_path / "old.db"
    with closing(sqlite3.connect(path)) as old:
        old.executescript(BEFORE_ROOMS)
        old.execute("CREATE TRIGGER no BEFORE UPDATE ON rig BEGIN SELECT RAISE(ABORT, 'no'); END")
    with pytest.raises(Refused, match="cannot be used"):  # the last of its statements fails
        open_database(path)
    with closing(sqlite3.connect(path)) as old:
        columns = [row[1] for row in old.execute("PRAGMA table_info(rig)")]
        assert columns == ["id", "document"]
        old.execute("DROP TRIGGER no")
    database = open_database(path)
    with Session(database) as session:
        assert [room.name for room in rooms(session)] == ["Old mill"]
    database.dispose()


def test_a_background_hangs_where_it_is_told() -> None:
    assert MILL.background_m == 1.5
    far = MILL.with_background(4.0)
    assert far.background_m == 4.0
    assert [p.name for p in far.points] == [p.name for p in USUAL_POINTS]
    bare = replace(MILL, points=USUAL_POINTS[:3])
    assert bare.background_m is None
    assert bare.with_background(2.5).background_m == 2.5
    with pytest.raises(OutOfRange, match="background distance"):
        MILL.with_background(0)
    with pytest.raises(OutOfRange, match="ceiling_m must lie from"):
        Room("Low", ceiling_m=0.5)
