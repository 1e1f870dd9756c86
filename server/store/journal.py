"""Every change of the light, stored in one transaction, and read back exactly."""

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import datetime
from typing import Any

from sqlalchemy import delete
from sqlmodel import Session, col, select

from server.store.rigs import put_rig
from server.store.tables import EventRow, LiveRow, StepRow
from server.studio.document import setting_document, setting_from_document
from server.studio.history import DEPTH, Change, History, LiveRecord, Step
from server.studio.setting import Setting


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


def record(session: Session, change: Change) -> None:
    """Store a change: the steps, where we stand, good and dark, the rig, and the event.

    One transaction: all of it is kept or nothing is.
    """
    history, live = change.record.history, session.get(LiveRow, 1) or LiveRow()
    step = history.now
    first, last = history.steps[0].number, history.steps[-1].number
    # a database without steps gets the light that was there before as its first one
    for missing in history.steps[max(0, history.at - 1) : history.at + 1]:
        row = session.get(StepRow, missing.number)
        if row is None or missing.number == step.number:
            session.merge(
                StepRow(
                    number=missing.number,
                    setting=setting_document(missing.setting),
                    text=missing.text,
                    actor=missing.actor,
                    fade_s=missing.fade_s,
                )
            )
    session.execute(delete(StepRow).where(col(StepRow.number) > last))
    session.execute(delete(StepRow).where(col(StepRow.number) < first))
    live.revision = change.record.revision
    live.step = step.number
    live.known = change.record.known
    live.good = _document(change.record.good)
    live.dark_from = _document(change.record.dark_from)
    session.add(live)
    if change.rig is not None:
        put_rig(session, change.rig)
    session.add(
        EventRow(
            at=change.at,
            revision=change.record.revision,
            kind=change.kind,
            text=change.text,
            actor=change.actor,
            detail=dict(change.detail),
        )
    )
    session.commit()


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
    )


def events(session: Session, limit: int = 200, before: int | None = None) -> Sequence[Event]:
    """What happened, the newest first."""
    query = select(EventRow).order_by(col(EventRow.id).desc()).limit(limit)
    if before is not None:
        query = query.where(col(EventRow.id) < before)
    return [
        Event(r.id or 0, r.at, r.revision, r.kind, r.text, r.actor, r.detail)
        for r in session.exec(query)
    ]


def _document(setting: Setting | None) -> dict[str, Any] | None:
    return setting_document(setting) if setting else None
