"""Notes: what hands are to do at a stand. Open until they are ticked or dropped."""

from collections.abc import Sequence
from fractions import Fraction

from sqlmodel import Session, col, select

from server.errors import NotFound, Refused
from server.store.rigs import active_id
from server.store.tables import NoteRow, now_utc
from server.studio.document import placement_document, placement_from_document
from server.studio.note import Note

MOST_OPEN = 50


def open_notes(session: Session) -> Sequence[Note]:
    """Notes that wait for hands in the open room, the oldest first."""
    query = select(NoteRow).where(
        col(NoteRow.closed_at).is_(None), NoteRow.room_id == active_id(session)
    )
    query = query.order_by(col(NoteRow.id))
    return [_note(row) for row in session.exec(query)]


def add_note(session: Session, note: Note) -> Note:
    """Keep a note; a newer one for the same head takes the older one's place."""
    known = open_notes(session)
    if len(known) >= MOST_OPEN:
        raise Refused(f"{MOST_OPEN} notes are open already: tick or drop some first")
    for old in known:
        if old.head == note.head:
            _close(session, old.note_id)
    row = NoteRow(
        head=note.head, text=note.text, placement=placement_document(note.placement),
        up=str(note.up), by=note.by, room_id=active_id(session),
    )  # fmt: skip
    session.add(row)
    session.commit()
    return _note(row)


def get_note(session: Session, note_id: int) -> Note:
    """One open note."""
    return _note(_open(session, note_id))


def close_note(session: Session, note_id: int) -> None:
    """Done, or no longer wanted."""
    _close(session, note_id)
    session.commit()


def _close(session: Session, note_id: int) -> None:
    row = _open(session, note_id)
    row.closed_at = now_utc()
    session.add(row)


def _open(session: Session, note_id: int) -> NoteRow:
    row = session.get(NoteRow, note_id) if 0 < note_id < 2**63 else None
    if row is None or row.closed_at is not None or row.room_id != active_id(session):
        raise NotFound("that note is done, dropped, or of another room")
    return row


def _note(row: NoteRow) -> Note:
    return Note(
        row.id or 0, row.head, row.text, placement_from_document(row.placement, row.head),
        Fraction(row.up), row.by,
    )  # fmt: skip
