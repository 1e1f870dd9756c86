"""Meter a room in: one head after another is lit alone, and what the meter shows is typed in."""

from dataclasses import replace
from datetime import UTC, datetime
from typing import Annotated

from fastapi import APIRouter, Form, Query, Request, Response
from fastapi.responses import RedirectResponse

from server.errors import Refused
from server.live.now import Now
from server.studio.metering import Step
from server.studio.readings import Reading
from server.web.asked import TO_METER, Asking, AskingDep, asked_text, meter_url
from server.web.desk import ActorDep, Desk, DeskDep
from server.web.meter_kept import Kept, KeptDep, keep
from server.web.meter_words import far_words, typed_words
from server.web.metering import meter_view
from server.web.routes.rig import OF_ROOM
from server.web.shown import Shown, ShownDep
from server.web.taking import (
    forget_reading,
    keep_reading,
    light_alone,
    light_before,
    numbered,
    point_of,
    reading_now,
)
from server.web.templating import html, is_htmx, went
from server.web.views import strip_view
from server.web.which_reading import is_same_tap, number_told

router = APIRouter(include_in_schema=False)
Word = Annotated[str, Form(max_length=60)]


@router.get("/meter")
async def meter_page(
    desk: DeskDep, kept: KeptDep,
    ask: Annotated[str, Query(max_length=600)] = "",
    typed: Annotated[str, Query(max_length=20)] = "",
    tenths: Annotated[str, Query(max_length=1)] = "",
    dark: bool = False,
    came: Annotated[str, Query(max_length=40)] = "",
    asked: Annotated[str, Query(max_length=4000)] = "",
    since: Annotated[str, Query(max_length=60)] = "",
    to: Annotated[str, Query(max_length=4000)] = "",
) -> Response:  # fmt: skip
    """The next reading; the meter stays set as it is until it is set otherwise."""
    now = desk.engine.now()
    asking, kept = Asking(asked, since, to), kept.in_room(now.record.room_id)
    came_count = len(desk.incoming.readings_of(came))
    return html(
        "pages/meter.html", view="strip", oob=False, notice="", strip=strip_view(now),
        meter=meter_view(now, asking.moment(kept), asking.pairs, kept), asking=asking,
        kind=kept.kind, iso=kept.iso, shutter=kept.shutter, typed=typed, tenths=tenths, dark=dark,
        ask=ask, keeps=typed_words(kept, typed, tenths, dark), back="/meter",
        came=came if came_count else "", came_count=came_count,
    )  # fmt: skip


@router.post("/meter/way", dependencies=OF_ROOM)
async def set_meter(request: Request, desk: DeskDep, shown: ShownDep, kept: KeptDep,
                    asking: AskingDep) -> Response:  # fmt: skip
    """The meter shows another unit, or is set to another ISO or shutter: what is expected of it is
    told so from now on."""
    now = desk.engine.now()
    kept = shown.kept(kept.in_room(now.record.room_id))
    if not is_htmx(request):
        return keep(went(request, meter_url(asking.fields)), kept)
    view = meter_view(now, asking.moment(kept), asking.pairs, kept)
    return keep(html("parts/meter_expected.html", meter=view, oob=True), kept)


@router.post("/meter/light", dependencies=OF_ROOM)
async def light_head(
    request: Request, desk: DeskDep, actor: ActorDep, asking: AskingDep, head: Word = "",
    back: Word = "/meter",
) -> Response:  # fmt: skip
    """Light one head alone, gently; an empty name takes all down for the room's own light."""
    light_alone(desk, head, actor)
    if back == "/photographs":
        return RedirectResponse(back, 303)
    return went(request, meter_url(asking.fields))


@router.post("/meter/reading", dependencies=OF_ROOM)
async def take_reading(
    request: Request, desk: DeskDep, actor: ActorDep, shown: ShownDep, kept: KeptDep,
    asking: AskingDep, point: Word, head: Word = "", shaded: Annotated[bool, Form()] = False,
    sure: Annotated[bool, Form()] = False,
) -> Response:  # fmt: skip
    """Take what the meter shows, and light the next head; after the last of those that were asked
    for, the light before comes back."""
    now = desk.engine.now()
    lux = shown.lux(now.rig.meter, point_of(now.rig, point).receptor)
    kept = shown.kept(kept.in_room(now.record.room_id))
    reading = reading_now(now, point, head, lux, shaded)
    step = next((s for s in asking.steps(now, kept) if s.pair == reading.pair), None)
    question = _question(now, shown, reading, step) if step and not sure else ""
    if question:
        typed = {"ask": question, "typed": shown.value, "tenths": shown.tenths}
        if shown.dark:
            typed = {"ask": question, "dark": "true"}
        return keep(went(request, meter_url({**asking.fields, **typed})), kept)
    if not is_same_tap(now.rig_now, reading):
        keep_reading(desk, reading, actor)
    return keep(went(request, _go_on(desk, actor, kept, asking)), kept)


def _question(now: Now, shown: Shown, reading: Reading, step: Step) -> str:
    """What is asked before a reading is kept; empty when nothing is."""
    expected = step.expected_lux
    unit = shown.unit_that_fits(now.rig.meter, reading.receptor, expected)
    return far_words(reading, expected, "" if shown.dark else unit, step.most_lux)


def _go_on(desk: Desk, actor: str, kept: Kept, asking: Asking) -> str:
    """Light the head that is read next, or bring back the light before the readings that were
    asked for; answers where it goes on."""
    following = asking.next(desk.engine.now(), kept)
    if following is not None:
        light_alone(desk, following.head, actor)
    elif asking.asked:
        desk.engine.make(light_before, actor)
        return asking.after
    return meter_url(asking.fields)


@router.post("/meter/skip", dependencies=OF_ROOM)
async def skip(
    request: Request, desk: DeskDep, actor: ActorDep, kept: KeptDep, asking: AskingDep, point: Word,
    head: Word = "", shaded: Annotated[bool, Form()] = False,
) -> Response:  # fmt: skip
    """Put a reading off: it comes back after all others that are left."""
    now = desk.engine.now()
    kept = kept.in_room(now.record.room_id).without((point, head, shaded))
    left = [s for s in asking.steps(now, kept) if s.done is None]
    if len(left) == 1 and left[0].pair == (point, head, shaded):
        raise Refused("this is the last that is left: take it, or go back to the light before")
    return keep(went(request, _go_on(desk, actor, kept, asking)), kept)


@router.post("/meter/new", dependencies=OF_ROOM)
async def new_pass(request: Request, desk: DeskDep, kept: KeptDep) -> Response:
    """Begin a new pass: everything is asked for once more, what was read before stays."""
    room = desk.engine.now().record.room_id
    kept = replace(kept, room=room, since=datetime.now(UTC).isoformat(), skipped=())
    return keep(went(request, TO_METER), kept)


@router.post("/meter/again", dependencies=OF_ROOM)
async def read_again(request: Request, desk: DeskDep, actor: ActorDep, number: Word) -> Response:
    """Take one reading once more; its repeats are then told with how far they lie apart."""
    rig = desk.engine.now().rig
    pair = numbered(rig, number_told(rig, number)).pair
    light_alone(desk, pair[1], actor)
    since = datetime.now(UTC).isoformat()
    return went(request, meter_url(Asking(asked_text([pair]), since, TO_METER).fields))


@router.post("/meter/wrong", dependencies=OF_ROOM)
async def last_wrong(
    request: Request, desk: DeskDep, actor: ActorDep, kept: KeptDep, asking: AskingDep, at: Word
) -> Response:
    """Take the last reading back and ask for it again, its head faded in alone; `at` tells which
    it was, so that two quick taps take back one."""
    rig = desk.engine.now().rig_now
    newest = max(rig.readings, key=lambda r: r.at, default=None)
    if newest is None or newest.at.isoformat() != at:
        raise Refused("that reading was taken back already, or another one was taken since")
    forget_reading(desk, rig.readings.index(newest) + 1, actor)
    following = asking.next(desk.engine.now(), kept)
    if following is not None:
        light_alone(desk, following.head, actor)
    return went(request, meter_url(asking.fields))


@router.post("/meter/forget", dependencies=OF_ROOM)
async def forget(request: Request, desk: DeskDep, actor: ActorDep, number: Word) -> Response:
    """Take a reading back, once however often it is tapped."""
    forget_reading(desk, number_told(desk.engine.now().rig_now, number), actor)
    return RedirectResponse("/meter", 303)


@router.post("/meter/receptor", dependencies=OF_ROOM)
async def set_receptor(desk: DeskDep, actor: ActorDep, receptor: Word) -> Response:
    """Flat or dome, the same for every point: a pass never mixes them."""
    rig = desk.engine.now().rig_now
    points = tuple(replace(p, receptor=receptor) for p in rig.points)
    desk.engine.replace_rig(replace(rig, points=points), actor, f"meter with the {receptor}")
    return RedirectResponse("/meter", 303)


@router.post("/meter/end", dependencies=OF_ROOM)
async def end(
    request: Request, desk: DeskDep, actor: ActorDep, back: Annotated[str, Form()] = ""
) -> Response:
    """Back to the light before the pass."""
    desk.engine.make(light_before, actor)
    return went(request, "/photographs" if back == "/photographs" else "/board")
