"""The lighting plan of the rig as it stands, and of a look as it was kept."""

from fastapi import APIRouter, Response

from server.store import looks as store
from server.web.desk import DeskDep, SessionDep
from server.web.plan import plans
from server.web.templating import html
from server.web.views import strip_view

router = APIRouter(include_in_schema=False)


@router.get("/rig/plan")
async def rig_plan(desk: DeskDep, units: str = "") -> Response:
    """Where the heads stand now, the dark ones hollow."""
    now = desk.engine.now()
    feet = units == "ft"
    return html(
        "pages/plan.html", view="strip", oob=False, notice="", strip=strip_view(now),
        title=now.rig.room.name, plans=plans(now.rig, now.setting.yaw_deg, now.setting.stops,
                                             feet=feet),
        feet=feet, units_url="/rig/plan" + ("" if feet else "?units=ft"), back_url="/rig",
        back="/rig",
    )  # fmt: skip


@router.get("/library/{look_id}/plan")
async def look_plan(desk: DeskDep, session: SessionDep, look_id: int, units: str = "") -> Response:
    """Where a look's heads stood when it was kept."""
    now = desk.engine.now()
    look = store.get_look(session, look_id)
    feet = units == "ft"
    here = f"/library/{look_id}/plan"
    return html(
        "pages/plan.html", view="strip", oob=False, notice="", strip=strip_view(now),
        title=look.name, plans=plans(now.rig.standing(look.placements), look.yaw_deg, look.stops,
                                     feet=feet),
        feet=feet, units_url=here + ("" if feet else "?units=ft"),
        back_url=f"/library/{look_id}", back="/library",
    )  # fmt: skip
