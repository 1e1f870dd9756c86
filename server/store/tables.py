"""The SQLite tables. Nothing outside `server.store` sees a row."""

from datetime import UTC, datetime
from typing import Any

from sqlalchemy import JSON, Column
from sqlmodel import Field, SQLModel


def now_utc() -> datetime:
    """The wall clock, in UTC."""
    return datetime.now(UTC)


def as_stored(moment: datetime) -> str:
    """A moment as a column of moments holds it: in UTC, without saying so."""
    return moment.astimezone(UTC).replace(tzinfo=None).isoformat(" ", "microseconds")


class RigRow(SQLModel, table=True):
    """A room with its whole rig as one document. One of them is open: its light is the light."""

    __tablename__ = "rig"
    id: int | None = Field(default=None, primary_key=True)
    document: dict[str, Any] = Field(sa_column=Column(JSON, nullable=False))
    is_open: bool = False
    archived_at: datetime | None = None
    running: list[int] = Field(default_factory=list, sa_column=Column(JSON, nullable=False))
    """The running order it had when another room was opened."""


class LookRow(SQLModel, table=True):
    """A kept look."""

    __tablename__ = "look"
    id: int | None = Field(default=None, primary_key=True)
    name: str = Field(index=True)
    tags: list[str] = Field(default_factory=list, sa_column=Column(JSON, nullable=False))
    notes: str = ""
    setting: dict[str, Any] = Field(sa_column=Column(JSON, nullable=False))
    placements: dict[str, Any] = Field(sa_column=Column(JSON, nullable=False))
    lux: dict[str, float] = Field(sa_column=Column(JSON, nullable=False))
    ratio: float | None = None
    f_number: float | None = None
    place: int | None = Field(default=None, index=True)
    kept_at: datetime = Field(default_factory=now_utc)
    deleted_at: datetime | None = Field(default=None, index=True)
    room_id: int = 1


class PatternRow(SQLModel, table=True):
    """The lighting pattern of a look, and what it was read from."""

    __tablename__ = "look_pattern"
    look_id: int = Field(primary_key=True)
    read_from: str
    name: str
    side: str = ""
    between: list[str] = Field(default_factory=list, sa_column=Column(JSON, nullable=False))
    words: list[str] = Field(default_factory=list, sa_column=Column(JSON, nullable=False))


class StepRow(SQLModel, table=True):
    """One light that can be taken back to."""

    __tablename__ = "step"
    number: int = Field(primary_key=True)
    setting: dict[str, Any] = Field(sa_column=Column(JSON, nullable=False))
    text: str = ""
    actor: str = ""
    fade_s: float = 1.0


class LeftRow(SQLModel, table=True):
    """The steps, the good frame and the dark light of a room that is not open."""

    __tablename__ = "left_light"
    room_id: int = Field(primary_key=True)
    document: dict[str, Any] = Field(sa_column=Column(JSON, nullable=False))


class LiveRow(SQLModel, table=True):
    """Where the live state stands. One row."""

    __tablename__ = "live"
    id: int = Field(default=1, primary_key=True)
    revision: int = 0
    step: int = 0
    known: bool = False
    good: dict[str, Any] | None = Field(default=None, sa_column=Column(JSON(none_as_null=True)))
    way: dict[str, Any] | None = Field(default=None, sa_column=Column(JSON(none_as_null=True)))
    dark_from: dict[str, Any] | None = Field(
        default=None, sa_column=Column(JSON(none_as_null=True))
    )


class EventRow(SQLModel, table=True):
    """One thing that happened: the sitting is told from these."""

    __tablename__ = "event"
    id: int | None = Field(default=None, primary_key=True)
    at: datetime = Field(default_factory=now_utc, index=True)
    revision: int = 0
    kind: str
    text: str
    actor: str = ""
    detail: dict[str, Any] = Field(default_factory=dict, sa_column=Column(JSON, nullable=False))


class SecretRow(SQLModel, table=True):
    """What identifies this installation: the sender's CID, the pairing token."""

    __tablename__ = "secret"
    name: str = Field(primary_key=True)
    value: str


class NoteRow(SQLModel, table=True):
    """Something to be done with hands at a stand, until it is ticked or dropped."""

    __tablename__ = "note"
    id: int | None = Field(default=None, primary_key=True)
    head: str
    text: str
    placement: dict[str, Any] = Field(sa_column=Column(JSON, nullable=False))
    up: str = "0"
    by: str = ""
    at: datetime = Field(default_factory=now_utc)
    closed_at: datetime | None = Field(default=None, index=True)
    room_id: int = 1


class BurningRow(SQLModel, table=True):
    """How long a head of a room has given light in all. [h]"""

    __tablename__ = "lamp_hours"
    room_id: int = Field(primary_key=True)
    head: str = Field(primary_key=True)
    hours: float = 0.0


class DeviceRow(SQLModel, table=True):
    """A tablet that was let in. Ended ones stay, so that their cookie is never good again."""

    __tablename__ = "device"
    id: str = Field(primary_key=True)
    name: str
    role: str
    paired_at: datetime = Field(default_factory=now_utc)
    ended_at: datetime | None = None
