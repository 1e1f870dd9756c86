"""Carry looks from another room: choose it, see every look as it would be here, store them."""

from asyncio import to_thread
from datetime import UTC, datetime
from threading import Lock
from typing import Annotated
from urllib.parse import urlencode

from fastapi import APIRouter, Form, Query, Request, Response
from fastapi.responses import RedirectResponse
from sqlmodel import Session

from server.errors import NotFound, OutOfRange, Refused
from server.store import look_files
from server.store import looks as store
from server.store import rooms as kept_rooms
from server.studio.rig import Rig
from server.studio.touched import Pair
from server.web.asked import Asking, asked_text, meter_url
from server.web.carrying import (
    FIELD,
    LENS,
    CarryView,
    asked_of,
    carry_of,
    carry_view,
    figures_of,
    in_their_places,
    looks_to_store,
    room_choices,
)
from server.web.desk import ActorDep, Desk, DeskDep, SessionDep
from server.web.rooms import counted
from server.web.routes.rig import OF_ROOM, same_room
from server.web.taking import light_alone
from server.web.templating import html, went
from server.web.views import strip_view

router = APIRouter(prefix="/library/carry", include_in_schema=False)
MOST_LOOKS = 200
MOST_ADDRESS = 2000
STORING = Lock()
"""One at a time finds which looks are here already, and stores the others."""


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
    same_room(desk, fields.get("room_id"))
    chosen = {v for v in form.getlist("look") if isinstance(v, str)}
    room_id = _room_id(fields)

    def stored() -> tuple[int, ...]:
        source = other_room(desk, session, room_id)
        looks = [k for k in store.all_looks(session, room_id) if str(k.look_id) in chosen]
        if not looks:
            raise OutOfRange("choose one look at least")
        now = desk.engine.now()
        carry = carry_of(source, now.rig_now, fields)
        with STORING:
            made = looks_to_store(carry, looks, store.all_looks(session))
            return tuple(look_files.add_looks(session, made, now.record.room_id))

    ids = await to_thread(stored)
    token = desk.incoming.put("carry", b"")
    desk.incoming.stored(token, ids)
    return went(request, _url(room_id, fields, kept=token))


def _url(room_id: int, fields: dict[str, str], **more: str) -> str:
    chosen = {k: v for k, v in fields.items() if k.startswith(FIELD) or k == LENS}
    return "/library/carry?" + urlencode({"room": room_id, **more, **chosen})


@router.post("/order", dependencies=OF_ROOM)
async def into_order(
    request: Request, desk: DeskDep, session: SessionDep, token: Annotated[str, Form()]
) -> Response:
    """The looks just stored into the running order, in the place of those they were made of."""
    made = [store.get_look(session, n) for n in desk.incoming.looks_of(token)]
    if not made:
        raise NotFound("the looks just stored are no longer at hand: put them in from the Library")
    order = in_their_places(store.running_order(session), made)
    store.set_running_order(session, [look.look_id for look in order])
    return went(request, "/library#order")


@router.post("/read")
async def read(request: Request, desk: DeskDep, session: SessionDep, actor: ActorDep) -> Response:
    """Go and take the readings that tell best how far these looks are reached here."""
    fields = {k: v for k, v in (await request.form()).items() if isinstance(v, str)}
    same_room(desk, fields.get("room_id"))
    room_id = _room_id(fields)

    def pairs() -> tuple[Pair, ...]:
        source = other_room(desk, session, room_id)
        looks = store.all_looks(session, room_id)[-MOST_LOOKS:]
        carry = carry_of(source, desk.engine.now().rig_now, fields)
        return asked_of(figures_of(carry, looks))

    asked = await to_thread(pairs)
    if not asked:
        raise Refused("no reading here would tell it better")
    light_alone(desk, asked[0][1], actor)
    here = _url(room_id, fields)
    back = here if len(here) < MOST_ADDRESS else _url(room_id, {})
    asking = Asking(asked_text(asked), datetime.now(UTC).isoformat(), back)
    return RedirectResponse(meter_url(asking.fields), 303)


def _room_id(fields: dict[str, str]) -> int:
    try:
        return int(fields.get("room", ""))
    except ValueError:
        raise OutOfRange("room: choose the room to carry from") from None
