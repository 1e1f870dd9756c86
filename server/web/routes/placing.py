"""Placing one head: dragged on the plan, by big keys, or by what the tape measure says."""

from dataclasses import replace
from typing import Annotated
from urllib.parse import quote

from fastapi import APIRouter, Form, Request, Response
from fastapi.responses import RedirectResponse

from server.errors import OutOfRange
from server.studio.head import Head, Placement
from server.studio.placing import FOCUS_STEP, SCRIMS, dragged, focused, scrimmed, stepped, zooms
from server.studio.tape import metres_of
from server.web.desk import ActorDep, Desk, DeskDep
from server.web.forms import number
from server.web.placing import place, placing_view, put_back, step_rows
from server.web.templating import html, is_htmx
from server.web.views import strip_view

router = APIRouter(prefix="/rig/plan/{name}", include_in_schema=False)
Word = Annotated[str, Form(max_length=60)]


@router.get("")
async def placing_page(desk: DeskDep, name: str) -> Response:
    """Everything about where one head stands."""
    now = desk.engine.now()
    head = now.rig.head(name)
    return html(
        "pages/placing.html", view=f"placing:{name}", oob=False, notice="", strip=strip_view(now),
        placing=placing_view(desk, now, name), here=f"/rig/plan/{quote(name, safe='')}",
        rows=step_rows(now.rig.room.units), can_focus=zooms(head), focus_step=FOCUS_STEP,
        aims=["mark", *(p.name for p in now.rig.points)], scrims=list(SCRIMS),
        heads=[h.name for h in now.rig.heads], units=now.rig.room.units, back="/rig",
    )  # fmt: skip


@router.post("/step")
async def step(
    request: Request, desk: DeskDep, actor: ActorDep, name: str, what: Word, by: Word
) -> Response:
    """One key: so many degrees, metres, or so much of the way to flood."""
    head = _head(desk, name)
    placement = stepped(head, what, number({"by": by}, "by"))
    return _placed(request, desk, actor, name, placement)


@router.post("/drag")
async def drag(
    request: Request, desk: DeskDep, actor: ActorDep, name: str, view: Word, x: Word, y: Word
) -> Response:
    """Let go at a place of the plan, in centimetres of the drawing."""
    head, units = _head(desk, name), desk.engine.now().rig.room.units
    at = {"x": x, "y": y}
    placement = dragged(head.placement, view, number(at, "x"), number(at, "y"), units)
    return _placed(request, desk, actor, name, placement)


@router.post("/typed")
async def typed(
    request: Request, desk: DeskDep, actor: ActorDep, name: str, azimuth_deg: Word = "",
    distance: Word = "", rise: Word = "",
) -> Response:  # fmt: skip
    """What the tape measure says; a field left empty stays as it is."""
    placement, units = _head(desk, name).placement, desk.engine.now().rig.room.units
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
    placement = replace(
        placement, distance_m=throw, rise_m=height
    )  # together: one bounds the other
    return _placed(request, desk, actor, name, placement)


@router.post("/aim")
async def aim(request: Request, desk: DeskDep, actor: ActorDep, name: str, aim: Word) -> Response:
    """Aimed at the mark or at a point."""
    placement = replace(_head(desk, name).placement, aim=aim)
    return _placed(request, desk, actor, name, placement)


@router.post("/focus")
async def focus(
    request: Request, desk: DeskDep, actor: ActorDep, name: str, focus: Word
) -> Response:
    """Full spot, full flood, or anything between."""
    placement = focused(_head(desk, name), number({"focus": focus}, "focus"))
    return _placed(request, desk, actor, name, placement)


@router.post("/scrim")
async def scrim(
    request: Request, desk: DeskDep, actor: ActorDep, name: str, which: Word, way: Word
) -> Response:
    """A single or double in or out."""
    return _placed(request, desk, actor, name, scrimmed(_head(desk, name), which, way))


@router.post("/put-back")
async def back(request: Request, desk: DeskDep, actor: ActorDep, name: str) -> Response:
    """Where it was before the last move."""
    put_back(desk, actor, name)
    return _shown(request, name)


def _head(desk: Desk, name: str) -> Head:
    return desk.engine.now().rig.head(name)


def _placed(request: Request, desk: Desk, actor: str, name: str, placement: Placement) -> Response:
    place(desk, actor, name, placement)
    return _shown(request, name)


def _shown(request: Request, name: str) -> Response:
    """An open page hears of it by its stream; without scripts it is shown anew."""
    if is_htmx(request):
        return Response(status_code=204)
    return RedirectResponse(f"/rig/plan/{quote(name, safe='')}", 303)
