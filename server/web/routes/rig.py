"""The Rig page: one's own heads, channels, placements, lens and circuits; export and import."""

import json
from dataclasses import replace
from typing import Annotated, Any

from fastapi import APIRouter, File, Request, Response, UploadFile
from fastapi.responses import JSONResponse, RedirectResponse
from pydantic import ValidationError

from server.errors import OutOfRange
from server.preview.scene import STAND_INS
from server.studio.document import head_document, rig_document, rig_from_document
from server.studio.head import CURVES, LAMPS, ROLES, Head
from server.studio.rig import Rig
from server.studio.room import Circuit
from server.web.contract import RigDocument
from server.web.desk import ActorDep, DeskDep
from server.web.errors import sentences
from server.web.forms import head_of, number
from server.web.templating import html
from server.web.views import strip_view

router = APIRouter(include_in_schema=False)
CIRCUIT_ROWS = 6


@router.get("/rig")
async def rig_page(desk: DeskDep) -> Response:
    """The rig: heads with channels, circuits with their amps, room and lens."""
    return _rig_page(desk)


def _rig_page(desk: Any, notice: str = "", status: int = 200) -> Response:
    now = desk.engine.now()
    rig = now.rig_now
    circuits = [(c, load) for c, load in zip(rig.room.circuits, now.circuits, strict=True)]
    spare = max(1, CIRCUIT_ROWS - len(circuits))
    return html(
        "pages/rig.html", status, view="strip", oob=False, notice=notice, strip=strip_view(now),
        stand_ins=tuple(STAND_INS.values()), rig=rig, heads=now.figures.heads, circuits=circuits,
        spare=range(spare),
        shutter=f"1/{round(1 / rig.lens.shutter_s)}" if rig.lens.shutter_s < 0.3
        else f"{rig.lens.shutter_s:g}",
        back="/rig",
    )  # fmt: skip


@router.get("/rig/heads/new")
async def new_head(desk: DeskDep) -> Response:
    """A form for a new head, with the next free channel."""
    rig = desk.engine.now().rig
    taken = [slot for h in rig.heads if h.universe == 1 for slot in h.slots]
    name = f"Head {len(rig.heads) + 1}"
    head = Head(name=name, role="fill" if rig.heads else "key", address=max(taken, default=0) + 1)
    return _head_page(desk, head, "/rig/heads/new")


@router.get("/rig/heads/{name}")
async def edit_head(desk: DeskDep, name: str) -> Response:
    """A form for one head."""
    return _head_page(desk, desk.engine.now().rig.head(name), f"/rig/heads/{name}")


def _head_page(
    desk: Any, head: Head, action: str, notice: str = "", status: int = 200, form: Any = None
) -> Response:
    now = desk.engine.now()
    rig = now.rig
    document = head_document(head)
    values: dict[str, Any] = {k: v for k, v in document.items() if not isinstance(v, list | dict)}
    values |= document["placement"]
    values["aim"] = document["placement"]["aim"] if isinstance(
        document["placement"]["aim"], str) else "a place"  # fmt: skip
    values["scrims"] = " ".join(f"{s:g}" for s in head.placement.scrims)
    for which, row in (("spot", document["beam"][0]), ("flood", document["beam"][-1])):
        values |= {f"{which}_{k}": row[k] for k in ("candela", "beam_deg", "field_deg")}
    values["curve_points"] = "\n".join(f"{a:g} {b:g}" for a, b in head.curve_points)
    if form is not None:
        values |= {k: v for k, v in form.items() if isinstance(v, str)}
    return html(
        "pages/head.html", status, view="strip", oob=False, notice=notice, strip=strip_view(now),
        v=values, action=action, roles=ROLES, lamps=LAMPS, curves=CURVES,
        circuits=[c.name for c in rig.room.circuits],
        aims=["mark", *(p.name for p in rig.points)]
        + (["a place"] if values["aim"] == "a place" else []),
        rows=len(head.beam), is_new=action.endswith("/new"), back="/rig",
    )  # fmt: skip


@router.post("/rig/heads/new")
async def add_head(request: Request, desk: DeskDep, actor: ActorDep) -> Response:
    """Add a head."""
    form = await request.form()
    rig = desk.engine.now().rig_now
    try:
        head = head_of(form, None)
        desk.engine.replace_rig(replace(rig, heads=(*rig.heads, head)), actor, f"{head.name} added")
    except OutOfRange as error:
        shown = Head(name="Head", role="key")
        return _head_page(desk, shown, "/rig/heads/new", str(error), 422, form)
    return RedirectResponse("/rig", 303)


@router.post("/rig/heads/{name}")
async def change_head(request: Request, desk: DeskDep, actor: ActorDep, name: str) -> Response:
    """Change a head."""
    form = await request.form()
    rig = desk.engine.now().rig_now
    before = rig.head(name)
    try:
        after = head_of(form, before)
        heads = tuple(after if h is before else h for h in rig.heads)
        desk.engine.replace_rig(
            replace(rig, heads=heads), actor, f"{after.name} changed",
            renamed={before.name: after.name},
        )  # fmt: skip
    except OutOfRange as error:
        return _head_page(desk, before, f"/rig/heads/{name}", str(error), 422, form)
    return RedirectResponse("/rig", 303)


@router.post("/rig/heads/{name}/delete")
async def delete_head(desk: DeskDep, actor: ActorDep, name: str) -> Response:
    """Take a head out of the rig; the export before it is the way back."""
    rig = desk.engine.now().rig_now
    gone = rig.head(name)
    left = tuple(h for h in rig.heads if h is not gone)
    desk.engine.replace_rig(replace(rig, heads=left), actor, f"{name} taken out")
    return RedirectResponse("/rig", 303)


@router.post("/rig/room")
async def change_room(request: Request, desk: DeskDep, actor: ActorDep) -> Response:
    """Room, mains and circuits."""
    form = await request.form()
    rig = desk.engine.now().rig_now
    try:
        names, amps = form.getlist("circuit_name"), form.getlist("circuit_amps")
        others = form.getlist("circuit_other")
        circuits = tuple(
            Circuit(
                str(n),
                number({"breaker_amps": a}, "breaker_amps"),
                number({"other_amps": o or "0"}, "other_amps"),
            )
            for n, a, o in zip(names, amps, others, strict=True)
            if str(n).strip()
        )
        room = replace(
            rig.room,
            name=str(form.get("name", "")),
            mains_volts=number(form, "mains_volts"),
            continuous_factor=number(form, "continuous_factor"),
            ambient_lux=number(form, "ambient_lux"),
            circuits=circuits,
        )
        _replace(desk, replace(rig, room=room), actor, "room changed")
    except (OutOfRange, ValueError) as error:
        return _rig_page(desk, str(error), 422)
    return RedirectResponse("/rig", 303)


@router.post("/rig/sitter")
async def change_sitter(request: Request, desk: DeskDep, actor: ActorDep) -> Response:
    """How the sitter's face is turned."""
    form = await request.form()
    rig = desk.engine.now().rig_now
    try:
        sitter = replace(
            rig.sitter,
            yaw_deg=number(form, "yaw_deg"),
            white_over_lit_stops=number(form, "white_over_lit_stops"),
            stand_in=str(form.get("stand_in", rig.sitter.stand_in)),
        )
        _replace(desk, replace(rig, sitter=sitter), actor, "sitter turned")
    except OutOfRange as error:
        return _rig_page(desk, str(error), 422)
    return RedirectResponse("/rig", 303)


def _replace(desk: Any, rig: Rig, actor: str, text: str) -> None:
    desk.engine.replace_rig(rig, actor, text)


@router.get("/rig/export")
async def export(desk: DeskDep) -> Response:
    """The rig document as a file."""
    return JSONResponse(
        rig_document(desk.engine.now().rig_now),
        headers={"Content-Disposition": 'attachment; filename="rig.json"'},
    )


@router.post("/rig/import")
async def import_rig(
    desk: DeskDep, actor: ActorDep, document: Annotated[UploadFile, File()]
) -> Response:
    """Put a rig document in place of this rig, or change nothing."""
    try:
        parsed = RigDocument.model_validate(json.loads(await document.read()))
        rig = rig_from_document(parsed.model_dump())
        desk.engine.replace_rig(rig, actor, f"rig {rig.room.name} imported")
    except ValidationError as error:
        return _rig_page(desk, sentences(error.errors()), 422)
    except (ValueError, RecursionError) as error:
        return _rig_page(desk, f"this file is no rig document: {error}", 422)
    except OutOfRange as error:
        return _rig_page(desk, str(error), 422)
    return RedirectResponse("/rig", 303)
