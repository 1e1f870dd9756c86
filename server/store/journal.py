"""Every change of the light, stored in one transaction, and read back exactly."""

import json
import sqlite3
from collections.abc import Callable, Sequence
from contextlib import closing
from dataclasses import dataclass, replace
from datetime import UTC, datetime
from pathlib import Path
from typing import Any

from sqlalchemy import Engine as Database
from sqlalchemy import func
from sqlalchemy.exc import SQLAlchemyError
from sqlmodel import Session, col, select

from server.store.burning import rename_lit
from server.store.left import drop_light, put_light
from server.store.looks import correct_looks, rename_heads
from server.store.rigs import active_id, put_closed, put_rig
from server.store.tables import EventRow, LiveRow, StepRow
from server.studio.document import setting_document, setting_from_document
from server.studio.history import DEPTH, Change, History, LiveRecord, Step, Way
from server.studio.setting import Setting
from server.studio.warm import Warm, warm_from_document, woken


@dataclass(frozen=True)
class Event:
    """One thing that happened in the sitting, as it is told afterwards."""

    event_id: int
    at: datetime
    revision: int
    kind: str
    text: str
    actor: str
    detail: dict[str, Any]


# Written by hand rather than through the mapper: this stands between a tap and its answer, and
# costs a third of the time. The columns are those of `server.store.tables`.
PUT_STEP = "INSERT OR REPLACE INTO step (number, setting, text, actor, fade_s) VALUES (?,?,?,?,?)"
KEEP_STEP = PUT_STEP.replace("OR REPLACE", "OR IGNORE")
DROP_STEPS = "DELETE FROM step WHERE number > ? OR number < ?"
PUT_LIVE = (
    "INSERT OR REPLACE INTO live (id, revision, step, known, good, dark_from, way)"
    " VALUES (1,?,?,?,?,?,?)"
)
ADD_EVENT = "INSERT INTO event (at, revision, kind, text, actor, detail) VALUES (?,?,?,?,?,?)"


class Journal:
    """Stores every change. What could not be stored is made up for as soon as it can be again."""

    def __init__(self, database: Database) -> None:
        self._database = database
        name = database.url.database
        self._file = Path(name) if name and name != ":memory:" else None
        self._inode = self._file.stat().st_ino if self._file else 0
        self._missed_since: datetime | None = None
        self._missed: list[Change] = []

    def __call__(self, change: Change) -> None:
        """Store a change; OSError with the reason, and since when, in words."""
        if self._file and not self._is_there():
            self._miss(change)
            self._missed_since = since = self._missed_since or change.at
            raise OSError(
                f"nothing since {since.astimezone():%H:%M}: the database {self._file.name} was"
                " moved or deleted under Thirdstop. The light goes on. Put the file back, or stop"
                " and start again"
            )
        try:
            record(self._database, change, self._missed, all_steps=self._missed_since is not None)
        except (SQLAlchemyError, sqlite3.Error) as error:
            self._miss(change)
            self._missed_since = since = self._missed_since or change.at
            raise OSError(
                f"nothing since {since.astimezone():%H:%M} ({trouble(error)})."
                " The light goes on. Make room on the disk or check its folder;"
                " saving starts again by itself"
            ) from error
        self._missed_since, self._missed = None, []

    def _miss(self, change: Change) -> None:
        """Keep a rig to be stored later; one takes the place of the one before in its room."""
        if change.rig is None:
            return
        last = self._missed[-1] if self._missed else None
        plain = not change.renamed and not change.corrections
        if last and plain and change.record.room_id == last.record.room_id:
            self._missed[-1] = replace(last, rig=change.rig)
        else:
            self._missed.append(change)

    def _is_there(self) -> bool:
        """Whether the file we write to still is the one that a next start would read."""
        try:
            return self._file is not None and self._file.stat().st_ino == self._inode
        except OSError:
            return False


def trouble(error: SQLAlchemyError | sqlite3.Error) -> str:
    """What the database says, without the statement."""
    return str(getattr(error, "orig", None) or error)


def record(
    database: Database, change: Change, missed: Sequence[Change] = (), *, all_steps: bool = False
) -> None:
    """Store a change: the steps, where we stand, good and dark, the rig, and the event; first the
    rigs of those changes that were missed.

    One transaction: all of it is kept or nothing is.
    """
    rigs = [c for c in (*missed, change) if c.rig or c.left or c.renamed or c.corrections]
    if not rigs:  # a tap: no session has to be made for it
        with closing(database.raw_connection()) as connection:
            _write(connection.cursor().execute, change, all_steps=all_steps)
            connection.commit()
        return
    with Session(database) as session:
        _write(session.connection().exec_driver_sql, change, all_steps=all_steps)
        for each in rigs:
            _put_rigs(session, each)
        session.commit()


def _write(
    write: Callable[[str, tuple[Any, ...]], object], change: Change, *, all_steps: bool
) -> None:
    live, history = change.record, change.record.history
    if history.now.number == 1:  # the light before the very first step was never a change
        write(KEEP_STEP, _step_row(history.steps[0]))
    whole = all_steps or change.renamed or change.corrections or change.left
    for step in history.steps if whole else (history.now,):
        write(PUT_STEP, _step_row(step))
    write(DROP_STEPS, (history.steps[-1].number, history.steps[0].number))
    write(
        PUT_LIVE,
        (
            live.revision,
            history.now.number,
            live.known,
            _json(live.good),
            _json(live.dark_from),
            live.way and json.dumps(vars(live.way)),
        ),
    )
    at = change.at.astimezone(UTC).replace(tzinfo=None).isoformat(" ", "microseconds")
    detail = json.dumps(dict(change.detail))
    write(ADD_EVENT, (at, live.revision, change.kind, change.text, change.actor, detail))


def _put_rigs(session: Session, change: Change) -> None:
    room_id = change.record.room_id
    if (left := change.left) is not None:
        put_closed(session, left.rig, left.room_id)
        drop_light(session, room_id)
        if left.light is not None:
            put_light(session, left.room_id, left.light)
    if change.rig is not None:
        put_rig(session, change.rig, room_id)
    if change.renamed:
        rename_heads(session, change.renamed, room_id)
        rename_lit(session, change.renamed, room_id)
    for correction in change.corrections:
        correct_looks(session, correction, room_id)


def _step_row(step: Step) -> tuple[object, ...]:
    return (step.number, _json(step.setting), step.text, step.actor, step.fade_s)


def _json(setting: Setting | None) -> str | None:
    return None if setting is None else json.dumps(setting_document(setting))


def load_live(session: Session) -> LiveRecord | None:
    """The live state as it was stored last; None in a new database."""
    live = session.get(LiveRow, 1)
    if live is None:
        return None
    rows = session.exec(select(StepRow).order_by(col(StepRow.number))).all()[-DEPTH:]
    steps = tuple(
        Step(r.number, setting_from_document(r.setting), r.text, r.actor, r.fade_s) for r in rows
    )
    at = next(i for i, s in enumerate(steps) if s.number == live.step)
    return LiveRecord(
        history=History(steps, at),
        revision=live.revision,
        known=live.known,
        good=setting_from_document(live.good) if live.good else None,
        dark_from=setting_from_document(live.dark_from) if live.dark_from else None,
        way=Way(**live.way) if live.way else None,
        room_id=active_id(session),
        warm=_load_warm(session),
    )


def _load_warm(session: Session) -> Warm:
    """How long heads had been on, from the last event that tells it."""
    newest = select(EventRow).order_by(col(EventRow.id).desc()).limit(1)
    tells = func.json_extract(EventRow.detail, "$.warm").is_not(None)
    last, told = session.exec(newest).first(), session.exec(newest.where(tells)).first()
    if last is None or told is None:
        return {}
    warm = warm_from_document(told.detail["warm"])
    return woken(warm, last.at.replace(tzinfo=UTC), datetime.now(UTC))


def events(
    session: Session, limit: int = 200, before: int | None = None, but: Sequence[str] = ()
) -> Sequence[Event]:
    """What happened, the newest first, `but` for some kinds."""
    query = select(EventRow).where(col(EventRow.kind).not_in(but))
    query = query.order_by(col(EventRow.id).desc()).limit(limit)
    if before is not None:
        query = query.where(col(EventRow.id) < before)
    return [_event(row) for row in session.exec(query)]


def event(session: Session, event_id: int) -> Event | None:
    """One of them."""
    row = session.get(EventRow, event_id) if 0 < event_id < 2**62 else None
    return _event(row) if row else None


def _event(row: EventRow) -> Event:
    return Event(row.id or 0, row.at, row.revision, row.kind, row.text, row.actor, row.detail)
