"""The JSON contract: read the rig and the light, move it, keep looks, hear of every change."""

from collections.abc import AsyncIterator, Callable
from typing import Annotated, Any

from fastapi import APIRouter, Query, Request, Response
from fastapi.responses import JSONResponse, StreamingResponse

from server.errors import OutOfRange
from server.live.now import Now
from server.store import looks as store
from server.store.devices import Device
from server.studio.document import rig_document, rig_from_document
from server.studio.look import look_name, notes_of, tags_of
from server.studio.ways import ways
from server.web.contract import (
    Compare,
    Levels,
    LookChange,
    Mix,
    Move,
    NewLook,
    Nudge,
    Order,
    RatioWish,
    Recall,
    RigDocument,
)
from server.web.desk import ActorDep, Desk, DeskDep, DeviceDep, EngineDep, SessionDep, hand_of
from server.web.keeping import keep_look
from server.web.state import look_json, looks_json, nudge_json, reached_json, state_answer
from server.web.templating import floor_parts, page_parts
from server.web.ways import way_json

router = APIRouter(prefix="/api", tags=["contract"])
Text = Annotated[str, Query(max_length=200)]


# First, since routes are tried in their order and a tap is not to wait for the others.
@router.post("/nudge")
async def post_nudge(request: Request, wish: Nudge) -> Response:
    """Nudge a role or a head by thirds of a stop."""
    engine, actor = hand_of(request)
    now, result = engine.nudge(
        role=wish.role,
        head=wish.head,
        thirds=wish.thirds,
        keep=wish.keep,
        fade_s=wish.fade_s,
        actor=actor,
    )
    found: list[dict[str, Any]] = []
    if result.limited and abs(result.missing_stops) > 1e-9:
        missing = max(1, min(9, round(abs(result.asked_stops) * 3)))
        sign = 1 if result.asked_stops > 0 else -1
        head = now.rig.head(result.limited_by)
        found = [way_json(w) for w in ways(now.rig, result.before, head, sign * missing)[:3]]
    return state_answer(now, nudge=nudge_json(result, found))


@router.get("/rig")
async def get_rig(engine: EngineDep) -> JSONResponse:
    """The whole rig as one document."""
    return JSONResponse(rig_document(engine.now().rig_now))


@router.put("/rig")
async def put_rig(engine: EngineDep, actor: ActorDep, document: RigDocument) -> JSONResponse:
    """Put a whole rig in place of the old one, or change nothing."""
    rig = rig_from_document(document.model_dump()).require_heads()
    return JSONResponse(rig_document(engine.replace_rig(rig, actor).rig_now))


@router.get("/state")
async def get_state(engine: EngineDep) -> Response:
    """What is lit now."""
    return state_answer(engine.now())


@router.post("/levels")
async def post_levels(engine: EngineDep, actor: ActorDep, wish: Levels) -> Response:
    """Set levels of named heads, percent."""
    return state_answer(engine.set_levels(wish.levels, wish.fade_s, actor))


@router.post("/ratio")
async def post_ratio(engine: EngineDep, actor: ActorDep, wish: RatioWish) -> Response:
    """Reach a ratio: key and fill together with the lens held, or one role alone."""
    if wish.hold and wish.move:
        raise OutOfRange("name either hold or move: the lens cannot be held by one role alone")
    now, result = engine.ratio(wish.target, wish.move, wish.fade_s, actor)
    return state_answer(now, reached=reached_json(result))


@router.post("/recall")
async def post_recall(
    engine: EngineDep, actor: ActorDep, session: SessionDep, wish: Recall
) -> Response:
    """Recall a look."""
    return state_answer(
        engine.recall(store.get_look(session, wish.look), wish.fade_s, actor, anyway=wish.anyway)
    )


@router.post("/mix")
async def post_mix(engine: EngineDep, actor: ActorDep, session: SessionDep, wish: Mix) -> Response:
    """Go part of the way toward a look, mixed in stops."""
    look = store.get_look(session, wish.look)
    return state_answer(engine.mix(look, wish.part, wish.fade_s, actor))


@router.post("/undo")
async def post_undo(engine: EngineDep, actor: ActorDep) -> Response:
    """Take the last step back."""
    return state_answer(engine.undo(actor))


@router.post("/redo")
async def post_redo(engine: EngineDep, actor: ActorDep) -> Response:
    """Do it again."""
    return state_answer(engine.redo(actor))


@router.post("/good")
async def post_good(engine: EngineDep, actor: ActorDep) -> Response:
    """Mark this light as the good frame."""
    return state_answer(engine.mark_good(actor))


@router.post("/back-to-good")
async def post_back_to_good(
    engine: EngineDep, actor: ActorDep, wish: Move | None = None
) -> Response:
    """Return to the light of the good frame."""
    return state_answer(engine.back_to_good(wish.fade_s if wish else None, actor))


@router.post("/compare")
async def post_compare(engine: EngineDep, actor: ActorDep, wish: Compare) -> Response:
    """Hold to see the good frame's light, release for now."""
    return state_answer(engine.compare(wish.hold, actor))


@router.post("/dark")
async def post_dark(engine: EngineDep, actor: ActorDep, wish: Move | None = None) -> Response:
    """All heads down."""
    return state_answer(engine.dark(wish.fade_s if wish else None, actor))


@router.post("/restore")
async def post_restore(engine: EngineDep, actor: ActorDep, wish: Move | None = None) -> Response:
    """Back up to the light before."""
    return state_answer(engine.restore(wish.fade_s if wish else None, actor))


@router.post("/looks", status_code=201)
async def post_look(
    desk: DeskDep, actor: ActorDep, session: SessionDep, wish: NewLook | None = None
) -> JSONResponse:
    """Keep what is lit now as a look; without a name it gets the time, the ratio and the lens."""
    wish = wish or NewLook()
    look = keep_look(desk, session, wish.name, wish.tags, wish.notes, actor)
    return JSONResponse(look_json(look, desk.engine.now().rig), 201)


# Plain functions, in a thread of their own: many looks take a while to reckon.
@router.get("/looks")
def get_looks(
    engine: EngineDep,
    session: SessionDep,
    q: Text = "",
    tag: Text = "",
    limit: Annotated[int, Query(ge=1, le=1000)] = store.PAGE,
    offset: Annotated[int, Query(ge=0, le=10**9)] = 0,
) -> JSONResponse:
    """Looks by part of their name or notes and by tag, the newest first. `ratio`, `f_number` (of
    the lit side) and `lux` are as the readings say by now; `source` says metered, camera, moved
    since metering, or predicted. A look that needs heads this rig has not is told as it was kept,
    its source moved."""
    found = store.find_looks(session, q, tag, limit, offset)
    return JSONResponse(looks_json(found, engine.now().rig))


@router.get("/looks/{look_id}")
async def get_look(engine: EngineDep, session: SessionDep, look_id: int) -> JSONResponse:
    """One look, its figures as the readings say by now."""
    return JSONResponse(look_json(store.get_look(session, look_id), engine.now().rig))


@router.patch("/looks/{look_id}")
async def patch_look(
    engine: EngineDep, session: SessionDep, look_id: int, change: LookChange
) -> JSONResponse:
    """Change name, tags or notes."""
    look = store.change_look(
        session,
        look_id,
        name=None if change.name is None else look_name(change.name),
        tags=None if change.tags is None else tags_of(change.tags),
        notes=None if change.notes is None else notes_of(change.notes),
    )
    return JSONResponse(look_json(look, engine.now().rig))


@router.delete("/looks/{look_id}", status_code=204)
async def delete_look(session: SessionDep, look_id: int) -> Response:
    """Delete a look; `POST /api/looks/{look_id}/bring-back` undoes it."""
    store.delete_look(session, look_id)
    return Response(status_code=204)


@router.post("/looks/{look_id}/bring-back")
async def bring_back(engine: EngineDep, session: SessionDep, look_id: int) -> JSONResponse:
    """Undo a deletion."""
    return JSONResponse(look_json(store.bring_back(session, look_id), engine.now().rig))


@router.get("/running-order")
def get_running_order(engine: EngineDep, session: SessionDep) -> JSONResponse:
    """The looks of this sitting in the order they will be called, told as `GET /api/looks` does."""
    return JSONResponse(looks_json(store.running_order(session), engine.now().rig))


@router.put("/running-order")
def put_running_order(engine: EngineDep, session: SessionDep, order: Order) -> JSONResponse:
    """Make exactly these looks the running order."""
    kept = store.set_running_order(session, order.looks)
    return JSONResponse(looks_json(kept, engine.now().rig))


@router.get("/events")
async def events(desk: DeskDep, device: DeviceDep, view: Text = "") -> StreamingResponse:
    """Server-sent events: `state` after every change, `heartbeat` each second; with `view`, the
    parts of that page as `page`."""
    render: Callable[[Now], str] | None = page_parts(desk, view) if view else None
    return StreamingResponse(
        _stream(desk, device, render),
        media_type="text/event-stream",
        headers={"Cache-Control": "no-store"},
    )


async def _stream(
    desk: Desk, device: Device, render: Callable[[Now], str] | None
) -> AsyncIterator[str]:
    """The stream of one page of a device; as long as it runs, the device is there."""
    desk.floor.came(device)
    aside = floor_parts(desk, device) if render else str
    try:
        async for event in desk.hub.stream(
            desk.engine.now(), render, aside, lambda: desk.doors.still(device)
        ):
            yield event
    finally:
        desk.floor.went(device)
