"""The Rooms page: rooms made, opened, copied, renamed, put out of the way and brought back."""

from dataclasses import replace
from typing import Annotated, Any

from fastapi import APIRouter, Form, Path, Query, Request, Response
from fastapi.responses import JSONResponse, RedirectResponse

from server.store import rooms as store
from server.studio.rig import Rig
from server.studio.room import Room
from server.web.contract import ROOMS_EXAMPLE
from server.web.desk import ActorDep, DeskDep, SessionDep
from server.web.rooms import open_room, room_card
from server.web.state import room_json, state_answer
from server.web.templating import html, went
from server.web.views import strip_view

router = APIRouter(prefix="/rooms", include_in_schema=False)
contract = APIRouter(prefix="/api/rooms", tags=["contract"])
Name = Annotated[str, Form(max_length=200)]


@router.get("")
async def page(
    desk: DeskDep, session: SessionDep, archived: Annotated[int, Query(ge=0)] = 0
) -> Response:
    """All rooms, the open one first; those that were archived can be brought back."""
    now = desk.engine.now()
    found = store.rooms(session)
    cards = [room_card(now, r) for r in found if r.archived_at is None]
    away = [room_card(now, r) for r in found if r.archived_at is not None]
    return html(
        "pages/rooms.html", view="strip", oob=False, notice="", strip=strip_view(now),
        rooms=cards, away=away, gone=next((r for r in away if r.room_id == archived), None),
        back="/rig",
    )  # fmt: skip


@router.post("/new")
async def add(request: Request, desk: DeskDep, session: SessionDep, name: Name) -> Response:
    """A new room without heads. The mains, the lens and the meter are taken to be the same."""
    rig = desk.engine.now().rig_now
    room = Room(name, rig.room.mains_volts, rig.room.continuous_factor)
    store.add_room(session, Rig(room, lens=rig.lens, meter=rig.meter))
    return went(request, "/rooms")


@router.post("/{room_id}/open")
async def open_(
    request: Request, desk: DeskDep, session: SessionDep, actor: ActorDep, room_id: int
) -> Response:
    """Open a room; its Rig page comes next."""
    open_room(desk, session, room_id, actor)
    return went(request, "/rig")


@router.post("/{room_id}/duplicate")
async def duplicate(request: Request, desk: DeskDep, session: SessionDep, room_id: int) -> Response:
    """A copy of a room, to be changed."""
    now = desk.engine.now()
    store.duplicate_room(session, room_id, now.rig_now if room_id == now.record.room_id else None)
    return went(request, "/rooms")


@router.post("/{room_id}/rename")
async def rename(
    request: Request, desk: DeskDep, session: SessionDep, actor: ActorDep, room_id: int, name: Name
) -> Response:
    """Another name."""
    now = desk.engine.now()
    if room_id == now.record.room_id:
        store.refuse_taken(session, name, room_id)
        room = replace(now.rig.room, name=name)
        desk.engine.replace_rig(replace(now.rig_now, room=room), actor, f"now called {room.name}")
    else:
        store.rename_room(session, room_id, name)
    return went(request, "/rooms")


@router.post("/{room_id}/archive")
async def archive(session: SessionDep, room_id: int) -> Response:
    """Out of the way, with its looks; the page then offers to bring it back."""
    store.archive_room(session, room_id)
    return RedirectResponse(f"/rooms?archived={room_id}", 303)


@router.post("/{room_id}/bring-back")
async def bring_back(session: SessionDep, room_id: int) -> Response:
    """Undo that."""
    store.restore_room(session, room_id)
    return RedirectResponse("/rooms", 303)


def _answers(example: Any) -> dict[int | str, dict[str, Any]]:
    return {200: {"content": {"application/json": {"example": example}}}}


@contract.get("", responses=_answers(ROOMS_EXAMPLE))
async def get_rooms(session: SessionDep) -> JSONResponse:
    """All rooms, the open one first, the archived last. `POST /api/rooms/{room_id}/open` opens
    one; `GET /api/rig` then answers its whole rig."""
    return JSONResponse([room_json(room) for room in store.rooms(session)])


@contract.post(
    "/{room_id}/open",
    responses={
        404: {"description": "There is no such room."},
        409: {"description": "It is open already or archived, or a channel walk is going on."},
    },
)
async def post_open(
    desk: DeskDep, session: SessionDep, actor: ActorDep,
    room_id: Annotated[int, Path(examples=[2])],
) -> Response:  # fmt: skip
    """Open a room: its rig takes the place of the present one, its running order comes with it.
    Heads that are called the same keep their output, the others start dark. Answers the state."""
    return state_answer(open_room(desk, session, room_id, actor))
