"""Photometric files of a head: taken in, drawn on the head's page, taken away and brought back."""

import asyncio
import json
from dataclasses import replace
from typing import Annotated

from fastapi import APIRouter, File, Form, Request, Response, UploadFile
from pydantic import ValidationError

from server.errors import NotFound, OutOfRange
from server.studio.document import measured_document, measured_from_document
from server.studio.head import Head
from server.studio.photometry import MeasuredBeam, beam_of_file, with_beam
from server.web.contract import MeasuredDocument
from server.web.curves import FOCUSES, focus_words
from server.web.desk import ActorDep, Desk, DeskDep
from server.web.errors import sentences
from server.web.routes.rig import head_page, page_of, same_room
from server.web.templating import went

router = APIRouter(include_in_schema=False)
RoomId = Annotated[str, Form(max_length=20)]


@router.post("/rig/heads/{name}/photometry")
async def take_file(
    request: Request, desk: DeskDep, actor: ActorDep, name: str,
    document: Annotated[UploadFile, File()], measured_at: Annotated[str, Form(max_length=20)],
    room_id: RoomId = "",
) -> Response:  # fmt: skip
    """Let a photometric file stand for the head's beam, or change nothing."""
    if measured_at not in FOCUSES:
        allowed = ", ".join(FOCUSES)
        raise OutOfRange(f"measured_at must be one of {allowed}, got {measured_at!r:.40}")
    focus = FOCUSES[measured_at]
    text = _text(await document.read())
    try:
        beam = await asyncio.to_thread(beam_of_file, text, focus, document.filename or "")
    except OutOfRange as error:
        raise OutOfRange(f"this photometric file was not taken: {error}") from None
    head = same_room(desk, room_id).head(name)  # as it is by now: reading took its time
    beams = with_beam(head.photometry, beam)
    _put(desk, actor, name, beams, f"a photometric file for {name}")
    return went(request, page_of(name))


@router.post("/rig/heads/{name}/photometry/remove")
async def remove_file(
    desk: DeskDep, actor: ActorDep, name: str, focus: Annotated[float, Form()], room_id: RoomId = ""
) -> Response:
    """Take a file away; the page that answers offers to bring it back."""
    head = same_room(desk, room_id).head(name)
    gone = next((b for b in head.photometry if b.focus == focus), None)
    if gone is None:
        known = ", ".join(focus_words(b, False) for b in head.photometry) or "none"
        raise NotFound(f"{name} has no file for focus {focus:g}; there are {known}")
    left = tuple(b for b in head.photometry if b is not gone)
    after = _put(desk, actor, name, left, f"a photometric file of {name} taken away")
    return head_page(desk, after, page_of(name), json.dumps(measured_document(gone)))


@router.post("/rig/heads/{name}/photometry/bring-back")
async def bring_back_file(
    request: Request, desk: DeskDep, actor: ActorDep, name: str,
    beam: Annotated[str, Form(max_length=60_000)], room_id: RoomId = "",
) -> Response:  # fmt: skip
    """Undo taking a file away: the page that told of it carries the curve itself."""
    head = same_room(desk, room_id).head(name)
    try:
        plain = MeasuredDocument.model_validate_json(beam).model_dump()
    except ValidationError as error:
        raise OutOfRange(sentences(error.errors())) from None
    beams = with_beam(head.photometry, measured_from_document(plain))
    _put(desk, actor, name, beams, f"a photometric file of {name} back")
    return went(request, page_of(name))


def _put(desk: Desk, actor: str, name: str, beams: tuple[MeasuredBeam, ...], text: str) -> Head:
    """The head with these curves in the rig."""
    rig = desk.engine.now().rig_now
    before = rig.head(name)
    after = replace(before, photometry=beams)
    heads = tuple(after if h is before else h for h in rig.heads)
    desk.engine.replace_rig(replace(rig, heads=heads), actor, text)
    return after


def _text(content: bytes) -> str:
    """The file as text: as it should be, or as older machines wrote it."""
    try:
        return content.decode("utf-8")
    except UnicodeDecodeError:
        return content.decode("latin-1")
