"""Pictures of faces, and the planes with which a page lights a face by itself."""

from fastapi import APIRouter, Request, Response

from server.errors import NotFound
from server.store import looks as store
from server.web.desk import DeskDep, SessionDep
from server.web.lights import light_good, light_now, light_of_look, light_on

router = APIRouter(prefix="/faces", include_in_schema=False)
FOR_EVER = "private, max-age=31536000, immutable"
ASK_AGAIN = "private, no-cache"


def _answer(request: Request, made: tuple[str, bytes] | None, v: str) -> Response:
    """The picture, cached for ever under the name of its content."""
    if made is None:
        raise NotFound("this face is not drawn yet: the page shows it as soon as it is")
    version, picture = made
    etag = f'"{version}"'
    headers = {"ETag": etag, "Cache-Control": FOR_EVER if v == version else ASK_AGAIN}
    if request.headers.get("if-none-match") == etag:
        return Response(None, 304, headers)
    return Response(picture, headers=headers, media_type="image/jpeg")


@router.get("/look/{look_id}.jpg")
def look(
    request: Request, desk: DeskDep, session: SessionDep, look_id: int, v: str = ""
) -> Response:
    """A look with its own lens."""
    light = light_of_look(desk.engine.now().rig, store.get_look(session, look_id))
    return _answer(request, desk.faces.picture(light), v)


@router.get("/now.jpg")
def now(request: Request, desk: DeskDep, v: str = "", zones: str = "") -> Response:
    """The light now, with the set lens."""
    light = light_now(desk.engine.now())
    return _answer(request, desk.faces.picture(light, zones=zones == "on"), v)


@router.get("/good.jpg")
def good(request: Request, desk: DeskDep, v: str = "") -> Response:
    """The good frame's light, with the lens it was taken with."""
    light = light_good(desk.engine.now())
    return _answer(request, desk.faces.picture(light) if light else None, v)


@router.get("/stand-in/{name}.jpg")
def stand_in(request: Request, desk: DeskDep, name: str, v: str = "") -> Response:
    """The light now on another stand-in."""
    return _answer(request, desk.faces.picture(light_on(desk.engine.now(), name)), v)


@router.get("/split.jpg")
def split(request: Request, desk: DeskDep, v: str = "") -> Response:
    """Good at camera left, now at camera right."""
    moment = desk.engine.now()
    before = light_good(moment)
    made = desk.faces.split_picture(before, light_now(moment)) if before else None
    return _answer(request, made, v)


@router.get("/planes/{version}.bin")
def planes(desk: DeskDep, version: str) -> Response:
    """Every head's own light on the sitter as it stands, for a page to sum up."""
    made = desk.faces.planes(light_now(desk.engine.now()), version)
    if made is None:
        raise NotFound("these planes are of another rig or not drawn yet")
    headers = {"Content-Encoding": "gzip", "Cache-Control": FOR_EVER}
    return Response(made, headers=headers, media_type="application/octet-stream")
