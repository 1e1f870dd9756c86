"""The lighting plan of the rig as it stands, and of a look as it was kept; metres or feet."""

from dataclasses import replace
from typing import Annotated, Any

from fastapi import APIRouter, Form, Request, Response

from server.store import looks as store
from server.studio.rig import Rig
from server.studio.setting import Stops
from server.web.desk import ActorDep, Desk, DeskDep, SessionDep
from server.web.plan import plans
from server.web.templating import html, went
from server.web.views import strip_view

router = APIRouter(include_in_schema=False)


@router.get("/rig/plan")
async def rig_plan(desk: DeskDep, units: str = "") -> Response:
    """Where the heads stand now, the dark ones hollow."""
    now = desk.engine.now()
    return _page(
        desk, now.rig, now.setting.yaw_deg, now.setting.stops, units, title=now.rig.room.name,
        here="/rig/plan", back_url="/rig", back="/rig", may_move=True,
        view="strip" if units else "whole_plan",
    )  # fmt: skip


@router.get("/library/{look_id}/plan")
async def look_plan(desk: DeskDep, session: SessionDep, look_id: int, units: str = "") -> Response:
    """Where a look's heads stood when it was kept."""
    look = store.get_look(session, look_id)
    rig = desk.engine.now().rig.standing(look.placements)
    return _page(
        desk, rig, look.yaw_deg, look.stops, units, title=look.name,
        here=f"/library/{look_id}/plan", back_url=f"/library/{look_id}", back="/library",
        may_move=False, view="strip",
    )  # fmt: skip


def _page(desk: Desk, rig: Rig, yaw_deg: float, stops: Stops, units: str, **more: Any) -> Response:
    units = units if units in ("m", "ft") else rig.room.units
    return html(
        "pages/plan.html", oob=False, notice="",
        strip=strip_view(desk.engine.now()), plans=plans(rig, yaw_deg, stops, units=units),
        units=units, heads=[h.name for h in rig.heads], **more,
    )  # fmt: skip


@router.post("/rig/units")
async def set_units(
    request: Request, desk: DeskDep, actor: ActorDep, units: Annotated[str, Form(max_length=10)],
    back: Annotated[str, Form(max_length=200)] = "/rig/plan",
) -> Response:  # fmt: skip
    """What the room's tape measure shows, kept with the room."""
    rig = desk.engine.now().rig_now
    room = replace(rig.room, units=units)
    desk.engine.replace_rig(replace(rig, room=room), actor, f"lengths in {units}")
    return went(request, back if back.startswith(("/rig/", "/library/")) else "/rig/plan")
