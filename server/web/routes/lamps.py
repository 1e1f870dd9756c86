"""The lamp log: a lamp changed, the new one read, its head corrected in all looks."""

from dataclasses import replace
from datetime import UTC, datetime
from typing import Annotated

from fastapi import APIRouter, Form, Query, Request, Response
from fastapi.responses import RedirectResponse
from sqlmodel import Session

from server.live.now import Now
from server.live.owner import Move
from server.store import looks as store
from server.studio.lamps import LampChange
from server.studio.look import Look
from server.studio.metering import alone, is_alone
from server.web.desk import ActorDep, Desk, DeskDep
from server.web.forms import number
from server.web.lamps import (
    changed_at,
    proposal,
    read_lamp,
    reading_of,
    stops_text,
    taken_back,
)
from server.web.meter_kept import KeptDep
from server.web.routes.rig import counted_hours, page_of, same_room
from server.web.shown import Shown, ShownDep, Word
from server.web.templating import html, went
from server.web.views import strip_view

router = APIRouter(include_in_schema=False)
EVERY_LOOK = 100_000
Asked = Annotated[str, Query(max_length=60)]


@router.post("/rig/heads/{name}/lamp")
async def change_lamp(
    request: Request, desk: DeskDep, actor: ActorDep, name: str, day: Word, hours: Word = "",
    note: Annotated[str, Form(max_length=400)] = "", room_id: Word = "",
) -> Response:  # fmt: skip
    """Write a lamp change down; the page that reads the new one comes next."""
    rig = same_room(desk, room_id)
    known = number({"hours": hours}, "hours") if hours.strip() else 0.0
    at = changed_at(day, datetime.now(UTC))
    counted = counted_hours(desk, name)
    change = LampChange(rig.head(name).name, at, known, counted, " ".join(note.split()))
    desk.engine.replace_rig(
        replace(rig, lamps=(*rig.lamps, change)), actor, f"lamp of {name} changed"
    )
    return went(request, f"{page_of(name)}/lamp")


@router.get("/rig/heads/{name}/lamp")
async def lamp_page(
    desk: DeskDep, name: str, kept: KeptDep, point: Asked = "", value: Asked = "",
    kind: Asked = "", tenths: Asked = "", iso: Asked = "", shutter: Asked = "", below: Asked = "",
) -> Response:  # fmt: skip
    """Read the new lamp; with a value, what it comes to, before anything is changed."""
    now = desk.engine.now()
    head = now.rig.head(name)
    setting = now.record.history.now.setting
    below = below or str(setting.of(head))
    shown = Shown(value, kind or kept.kind, iso or kept.iso, shutter or kept.shutter, tenths)
    told = None
    if value.strip():
        told = proposal(head, reading_of(now, head, point, below, shown), _looks(desk))
    lit = now.matrix.at
    best = max(now.rig.points, key=lambda p: lit[p.name][head.name]).name
    return html(
        "pages/lamp.html", view="strip", oob=False, notice="", strip=strip_view(now), back="/rig",
        name=head.name, action=page_of(name), told=told, room_id=now.record.room_id,
        typed=value, kind=shown.kind, tenths=tenths, iso=shown.iso, shutter=shown.shutter,
        below=below,
        lit=is_alone(now.rig, setting, head.name),
        points=[p.name for p in now.rig.points], point=point or best,
    )  # fmt: skip


@router.post("/rig/heads/{name}/lamp/light")
async def light_alone(desk: DeskDep, actor: ActorDep, name: str, room_id: Word = "") -> Response:
    """Light the head alone, gently, two stops below full."""
    same_room(desk, room_id)

    def decide(now: Now) -> Move:
        setting = alone(now.rig, now.record.history.now.setting, now.rig.head(name).name)
        return Move(replace(setting, origin=None), "meter", f"metering: {name} alone")

    desk.engine.make(decide, actor)
    return RedirectResponse(f"{page_of(name)}/lamp", 303)


@router.post("/rig/heads/{name}/lamp/apply")
async def apply(
    request: Request, desk: DeskDep, actor: ActorDep, name: str, point: Word, below: Word,
    shown: ShownDep, room_id: Word = "",
) -> Response:  # fmt: skip
    """Correct the head in all its looks: they keep their light."""
    now = desk.engine.now()
    head = same_room(desk, room_id).head(name)
    lamp = reading_of(now, head, point, below, shown)
    rig, correction = read_lamp(now.rig_now, head, lamp, _looks(desk), datetime.now(UTC))
    text = f"{name} reads {stops_text(lamp.stops)}, corrected in all looks"
    desk.engine.relamp(rig, correction, actor, text)
    return went(request, page_of(name))


@router.post("/rig/heads/{name}/lamp/take-back")
async def take_back(
    request: Request, desk: DeskDep, actor: ActorDep, name: str,
    line: Annotated[int, Form(ge=1, le=100_000)], what: Word, room_id: Word = "",
) -> Response:  # fmt: skip
    """Take a line out of the log, or its correction out of all looks."""
    rig = same_room(desk, room_id)
    rig, correction = taken_back(rig, line, rig.head(name), what)
    if correction is None:
        desk.engine.replace_rig(rig, actor, f"a lamp change of {name} taken out of the log")
    else:
        desk.engine.relamp(rig, correction, actor, f"correction of {name} taken back")
    return went(request, page_of(name))


def _looks(desk: Desk) -> list[Look]:
    with Session(desk.database) as session:
        looks = store.find_looks(session, limit=EVERY_LOOK)
    room = desk.engine.now().record.room_id
    return [look for look in looks if look.room_id == room]
