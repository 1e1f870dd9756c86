"""Rooms: each with its whole rig and its looks; kept, listed, copied, put out of the way."""

import re
from dataclasses import dataclass, replace
from datetime import datetime

from sqlalchemy import func
from sqlmodel import Session, col, select

from server.errors import NotFound, Refused
from server.store.burning import hours_lit, put_lit
from server.store.left import light_left
from server.store.rigs import active_id as active_id
from server.store.rigs import running_now
from server.store.tables import LookRow, RigRow, now_utc
from server.studio.document import rig_document, rig_from_document
from server.studio.head import NAME_LENGTH, name_of
from server.studio.history import RoomAsLeft
from server.studio.rig import Rig


@dataclass(frozen=True)
class KeptRoom:
    """A room as the list of rooms tells it."""

    room_id: int
    name: str
    heads: tuple[str, ...]
    circuits: int
    looks: int
    is_open: bool = False
    archived_at: datetime | None = None


def rooms(session: Session) -> list[KeptRoom]:
    """All rooms, the open one first, then by name, the archived last."""
    count = select(LookRow.room_id, func.count()).where(col(LookRow.deleted_at).is_(None))
    looks = dict(session.exec(count.group_by(col(LookRow.room_id))).all())
    found = [_kept(row, looks.get(row.id or 0, 0)) for row in session.exec(select(RigRow))]
    return sorted(
        found,
        key=lambda r: (r.archived_at is not None, not r.is_open, r.name.casefold(), r.room_id),
    )


def get_room(session: Session, room_id: int) -> Rig:
    """The whole rig of a room, archived or not; NotFound when there is none."""
    return rig_from_document(_row(session, room_id).document)


def room_to_open(session: Session, room_id: int) -> Rig:
    """The whole rig of a room that may be opened; Refused when it is archived."""
    row = _row(session, room_id)
    rig = rig_from_document(row.document)
    if row.archived_at is not None:
        raise Refused(f"{rig.room.name} is archived: bring it back first")
    return rig


def room_as_left(session: Session, room_id: int) -> RoomAsLeft:
    """A room that may be opened, with the light it was left with; Refused when it is archived."""
    return RoomAsLeft(room_id, room_to_open(session, room_id), light_left(session, room_id))


def add_room(session: Session, rig: Rig) -> int:
    """Keep a new room, and open nothing. [id]"""
    refuse_taken(session, rig.room.name)
    room_id = _added(session, rig, [])
    session.commit()
    return room_id


def duplicate_room(session: Session, room_id: int, rig: Rig | None = None) -> int:
    """A copy of a room, with its running order and the hours of its lamps; the looks stay looks of
    the first. `rig` is the room's as it is now, when it is open. [id]"""
    row = _row(session, room_id)
    rig = rig or rig_from_document(row.document)
    room = replace(rig.room, name=_free_name(session, rig.room.name))
    running = running_now(session) if row.is_open else row.running
    copy = _added(session, replace(rig, room=room), running)
    put_lit(session, hours_lit(session, room_id), copy)
    session.commit()
    return copy


def rename_room(session: Session, room_id: int, name: str) -> None:
    """Another name for a room that is not open; the open one's changes with the live rig."""
    row = _row(session, room_id)
    rig = rig_from_document(row.document)
    room = replace(rig.room, name=name)
    refuse_taken(session, room.name, room_id)
    row.document = rig_document(replace(rig, room=room))
    session.add(row)
    session.commit()


def refuse_taken(session: Session, name: str, but: int | None = None) -> None:
    """Refuse a name that another room than `but` has already."""
    if name_of("room name", name).casefold() in _names(session, but):
        raise Refused(f"there is a room called {name} already: choose another name")


def archive_room(session: Session, room_id: int) -> None:
    """Put a room and its looks out of the way; `restore_room` undoes it."""
    row = _row(session, room_id)
    if row.is_open:
        raise Refused(f"{_name(row)} is open: open another room first, then archive this one")
    row.archived_at = row.archived_at or now_utc()
    session.add(row)
    session.commit()


def restore_room(session: Session, room_id: int) -> None:
    """Bring an archived room back, with its looks; numbered, when its name was taken meanwhile."""
    row = _row(session, room_id)
    if row.archived_at is not None and _name(row).casefold() in _names(session, room_id):
        rig = rig_from_document(row.document)
        room = replace(rig.room, name=_free_name(session, rig.room.name))
        row.document = rig_document(replace(rig, room=room))
    row.archived_at = None
    session.add(row)
    session.commit()


def _added(session: Session, rig: Rig, running: list[int]) -> int:
    row = RigRow(document=rig_document(rig), running=running)
    session.add(row)
    session.flush()
    assert row.id is not None
    return row.id


def _row(session: Session, room_id: int) -> RigRow:
    row = session.get(RigRow, room_id) if 0 < room_id < 2**62 else None
    if row is None:
        raise NotFound(f"there is no room {room_id}; GET /api/rooms lists those there are")
    return row


def _name(row: RigRow) -> str:
    return str(row.document["room"]["name"])


def _names(session: Session, but: int | None) -> set[str]:
    rows = session.exec(select(RigRow).where(col(RigRow.archived_at).is_(None)))
    return {_name(row).casefold() for row in rows if row.id != but}


def _free_name(session: Session, name: str) -> str:
    """The name with the first number from 2 that is free behind it."""
    taken, number = _names(session, None), 2
    stem = re.sub(r" \d+$", "", name)[: NAME_LENGTH - 5].strip()
    while (free := f"{stem} {number}").casefold() in taken:
        number += 1
    return free


def _kept(row: RigRow, looks: int) -> KeptRoom:
    document = row.document
    assert row.id is not None
    return KeptRoom(
        row.id,
        _name(row),
        tuple(str(h["name"]) for h in document.get("heads") or ()),
        len(document["room"].get("circuits") or ()),
        looks,
        row.is_open,
        row.archived_at,
    )
