"""Looks of a file in the database: stored together, taken out together."""

from collections.abc import Sequence
from datetime import UTC, datetime

from sqlmodel import Session, col, select

from server.errors import Refused
from server.store.looks import new_row, running_order
from server.store.rigs import active_id
from server.store.tables import LookRow, now_utc
from server.studio.look import Look


def add_looks(session: Session, looks: Sequence[Look], room_id: int) -> list[int]:
    """Store new looks of a room, all of them or none. Those with a place follow, in the order of
    their places, after what the running order holds. Refused when another room was opened since
    the looks were worked out for this one."""
    if active_id(session) != room_id:
        raise Refused("another room was opened meanwhile: nothing was stored, try it again there")
    after = max((look.place or 0 for look in running_order(session)), default=-1) + 1
    rows = []
    for look in looks:
        row = new_row(look, room_id)
        if look.place is not None:
            row.place = after + look.place
        if look.kept_at:
            row.kept_at = datetime.fromisoformat(look.kept_at).astimezone(UTC)
        session.add(row)
        session.flush()  # one after another: ids tell the order in which looks were kept
        rows.append(row)
    ids = [row.id for row in rows if row.id is not None]
    session.commit()
    return ids


def take_out(session: Session, look_ids: Sequence[int]) -> int:
    """Mark looks as deleted, all in one step; answers how many were still there."""
    query = select(LookRow).where(col(LookRow.id).in_(look_ids), col(LookRow.deleted_at).is_(None))
    rows = session.exec(query).all()
    for row in rows:
        row.deleted_at = now_utc()
        session.add(row)
    session.commit()
    return len(rows)
