"""How long each head has given light in all, as it was counted. Hours."""

from collections.abc import Mapping

from sqlmodel import Session, select

from server.store.tables import BurningRow


def hours_lit(session: Session) -> dict[str, float]:
    """Head -> hours lit since the first count."""
    return {row.head: row.hours for row in session.exec(select(BurningRow))}


def add_lit(session: Session, hours: Mapping[str, float]) -> None:
    """Add to the counts; all of it or nothing."""
    for head, more in hours.items():
        row = session.get(BurningRow, head) or BurningRow(head=head)
        row.hours += more
        session.add(row)
    session.commit()


def rename_lit(session: Session, names: Mapping[str, str]) -> None:
    """Heads got other names (old -> new): the counts follow. The caller commits."""
    moved = {old: row for old in names if (row := session.get(BurningRow, old)) is not None}
    hours = {names[old]: row.hours for old, row in moved.items()}
    for row in moved.values():
        session.delete(row)
    session.flush()
    for head, counted in hours.items():
        session.merge(BurningRow(head=head, hours=counted))
