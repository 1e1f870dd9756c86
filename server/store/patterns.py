"""What pattern each look's light makes: worked out in the background, kept to be found by."""

from collections.abc import Sequence

from sqlmodel import Session, col, select

from server.store.looks import get_look
from server.store.tables import LookRow, PatternRow
from server.studio.look import Look
from server.studio.pattern import Pattern


def known_patterns(session: Session) -> list[tuple[int, str, Pattern]]:
    """Every look's pattern that was read before, and what it was read from."""
    return [
        (
            row.look_id,
            row.read_from,
            Pattern(row.name, row.side, (row.between[0], row.between[1]) if row.between else None),
        )
        for row in session.exec(select(PatternRow))
    ]


def put_pattern(
    session: Session, look_ids: Sequence[int], read_from: str, pattern: Pattern
) -> None:
    """Keep the pattern of some looks; all of them or none."""
    for look_id in look_ids:
        session.merge(
            PatternRow(
                look_id=look_id,
                read_from=read_from,
                name=pattern.name,
                side=pattern.side,
                between=list(pattern.between or ()),
                words=sorted(pattern.words),
            )
        )
    session.commit()


def unread_looks(session: Session, limit: int) -> list[Look]:
    """Looks whose pattern was never read, the newest first."""
    read = select(PatternRow.look_id)
    query = (
        select(LookRow.id)
        .where(col(LookRow.deleted_at).is_(None), col(LookRow.id).not_in(read))
        .order_by(col(LookRow.id).desc())
        .limit(limit)
    )
    return [get_look(session, look_id) for look_id in session.exec(query) if look_id is not None]
