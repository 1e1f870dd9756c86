"""The rig in the database."""

from sqlmodel import Session

from server.store.tables import RigRow
from server.studio.document import rig_document, rig_from_document
from server.studio.rig import Rig


def load_rig(session: Session) -> Rig | None:
    """The stored rig, None in a new database."""
    row = session.get(RigRow, 1)
    return rig_from_document(row.document) if row else None


def put_rig(session: Session, rig: Rig) -> None:
    """Put the rig into the session; the caller commits."""
    row = session.get(RigRow, 1)
    if row is None:
        session.add(RigRow(document=rig_document(rig)))
    else:
        row.document = rig_document(rig)
        session.add(row)
