"""Hours of the lamps: counted for heads that are lit on a real line, stored, kept over a rename."""

import re
import sqlite3
from contextlib import closing
from pathlib import Path

import pytest
from sqlmodel import Session
from starlette.testclient import TestClient

from server.app import create_app
from server.settings import Settings
from server.store.burning import add_lit, hours_lit, rename_lit
from server.store.database import open_database
from server.web.burning import Burning


class Clock:
    """A clock that is set by hand."""

    def __init__(self) -> None:
        self.seconds = 0.0

    def __call__(self) -> float:
        return self.seconds


def by_hand(tmp_path: Path) -> Settings:
    return Settings(database=tmp_path / "s.db", faces="none", outputs=("by-hand",))


def counted(client: TestClient) -> dict[str, float]:
    with Session(client.app.state.desk.database) as session:
        return hours_lit(session, 1)


def test_lit_heads_are_counted_and_dark_ones_are_not(tmp_path: Path) -> None:
    with TestClient(create_app(by_hand(tmp_path))) as client:
        desk, clock = client.app.state.desk, Clock()
        burning = Burning(desk.engine, desk.database, clock)
        clock.seconds += 60
        burning.count()
        assert counted(client) == {}  # nothing was asked for yet
        client.post("/api/levels", json={"levels": {"Key": 50.0, "Fill": 0.0}})
        for _ in range(90):
            clock.seconds += 60
            burning.count()
        assert counted(client) == {"Key": pytest.approx(1.5)}
        clock.seconds += 8 * 3600  # the machine slept: two minutes at most
        burning.count()
        assert counted(client)["Key"] == pytest.approx(1.5 + 2 / 60)
        page = client.get("/rig/heads/Key").text
        assert "Lit about 1.5 h in all" in page
        client.post(
            "/rig/heads/Key/lamp", data={"day": page.split('max="')[1][:10], "hours": "1.5"}
        )
        for _ in range(60):
            clock.seconds += 60
            burning.count()
        assert "Lit about 1.0 h since its last lamp change" in client.get("/rig/heads/Key").text
        assert "Lit about" not in client.get("/rig/heads/Fill").text


def test_practice_burns_no_lamp(client: TestClient) -> None:
    desk, clock = client.app.state.desk, Clock()
    burning = Burning(desk.engine, desk.database, clock)
    client.post("/api/levels", json={"levels": {"Key": 50.0}})
    clock.seconds += 60
    burning.count()
    assert counted(client) == {}


def test_what_cannot_be_stored_is_kept_for_the_next_time(tmp_path: Path, caplog) -> None:
    with TestClient(create_app(by_hand(tmp_path))) as client:
        desk, clock = client.app.state.desk, Clock()
        client.post("/api/levels", json={"levels": {"Key": 50.0}})
        broken = open_database(tmp_path / "other.db")
        burning = Burning(desk.engine, broken, clock)
        with broken.connect() as connection:
            connection.exec_driver_sql("DROP TABLE lamp_hours")
            connection.commit()
        clock.seconds += 60
        burning.count()
        assert "could not be stored" in caplog.text
        with broken.connect() as connection:
            connection.exec_driver_sql(
                "CREATE TABLE lamp_hours (room_id INTEGER, head VARCHAR, hours FLOAT)"
            )
            connection.commit()
        clock.seconds += 60
        burning.count()
        with Session(broken) as session:
            assert hours_lit(session, 1) == {"Key": pytest.approx(2 / 60)}
        broken.dispose()


def test_counts_follow_a_renamed_head_also_when_two_swap(tmp_path: Path) -> None:
    database = open_database(tmp_path / "s.db")
    with Session(database) as session:
        known = {"Key": 3.0, "Fill": 5.0, "Hair": 1.0}
        add_lit(session, {(room, head): h for room in (1, 2) for head, h in known.items()})
        rename_lit(session, {"Key": "Fill", "Fill": "Key", "Nobody": "Else"}, 1)
        session.commit()
        assert hours_lit(session, 2) == known
        assert hours_lit(session, 1) == {"Key": 5.0, "Fill": 3.0, "Hair": 1.0}
    database.dispose()


def test_a_lamp_burns_in_its_own_room(tmp_path: Path) -> None:
    with TestClient(create_app(by_hand(tmp_path))) as client:
        desk, clock = client.app.state.desk, Clock()
        burning = Burning(desk.engine, desk.database, clock)

        def an_hour(room_id: int) -> None:
            client.post(f"/api/rooms/{room_id}/open")
            client.post("/api/levels", json={"levels": {"Key": 50.0}})
            for _ in range(60):
                clock.seconds += 60
                burning.count()

        def told() -> list[float]:
            with Session(desk.database) as session:
                return [round(hours_lit(session, room)["Key"], 3) for room in (1, 2, 3)]

        an_hour(1)
        client.post("/rooms/1/duplicate")  # the same heads: it goes on from their hours
        client.post("/rooms/new", data={"name": "Old mill"})
        client.post("/api/rooms/3/open")
        head = {"name": "Key", "role": "key"}  # another head that is called the same
        client.put("/api/rig", json={"room": {"name": "Old mill"}, "heads": [head]})
        an_hour(3)
        assert told() == [1.0, 1.0, 1.0]
        an_hour(2)
        assert told() == [1.0, 2.0, 1.0]
        text = client.get("/rooms/export").content  # put in place of itself: no hour is lost
        page = client.post("/rooms/import", files={"document": ("s.json", text)}).text
        client.post(f"/rooms/import/{re.findall(r'/rooms/import/([0-9a-f]+)', page)[0]}")
        with Session(desk.database) as session:
            after = [hours_lit(session, room)["Key"] for room in (4, 5, 6)]
        assert after == pytest.approx([1.0, 2.0, 1.0])


def test_a_count_that_rooms_shared_goes_on_in_each_of_them(tmp_path: Path) -> None:
    """The table of schema 8, as SQLite told it."""
    with TestClient(create_app(by_hand(tmp_path))) as client:
        client.post("/rooms/1/duplicate")
    with closing(sqlite3.connect(tmp_path / "s.db")) as old:
        old.executescript(
            "DROP TABLE lamp_hours; DROP TABLE left_light; PRAGMA user_version = 8;"
            "CREATE TABLE hours_lit (head VARCHAR NOT NULL, hours FLOAT NOT NULL,"
            " PRIMARY KEY (head)); INSERT INTO hours_lit VALUES ('Key', 7.5), ('Gone', 2.0);"
        )
    database = open_database(tmp_path / "s.db")
    with Session(database) as session:
        assert hours_lit(session, 1) == {"Key": 7.5, "Gone": 2.0}  # it is the open one
        assert hours_lit(session, 2) == {"Key": 7.5}
    database.dispose()
