"""Metering points: list, add, change, take out; one change can be taken back."""

from hashlib import sha256
from typing import Annotated
from urllib.parse import quote

from fastapi import APIRouter, Form, Request, Response
from sqlmodel import Session

from server.errors import NotFound, Refused
from server.store.looks import all_looks
from server.studio.points import (
    FACE_REACHES_M,
    changed_point,
    point_of,
    presets,
    put_back,
    same_receptor,
    with_point,
    without_point,
)
from server.studio.room import Point
from server.web.desk import ActorDep, Desk, DeskDep, SessionDep
from server.web.metering import apart_words
from server.web.points import (
    AXES,
    FINE,
    POINTED,
    as_new,
    point_from,
    point_values,
    point_views,
    readings_words,
    told_words,
    undo_words,
)
from server.web.routes.rig import same_room
from server.web.templating import html, went
from server.web.views import strip_view
from server.web.words import point_words

router = APIRouter(prefix="/rig/points", include_in_schema=False)
HERE = "/rig/points"
RoomId = Annotated[str, Form(max_length=20)]
START = Point("point", "room", 0.0, 0.0, 0.0, 0.0, 0.0, 1.0)


@router.get("")
async def points_page(desk: DeskDep) -> Response:
    """Where light is read."""
    now = desk.engine.now()
    change = desk.points_out.last(now.record.room_id)
    return html(
        "pages/points.html", view="strip", oob=False, notice="", strip=strip_view(now),
        points=point_views(now), presets=[p.name for p in presets(now.rig)],
        told=told_words(change) if change else "", undo=undo_words(change) if change else "",
        apart=apart_words(now.rig), address=_address, room_id=now.record.room_id, back="/rig",
    )  # fmt: skip


@router.get("/new")
async def new_point(desk: DeskDep, preset: str = "") -> Response:
    """A form for a new point, from a usual one or from the mark."""
    rig = desk.engine.now().rig
    point = next((p for p in presets(rig) if p.name == preset), None)
    if preset and point is None:
        raise NotFound(f"no usual point {preset!r:.60} is left to add")
    return _form(desk, point or as_new(START, len(rig.points)), f"{HERE}/new")


@router.post("/new")
async def add_point(request: Request, desk: DeskDep, actor: ActorDep) -> Response:
    """One point more."""
    form = await request.form()
    rig = same_room(desk, form.get("room_id"))
    point = same_receptor(rig, point_from(form, None, rig.room.units))
    desk.engine.replace_rig(with_point(rig, point), actor, f"point {point_words(point.name)} added")
    return went(request, HERE)


@router.post("/undo")
async def undo(request: Request, desk: DeskDep, actor: ActorDep, room_id: RoomId = "") -> Response:
    """The last change of a point taken back, its readings with it."""
    rig, room = same_room(desk, room_id), desk.engine.now().record.room_id
    change = desk.points_out.require(room)
    desk.engine.replace_rig(put_back(rig, change), actor, undo_words(change))
    desk.points_out.keep(room, None)
    return went(request, HERE)


@router.get("/of/{name}")
async def edit_point(desk: DeskDep, name: str) -> Response:
    """A form for one point."""
    return _form(desk, point_of(desk.engine.now().rig, name), _address(name))


@router.post("/of/{name}")
async def change_point(
    request: Request, desk: DeskDep, session: SessionDep, actor: ActorDep, name: str
) -> Response:
    """Move, turn or rename a point."""
    form = await request.form()
    rig, room = same_room(desk, form.get("room_id")), desk.engine.now().record.room_id
    before = point_of(rig, name)
    if str(form.get("seen", "")) not in ("", _seen(before)):
        raise Refused(f"{name} was changed meanwhile: open it again, so that nothing is lost")
    after = same_receptor(rig, point_from(form, before, rig.room.units), before)
    if after.name != name:
        _free_of_looks(session, name, "it keeps its name")
    change = changed_point(rig, name, after)
    if change.rig != rig:
        desk.engine.replace_rig(change.rig, actor, f"point {point_words(after.name)} changed")
        desk.points_out.keep(room, change)
    return went(request, HERE)


@router.post("/of/{name}/delete")
async def delete_point(
    request: Request, desk: DeskDep, session: SessionDep, actor: ActorDep, name: str,
    room_id: RoomId = "",
) -> Response:  # fmt: skip
    """Take a point out; what was read there is kept out, and both can be brought back."""
    rig, room = same_room(desk, room_id), desk.engine.now().record.room_id
    _free_of_looks(session, name, "it stays")
    change = without_point(rig, name)
    desk.engine.replace_rig(change.rig, actor, f"point {point_words(name)} taken out")
    desk.points_out.keep(room, change)
    return went(request, HERE)


def _free_of_looks(session: Session, name: str, so: str) -> None:
    """A look that aims a head at a point would no longer know where."""
    looks = [
        look.name for look in all_looks(session)
        if any(p.aim == name for p in look.placements.values())
    ]  # fmt: skip
    if looks:
        more = f" and {len(looks) - 3} more" if len(looks) > 3 else ""
        raise Refused(f"heads are aimed at {name} in {', '.join(looks[:3])}{more}: {so}")


def _form(desk: Desk, point: Point, action: str) -> Response:
    now = desk.engine.now()
    units = now.rig.room.units
    count = sum(r.point == point.name for r in now.rig.readings)
    return html(
        "pages/point.html", view="strip", oob=False, notice="", strip=strip_view(now),
        v=point_values(point, units), action=action, is_new=action.endswith("/new"), axes=AXES,
        pointed=POINTED, unit=FINE[units][0], readings=readings_words(count),
        reaches=f"{100 * FACE_REACHES_M:.0f} cm", here=HERE, back="/rig",
        room_id=now.record.room_id, seen=_seen(point),
    )  # fmt: skip


def _seen(point: Point) -> str:
    """What a form was filled from."""
    return sha256(repr(point).encode()).hexdigest()[:12]


def _address(name: str) -> str:
    return f"{HERE}/of/{quote(name, safe='')}"
