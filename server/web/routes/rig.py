"""The Rig page: one's own heads, channels, placements, lens and circuits; export and import."""

import json
from dataclasses import replace
from datetime import datetime
from functools import partial
from hashlib import sha256
from typing import Annotated, Any
from urllib.parse import quote

from fastapi import APIRouter, Depends, Form, Request, Response
from sqlmodel import Session

from server.errors import Refused
from server.live.now import Now
from server.store import looks as store
from server.store.burning import hours_lit
from server.studio.curve_in import kept_before, on_curve
from server.studio.document import head_document, rig_document
from server.studio.figures import outputs_of
from server.studio.head import CURVES, LAMPS, ROLES, Head
from server.studio.lamps import renamed_lamps
from server.studio.load import neutral_load, worst_of_order
from server.studio.next_head import next_head
from server.studio.readings import renamed_heads
from server.studio.rig import Rig
from server.studio.room import PHASES, WAYS
from server.web.curves import curves_view, past_view
from server.web.desk import ActorDep, Desk, DeskDep, SessionDep
from server.web.face_views import stand_in_views
from server.web.forms import head_of, metres, number, room_of
from server.web.lamps import lamps_view
from server.web.plan import plans
from server.web.rig_text import json_of, rig_of_text
from server.web.templating import html, went
from server.web.trusting import head_view
from server.web.views import strip_view
from server.web.warming import head_words
from server.web.words import place_words

router = APIRouter(include_in_schema=False)
CIRCUIT_ROWS = 4


@router.get("/rig")
async def rig_page(desk: DeskDep) -> Response:
    """The rig: heads with channels, circuits with their amps, room and lens."""
    return _rig_page(desk)


def _rig_page(desk: Desk, gone: str = "") -> Response:
    now = desk.engine.now()
    rig = now.rig_now
    circuits = [(c, load) for c, load in zip(rig.room.circuits, now.circuits, strict=True)]
    spare = max(1, CIRCUIT_ROWS - len(circuits))
    return html(
        "pages/rig.html", view="rig", oob=False, notice="", strip=strip_view(now), gone=gone,
        room_id=now.record.room_id,
        stand_ins=stand_in_views(desk.faces, now), rig=rig, heads=now.figures.heads,
        place=place_words, warm=partial(head_words, now),
        doubt=partial(head_view, now), circuits=circuits, spare=range(spare),
        plan=plans(rig, rig.sitter.yaw_deg, now.setting.stops)[0],
        shutter=f"1/{round(1 / rig.lens.shutter_s)}" if rig.lens.shutter_s < 0.3
        else f"{rig.lens.shutter_s:g}",
        new=not rig.heads or (not now.record.known and not desk.settings.demo),
        back="/rig", way_kinds=WAYS, seen=_seen(rig_document(rig)["room"]),
        phases=("", *PHASES), neutral=neutral_load(rig, outputs_of(rig, now.setting)),
        order_load=_order_load(desk, now),
    )  # fmt: skip


def _order_load(desk: Desk, now: Now) -> list[str]:
    """Circuits that the running order takes over their planning limit, in words."""
    with Session(desk.database) as session:
        looks = store.running_order(session)
    lights = [(k.name, outputs_of(now.rig, k.setting(now.rig, now.setting))) for k in looks]
    told = []
    for worst in worst_of_order(now.rig, lights):
        load = worst.load
        if load.amps_now > load.limit_amps:
            most = "breaker" if load.amps_now > load.breaker_amps else "planning limit"
            size = load.breaker_amps if most == "breaker" else load.limit_amps
            where = f"between {worst.before} and {worst.after}"
            told.append(
                f"{load.name}: {load.amps_now:.1f} A {where}, over its {most} of {size:.1f} A"
            )
    return told


@router.get("/rig/heads/new")
async def new_head(desk: DeskDep) -> Response:
    """A form for a new head: the next role and channel, the lamp of the head before."""
    return head_page(desk, next_head(desk.engine.now().rig), "/rig/heads/new")


@router.get("/rig/heads/{name}")
async def edit_head(desk: DeskDep, name: str) -> Response:
    """A form for one head."""
    return head_page(desk, desk.engine.now().rig.head(name), page_of(name))


def page_of(name: str) -> str:
    """The address of a head's page."""
    return f"/rig/heads/{quote(name, safe='')}"


def head_page(desk: Desk, head: Head, action: str, gone_beam: str = "") -> Response:
    """The form for a head, with its photometric files."""
    now = desk.engine.now()
    rig = now.rig
    document = head_document(head)
    values: dict[str, Any] = {k: v for k, v in document.items() if not isinstance(v, list | dict)}
    values = {k: f"{v:g}" if isinstance(v, float) else v for k, v in values.items()}
    values |= {n: f"{100 * getattr(head, n):g}" for n in ("bands_below", "steady_from")}
    values |= document["placement"]
    values["aim"] = document["placement"]["aim"] if isinstance(
        document["placement"]["aim"], str) else "a place"  # fmt: skip
    values["scrims"] = " ".join(f"{s:g}" for s in head.placement.scrims)
    for which, row in (("spot", document["beam"][0]), ("flood", document["beam"][-1])):
        values |= {f"{which}_{k}": row[k] for k in ("candela", "beam_deg", "field_deg")}
    values["curve_points"] = "\n".join(f"{a:g} {b:g}" for a, b in head.curve_points)
    return html(
        "pages/head.html", view="strip", oob=False, notice="", strip=strip_view(now),
        v=values, action=action, roles=ROLES, lamps=LAMPS, curves=CURVES,
        room_id=now.record.room_id,
        circuits=[c.name for c in rig.room.circuits],
        aims=["mark", *(p.name for p in rig.points)]
        + (["a place"] if values["aim"] == "a place" else []),
        seen="" if action.endswith("/new") else _seen(document),
        rows=len(head.beam), is_new=action.endswith("/new"), back="/rig",
        warm="" if action.endswith("/new") else head_words(now, head),
        measured=curves_view(head), gone_beam=gone_beam, past=past_view(head),
        lamp_log=lamps_view(rig, head, datetime.now(), counted_hours(desk, head.name)),
    )  # fmt: skip


def counted_hours(desk: Desk, name: str) -> float:
    """Hours that a head of the open room has been lit in all, as counted."""
    with Session(desk.database) as session:
        return hours_lit(session, desk.engine.now().record.room_id).get(name, 0.0)


@router.post("/rig/heads/new")
async def add_head(request: Request, desk: DeskDep, actor: ActorDep) -> Response:
    """Add a head."""
    form = await request.form()  # before the rig is read: a slow form must not undo what came
    rig = same_room(desk, form.get("room_id"))
    head = head_of(form, None)
    desk.engine.replace_rig(replace(rig, heads=(*rig.heads, head)), actor, f"{head.name} added")
    return went(request, "/rig/heads/new" if form.get("then") == "another" else "/rig#heads")


@router.post("/rig/heads/bring-back")
async def bring_back_head(
    request: Request, desk: DeskDep, actor: ActorDep, head: Annotated[str, Form(max_length=400_000)]
) -> Response:
    """Undo taking a head out: the page that told of it carries the head's own document."""
    rig = desk.engine.now().rig_now
    document = rig_document(rig)
    back = rig_of_text(json.dumps({**document, "heads": [*document["heads"], json_of(head)]}))
    desk.engine.replace_rig(back, actor, f"{back.heads[-1].name} back in the rig")
    return went(request, "/rig")


@router.post("/rig/heads/{name}")
async def change_head(
    request: Request, desk: DeskDep, session: SessionDep, actor: ActorDep, name: str
) -> Response:
    """Change a head."""
    form = await request.form()
    rig = same_room(desk, form.get("room_id"))
    before = rig.head(name)
    _unchanged(form, head_document(before), name)
    after = kept_before(before, head_of(form, before))
    if after.name != before.name:
        _free_name(session, after.name)
    heads = tuple(after if h is before else h for h in rig.heads)
    names = {before.name: after.name}
    readings, lamps = renamed_heads(rig.readings, names), renamed_lamps(rig.lamps, names)
    readings = on_curve(readings, before, after)
    desk.engine.replace_rig(
        replace(rig, heads=heads, readings=readings, lamps=lamps), actor,
        f"{after.name} changed", renamed=names,
    )  # fmt: skip
    return went(request, "/rig")


def _seen(document: dict[str, Any]) -> str:
    """What a form was filled from, so that it cannot undo what came meanwhile."""
    return sha256(json.dumps(document, sort_keys=True).encode()).hexdigest()[:12]


def _unchanged(form: Any, document: dict[str, Any], what: str) -> None:
    seen = str(form.get("seen", ""))
    if seen and seen != _seen(document):
        raise Refused(
            f"{what} was changed by someone else while this form was open: open it again, so that"
            " nothing of theirs is lost"
        )


def _free_name(session: Session, name: str) -> None:
    """A head that is gone lives on in looks by its name: nobody else may take it over."""
    if name in store.heads_in_looks(session):
        raise Refused(
            f"looks still hold a head called {name}: choose another name, or bring that head back"
        )


@router.post("/rig/heads/{name}/delete")
async def delete_head(
    desk: DeskDep, actor: ActorDep, name: str, room_id: Annotated[str, Form(max_length=20)] = ""
) -> Response:
    """Take a head out of the rig; the page that answers offers to bring it back."""
    rig = same_room(desk, room_id)
    gone = rig.head(name)
    left = tuple(h for h in rig.heads if h is not gone)
    desk.engine.replace_rig(replace(rig, heads=left), actor, f"{name} taken out")
    return _rig_page(desk, json.dumps(head_document(gone)))


@router.post("/rig/room")
async def change_room(request: Request, desk: DeskDep, actor: ActorDep) -> Response:
    """Room, mains and circuits."""
    form = await request.form()
    rig = same_room(desk, form.get("room_id"))
    _unchanged(form, rig_document(rig)["room"], "the room")
    rig = replace(rig, room=room_of(form, rig.room))
    if str(form.get("background_m", "")).strip():
        rig = rig.with_background(metres(form, "background_m"))
    desk.engine.replace_rig(rig, actor, "room changed")
    return went(request, "/rig")


@router.post("/rig/sitter")
async def change_sitter(request: Request, desk: DeskDep, actor: ActorDep) -> Response:
    """How the sitter's face is turned."""
    form = await request.form()
    rig = same_room(desk, form.get("room_id"))
    sitter = replace(
        rig.sitter,
        yaw_deg=number(form, "yaw_deg"),
        white_over_lit_stops=number(form, "white_over_lit_stops"),
        stand_in=str(form.get("stand_in", rig.sitter.stand_in)),
        colour="colour" in form,
        never=tuple(str(kind) for kind in form.getlist("never")),
    )
    desk.engine.replace_rig(replace(rig, sitter=sitter), actor, "sitter turned")
    return went(request, "/rig")


def same_room(desk: Desk, room_id: object) -> Rig:
    """The rig that a form is about. Refused when another room was opened since it was shown."""
    now = desk.engine.now()
    if room_id and room_id != str(now.record.room_id):
        raise Refused(
            f"{now.rig.room.name} was opened meanwhile, this form was of another room:"
            " nothing was changed, open the Rig page again"
        )
    return now.rig_now


async def in_this_room(desk: DeskDep, room_id: Annotated[str, Form(max_length=20)] = "") -> None:
    """Refuse a form of another room than the open one: heads may be called the same in both."""
    same_room(desk, room_id)


OF_ROOM = [Depends(in_this_room)]
