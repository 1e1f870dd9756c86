"""How long each head of a room has given light in all, as it was counted. Hours."""

from collections.abc import Mapping

from sqlmodel import Session, select

from server.store.tables import BurningRow


def hours_lit(session: Session, room_id: int) -> dict[str, float]:
    """Head of the room -> hours lit since the first count."""
    rows = session.exec(select(BurningRow).where(BurningRow.room_id == room_id))
    return {row.head: row.hours for row in rows}


def add_lit(session: Session, hours: Mapping[tuple[int, str], float]) -> None:
    """Add to the counts, each of a room and its head; all of it or nothing."""
    for (room_id, head), more in hours.items():
        row = session.get(BurningRow, (room_id, head)) or BurningRow(room_id=room_id, head=head)
        row.hours += more
        session.add(row)
    session.commit()


def put_lit(session: Session, hours: Mapping[str, float], room_id: int) -> None:
    """The counts that heads of a room begin with. The caller commits."""
    for head, counted in hours.items():
        session.merge(BurningRow(room_id=room_id, head=head, hours=counted))


def rename_lit(session: Session, names: Mapping[str, str], room_id: int) -> None:
    """Heads of a room got other names (old -> new): the counts follow. The caller commits."""
    keys = {old: (room_id, old) for old in names}
    moved = {old: row for old, k in keys.items() if (row := session.get(BurningRow, k)) is not None}
    hours = {names[old]: row.hours for old, row in moved.items()}
    for row in moved.values():
        session.delete(row)
    session.flush()
    put_lit(session, hours, room_id)
