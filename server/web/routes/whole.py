"""The whole studio as one file: out, looked at, and in place of this one."""

from datetime import datetime
from typing import Annotated

from fastapi import APIRouter, File, Request, Response, UploadFile
from sqlmodel import Session

from server.store import rooms as store
from server.store.whole import load_whole, look_columns, replace_all
from server.studio.history import RoomAsLeft
from server.studio.whole import look_text, whole_text
from server.web.desk import ActorDep, DeskDep
from server.web.rooms import refuse_while_walking, room_card, room_opened, whole_view
from server.web.templating import html, went
from server.web.views import strip_view
from server.web.whole_contract import whole_of

router = APIRouter(prefix="/rooms", include_in_schema=False)


# Plain functions: a large studio takes a while, and the light must not wait for it.


@router.get("/export")
def export(desk: DeskDep) -> Response:
    """Every room, look and running order in one document."""
    now = desk.engine.now()
    with Session(desk.database) as session:
        whole = load_whole(session, now.record.room_id, now.rig_now, look_text)
    name = f"studio-{datetime.now():%Y-%m-%d-%H%M}.json"
    return Response(
        whole_text(whole), media_type="application/json",
        headers={"Content-Disposition": f'attachment; filename="{name}"'},
    )  # fmt: skip


@router.post("/import")
def look_at(desk: DeskDep, document: Annotated[UploadFile, File()]) -> Response:
    """What a file holds, and what it would take the place of. Nothing is changed."""
    text = document.file.read()
    whole = whole_of(text, look_columns)
    number = desk.drafts.keep(text, whole)
    now = desk.engine.now()
    with Session(desk.database) as session:
        here = [room_card(now, r) for r in store.rooms(session) if r.archived_at is None]
    return html(
        "pages/whole.html", view="strip", oob=False, notice="", strip=strip_view(now),
        number=number, whole=whole_view(now, whole), here=here, back="/rig",
    )  # fmt: skip


@router.post("/import/{number}")
def put_in_place(request: Request, desk: DeskDep, actor: ActorDep, number: str) -> Response:
    """Put the studio that was looked at in place of this one, all of it or nothing."""
    refuse_while_walking(desk)
    whole = desk.drafts.take(number)

    with Session(desk.database) as session:

        def choose() -> RoomAsLeft:
            room_id = replace_all(session, whole)
            return RoomAsLeft(room_id, store.get_room(session, room_id))

        room_opened(desk, desk.engine.open_room(choose, actor))
    return went(request, "/rooms")
