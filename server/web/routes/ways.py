"""Ways to get there: ranked, taken with one tap, or noted for hands and ticked when done."""

from typing import Annotated, Any
from urllib.parse import quote

from fastapi import APIRouter, Form, Query, Request, Response
from fastapi.responses import JSONResponse
from pydantic import BaseModel, Field
from sqlmodel import Session

from server.errors import NotFound, Refused
from server.live.now import Now
from server.live.owner import Move
from server.store import notes as store
from server.store.devices import Device
from server.studio.note import Note, brought, note_of, placed
from server.studio.room import WAYS
from server.studio.way import Way
from server.studio.ways import ways, ways_out_of_banding
from server.web.desk import ActorDep, Desk, DeskDep, DeviceDep, SessionDep
from server.web.state import state_answer
from server.web.templating import html, went
from server.web.views import strip_view
from server.web.ways import SHOWN, THIRDS, heads_to_choose, notes_json, way_json, way_view

router = APIRouter(include_in_schema=False)
contract = APIRouter(prefix="/api", tags=["contract"])
STEADY = "steady"
"""In place of thirds: the ways that bring a head out of where it bands."""


@router.get("/board/ways")
async def ways_page(
    desk: DeskDep,
    session: SessionDep,
    head: Annotated[str, Query(max_length=100)] = "",
    thirds: Annotated[int, Query(ge=-9, le=9)] = 1,
) -> Response:
    """The ways for a head and a wish, and the notes that wait for hands."""
    now = desk.engine.now()
    names = heads_to_choose(now)
    chosen = head if head in names else (names[0] if names else "")
    bands = bool(chosen) and now.setting.output(now.rig.head(chosen)) < (
        now.rig.head(chosen).bands_below
    )
    thirds = thirds if thirds or bands else 1
    found = _ways(now, chosen, thirds) if chosen else ()
    return html(
        "pages/ways.html", view="strip", oob=False, notice="", strip=strip_view(now),
        heads=names, chosen=chosen, thirds=thirds, wishes=THIRDS, bands=bands,
        ways=[way_view(w, now.rig.sitter.colour) for w in found[:SHOWN]],
        notes=store.open_notes(session), back="/board/ways",
    )  # fmt: skip


def _ways(now: Now, head: str, thirds: int) -> tuple[Way, ...]:
    """Ways as the pages ask for them; no thirds stand for steady light."""
    found = now.rig.head(head)
    setting = now.record.history.now.setting
    if thirds == 0:
        return ways_out_of_banding(now.rig, setting, found)
    return ways(now.rig, setting, found, thirds)


@router.post("/live/way")
async def take(
    request: Request,
    desk: DeskDep,
    session: SessionDep,
    actor: ActorDep,
    head: Annotated[str, Form(max_length=100)],
    thirds: Annotated[int, Form(ge=-9, le=9)],
    kind: Annotated[str, Form(max_length=20)],
) -> Response:
    """Take a way that needs no hands, or note one that does."""
    _, note = _take(desk, session, head, thirds, kind, actor)
    return went(
        request, f"/board/ways?head={quote(head, safe='')}&thirds={thirds}" if note else "/board"
    )


def _take(
    desk: Desk, session: Session, head: str, thirds: int, kind: str, actor: str
) -> tuple[Now, Note | None]:
    if kind not in WAYS:
        raise NotFound(f"kind must be one of {', '.join(WAYS)}, got {kind!r:.20}")
    way = _way(desk.engine.now(), head, thirds, kind)
    if way.hands:
        setting = desk.engine.now().record.history.now.setting
        return desk.engine.now(), store.add_note(session, note_of(way, head, setting, actor))

    def decide(now: Now) -> Move:
        taken = _way(now, head, thirds, kind)
        return Move(taken.setting, "way", taken.text, desk.engine.nudge_seconds())

    return desk.engine.make(decide, actor), None


def _way(now: Now, head: str, thirds: int, kind: str) -> Way:
    way = next((w for w in _ways(now, head, thirds) if w.kind == kind), None)
    if way is None:
        raise NotFound(f"{kind} is no way there any more: the light has changed meanwhile")
    return way


@router.post("/notes/{note_id}/done")
async def done(
    request: Request, desk: DeskDep, session: SessionDep, actor: ActorDep, device: DeviceDep,
    note_id: int,
) -> Response:  # fmt: skip
    """Hands have been at the stand: the placement is as the note says."""
    _done(desk, session, note_id, actor, device)
    return went(request, "/board/ways")


def _done(desk: Desk, session: Session, note_id: int, actor: str, device: Device) -> Now:
    note = store.get_note(session, note_id)
    if note.up and (device.role != "operate" or desk.floor.must_ask(device)):
        raise Refused("this note moves a dimmer too: one who operates ticks it")
    now = desk.engine.replace_rig(
        placed(desk.engine.now().rig_now, note), actor, f"done: {note.text}"
    )
    there = brought(now.rig, now.record.history.now.setting, note)
    if there is not None:
        move = Move(there, "way", note.text, desk.engine.nudge_seconds())
        now = desk.engine.make(lambda _: move, actor)
    store.close_note(session, note_id)
    return now


@router.post("/notes/{note_id}/drop")
async def drop(request: Request, session: SessionDep, note_id: int) -> Response:
    """No longer wanted."""
    store.close_note(session, note_id)
    return went(request, "/board/ways")


class WayWish(BaseModel):
    """Which way to take. Thirds 0: out of banding."""

    head: str = Field(max_length=100, examples=["Key"])
    thirds: int = Field(ge=-9, le=9, examples=[1])
    kind: str = Field(max_length=20, examples=["lens"])


@contract.get("/ways")
async def get_ways(
    desk: DeskDep,
    head: Annotated[str, Query(max_length=100, examples=["Key"])],
    thirds: Annotated[int, Query(ge=-9, le=9, examples=[1])],
) -> JSONResponse:
    """Equal-light moves for one head and a wish in thirds, the cheapest first."""
    now = desk.engine.now()
    found = ways(now.rig, now.setting, now.rig.head(head), thirds)
    return JSONResponse({"head": head, "thirds": thirds, "ways": [way_json(w) for w in found]})


@contract.post("/ways")
async def post_way(desk: DeskDep, session: SessionDep, actor: ActorDep, wish: WayWish) -> Response:
    """Take a way that needs no hands (one undo), or note one that does."""
    now, note = _take(desk, session, wish.head, wish.thirds, wish.kind, actor)
    more: dict[str, Any] = {"note": notes_json([note])[0]} if note else {}
    return state_answer(now, **more)


@contract.get("/notes")
async def get_notes(session: SessionDep) -> JSONResponse:
    """What waits for hands."""
    return JSONResponse({"notes": notes_json(store.open_notes(session))})


@contract.post("/notes/{note_id}/done")
async def post_done(
    desk: DeskDep, session: SessionDep, actor: ActorDep, device: DeviceDep, note_id: int
) -> Response:
    """Tick a note: its placement is real now."""
    return state_answer(_done(desk, session, note_id, actor, device))
