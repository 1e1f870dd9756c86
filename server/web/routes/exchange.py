"""Files out and in: look book, tables, cue lists. What comes in is seen before it is stored."""

import json
from asyncio import to_thread
from dataclasses import replace
from typing import Annotated, Literal

from fastapi import APIRouter, File, Form, Request, Response, UploadFile
from sqlmodel import Session

from server.errors import OutOfRange
from server.store import look_files
from server.store import looks as store
from server.studio.exchange.book import book_document
from server.studio.exchange.cues import cue_list_text, dimmer_of
from server.studio.exchange.looks_table import looks_table
from server.studio.exchange.readings_table import readings_table
from server.web.book_plan import book_plan
from server.web.cues_plan import cues_plan
from server.web.desk import ActorDep, Desk, DeskDep, SessionDep
from server.web.incoming import Arrived, Plan
from server.web.readings_plan import readings_plan
from server.web.templating import html, went
from server.web.views import strip_view

router = APIRouter(include_in_schema=False)
KINDS = {"look-book": "look book", "cues": "cue list", "readings": "table of readings"}
OF_LOOKS = ("look-book", "cues")
OF_READINGS = ("readings",)
SHOWN_AT_MOST = 200
CSV = "text/csv; charset=utf-8; header=present"
Document = Annotated[UploadFile, File()]
Seen = Annotated[str, Form(max_length=40)]


def as_file(text: str, media_type: str, name: str) -> Response:
    """A text as a file to be saved."""
    return Response(
        text.encode(), media_type=media_type,
        headers={"Content-Disposition": f'attachment; filename="{name}"'},
    )  # fmt: skip


# -- out ---------------------------------------------------------------------------------------


@router.get("/library/files/look-book")
async def look_book(session: SessionDep) -> Response:
    """Every look of the open room, the oldest first, as one file."""
    document = await to_thread(lambda: book_document(store.all_looks(session)))
    looks = [json.dumps(look, ensure_ascii=False) for look in document.pop("looks")]
    head = json.dumps(document)[:-1]  # a look a line: easy to read, to search and to compare
    text = f'{head}, "looks": [\n' + ",\n".join(looks) + "\n]}\n"
    return as_file(text, "application/json", "look-book.json")


@router.get("/library/files/looks.csv")
async def looks_csv(desk: DeskDep, session: SessionDep) -> Response:
    """Every look of the open room as a table, a row for each of its heads."""
    rig = desk.engine.now().rig_now
    text = await to_thread(lambda: looks_table(store.all_looks(session), rig))
    return as_file(text, CSV, "looks.csv")


@router.get("/library/files/cues")
async def cues(
    desk: DeskDep,
    session: SessionDep,
    which: Literal["order", "all"] = "order",
    levels: Literal["exact", "percent"] = "exact",
) -> Response:
    """The running order, or all looks, as a cue list for the rig as it is patched."""
    looks = store.running_order(session) if which == "order" else store.all_looks(session)
    text = cue_list_text(looks, desk.engine.now().rig_now, in_percent=levels == "percent")
    return as_file(text, "text/plain; charset=us-ascii", "cues.asc")


@router.get("/rig/cues")
async def cues_page(desk: DeskDep) -> Response:
    """Cue lists out and in, and which channel is which head."""
    now = desk.engine.now()
    patch = [
        (channel, h.name, ", ".join(str(dimmer_of(h.universe, slot)) for slot in h.slots))
        for channel, h in enumerate(now.rig.heads, start=1)
    ]
    return html(
        "pages/cues.html", view="strip", oob=False, notice="", strip=strip_view(now),
        patch=patch, back="/rig",
    )  # fmt: skip


@router.get("/meter/files/readings.csv")
async def readings_csv(desk: DeskDep) -> Response:
    """Every reading as a table."""
    return as_file(readings_table(desk.engine.now().rig_now), CSV, "readings.csv")


# -- in ----------------------------------------------------------------------------------------


@router.post("/library/files/look-book")
async def bring_look_book(
    request: Request, desk: DeskDep, session: SessionDep, document: Document
) -> Response:
    """Read a look book; what it would add is shown next."""
    return await _bring(request, desk, session, "look-book", document)


@router.post("/library/files/cues")
async def bring_cues(
    request: Request, desk: DeskDep, session: SessionDep, document: Document
) -> Response:
    """Read a cue list; the looks it would add are shown next."""
    return await _bring(request, desk, session, "cues", document)


@router.post("/meter/files/readings")
async def bring_readings(
    request: Request, desk: DeskDep, session: SessionDep, document: Document
) -> Response:
    """Read a table of readings; what it would add is shown next."""
    return await _bring(request, desk, session, "readings", document)


async def _bring(
    request: Request, desk: Desk, session: Session, kind: str, document: UploadFile
) -> Response:
    data = await document.read()
    if not data.strip():
        raise OutOfRange("this file is empty: choose the one that was saved")
    await _plan(desk, session, Arrived(kind, data))
    return went(request, f"{_home(kind)}/files/shown/{desk.incoming.put(kind, data)}")


def _home(kind: str) -> str:
    return "/meter" if kind == "readings" else "/library"


async def _plan(desk: Desk, session: Session, file: Arrived) -> Plan:
    """In a thread: a large file must not make every page wait for its heartbeat."""
    rig = desk.engine.now().rig_now
    if file.kind == "readings":
        return await to_thread(readings_plan, file.data, rig)
    plan_of = cues_plan if file.kind == "cues" else book_plan
    return await to_thread(lambda: plan_of(file.data, rig, store.all_looks(session)))


@router.get("/library/files/shown/{token}")
async def looks_shown(
    desk: DeskDep, session: SessionDep, token: str, changed: bool = False
) -> Response:
    """What a file of looks would add and what it leaves out, before anything is stored."""
    return await _shown(desk, session, token, OF_LOOKS, changed)


@router.get("/meter/files/shown/{token}")
async def readings_shown(
    desk: DeskDep, session: SessionDep, token: str, changed: bool = False
) -> Response:
    """What a table of readings would add, before anything is stored."""
    return await _shown(desk, session, token, OF_READINGS, changed)


async def _shown(
    desk: Desk, session: Session, token: str, kinds: tuple[str, ...], changed: bool
) -> Response:
    file = desk.incoming.waiting(token, kinds)
    plan, home = await _plan(desk, session, file), _home(file.kind)
    return html(
        "pages/incoming.html", view="strip", oob=False, notice="",
        strip=strip_view(desk.engine.now()), plan=plan, most=SHOWN_AT_MOST, changed=changed,
        kind=KINDS[file.kind], action=f"{home}/files/shown/{token}", back=home,
    )  # fmt: skip


@router.post("/library/files/shown/{token}")
async def keep_looks(
    request: Request, desk: DeskDep, session: SessionDep, token: str, seen: Seen,
    order: Annotated[bool, Form()] = False,
) -> Response:  # fmt: skip
    """Store the looks that were shown, all or none; what has become otherwise is shown anew."""
    with desk.incoming.storing(token, OF_LOOKS) as file:
        room_id = desk.engine.now().record.room_id
        plan = await _plan(desk, session, file)
        if plan.seen == seen:
            looks = plan.looks if order else [replace(look, place=None) for look in plan.looks]
            ids = await to_thread(look_files.add_looks, session, looks, room_id)
            desk.incoming.stored(token, tuple(ids))
            return went(request, f"/library?came={token}")
        desk.incoming.again(token, file)
    return went(request, f"/library/files/shown/{token}?changed=true")


@router.post("/meter/files/shown/{token}")
async def keep_readings(
    request: Request, desk: DeskDep, session: SessionDep, actor: ActorDep, token: str, seen: Seen
) -> Response:
    """Store the readings that were shown, all or none; what has become otherwise is shown anew."""
    with desk.incoming.storing(token, OF_READINGS) as file:
        before = desk.engine.now().rig_now
        plan = await _plan(desk, session, file)
        rig = desk.engine.now().rig_now
        if plan.seen == seen and rig == before:
            whole = replace(rig, readings=(*rig.readings, *plan.readings))
            desk.engine.replace_rig(whole, actor, f"{len(plan.readings)} readings from a table")
            desk.incoming.stored(token, plan.readings)
            return went(request, f"/meter?came={token}")
        desk.incoming.again(token, file)
    return went(request, f"/meter/files/shown/{token}?changed=true")


# -- out again ---------------------------------------------------------------------------------


@router.post("/library/files/kept/{token}/out")
async def looks_out(request: Request, desk: DeskDep, session: SessionDep, token: str) -> Response:
    """Take the looks of a file out again."""
    look_files.take_out(session, desk.incoming.looks_of(token))
    desk.incoming.forget(token)
    return went(request, "/library")


@router.post("/meter/files/kept/{token}/out")
async def readings_out(request: Request, desk: DeskDep, actor: ActorDep, token: str) -> Response:
    """Take the readings of a table out again."""
    gone, rig = set(desk.incoming.readings_of(token)), desk.engine.now().rig_now
    left = tuple(r for r in rig.readings if r not in gone)
    if len(left) < len(rig.readings):
        text = f"{len(rig.readings) - len(left)} readings taken back"
        desk.engine.replace_rig(replace(rig, readings=left), actor, text)
    desk.incoming.forget(token)
    return went(request, "/meter")
