"""Rooms in words, and opening one: what the light keeps, what goes dark, what may not be left."""

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Any

from sqlmodel import Session

from server.errors import Refused
from server.live.now import Now
from server.store.rooms import KeptRoom, room_as_left
from server.studio.whole import Whole
from server.web.desk import Desk


@dataclass(frozen=True)
class RoomCard:
    """A room on the Rooms page."""

    room_id: int
    name: str
    told: str
    is_open: bool
    light: str


def room_card(now: Now, room: KeptRoom) -> RoomCard:
    """A room as a card."""
    told = (
        counted(len(room.heads), "head"), counted(room.circuits, "circuit"),
        counted(room.looks, "look"),
    )  # fmt: skip
    light = "" if room.is_open else light_words(now, room.heads)
    return RoomCard(room.room_id, room.name, " · ".join(told), room.is_open, light)


def counted(number: int, thing: str) -> str:
    """`1 head`, `9 heads`, `no heads`."""
    return f"{number or 'no'} {thing}{'' if number == 1 else 's'}"


def light_words(now: Now, heads: Sequence[str]) -> str:
    """What opening a room with these heads does to the light; empty while all is dark."""
    setting = now.record.history.now.setting
    lit = [h.name for h in now.rig.heads if setting.of(h) is not None]
    stay = [name for name in lit if name in heads]
    go = [name for name in lit if name not in heads]
    told = [f"{', '.join(stay)} keep{'s' if len(stay) == 1 else ''} the light"] if stay else []
    if go:
        told.append(f"{', '.join(go)} go{'es' if len(go) == 1 else ''} dark")
    return f"Opened now: {'; '.join(told)}." if told else ""


@dataclass(frozen=True)
class WholeView:
    """A whole studio in a file, before it is put in place."""

    rooms: tuple[RoomCard, ...]
    light: str


def whole_view(now: Now, whole: Whole[Any]) -> WholeView:
    """What a studio in a file holds, and what its open room does to the light."""
    kept = [
        KeptRoom(
            i, room.rig.room.name, tuple(h.name for h in room.rig.heads),
            len(room.rig.room.circuits), whole.look_rooms.count(i), i == whole.open,
        )
        for i, room in enumerate(whole.rooms)
    ]  # fmt: skip
    return WholeView(
        tuple(room_card(now, room) for room in kept), light_words(now, kept[whole.open].heads)
    )


def refuse_while_walking(desk: Desk) -> None:
    """A channel walk lights the heads of the open room one by one: it has to end first."""
    walk = desk.walking.walk
    if walk is not None and walk.lit is not None:
        raise Refused("a channel walk is going on: end it on the Rig page, then open the room")


def open_room(desk: Desk, session: Session, room_id: int, actor: str) -> Now:
    """Make a room the one whose light is the light."""
    refuse_while_walking(desk)

    return room_opened(desk, desk.engine.open_room(lambda: room_as_left(session, room_id), actor))


def room_opened(desk: Desk, now: Now) -> Now:
    """What stands beside the light follows the room that was opened."""
    desk.walking.walk = None  # what it saw is of the room that was left
    desk.strolling.end()
    desk.faces.in_room(desk.settings.photographs_in(now.record.room_id))
    return now
