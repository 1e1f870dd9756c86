"""Carry looks from another room: choose it, see every look as it would be here, store them."""

from asyncio import to_thread
from typing import Annotated
from urllib.parse import urlencode

from fastapi import APIRouter, Query, Request, Response
from sqlmodel import Session

from server.errors import OutOfRange
from server.store import look_files
from server.store import looks as store
from server.store import rooms as kept_rooms
from server.studio.carry import Carry
from server.studio.rig import Rig
from server.web.carrying import (
    FIELD,
    CarryView,
    carry_view,
    looks_to_store,
    pairs_of,
    room_choices,
)
from server.web.desk import Desk, DeskDep, SessionDep
from server.web.rooms import counted
from server.web.templating import html, went
from server.web.views import strip_view

router = APIRouter(prefix="/library/carry", include_in_schema=False)
MOST_LOOKS = 200


@router.get("")
async def page(
    request: Request, desk: DeskDep, session: SessionDep, room: Annotated[int, Query(ge=0)] = 0,
    kept: Annotated[str, Query(max_length=40)] = "",
) -> Response:  # fmt: skip
    """Every look of the other room as it would be here; nothing is stored."""
    view = await to_thread(_view, desk, session, room, dict(request.query_params))
    stored = len(desk.incoming.looks_of(kept))
    return html(
        "pages/carry.html", view="strip", oob=False, notice="", carry=view, kept=kept,
        kept_count=counted(stored, "look") if stored else "", back="/library",
        strip=strip_view(desk.engine.now()),
    )  # fmt: skip


def _view(desk: Desk, session: Session, room_id: int, fields: dict[str, str]) -> CarryView:
    target, rooms = desk.engine.now().rig_now, kept_rooms.rooms(session)
    others = room_choices(rooms, room_id)
    if not room_id and len(others) == 1:
        room_id = others[0].room_id
        others = room_choices(rooms, room_id)
    if not room_id:
        return CarryView(others, None, target.room.name)
    source = other_room(desk, session, room_id)
    looks = store.all_looks(session, room_id)[-MOST_LOOKS:]
    return carry_view(others, source, target, looks, fields)


def other_room(desk: Desk, session: Session, room_id: int) -> Rig:
    """The rig of a room that is not the open one. OutOfRange, NotFound or Refused."""
    if room_id == desk.engine.now().record.room_id:
        raise OutOfRange("this room is open: looks are carried from another one")
    return kept_rooms.room_to_open(session, room_id)


@router.post("/store")
async def keep(request: Request, desk: DeskDep, session: SessionDep) -> Response:
    """Store the chosen looks as looks of this room, all or none."""
    form = await request.form()
    fields = {k: v for k, v in form.items() if isinstance(v, str)}
    chosen = {v for v in form.getlist("look") if isinstance(v, str)}
    try:
        room_id = int(fields.get("room", ""))
    except ValueError:
        raise OutOfRange("room: choose the room to carry from") from None

    def stored() -> tuple[int, ...]:
        source = other_room(desk, session, room_id)
        looks = [k for k in store.all_looks(session, room_id) if str(k.look_id) in chosen]
        if not looks:
            raise OutOfRange("choose one look at least")
        now = desk.engine.now()
        carry = Carry(source, now.rig_now, pairs_of(source, fields))
        made = looks_to_store(carry, looks, store.all_looks(session))
        return tuple(look_files.add_looks(session, made, now.record.room_id))

    ids = await to_thread(stored)
    token = desk.incoming.put("carry", b"")
    desk.incoming.stored(token, ids)
    pairs = {k: v for k, v in fields.items() if k.startswith(FIELD)}
    return went(request, "/library/carry?" + urlencode({"room": room_id, "kept": token, **pairs}))
