"""Copies of the whole studio: one consistent file, also while the server runs; and back again."""

import os
import sqlite3
import tempfile
from contextlib import closing, suppress
from datetime import datetime
from pathlib import Path

from server.errors import Refused
from server.store.database import SCHEMA_STEPS
from server.store.lock import take_lock

TABLES = {"rig", "look", "step", "live", "event", "secret"}
"""What every database of ours has had since the first version."""


def check(path: Path) -> None:
    """Refuse a file that is no whole database of ours, or of a newer version."""
    if not path.is_file():
        raise Refused(f"there is no file {path}")
    try:
        with closing(sqlite3.connect(f"{path.resolve().as_uri()}?mode=ro", uri=True)) as source:
            version = source.execute("PRAGMA user_version").fetchone()[0]
            found = {r[0] for r in source.execute("SELECT name FROM sqlite_master")}
            whole = source.execute("PRAGMA integrity_check(1)").fetchone()[0]
    except sqlite3.Error as error:
        raise Refused(f"{path} cannot be read as a database ({error})") from None
    if whole != "ok":
        raise Refused(f"{path} is damaged ({whole}): choose another copy")
    if not found >= TABLES:
        raise Refused(f"{path} is a database, but none of Thirdstop's")
    if version > len(SCHEMA_STEPS):
        raise Refused(f"{path} was written by a newer Thirdstop: update Thirdstop first")


def backup(database: Path, target: Path) -> None:
    """Copy the database to a new file, whole and checked, or leave nothing behind.

    Raises
    ------
    Refused
        No database there, the target exists already, or it cannot be written.
    """
    if target.exists():
        raise Refused(f"{target} is there already: choose another name, nothing was overwritten")
    if not database.is_file():
        raise Refused(f"there is no database {database}: name it with --database")
    draft = _draft(target)
    try:
        with (
            closing(sqlite3.connect(f"{database.resolve().as_uri()}?mode=ro", uri=True)) as source,
            closing(sqlite3.connect(draft)) as copy,
        ):
            source.backup(copy)
            copy.execute("PRAGMA journal_mode = DELETE")
        check(draft)
        _settle(draft)
        os.link(draft, target)  # unlike a rename, never over a file that came meanwhile
    except (sqlite3.Error, OSError) as error:
        raise Refused(f"the copy {target} could not be made: {error}") from None
    finally:
        draft.unlink(missing_ok=True)


def without_secrets(copy: Path) -> None:
    """Take out of a copy what would let somebody in: keys, the pairing token, devices."""
    try:
        with closing(sqlite3.connect(copy)) as database:
            database.execute("DELETE FROM secret")
            database.execute("DELETE FROM device")
            database.commit()
            database.execute("VACUUM")
    except sqlite3.Error as error:
        raise Refused(f"the copy could not be made: {error}") from None


def restore(source: Path, database: Path, now: datetime) -> Path | None:
    """Put a copy in place of the database; the old one stays beside it under a dated name.

    Returns
    -------
    Path or None
        Where the old database is now; None when there was none.

    Raises
    ------
    Refused
        The copy is not usable, or a server works with the database. Nothing was changed then.
    """
    check(source)
    lock = take_lock(database)
    draft = _draft(database)
    kept = None
    try:
        with (
            closing(sqlite3.connect(f"{source.resolve().as_uri()}?mode=ro", uri=True)) as copy,
            closing(sqlite3.connect(draft)) as fresh,
        ):
            copy.backup(fresh)
        check(draft)
        _settle(draft)
        if database.exists():
            kept = database.with_name(f"{database.name}.before-{now:%Y%m%d-%H%M%S}")
            _fold_in(database)
            os.link(database, kept)
            for left in ("-wal", "-shm"):
                side = database.with_name(database.name + left)
                if side.exists():  # only of a damaged one: it goes with its database
                    os.replace(side, kept.with_name(kept.name + left))
        os.replace(draft, database)
    except (sqlite3.Error, OSError) as error:
        raise Refused(f"{source} could not be put in place: {error}") from None
    finally:
        draft.unlink(missing_ok=True)
        os.close(lock)
    return kept


def _draft(beside: Path) -> Path:
    """A file of our own to write first, in the same folder."""
    try:
        handle, name = tempfile.mkstemp(prefix=f".{beside.name}.", dir=beside.parent)
    except OSError as error:
        raise Refused(f"{beside.parent} cannot be written ({error.strerror})") from None
    os.close(handle)
    return Path(name)


def _settle(path: Path) -> None:
    """On the disk, not only on its way there."""
    with path.open("rb") as file:
        os.fsync(file.fileno())


def _fold_in(database: Path) -> None:
    """What stands in the log beside it goes into the file; a damaged one is taken as it is."""
    with suppress(sqlite3.Error), closing(sqlite3.connect(database)) as old:
        old.execute("PRAGMA wal_checkpoint(TRUNCATE)")
