"""Library and Sitting: all looks, found, renamed, put in order, deleted; what was done when."""

from typing import Annotated
from urllib.parse import urlencode

from fastapi import APIRouter, Form, Query, Request, Response
from fastapi.responses import RedirectResponse

from server.errors import NotFound
from server.store import looks as store
from server.store.patterns import unread_looks
from server.studio.look import look_name, notes_of, tags_of
from server.studio.pattern import PATTERNS, SIDES
from server.web.desk import DeskDep, SessionDep
from server.web.face_views import drawing_words
from server.web.templating import html, went
from server.web.views import strip_view, tile_view

router = APIRouter(include_in_schema=False)
PAGE = 24
READ_AT_ONCE = 200
TAKEN_OUT_SHOWN = 20


@router.get("/library")
async def library(
    desk: DeskDep,
    session: SessionDep,
    q: Annotated[str, Query(max_length=200)] = "",
    tag: Annotated[str, Query(max_length=60)] = "",
    pattern: Annotated[str, Query(max_length=20)] = "",
    others: bool = False,
    page: Annotated[int, Query(ge=1, le=100000)] = 1,
    deleted: Annotated[int, Query(ge=0)] = 0,
    came: Annotated[str, Query(max_length=40)] = "",
) -> Response:
    """Looks of the open room, `others` those of other rooms too: search, tags, patterns, change,
    delete with undo."""
    now, faces = desk.engine.now(), desk.faces
    room_id = now.record.room_id
    found = store.find_looks(
        session, q, tag, PAGE + 1, (page - 1) * PAGE, pattern, None if others else room_id
    )
    unread = unread_looks(session, READ_AT_ONCE) if pattern else []
    for look in unread:
        faces.ask_pattern(now.rig, look)
    order = store.running_order(session)
    came_count = len(desk.incoming.looks_of(came))
    return html(
        "pages/library.html",
        view="library",
        oob=False,
        notice="",
        strip=strip_view(now),
        tiles=[tile_view(now, look, 0, None, faces) for look in found[:PAGE]],
        order=order,
        drawing=drawing_words(faces),
        pattern=pattern,
        patterns=(*PATTERNS, *SIDES),
        unread=len(unread),
        tags=store.all_tags(session),
        q=q,
        tag=tag,
        others=others,
        elsewhere=store.looks_elsewhere(session, room_id),
        other_way=_address(q, tag, pattern, not others),
        newer=_address(q, tag, pattern, others, page - 1) if page > 1 else "",
        older=_address(q, tag, pattern, others, page + 1) if len(found) > PAGE else "",
        deleted=deleted,
        came=came if came_count else "",
        came_count=came_count,
        taken_out=store.deleted_looks(session, TAKEN_OUT_SHOWN),
        back="/library",
    )


def _address(q: str, tag: str, pattern: str, others: bool, page: int = 1) -> str:
    """The page with this search; what is as usual is left out."""
    told = {"q": q, "tag": tag, "pattern": pattern, "others": "true" if others else ""}
    told["page"] = str(page) if page > 1 else ""
    query = urlencode({name: value for name, value in told.items() if value})
    return f"/library?{query}" if query else "/library"


@router.get("/library/{look_id}")
async def edit(desk: DeskDep, session: SessionDep, look_id: int) -> Response:
    """Name, tags and notes of a look."""
    now = desk.engine.now()
    look = store.get_look(session, look_id)
    return html(
        "pages/look.html", view="strip", oob=False, notice="", strip=strip_view(now),
        tile=tile_view(now, look, 0, None, desk.faces), back="/library",
    )  # fmt: skip


@router.post("/library/{look_id}")
async def change(
    request: Request,
    session: SessionDep,
    look_id: int,
    name: Annotated[str, Form()],
    tags: Annotated[str, Form()] = "",
    notes: Annotated[str, Form()] = "",
) -> Response:
    """Change a look."""
    store.change_look(
        session,
        look_id,
        name=look_name(name),
        tags=tags_of(tags.split(",")),
        notes=notes_of(notes),
    )
    return went(request, "/library")


@router.post("/library/{look_id}/delete")
async def delete(session: SessionDep, look_id: int) -> Response:
    """Delete a look; the page then offers to bring it back."""
    store.delete_look(session, look_id)
    return RedirectResponse(f"/library?deleted={look_id}", 303)


@router.post("/library/{look_id}/bring-back")
async def bring_back(session: SessionDep, look_id: int) -> Response:
    """Undo a deletion."""
    store.bring_back(session, look_id)
    return RedirectResponse("/library", 303)


@router.post("/library/{look_id}/order")
async def order(session: SessionDep, look_id: int, move: Annotated[str, Form()]) -> Response:
    """Into the running order, out of it, one place earlier or later."""
    ids = [look.look_id for look in store.running_order(session)]
    if move == "in" and look_id not in ids:
        ids.append(look_id)
    elif move == "out" and look_id in ids:
        ids.remove(look_id)
    elif move in ("earlier", "later") and look_id in ids:
        at = ids.index(look_id)
        to = max(0, min(len(ids) - 1, at + (1 if move == "later" else -1)))
        ids.insert(to, ids.pop(at))
    else:
        raise NotFound(f"the look is not where {move!r:.20} could move it")
    store.set_running_order(session, ids)
    return RedirectResponse("/library#order", 303)
