"""Meter a room in: one head after another is lit alone, and what the meter shows is typed in."""

from dataclasses import replace
from datetime import UTC, datetime
from fractions import Fraction
from typing import Annotated
from urllib.parse import urlencode

from fastapi import APIRouter, Form, Query, Request, Response
from fastapi.responses import JSONResponse, RedirectResponse
from pydantic import BaseModel, ConfigDict, Field

from server.errors import NotFound, OutOfRange, Refused
from server.live.now import Now
from server.live.owner import Move
from server.studio.document import reading_document
from server.studio.metering import METER_STOPS, alone, is_alone
from server.studio.readings import KINDS, Reading, lux_of_meter
from server.studio.rig import Rig
from server.studio.room import Point
from server.studio.setting import kept_over, signalled_output
from server.web.asked import asked_of
from server.web.desk import ActorDep, Desk, DeskDep
from server.web.metering import METERING, far_words, meter_view, steps_of
from server.web.shown import ShownDep
from server.web.templating import html, went
from server.web.views import strip_view
from server.web.words import lux_words

router = APIRouter(include_in_schema=False)
contract = APIRouter(prefix="/api", tags=["contract"])
STEP_KIND = "meter"
FADE_S = 1.0
Word = Annotated[str, Form(max_length=60)]
Asked = Annotated[str, Form(max_length=4000)]


@router.get("/meter")
async def meter_page(
    desk: DeskDep, kind: str = "lux", iso: str = "400", shutter: str = "1/125", since: str = "",
    ask: Annotated[str, Query(max_length=600)] = "",
    typed: Annotated[str, Query(max_length=20)] = "",
    came: Annotated[str, Query(max_length=40)] = "",
    asked: Annotated[str, Query(max_length=4000)] = "",
) -> Response:  # fmt: skip
    """The next reading; what was typed last stays the way the meter is set."""
    now = desk.engine.now()
    came_count = len(desk.incoming.readings_of(came))
    return html(
        "pages/meter.html", view="strip", oob=False, notice="", strip=strip_view(now),
        meter=meter_view(now, _since(since), asked_of(asked)), asked=asked,
        kinds=KINDS, kind=kind if kind in KINDS else "lux",
        iso=iso[:10], shutter=shutter[:10], since=since[:40], ask=ask, typed=typed, back="/meter",
        came=came if came_count else "", came_count=came_count,
    )  # fmt: skip


def _since(text: str) -> datetime | None:
    if not text:
        return None
    try:
        moment = datetime.fromisoformat(text)
    except ValueError:
        raise OutOfRange(f"since must be a moment, got {text!r:.40}") from None
    return moment if moment.tzinfo else moment.replace(tzinfo=UTC)


@router.post("/meter/light")
async def light_head(
    request: Request, desk: DeskDep, actor: ActorDep, head: Word = "", back: Word = "/meter",
    since: Word = "", asked: Asked = "",
) -> Response:  # fmt: skip
    """Light one head alone, gently; an empty name takes all down for the room's own light."""
    light_alone(desk, head, actor)
    if back == "/photographs":
        return RedirectResponse(back, 303)
    return went(request, meter_url({"since": since, "asked": asked} if since or asked else {}))


def light_alone(desk: Desk, head: str, actor: str) -> None:
    """A head alone, two stops below full, or all dark: as the metering lights it."""
    now = desk.engine.now()
    if not is_alone(now.rig, now.record.history.now.setting, head):
        put_alone(desk, actor, head, f"{head} alone" if head else "the room's own light")


def put_alone(
    desk: Desk, actor: str, head: str, text: str, stops: Fraction | None = METER_STOPS
) -> None:
    """One head lit alone, or none, gently, as a step of the metering."""

    def decide(now: Now) -> Move:
        if head:
            now.rig.head(head)
        setting = now.record.history.now.setting
        there = replace(alone(now.rig, setting, head, stops), origin=None)
        return Move(there, STEP_KIND, METERING + text, FADE_S)

    desk.engine.make(decide, actor)


@router.post("/meter/reading")
async def take_reading(
    request: Request, desk: DeskDep, actor: ActorDep, shown: ShownDep, point: Word, head: Word = "",
    shaded: Annotated[bool, Form()] = False, since: Word = "",
    sure: Annotated[bool, Form()] = False, asked: Asked = "",
) -> Response:  # fmt: skip
    """Take what the meter shows, and light the next head; after the last of those that were asked
    for, the light before comes back."""
    now = desk.engine.now()
    wanted, moment = asked_of(asked), _since(since)
    lux = shown.lux(now.rig.meter, point_of(now.rig, point).receptor)
    reading = reading_now(now, point, head, lux, shaded)
    kept = {**shown.way, "since": since, **({"asked": asked} if asked else {})}
    expected = next(
        (s.expected_lux for s in steps_of(now, moment, wanted)
         if (s.point, s.head, s.shaded) == reading.pair), 0.0,
    )  # fmt: skip
    unit = shown.unit_that_fits(now.rig.meter, reading.receptor, expected)
    question = far_words(reading, expected, unit)
    if question and not sure:
        return went(request, meter_url({**kept, "ask": question, "typed": shown.value}))
    keep_reading(desk, reading, actor)
    after = desk.engine.now()
    following = next((s for s in steps_of(after, moment, wanted) if s.done is None), None)
    if following is not None:
        light_alone(desk, following.head, actor)
    elif wanted:
        desk.engine.make(light_before, actor)
        return went(request, "/meter/trust")
    return went(request, meter_url(kept))


def meter_url(fields: dict[str, str]) -> str:
    """Where the next reading is taken."""
    return f"/meter?{urlencode(fields)}" if fields else "/meter"


def point_of(rig: Rig, name: str) -> Point:
    """The point with this name."""
    for point in rig.points:
        if point.name == name:
            return point
    raise NotFound(
        f"no point is called {name!r:.60}; there are {', '.join(p.name for p in rig.points)}"
    )


def reading_now(now: Now, point: str, head: str, lux: float, shaded: bool) -> Reading:
    """A reading of what is lit now, which must be the head alone, or nothing."""
    setting = now.record.history.now.setting
    point_of(now.rig, point)
    if not is_alone(now.rig, setting, head):
        raise Refused(
            f"{head} must be lit alone for its reading: light it first" if head
            else "all heads must be dark to read the room's own light"
        )  # fmt: skip
    found = now.rig.head(head) if head else None
    return Reading(
        point=point, head=head, lux=lux,
        output=signalled_output(found, setting.output(found)) if found else 0.0,
        at=datetime.now(UTC), placement=found.placement if found else None,
        yaw_deg=setting.yaw_deg, receptor=point_of(now.rig, point).receptor, shaded=shaded,
        minutes_on=round(now.minutes_on(head), 2) if head else None,
    )  # fmt: skip


def keep_reading(desk: Desk, reading: Reading, actor: str) -> Now:
    """Store a reading with the rig."""
    rig = desk.engine.now().rig_now
    name = reading.head or "the room"
    text = f"metered {name} at {reading.point}: {lux_words(reading.lux)}"
    return desk.engine.replace_rig(replace(rig, readings=(*rig.readings, reading)), actor, text)


@router.post("/meter/forget")
async def forget(
    request: Request, desk: DeskDep, actor: ActorDep, number: Annotated[int, Form()]
) -> Response:
    """Take a reading back."""
    _forget(desk, number, actor)
    return RedirectResponse("/meter", 303)


def _forget(desk: Desk, number: int, actor: str) -> Now:
    rig = desk.engine.now().rig_now
    if not 1 <= number <= len(rig.readings):
        raise NotFound(f"there is no reading {number}; there are {len(rig.readings)}")
    left = (*rig.readings[: number - 1], *rig.readings[number:])
    return desk.engine.replace_rig(replace(rig, readings=left), actor, "a reading taken back")


@router.post("/meter/receptor")
async def set_receptor(desk: DeskDep, actor: ActorDep, receptor: Word) -> Response:
    """Flat or dome, the same for every point: a pass never mixes them."""
    rig = desk.engine.now().rig_now
    points = tuple(replace(p, receptor=receptor) for p in rig.points)
    desk.engine.replace_rig(replace(rig, points=points), actor, f"meter with the {receptor}")
    return RedirectResponse("/meter", 303)


@router.post("/meter/end")
async def end(
    request: Request, desk: DeskDep, actor: ActorDep, back: Annotated[str, Form()] = ""
) -> Response:
    """Back to the light before the pass."""
    desk.engine.make(light_before, actor)
    return went(request, "/photographs" if back == "/photographs" else "/board")


def light_before(now: Now) -> Move:
    """The step back to the light before the metering."""
    past = now.record.history.steps[: now.record.history.at + 1]
    before = next((s for s in reversed(past) if not s.text.startswith(METERING)), None)
    if before is None:
        raise Refused("there was no light before the metering")
    lens = now.record.history.now.setting.lens
    there = kept_over(now.rig, before.setting).with_lens(lens)
    return Move(there, "meter end", "back from metering")


class NewReading(BaseModel):
    """What the meter shows with one head lit alone, or with all dark for the room's own light."""

    model_config = ConfigDict(extra="forbid", allow_inf_nan=False)
    point: str = Field(max_length=60, examples=["cheek right"])
    head: str = Field("", max_length=60, examples=["Key"])
    kind: str = Field("lux", examples=["lux"])
    value: float = Field(examples=[812.0])
    iso: float = 100.0
    shutter_s: float = 1 / 125
    tenths: float = 0.0
    shaded: bool = False


@contract.get("/readings")
async def get_readings(desk: DeskDep) -> JSONResponse:
    """Every reading, numbered from 1 in the order it was taken."""
    rig = desk.engine.now().rig
    return JSONResponse(
        [{"number": n, **reading_document(r)} for n, r in enumerate(rig.readings, start=1)]
    )


@contract.post("/readings")
async def post_reading(desk: DeskDep, actor: ActorDep, wish: NewReading) -> JSONResponse:
    """Take a reading of the head that is lit alone now."""
    now = desk.engine.now()
    lux = lux_of_meter(
        wish.kind, wish.value, meter=now.rig.meter, receptor=point_of(now.rig, wish.point).receptor,
        iso=wish.iso, shutter_s=wish.shutter_s, tenths=wish.tenths,
    )  # fmt: skip
    reading = reading_now(now, wish.point, wish.head, lux, wish.shaded)
    number = len(keep_reading(desk, reading, actor).rig.readings)
    return JSONResponse({"number": number, **reading_document(reading)})


@contract.delete("/readings/{number}")
async def delete_reading(desk: DeskDep, actor: ActorDep, number: int) -> JSONResponse:
    """Take a reading back; those after it count one less."""
    return JSONResponse({"readings": len(_forget(desk, number, actor).rig.readings)})
