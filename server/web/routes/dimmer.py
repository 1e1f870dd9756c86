"""The dimmer, set up: what it does when its signal stops, and the walk through its channels."""

from dataclasses import dataclass, replace
from typing import Annotated

from fastapi import APIRouter, Form, Request, Response

from server.live.now import Now
from server.studio.walk import Walk
from server.web.desk import ActorDep, Desk, DeskDep
from server.web.hands import fader_words
from server.web.templating import html, went
from server.web.views import strip_view

router = APIRouter(include_in_schema=False)
WALK = "/rig/walk"
HeadName = Annotated[str, Form(max_length=200)]


@dataclass(frozen=True)
class WalkView:
    """The page of the walk: before it, a question, or what was found."""

    state: str
    heads: tuple[str, ...]
    lit: str
    progress: str
    found: tuple[str, ...]
    can_mend: bool


@router.post("/rig/signal-loss")
async def signal_loss(
    request: Request, desk: DeskDep, actor: ActorDep,
    habit: Annotated[str, Form(max_length=40)],
) -> Response:  # fmt: skip
    """What the dimmer does when its signal stops, as it was tested."""
    rig = desk.engine.now().rig_now
    room = replace(rig.room, signal_loss=habit)
    desk.engine.replace_rig(replace(rig, room=room), actor, f"without signal, the dimmer: {habit}")
    return went(request, "/rig")


@router.get(WALK)
async def walk_page(desk: DeskDep) -> Response:
    """Which head is on which channel."""
    now = desk.engine.now()
    return html(
        "pages/walk.html", view="strip", oob=False, notice="", strip=strip_view(now),
        walk=walk_view(desk.walking.walk, now), back=WALK,
    )  # fmt: skip


@router.post(f"{WALK}/start")
async def start(request: Request, desk: DeskDep, actor: ActorDep) -> Response:
    """All heads down, the first channel glows."""
    desk.walking.start(desk.engine, actor)
    return _on(request, desk)


@router.post(f"{WALK}/saw")
async def saw(
    request: Request, desk: DeskDep, actor: ActorDep, lit: HeadName, head: HeadName = ""
) -> Response:
    """This head glowed (or none)."""
    desk.walking.saw(desk.engine, lit, head, actor)
    return _on(request, desk)


@router.post(f"{WALK}/stop")
async def stop(request: Request, desk: DeskDep, actor: ActorDep) -> Response:
    """Back to the light before."""
    desk.walking.stop(desk.engine, actor)
    return went(request, "/rig#dimmer")


@router.post(f"{WALK}/mend")
async def mend(request: Request, desk: DeskDep, actor: ActorDep) -> Response:
    """Put each crossed head on the channel that really lights it."""
    desk.walking.mend(desk.engine, actor)
    return went(request, "/rig#dimmer")


def _on(request: Request, desk: Desk) -> Response:
    return went(request, WALK)


def walk_view(walk: Walk | None, now: Now) -> WalkView:
    """What the page says."""
    names = tuple(head.name for head in now.rig.heads)
    if walk is None:
        return WalkView("before", names, "", "", (), False)
    if walk.lit is not None:
        progress = f"{len(walk.seen) + 1} of {len(walk.heads)}"
        return WalkView("asking", walk.heads, walk.lit, progress, (), False)
    where = {head.name: fader_words(head).replace("fader", "channel") for head in now.rig.heads}
    found = [
        f"{where.get(lit, 'the channel')} belongs to {lit} in the rig, but {seen} glowed"
        for lit, seen in walk.crossed.items()
    ]
    found += [
        f"nothing glowed on {where.get(name, 'the channel')} ({name}): look at its plug, its"
        " breaker, its lamp (mains off first), and its channel in the rig"
        for name in walk.silent
    ]
    return WalkView("found", names, "", "", tuple(found), walk.can_mend)
