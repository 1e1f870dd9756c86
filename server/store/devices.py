"""Devices that were let in: kept, changed, ended."""

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import datetime
from secrets import token_hex

from sqlmodel import Session, col, select

from server.errors import NotFound, OutOfRange
from server.store.tables import DeviceRow, now_utc

ROLES = ("operate", "ask", "watch")
NAME_LENGTH = 30


@dataclass(frozen=True)
class Device:
    """A tablet or another machine, with what it may do."""

    device_id: str
    name: str
    role: str
    paired_at: datetime | None = None


def device_name(text: str) -> str:
    """A name as it is told beside every change; OutOfRange when there is none or it is too long."""
    name = " ".join(text.split())
    if not 0 < len(name) <= NAME_LENGTH or not name.isprintable():
        raise OutOfRange(f"name must have 1 to {NAME_LENGTH} characters, got {text!r:.60}")
    return name


def add_device(session: Session, name: str, role: str) -> Device:
    """Let a device in."""
    row = DeviceRow(id=token_hex(12), name=device_name(name), role=_role(role))
    session.add(row)
    session.commit()
    return _device(row)


def devices(session: Session) -> Sequence[Device]:
    """All that are let in, the newest first."""
    query = select(DeviceRow).where(col(DeviceRow.ended_at).is_(None))
    return [_device(r) for r in session.exec(query.order_by(col(DeviceRow.paired_at).desc()))]


def change_device(session: Session, device_id: str, name: str, role: str) -> Device:
    """Another name or role."""
    row = _row(session, device_id)
    row.name, row.role = device_name(name), _role(role)
    session.add(row)
    session.commit()
    return _device(row)


def end_device(session: Session, device_id: str) -> None:
    """Let it in no more."""
    row = _row(session, device_id)
    row.ended_at = now_utc()
    session.add(row)
    session.commit()


def _row(session: Session, device_id: str) -> DeviceRow:
    row = session.get(DeviceRow, device_id)
    if row is None or row.ended_at is not None:
        raise NotFound("that device is not paired, or its pairing has been ended")
    return row


def _role(role: str) -> str:
    if role not in ROLES:
        raise OutOfRange(f"role must be one of {', '.join(ROLES)}, got {role!r:.40}")
    return role


def _device(row: DeviceRow) -> Device:
    return Device(row.id, row.name, row.role, row.paired_at)
