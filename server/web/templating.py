"""Jinja set-up, and the parts of a page that change with the light."""

from collections.abc import Callable
from typing import Any

from fastapi import Request, Response
from jinja2 import Environment, FileSystemLoader, StrictUndefined
from sqlmodel import Session

from server.errors import NotFound
from server.live.now import Now
from server.paths import STATIC, TEMPLATES
from server.store import looks as store
from server.studio.look import Look
from server.web.desk import Desk
from server.web.face_views import compare_view, drawing_words, face_now, tile_face
from server.web.views import board_view, looks_view, strip_view

VIEWS = ("looks", "board", "compare", "library", "strip")
SHOWN_AT_MOST = 24

jinja = Environment(
    loader=FileSystemLoader(TEMPLATES),
    autoescape=True,
    undefined=StrictUndefined,
    trim_blocks=True,
    lstrip_blocks=True,
)
ASSET_VERSION = str(
    int(max((p.stat().st_mtime for p in STATIC.rglob("*") if p.is_file()), default=0))
)
jinja.globals["asset"] = lambda name: f"/static/{name}?v={ASSET_VERSION}"


def html(template: str, status: int = 200, **context: Any) -> Response:
    """A rendered template as an answer."""
    return Response(jinja.get_template(template).render(**context), status, media_type="text/html")


def is_htmx(request: Request) -> bool:
    """Whether htmx asks, so that an answer of parts will do."""
    return request.headers.get("HX-Request") == "true"


def page_parts(desk: Desk, view: str) -> Callable[[Now], str]:
    """Renders the parts of a page that change with the light, one rendering a revision."""
    if view not in VIEWS:
        raise NotFound(f"view must be one of {', '.join(VIEWS)}, got {view!r:.40}")
    template = jinja.get_template(f"parts/{view}.html")

    def render(now: Now) -> str:
        key = (view, now.revision, now.fading, desk.faces.news)
        known = desk.rendered.get(view)
        if known and known[0] == key:
            return known[1]
        text = template.render(oob=True, strip=strip_view(now), **_more(desk, view, now))
        desk.rendered[view] = (key, text)
        return text

    return render


def _more(desk: Desk, view: str, now: Now) -> dict[str, Any]:
    faces = desk.faces
    if view == "board":
        return {"board": board_view(now), "face": face_now(faces, now)}
    if view == "looks":
        looks = looks_view(now, order_of(desk), 0, faces, tiles_only=True)
        return {"looks": looks, "drawing": drawing_words(faces)}
    if view == "library":
        shown = [tile_face(faces, now.rig, look) for look in faces.recent_looks(SHOWN_AT_MOST)]
        return {"shown": shown, "drawing": drawing_words(faces)}
    if view == "compare":
        return {"compare": compare_view(faces, now)}
    return {}


def order_of(desk: Desk) -> list[Look]:
    """The running order."""
    with Session(desk.database) as session:
        return store.running_order(session)
