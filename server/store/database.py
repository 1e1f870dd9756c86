"""Open the SQLite file: pragmas, numbered schema steps, refusal of a newer file."""

from pathlib import Path

from sqlalchemy import Connection, Engine, event, text
from sqlalchemy.exc import DatabaseError
from sqlmodel import SQLModel, create_engine

from server.errors import Refused
from server.store import tables

SCHEMA_STEPS = (
    "tables of version 1", "the way of a fade", "patterns of looks", "devices", "notes", "rooms",
    "hours lit", "notes of rooms", "steps of rooms", "hours lit in rooms",
)  # fmt: skip
"""One entry a schema version; `PRAGMA user_version` holds how many a file has been through."""
CACHE_PAGES = -8000


def open_database(path: Path) -> Engine:
    """Open or make the database file. [path]

    Raises Refused, with the file untouched, when it is of a newer version, no database at all,
    or cannot be written.
    """
    engine = create_engine(f"sqlite:///{path}", connect_args={"check_same_thread": False})
    event.listen(engine, "connect", _set_pragmas)
    try:
        with engine.connect() as connection:
            version = connection.execute(text("PRAGMA user_version")).scalar_one()
            if version > len(SCHEMA_STEPS):
                raise Refused(
                    f"{path} was written by a newer Thirdstop (schema {version}, this one knows"
                    f" {len(SCHEMA_STEPS)}): update Thirdstop, or start with another --database"
                )
            _refuse_damaged(connection, path)
            connection.execute(text("PRAGMA journal_mode = WAL"))
            _migrate(connection, version)
    except DatabaseError as error:
        engine.dispose()
        raise Refused(
            f"{path} cannot be used as a database ({error.orig}):"
            " check the file and its folder, or start with another --database"
        ) from None
    except Refused:
        engine.dispose()
        raise
    return engine


def _refuse_damaged(connection: Connection, path: Path) -> None:
    whole = connection.execute(text("PRAGMA quick_check(1)")).scalar_one()
    if whole != "ok":
        raise Refused(
            f"{path} is damaged ({whole}); it was left as it is. Put a copy in its place with"
            " `thirdstop restore FILE`, or start with another --database"
        )


def _migrate(connection: Connection, version: int) -> None:
    for number in range(version, len(SCHEMA_STEPS)):
        connection.execute(text("BEGIN IMMEDIATE"))  # a step is taken whole, or not at all
        if number == 0:
            SQLModel.metadata.create_all(
                connection, tables=[SQLModel.metadata.tables[n] for n in VERSION_1]
            )
        elif number == 1 and version > 0:
            connection.execute(text("ALTER TABLE live ADD COLUMN way JSON"))
        if number == 2:
            SQLModel.metadata.create_all(
                connection, tables=[SQLModel.metadata.tables[str(tables.PatternRow.__tablename__)]]
            )
        if number == 3:
            SQLModel.metadata.create_all(
                connection, tables=[SQLModel.metadata.tables[str(tables.DeviceRow.__tablename__)]]
            )
        if number == 4:
            SQLModel.metadata.create_all(
                connection, tables=[SQLModel.metadata.tables[str(tables.NoteRow.__tablename__)]]
            )
        if number == 5:
            for table, column, kind in ROOMS:
                _add_column(connection, table, column, kind)
            connection.execute(text("UPDATE rig SET is_open = 1"))
        if number in (6, 9):
            SQLModel.metadata.create_all(
                connection, tables=[SQLModel.metadata.tables[str(tables.BurningRow.__tablename__)]]
            )
        if number == 7:
            _add_column(connection, "note", "room_id", "INTEGER NOT NULL DEFAULT 1")
        if number == 9 and _columns(connection, "hours_lit"):
            for statement in LIT_IN_ROOMS:
                connection.execute(text(statement))
        if number == 8:
            SQLModel.metadata.create_all(
                connection, tables=[SQLModel.metadata.tables[str(tables.LeftRow.__tablename__)]]
            )
        connection.execute(text(f"PRAGMA user_version = {number + 1}"))
        connection.commit()


def _add_column(connection: Connection, table: str, column: str, kind: str) -> None:
    """A column that a table of before has not got: one made by a step of this version has it."""
    if column not in _columns(connection, table):
        connection.execute(text(f"ALTER TABLE {table} ADD COLUMN {column} {kind}"))


def _columns(connection: Connection, table: str) -> set[str]:
    """Names of a table's columns; none when there is no such table."""
    return {row[1] for row in connection.execute(text(f"PRAGMA table_info({table})"))}


ROOMS = (
    ("rig", "is_open", "BOOLEAN NOT NULL DEFAULT 0"),
    ("rig", "archived_at", "DATETIME"),
    ("rig", "running", "JSON NOT NULL DEFAULT '[]'"),
    ("look", "room_id", "INTEGER NOT NULL DEFAULT 1"),
)
"""The one rig there was becomes the first room, and is open; every look is a look of it."""
LIT_IN_ROOMS = (
    "INSERT INTO lamp_hours SELECT rig.id, head, hours FROM rig, hours_lit WHERE head IN"
    " (SELECT json_extract(value, '$.name') FROM json_each(rig.document, '$.heads'))",
    "INSERT OR IGNORE INTO lamp_hours SELECT rig.id, head, hours FROM rig, hours_lit WHERE is_open",
    "DROP TABLE hours_lit",
)
"""Heads of one name shared a count: each room goes on from it with its own. Counts of heads that
were taken out stay with the room that is open, where they may be brought back."""
VERSION_1 = tuple(
    str(t.__tablename__)
    for t in (
        tables.RigRow,
        tables.LookRow,
        tables.StepRow,
        tables.LiveRow,
        tables.EventRow,
        tables.SecretRow,
    )
)


# NORMAL: nothing that was answered is lost when the program dies; a power cut may take the last
# moments, never the file (SQLite, "Write-Ahead Logging" and "PRAGMA synchronous").
def _set_pragmas(connection: object, _record: object) -> None:
    cursor = connection.cursor()  # type: ignore[attr-defined]
    for pragma in ("foreign_keys = ON", "synchronous = NORMAL", "busy_timeout = 2000",
                   f"cache_size = {CACHE_PAGES}"):  # fmt: skip
        cursor.execute(f"PRAGMA {pragma}")
    cursor.close()
