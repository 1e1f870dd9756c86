"""Placing one head: dragged on the plan, by big keys, or by what the tape measure says."""

from dataclasses import replace
from typing import Annotated
from urllib.parse import quote

from fastapi import APIRouter, Depends, Form, Request, Response
from fastapi.responses import RedirectResponse

from server.errors import OutOfRange
from server.studio.head import Head, Placement
from server.studio.placing import FOCUS_STEP, SCRIMS, dragged, focused, scrimmed, stepped, zooms
from server.studio.tape import metres_of
from server.web.desk import ActorDep, Desk, DeskDep
from server.web.forms import number
from server.web.placing import place, placing_view, put_back, step_rows
from server.web.routes.rig import same_room
from server.web.templating import html, is_htmx
from server.web.views import strip_view
from server.web.words import point_words

router = APIRouter(prefix="/rig/plan/{name}", include_in_schema=False)
Word = Annotated[str, Form(max_length=60)]


async def head_shown(desk: DeskDep, name: str, room_id: Word = "") -> Head:
    """The head that a form is about, in the room where it was shown."""
    return same_room(desk, room_id).head(name)


HeadDep = Annotated[Head, Depends(head_shown)]


@router.get("")
async def placing_page(desk: DeskDep, name: str) -> Response:
    """Everything about where one head stands."""
    now = desk.engine.now()
    head = now.rig.head(name)
    return html(
        "pages/placing.html", view=f"placing:{name}", oob=False, notice="", strip=strip_view(now),
        placing=placing_view(desk, now, name), here=_address(name), room_id=now.record.room_id,
        rows=step_rows(now.rig.room.units), can_focus=zooms(head), focus_step=FOCUS_STEP,
        aims=[(name, point_words(name)) for name in ("mark", *(p.name for p in now.rig.points))],
        scrims=list(SCRIMS),
        heads=[h.name for h in now.rig.heads], units=now.rig.room.units, back="/rig",
    )  # fmt: skip


@router.post("/step")
async def step(
    request: Request, desk: DeskDep, actor: ActorDep, head: HeadDep, what: Word, by: Word
) -> Response:
    """One key: so many degrees, metres, or so much of the way to flood."""
    return _placed(request, desk, actor, head, stepped(head, what, number({"by": by}, "by")))


@router.post("/drag")
async def drag(
    request: Request, desk: DeskDep, actor: ActorDep, head: HeadDep, view: Word, x: Word, y: Word
) -> Response:
    """Let go at a place of the plan, in centimetres of the drawing."""
    at, units = {"x": x, "y": y}, desk.engine.now().rig.room.units
    placement = dragged(head.placement, view, number(at, "x"), number(at, "y"), units)
    return _placed(request, desk, actor, head, placement)


@router.post("/typed")
async def typed(
    request: Request, desk: DeskDep, actor: ActorDep, head: HeadDep, azimuth_deg: Word = "",
    distance: Word = "", rise: Word = "",
) -> Response:  # fmt: skip
    """What the tape measure says; a field left empty stays as it is."""
    placement, units = head.placement, desk.engine.now().rig.room.units
    if not (azimuth_deg.strip() or distance.strip() or rise.strip()):
        raise OutOfRange("type at least one of throw, height and degrees")
    if azimuth_deg.strip():
        degrees = number({"degrees": azimuth_deg}, "degrees")
        placement = replace(placement, azimuth_deg=degrees)
    throw, height = placement.distance_m, placement.rise_m
    if distance.strip():
        throw = metres_of("throw", distance, units)
    if rise.strip():
        height = metres_of("height above the eyes", rise, units)
    # together: one bounds the other
    placement = replace(placement, distance_m=throw, rise_m=height)
    return _placed(request, desk, actor, head, placement)


@router.post("/aim")
async def aim(
    request: Request, desk: DeskDep, actor: ActorDep, head: HeadDep, aim: Word
) -> Response:
    """Aimed at the mark or at a point."""
    return _placed(request, desk, actor, head, replace(head.placement, aim=aim))


@router.post("/focus")
async def focus(
    request: Request, desk: DeskDep, actor: ActorDep, head: HeadDep, focus: Word
) -> Response:
    """Full spot, full flood, or anything between."""
    placement = focused(head, number({"focus": focus}, "focus"))
    return _placed(request, desk, actor, head, placement)


@router.post("/scrim")
async def scrim(
    request: Request, desk: DeskDep, actor: ActorDep, head: HeadDep, which: Word, way: Word
) -> Response:
    """A single or double in or out."""
    return _placed(request, desk, actor, head, scrimmed(head, which, way))


@router.post("/put-back")
async def back(request: Request, desk: DeskDep, actor: ActorDep, head: HeadDep) -> Response:
    """Where it was before the last move."""
    put_back(desk, actor, head.name)
    return _shown(request, head.name)


def _placed(request: Request, desk: Desk, actor: str, head: Head, placement: Placement) -> Response:
    place(desk, actor, head.name, placement)
    return _shown(request, head.name)


def _shown(request: Request, name: str) -> Response:
    """An open page hears of it by its stream; without scripts it is shown anew."""
    if is_htmx(request):
        return Response(status_code=204)
    return RedirectResponse(_address(name), 303)


def _address(name: str) -> str:
    return f"/rig/plan/{quote(name, safe='')}"
