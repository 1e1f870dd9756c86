"""The patch: channels at a glance, giving them to heads, and a sheet to print."""

from typing import Annotated
from urllib.parse import quote

from fastapi import APIRouter, Form, Query, Request, Response

from server.studio.head import LAST_UNIVERSE, SLOTS
from server.studio.patch import given, swapped
from server.web.desk import ActorDep, Desk, DeskDep
from server.web.patch import channel_view, channel_words, patch_view
from server.web.routes.rig import same_room
from server.web.templating import html, went
from server.web.views import strip_view

router = APIRouter(prefix="/rig/patch", include_in_schema=False)
Name = Annotated[str, Form(max_length=200)]
RoomId = Annotated[str, Form(max_length=20)]


@router.get("")
async def patch_page(
    desk: DeskDep,
    universe: Annotated[int, Query(ge=1, le=LAST_UNIVERSE)] = 1,
    channels: Annotated[int, Query(ge=0, le=SLOTS)] = 0,
) -> Response:
    """One universe: who is on which channel."""
    now = desk.engine.now()
    return html(
        "pages/patch.html", view="strip", oob=False, notice="", strip=strip_view(now),
        patch=patch_view(now, universe, channels), room=now.rig.room.name, slots=SLOTS,
        last=LAST_UNIVERSE, back="/rig",
    )  # fmt: skip


@router.get("/{universe}/{address}")
async def channel_page(desk: DeskDep, universe: int, address: int) -> Response:
    """One channel: whose it is, and who may have it."""
    now = desk.engine.now()
    return html(
        "pages/channel.html", view="strip", oob=False, notice="", strip=strip_view(now),
        channel=channel_view(now, universe, address),
        room_id=now.record.room_id, quoted=lambda name: quote(name, safe=""), back="/rig",
    )  # fmt: skip


@router.post("/give")
async def give(
    request: Request, desk: DeskDep, actor: ActorDep, head: Name,
    universe: Annotated[int, Form()], address: Annotated[int, Form()], room_id: RoomId = "",
) -> Response:  # fmt: skip
    """A free channel to a head."""
    rig = given(same_room(desk, room_id), head, universe, address)
    words = channel_words(rig.head(head))
    desk.engine.replace_rig(rig, actor, f"{head} on channel {words}")
    return _shown(request, desk, universe)


@router.post("/swap")
async def swap(
    request: Request, desk: DeskDep, actor: ActorDep, head: Name, other: Name, room_id: RoomId = ""
) -> Response:
    """Two heads on each other's channels."""
    rig = swapped(same_room(desk, room_id), head, other)
    told = f"{head} on channel {channel_words(rig.head(head))}"
    told += f", {other} on {channel_words(rig.head(other))}"
    desk.engine.replace_rig(rig, actor, told)
    return _shown(request, desk, rig.head(head).universe)


def _shown(request: Request, desk: Desk, universe: int) -> Response:
    return went(request, "/rig/patch" + (f"?universe={universe}" if universe != 1 else ""))
