"""Curve in: one head alone down the fader, read with the meter, stored as its measured curve."""

from dataclasses import replace
from typing import Annotated
from urllib.parse import quote, urlencode

from fastapi import APIRouter, Form, Query, Request, Response

from server.errors import OutOfRange, Refused
from server.studio.curve_in import (
    LevelReading,
    curved,
    measured_points,
    on_curve,
    percent,
    with_curve_before,
)
from server.studio.head import Head
from server.studio.metering import is_alone
from server.studio.rig import Rig
from server.studio.setting import exact_stops
from server.web.curve_pass import Pass, head_of_pass, is_lit
from server.web.curves import past_view
from server.web.curving import curve_view, expected_lux, question, room_light
from server.web.desk import ActorDep, Desk, DeskDep
from server.web.forms import number
from server.web.meter_kept import KeptDep, keep
from server.web.meter_words import typed_words
from server.web.metering import METERING
from server.web.routes.rig import page_of, same_room
from server.web.shown import ShownDep
from server.web.taking import light_before, put_alone
from server.web.templating import html, went
from server.web.views import strip_view

router = APIRouter(include_in_schema=False)
Passing = Annotated[str, Form(max_length=4000)]
Word = Annotated[str, Form(max_length=60)]


@router.get("/rig/heads/{name}/curve")
async def curve_page(
    request: Request, desk: DeskDep, name: str, kept: KeptDep,
    ask: Annotated[str, Query(max_length=600)] = "",
    typed: Annotated[str, Query(max_length=20)] = "",
    tenths: Annotated[str, Query(max_length=1)] = "",
) -> Response:  # fmt: skip
    """The next reading, those taken, and from five on what they come to."""
    now = desk.engine.now()
    passing = Pass.of(request.url.query)
    view = curve_view(now, head_of_pass(now, name, passing), passing)
    return html(
        "pages/curve.html", view="strip", oob=False, notice="", strip=strip_view(now), curve=view,
        kind=kept.kind, iso=kept.iso, shutter=kept.shutter, ask=ask, typed=typed, tenths=tenths,
        dark=False, keeps=typed_words(kept, typed, tenths, False), back="/rig",
    )  # fmt: skip


@router.post("/rig/heads/{name}/curve/start")
async def start(
    request: Request, desk: DeskDep, actor: ActorDep, name: str, point: Word
) -> Response:
    """Where the meter stays; the room's own light is asked for unless it was read there."""
    now = desk.engine.now()
    head = now.rig.head(name)
    passing = Pass(point=point, room_lux=room_light(now, point), room_id=str(now.record.room_id))
    curve_view(now, head, passing)
    return _on(request, desk, actor, head, passing)


@router.post("/rig/heads/{name}/curve/light")
async def light(
    request: Request,
    desk: DeskDep,
    actor: ActorDep,
    name: str,
    passing: Passing = "",
    level: Word = "",
) -> Response:
    """Light the head alone at a level, gently; no level takes all down for the room's light."""
    there = Pass.of(passing)
    head = head_of_pass(desk.engine.now(), name, there)
    if level:
        share = number({"level": level.replace("%", "")}, "level") / 100
        LevelReading(share, 0.0)
        there = replace(there, level=share)
    return _on(request, desk, actor, head, there)


def _on(request: Request, desk: Desk, actor: str, head: Head, passing: Pass) -> Response:
    """Light what is to be read next, and show it."""
    now = desk.engine.now()
    level = passing.next_level
    if passing.room_lux is None:
        put_alone(desk, actor, "", "the room's own light")
    elif level is not None and not is_lit(now, head, level):
        stops = exact_stops(head.dimmer.output(level))
        put_alone(desk, actor, head.name, f"{head.name} alone at {percent(level)}", stops)
    return went(request, f"{_page(head)}?{passing.query}")


def _page(head: Head) -> str:
    return f"/rig/heads/{quote(head.name, safe='')}/curve"


@router.post("/rig/heads/{name}/curve/reading")
async def take_reading(
    request: Request, desk: DeskDep, actor: ActorDep, name: str, shown: ShownDep, kept: KeptDep,
    passing: Passing = "", sure: Annotated[bool, Form()] = False,
) -> Response:  # fmt: skip
    """Take what the meter shows at the level that is lit, and go on to the next."""
    now = desk.engine.now()
    there = Pass.of(passing)
    head = head_of_pass(now, name, there)
    view = curve_view(now, head, there)
    receptor = next(p.receptor for p in now.rig.points if p.name == view.point)
    lux = shown.lux(now.rig.meter, receptor)
    level, kept = there.next_level, shown.kept(kept)
    if there.room_lux is None:
        if not is_alone(now.rig, now.record.history.now.setting, ""):
            raise Refused("all heads must be dark to read the room's own light")
        return keep(_on(request, desk, actor, head, replace(there, room_lux=lux)), kept)
    if level is None or not is_lit(now, head, level):
        raise Refused(f"{head.name} must be lit alone at its level for the reading: light it first")
    unit = shown.unit_that_fits(now.rig.meter, receptor, expected_lux(now, head, there, level))
    asked = question(now, head, there, level, lux, unit)
    if asked and not sure:
        more = urlencode({"ask": asked, "typed": shown.value[:20], "tenths": shown.tenths})
        return keep(went(request, f"{_page(head)}?{there.query}&{more}"), kept)
    return keep(_on(request, desk, actor, head, there.with_reading(level, lux)), kept)


@router.post("/rig/heads/{name}/curve/store")
async def store(
    request: Request, desk: DeskDep, actor: ActorDep, name: str, passing: Passing = ""
) -> Response:
    """Put the measured curve in place of the present one; every head keeps its light."""
    there = Pass.of(passing)
    now = desk.engine.now()
    rig, head = now.rig_now, head_of_pass(now, name, there)
    if there.room_lux is None:
        raise OutOfRange("room: the room's own light must be read first")
    after = curved(head, measured_points(there.readings, there.room_lux), there.steady_from)
    text = f"{head.name}: curve measured by {len(there.readings)} readings"
    desk.engine.replace_rig(_with(rig, head, after), actor, text)
    _end(desk, actor)
    return went(request, f"/rig/heads/{quote(name, safe='')}")


@router.post("/rig/heads/{name}/curve/before")
async def put_back(
    request: Request, desk: DeskDep, actor: ActorDep, name: str, seen: Word = "",
    room_id: Word = "",
) -> Response:  # fmt: skip
    """The curve before in place of the present one; every head keeps its light."""
    rig = same_room(desk, room_id)
    head = rig.head(name)
    after, shown = with_curve_before(head), past_view(head)
    if shown and seen != shown.seen:  # a second tap would take it forward again
        raise Refused(f"the curve of {name} has changed since: look at the head's page again")
    text = f"{name}: back to the curve before"
    desk.engine.replace_rig(_with(rig, head, after), actor, text)
    return went(request, page_of(name))


@router.post("/rig/heads/{name}/curve/end")
async def end(request: Request, desk: DeskDep, actor: ActorDep, name: str) -> Response:
    """Leave the curve as it is; the light before the pass comes back."""
    head = desk.engine.now().rig.head(name)
    _end(desk, actor)
    return went(request, f"/rig/heads/{quote(head.name, safe='')}")


def _end(desk: Desk, actor: str) -> None:
    now = desk.engine.now()
    if now.record.history.now.text.startswith(METERING):
        desk.engine.make(light_before, actor)


def _with(rig: Rig, before: Head, after: Head) -> Rig:
    heads = tuple(after if h is before else h for h in rig.heads)
    return replace(rig, heads=heads, readings=on_curve(rig.readings, before, after))
