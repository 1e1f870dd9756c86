"""The camera as the meter: tap the points on the photographs, see all pairs, take them over."""

from dataclasses import replace
from datetime import UTC, datetime
from typing import Annotated

from fastapi import APIRouter, Form, Request, Response
from fastapi.responses import RedirectResponse

from server.errors import Refused
from server.studio.by_camera import camera_readings
from server.web.camera_meter import BASE, camera_view, portrait_of, told_by_camera
from server.web.desk import ActorDep, DeskDep
from server.web.rooms import counted
from server.web.tapping import NONE, Taps, tapped
from server.web.templating import html, went
from server.web.views import strip_view

router = APIRouter(include_in_schema=False)


@router.get(BASE)
async def begin(desk: DeskDep) -> Response:
    """The first point."""
    return RedirectResponse(f"{BASE}/{NONE}", 303)


@router.get(f"{BASE}.jpg")
def picture(desk: DeskDep) -> Response:
    """All photographed heads together, exposed so that the face is well seen."""
    from server.preview.picture import all_lit

    portrait = portrait_of(desk.faces.photographs(), desk.engine.now().rig_now)
    return Response(
        all_lit(portrait), media_type="image/jpeg", headers={"Cache-Control": "private, no-store"}
    )


@router.get(BASE + "/{taps}")
def page(desk: DeskDep, taps: str) -> Response:
    """What was tapped so far, and what it tells."""
    now = desk.engine.now()
    view = camera_view(desk.faces.photographs(), now, Taps.read(now.rig, taps))
    return html(
        "pages/camera.html", view="strip", oob=False, notice="", camera=view,
        strip=strip_view(now), back="/rig",
    )  # fmt: skip


@router.get(BASE + "/{taps}/tap")
async def tap(request: Request, desk: DeskDep, taps: str) -> Response:
    """A tap on the picture."""
    after = tapped(desk.engine.now().rig, taps, request.url.query)
    return RedirectResponse(f"{BASE}/{after.text}", 303)


@router.post(BASE + "/take")
def take(
    request: Request, desk: DeskDep, actor: ActorDep, taps: Annotated[str, Form(max_length=1000)]
) -> Response:
    """Keep what only the camera tells as readings, in place of what it told of the same before."""
    rig = desk.engine.now().rig_now
    portrait = portrait_of(desk.faces.photographs(), rig)
    told, stood = told_by_camera(portrait, rig, Taps.read(rig, taps))
    made = camera_readings(rig, told, stood, portrait.yaw_deg, datetime.now(UTC))
    if not made:
        raise Refused("the camera tells no pair that is not metered or taken already")
    anew = {r.pair for r in made}
    others = (r for r in rig.readings if r.by == "meter" or r.pair not in anew)
    whole = replace(rig, readings=(*others, *made))
    told_words = f"{counted(len(made), 'reading')} told by the camera"
    desk.engine.replace_rig(whole, actor, told_words, instead_of=rig)
    return went(request, f"{BASE}/{taps}")
