"""Warm-up of one head: its minutes on, its own drift record, and one more reading for it."""

from dataclasses import dataclass
from typing import Annotated
from urllib.parse import quote, urlencode

from fastapi import APIRouter, Form, Query, Request, Response

from server.live.now import Now
from server.studio.head import Head
from server.studio.metering import is_alone
from server.web.desk import ActorDep, DeskDep
from server.web.meter_kept import KeptDep, keep
from server.web.shown import ShownDep
from server.web.taking import keep_reading, light_alone, light_before, point_of, reading_now
from server.web.templating import html, went
from server.web.views import strip_view
from server.web.warming import drift_of, head_words, ratio_to_come
from server.web.words import point_words

router = APIRouter(include_in_schema=False)
Word = Annotated[str, Form(max_length=60)]
READ_AT_MIN = (1, 3, 6, 10, 15, 20, 30)


@dataclass(frozen=True)
class WarmView:
    """The page."""

    head: str
    told: str
    lines: tuple[tuple[str, str], ...]
    steady: str
    points: tuple[tuple[str, str], ...]
    point: str
    at: str
    lit: bool
    when: str
    tungsten: bool
    ratio: str


@router.get("/rig/heads/{name}/warm-up")
async def warm_page(
    desk: DeskDep, name: str, kept: KeptDep, point: Annotated[str, Query(max_length=60)] = ""
) -> Response:  # fmt: skip
    """The record of one head, and its next reading."""
    now = desk.engine.now()
    return html(
        "pages/warm_up.html", view="strip", oob=False, notice="", strip=strip_view(now),
        warm=_view(now, now.rig.head(name), point), typed="", tenths="", back="/rig",
        kind=kept.kind, iso=kept.iso, shutter=kept.shutter,
    )  # fmt: skip


def _view(now: Now, head: Head, point: str) -> WarmView:
    drift = drift_of(now, head.name)
    names = tuple(p.name for p in now.rig.points)
    last = [r.point for r in now.rig.readings if r.head == head.name and r.point in names]
    best = max(names, key=lambda p: now.matrix.at[p][head.name])
    minutes = now.minutes_on(head.name)
    ahead = next((m for m in READ_AT_MIN if m > minutes), None)
    ratio = ratio_to_come(now)
    measured = len(drift.points) > 1
    there = point if point in names else (last[-1] if last else best)
    return WarmView(
        head=head.name,
        told=head_words(now, head) or "dark and cold",
        lines=tuple((f"{m:.0f} min", _stops(s)) for m, s in drift.points) if measured else (),
        steady=f"Steady after about {drift.steady_at:.0f} minutes." if measured else "",
        points=tuple((name, point_words(name)) for name in names),
        point=there,
        at=point_words(there),
        lit=is_alone(now.rig, now.record.history.now.setting, head.name),
        when=f"Best read at about {ahead} min on." if ahead else "",
        tungsten=head.lamp == "tungsten",
        ratio=f"The ratio would drift from {ratio.now} to {ratio.then} meanwhile." if ratio else "",
    )


def _stops(stops: float) -> str:
    return f"{stops:+.2f} stop".replace("-", "−") if abs(stops) >= 0.005 else "0"


@router.post("/rig/heads/{name}/warm-up/light")
async def light(
    request: Request, desk: DeskDep, actor: ActorDep, name: str, point: Word = ""
) -> Response:
    """Light the head alone, two stops below full, and leave it so."""
    light_alone(desk, desk.engine.now().rig.head(name).name, actor)
    return _page(request, name, {"point": point})


@router.post("/rig/heads/{name}/warm-up/reading")
async def take_reading(
    request: Request, desk: DeskDep, actor: ActorDep, name: str, point: Word, shown: ShownDep,
    kept: KeptDep,
) -> Response:  # fmt: skip
    """One reading more for the record; it also anchors the head's figures, as any reading does."""
    now = desk.engine.now()
    head = now.rig.head(name)
    lux = shown.lux(now.rig.meter, point_of(now.rig, point).receptor)
    kept = shown.kept(kept)
    keep_reading(desk, reading_now(now, point, head.name, lux, False), actor)
    return keep(_page(request, name, {"point": point}), kept)


@router.post("/rig/heads/{name}/warm-up/end")
async def end(request: Request, desk: DeskDep, actor: ActorDep, name: str) -> Response:
    """Back to the light before."""
    head = desk.engine.now().rig.head(name)
    desk.engine.make(light_before, actor)
    return _page(request, head.name, {})


def _page(request: Request, name: str, fields: dict[str, str]) -> Response:
    more = f"?{urlencode(fields)}" if fields else ""
    return went(request, f"/rig/heads/{quote(name, safe='')}/warm-up{more}")
