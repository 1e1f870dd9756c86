"""The rig in the database: the open room's, put back with each change of it."""

from collections.abc import Sequence

from sqlmodel import Session, col, select

from server.store.tables import LookRow, RigRow
from server.studio.document import rig_document, rig_from_document
from server.studio.rig import Rig

FIRST = 1
"""The room that a new database starts with."""


def load_rig(session: Session) -> Rig | None:
    """The rig of the open room, None in a new database."""
    row = session.get(RigRow, active_id(session))
    return rig_from_document(row.document) if row else None


def active_id(session: Session) -> int:
    """Which room is open; the first one in a new database."""
    found = session.exec(select(RigRow.id).where(col(RigRow.is_open))).first()
    return found or FIRST


def put_rig(session: Session, rig: Rig, room_id: int | None = None) -> None:
    """Put a rig into the session as that of a room, by default the open one, and open it: the
    running order of the room that was open is kept with it, and this one's own comes back. The
    caller commits."""
    before = session.get(RigRow, active_id(session))
    room_id = room_id or active_id(session)
    row = session.get(RigRow, room_id) or RigRow(id=room_id, document={}, running=[])
    row.document = rig_document(rig)
    if before is not None and before.id != room_id:
        before.is_open = False
        before.running = running_now(session)
        session.add(before)
        run(session, row.running)
    row.is_open = True
    session.add(row)


def put_closed(session: Session, rig: Rig, room_id: int) -> None:
    """Put a rig into the session as that of a room, and open nothing. The caller commits."""
    row = session.get(RigRow, room_id)
    if row is not None:
        row.document = rig_document(rig)
        session.add(row)


def running_now(session: Session) -> list[int]:
    """The running order as it is now, with looks that were deleted and may be brought back."""
    query = select(LookRow.id).where(col(LookRow.place).is_not(None))
    return [i for i in session.exec(query.order_by(col(LookRow.place), col(LookRow.id))) if i]


def run(session: Session, look_ids: Sequence[int]) -> None:
    """Make these looks the running order. The caller commits."""
    for row in session.exec(select(LookRow).where(col(LookRow.place).is_not(None))):
        row.place = None
        session.add(row)
    for place, look_id in enumerate(look_ids):
        look = session.get(LookRow, look_id)
        if look is not None:
            look.place = place
            session.add(look)
