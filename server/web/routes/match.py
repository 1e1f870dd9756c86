"""Match a picture: drop one in, tap the named points, get the light that is nearest to it."""

from typing import Annotated

from fastapi import APIRouter, File, Form, Request, Response, UploadFile
from fastapi.responses import RedirectResponse
from sqlmodel import Session

from server.live.now import Now
from server.live.owner import Move
from server.store import looks as store
from server.studio.look import Look
from server.web.desk import ActorDep, DeskDep, SessionDep
from server.web.pictures import found_light, match_view
from server.web.tapping import Taps, tapped
from server.web.templating import html, went
from server.web.views import strip_view

router = APIRouter(include_in_schema=False)


@router.get("/match")
async def begin(desk: DeskDep) -> Response:
    """Drop a picture in."""
    return html(
        "pages/match.html", view="strip", oob=False, notice="", match=None,
        strip=strip_view(desk.engine.now()), back="/library",
    )  # fmt: skip


@router.post("/match/picture")
def picture(request: Request, desk: DeskDep, file: Annotated[UploadFile, File()]) -> Response:
    """Read it. (A plain function: decoding takes a while.)"""
    key = desk.pictures.take(file.filename or "picture", file.file.read())
    return went(request, f"/match/{key}/none")


@router.get("/match/{key}.jpg")
async def shown(desk: DeskDep, key: str) -> Response:
    """The picture as it was read."""
    headers = {"Cache-Control": "private, max-age=86400"}
    return Response(desk.pictures.get(key)[1], headers=headers, media_type="image/jpeg")


@router.get("/match/{key}/{taps}")
def page(desk: DeskDep, session: SessionDep, key: str, taps: str) -> Response:
    """The picture with what was tapped, and what comes nearest. (Fitting takes a moment.)"""
    now = desk.engine.now()
    view = match_view(desk.pictures, desk.faces, now, looks(session), key, Taps.read(now.rig, taps))
    return html(
        "pages/match.html", view="strip", oob=False, notice="", match=view, strip=strip_view(now),
        back="/library",
    )  # fmt: skip


@router.get("/match/{key}/{taps}/tap")
async def tap(request: Request, desk: DeskDep, key: str, taps: str) -> Response:
    """A tap on the picture: the browser itself adds where, as `?160,200` (an image map)."""
    after = tapped(desk.engine.now().rig, taps, request.url.query)
    return RedirectResponse(f"/match/{key}/{after.text}", 303)


@router.post("/match/light")
def light(
    request: Request, desk: DeskDep, session: SessionDep, actor: ActorDep,
    picture: Annotated[str, Form(max_length=40)], taps: Annotated[str, Form(max_length=1000)],
) -> Response:  # fmt: skip
    """Light it: one step, one undo."""
    known = looks(session)

    def decide(now: Now) -> Move:
        _, mix = found_light(desk.pictures, now, known, picture, Taps.read(now.rig, taps))
        return Move(mix.setting, "match", "the light of a picture")

    desk.engine.make(decide, actor)
    return went(request, f"/match/{picture}/{taps}")


def looks(session: Session) -> list[Look]:
    """The looks of this room: of another one the heads stand elsewhere."""
    return store.all_looks(session)
