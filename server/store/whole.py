"""The whole studio out of the database, and another one in its place."""

from collections.abc import Mapping
from dataclasses import replace
from datetime import datetime

from sqlmodel import Session, col, select

from server.store.burning import hours_lit, put_lit
from server.store.looks import add_rows, looks_in_use
from server.store.rigs import run, running_now
from server.store.tables import RigRow, now_utc
from server.studio.document import rig_document, rig_from_document
from server.studio.lamps import counted
from server.studio.rig import Rig
from server.studio.whole import Whole, WholeRoom


def load_whole(session: Session, open_id: int, rig_now: Rig) -> Whole:
    """Everything that is neither archived nor deleted; the open room as it is now."""
    rows = session.exec(
        select(RigRow).where(col(RigRow.archived_at).is_(None)).order_by(col(RigRow.id))
    ).all()
    looks = looks_in_use(session)
    place = {look.look_id: i for i, look in enumerate(looks)}
    room = {row.id: i for i, row in enumerate(rows)}
    running = running_now(session)

    def whole_room(row: RigRow) -> WholeRoom:
        is_open = row.id == open_id
        rig = rig_now if is_open else rig_from_document(row.document)
        order = running if is_open else row.running
        return WholeRoom(_held_by(rig, place), tuple(place[i] for i in order if i in place))

    return Whole(
        tuple(whole_room(row) for row in rows),
        room[open_id],
        tuple(looks),
        tuple(room[look.room_id] for look in looks),
    )


def replace_all(session: Session, whole: Whole) -> int:
    """Put a studio in place of this one, in one transaction. The rooms that were there are
    archived with their looks, so nothing is lost; one of the same name takes over the hours of
    its lamps. Answers the id of the room that is open now."""
    lit = {}
    for row in session.exec(select(RigRow).where(col(RigRow.archived_at).is_(None))):
        lit[row.document["room"]["name"]] = hours_lit(session, row.id or 0)
        if row.is_open:
            row.running = running_now(session)
        row.archived_at, row.is_open = now_utc(), False
        session.add(row)
    rows = [RigRow(document=rig_document(room.rig), running=[]) for room in whole.rooms]
    session.add_all(rows)
    session.flush()
    ids = [row.id or 0 for row in rows]
    look_ids = add_rows(
        session,
        [
            (look, ids[at], datetime.fromisoformat(look.kept_at))
            for look, at in zip(whole.looks, whole.look_rooms, strict=True)
        ],
    )
    for row, room in zip(rows, whole.rooms, strict=True):
        known, told = lit.get(room.rig.room.name, {}), counted(room.rig.lamps)
        begin = {h: max(known.get(h, 0.0), told.get(h, 0.0)) for h in {*known, *told}}
        put_lit(session, begin, row.id or 0)
        row.running = [look_ids[at] for at in room.running]
        row.document = rig_document(_held_by(room.rig, dict(enumerate(look_ids))))
        session.add(row)
    opened = rows[whole.open]
    opened.is_open = True
    run(session, opened.running)
    session.commit()
    return ids[whole.open]


def _held_by(rig: Rig, numbers: Mapping[int, int]) -> Rig:
    """The same rig whose log of lamps tells looks by other numbers; what has none is left out."""
    lamps = tuple(
        replace(lamp, held=tuple((numbers[i], was) for i, was in lamp.held if i in numbers))
        for lamp in rig.lamps
    )
    return replace(rig, lamps=lamps)
