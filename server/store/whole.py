"""The whole studio out of the database, and another one in its place."""

import json
from collections.abc import Callable, Mapping
from dataclasses import replace
from datetime import datetime

from sqlmodel import Session, col, select

from server.store.burning import hours_lit, put_lit
from server.store.looks import looks_in_use
from server.store.rigs import run, running_now
from server.store.tables import RigRow, as_stored, now_utc
from server.studio.document import (
    placement_document,
    rig_document,
    rig_from_document,
    setting_document,
)
from server.studio.lamps import counted
from server.studio.look import Look
from server.studio.rig import Rig
from server.studio.setting import Setting
from server.studio.whole import Kept, Whole, WholeRoom


def load_whole(
    session: Session, open_id: int, rig_now: Rig, keep: Callable[[Look, int], Kept]
) -> Whole[Kept]:
    """Everything that is neither archived nor deleted; the open room as it is now. `keep` makes of
    a look, and the place of its room, what is to be kept of it."""
    rows = session.exec(
        select(RigRow).where(col(RigRow.archived_at).is_(None)).order_by(col(RigRow.id))
    ).all()
    room = {row.id: i for i, row in enumerate(rows)}
    told = [
        (look.look_id, room[look.room_id], keep(look, room[look.room_id]))
        for look in looks_in_use(session)
    ]
    place = {look_id: i for i, (look_id, _, _) in enumerate(told)}
    running = running_now(session)

    def whole_room(row: RigRow) -> WholeRoom:
        is_open = row.id == open_id
        rig = rig_now if is_open else rig_from_document(row.document)
        order = running if is_open else row.running
        return WholeRoom(_held_by(rig, place), tuple(place[i] for i in order if i in place))

    return Whole(
        tuple(whole_room(row) for row in rows),
        room[open_id],
        tuple(kept for _, _, kept in told),
        tuple(at for _, at, _ in told),
    )


LookColumns = tuple[object, ...]
ADD_LOOK = (
    "INSERT INTO look (id, room_id, name, tags, notes, setting, placements, lux, ratio, f_number,"
    " kept_at) VALUES (?,?,?,?,?,?,?,?,?,?,?)"
)


def look_columns(look: Look) -> LookColumns:
    """A look of a studio as the columns of its table, but for `id` and `room_id`."""
    return (
        look.name,
        json.dumps(list(look.tags)),
        look.notes,
        json.dumps(setting_document(Setting(look.stops, look.lens, look.yaw_deg))),
        json.dumps({n: placement_document(p) for n, p in look.placements.items()}),
        json.dumps(dict(look.lux or {})),
        look.ratio,
        look.f_number,
        as_stored(datetime.fromisoformat(look.kept_at)),
    )


def replace_all(session: Session, whole: Whole[LookColumns]) -> int:
    """Put a studio in place of this one, in one short transaction: everybody else who stores
    something waits for it, so its looks are made ready before. The rooms that were there are
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
    last = session.connection().exec_driver_sql("SELECT coalesce(max(id), 0) FROM look").scalar()
    look_ids = [(last or 0) + i for i in range(1, len(whole.looks) + 1)]
    told = zip(look_ids, whole.look_rooms, whole.looks, strict=True)
    looks = [(look_id, ids[room], *columns) for look_id, room, columns in told]
    if looks:
        session.connection().exec_driver_sql(ADD_LOOK, looks)
    for row, room in zip(rows, whole.rooms, strict=True):
        known, log = lit.get(room.rig.room.name, {}), counted(room.rig.lamps)
        begin = {h: max(known.get(h, 0.0), log.get(h, 0.0)) for h in {*known, *log}}
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
