"""Looks as files: the look book goes out and comes in; nothing is stored before it was seen."""

import json
from dataclasses import replace
from typing import Annotated

from fastapi import APIRouter, File, Form, Request, Response, UploadFile
from sqlmodel import Session

from server.errors import OutOfRange
from server.store import looks as store
from server.studio.exchange.book import book_document
from server.web.book_plan import book_plan
from server.web.desk import Desk, DeskDep, SessionDep
from server.web.incoming import Arrived, Plan
from server.web.templating import html, went
from server.web.views import strip_view

router = APIRouter(include_in_schema=False)
SHOWN = "/library/files/shown/"
KINDS = {"look-book": "look book"}


def as_file(text: str, media_type: str, name: str) -> Response:
    """A text as a file to be saved."""
    return Response(
        text, media_type=media_type,
        headers={"Content-Disposition": f'attachment; filename="{name}"'},
    )  # fmt: skip


@router.get("/library/files/look-book")
async def look_book(session: SessionDep) -> Response:
    """Every look, the oldest first, as one file."""
    text = json.dumps(book_document(store.all_looks(session)), ensure_ascii=False, indent=1)
    return as_file(text + "\n", "application/json", "look-book.json")


@router.post("/library/files/look-book")
async def bring_look_book(
    request: Request, desk: DeskDep, session: SessionDep, document: Annotated[UploadFile, File()]
) -> Response:
    """Read a look book; what it would add is shown next."""
    return await _bring(request, desk, session, "look-book", document)


async def _bring(
    request: Request, desk: Desk, session: Session, kind: str, document: UploadFile
) -> Response:
    data = await document.read()
    if not data.strip():
        raise OutOfRange("this file is empty: choose the one that was saved")
    _plan(desk, session, Arrived(kind, data))
    return went(request, SHOWN + desk.incoming.put(kind, data))


def _plan(desk: Desk, session: Session, file: Arrived) -> Plan:
    here = store.all_looks(session)
    return book_plan(file.data, desk.engine.now().rig_now, here)


@router.get("/library/files/shown/{token}")
async def shown(desk: DeskDep, session: SessionDep, token: str, changed: bool = False) -> Response:
    """What a file would add and what it leaves out, before anything is stored."""
    file = desk.incoming.waiting(token)
    return html(
        "pages/incoming.html", view="strip", oob=False, notice="",
        strip=strip_view(desk.engine.now()), plan=_plan(desk, session, file),
        kind=KINDS[file.kind], action=SHOWN + token, changed=changed, back="/library",
    )  # fmt: skip


@router.post("/library/files/shown/{token}")
async def keep(
    request: Request, desk: DeskDep, session: SessionDep, token: str,
    seen: Annotated[str, Form(max_length=40)], order: Annotated[bool, Form()] = False,
) -> Response:  # fmt: skip
    """Store what was shown, all of it or nothing; what has become something else is shown anew."""
    plan = _plan(desk, session, desk.incoming.waiting(token))
    if plan.seen != seen:
        return went(request, f"{SHOWN}{token}?changed=true")
    looks = plan.looks if order else [replace(look, place=None) for look in plan.looks]
    desk.incoming.stored(token, tuple(store.add_looks(session, looks)))
    return went(request, f"/library?came={token}")


@router.post("/library/files/kept/{token}/out")
async def take_out(request: Request, desk: DeskDep, session: SessionDep, token: str) -> Response:
    """Take the looks of a file out again."""
    store.take_out(session, desk.incoming.made_of(token))
    desk.incoming.forget(token)
    return went(request, "/library")
