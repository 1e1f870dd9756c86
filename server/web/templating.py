"""Jinja set-up, and the parts of a page that change with the light."""

from collections.abc import Callable
from typing import Any
from urllib.parse import quote

from fastapi import Request, Response
from fastapi.responses import RedirectResponse
from jinja2 import Environment, FileSystemLoader, StrictUndefined
from sqlmodel import Session

from server.errors import NotFound
from server.live.now import Now
from server.paths import STATIC, TEMPLATES
from server.store import journal
from server.store import looks as store
from server.store.devices import Device
from server.studio.look import Look
from server.web.board_rows import board_view, each_head
from server.web.desk import Desk
from server.web.face_views import (
    compare_view,
    drawing_words,
    face_now,
    stand_in_views,
    tile_face,
)
from server.web.left_off import left_off_words
from server.web.placing import placing_view
from server.web.plan import plans
from server.web.sitting import EventView, event_view
from server.web.views import looks_view, strip_view
from server.web.warming import minute_of

VIEWS = (
    "looks", "board", "heads", "compare", "library", "sitting", "rig", "strip", "by_hand",
    "placing", "whole_plan",
)  # fmt: skip
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


def went(request: Request, path: str) -> Response:
    """After a form was taken in: on to a page. (When it was not, a notice, and the form stays.)"""
    path = quote(path, safe="/?&=#%:+,.-_~")  # a header holds latin letters only
    if is_htmx(request):
        return Response(status_code=204, headers={"HX-Redirect": path})
    return RedirectResponse(path, 303)


def page_parts(desk: Desk, view: str) -> Callable[[Now], str]:
    """Renders the parts of a page that change with the light, one rendering a revision."""
    kind, _, name = view.partition(":")
    if kind not in VIEWS:
        raise NotFound(f"view must be one of {', '.join(VIEWS)}, got {view!r:.40}")
    if kind == "placing":
        desk.engine.now().rig.head(name)
    template = jinja.get_template(f"parts/{kind}.html")

    def render(now: Now) -> str:
        news = (desk.faces.news, desk.hands.news, minute_of(now))
        key = (view, now.revision, now.fading, news)
        known = desk.rendered.get(view)
        if known and known[0] == key:
            return known[1]
        text = template.render(oob=True, strip=strip_view(now), **_more(desk, kind, now, name))
        desk.rendered[view] = (key, text)
        return text

    return render


def floor_parts(desk: Desk, device: Device) -> Callable[[], str]:
    """Renders what stands beside the light on one device's pages: the floor and the wishes."""
    template = jinja.get_template("parts/floor.html")

    def render() -> str:
        me = desk.doors.now(device)
        held = desk.floor.holder
        may = "ask" if me.role == "operate" and desk.floor.must_ask(me) else me.role
        asks = desk.floor.asks()
        return template.render(
            oob=True, role=may, holder=held.name if held else "",
            mine=held is not None and held.device_id == me.device_id,
            asks=[(a.number, f"{a.device.name} asks: {a.text}", a.device.device_id == me.device_id)
                  for a in asks],
        )  # fmt: skip

    return render


def _more(desk: Desk, view: str, now: Now, name: str) -> dict[str, Any]:
    faces = desk.faces
    if view == "board":
        return {
            "board": board_view(now), "face": face_now(faces, now),
            "left_off": left_off_words(now),
        }  # fmt: skip
    if view == "heads":
        return {"rows": each_head(now)}
    if view == "sitting":
        return {"events": events_of(desk)}
    if view == "looks":
        looks = looks_view(now, order_of(desk), 0, faces, tiles_only=True)
        return {"looks": looks, "drawing": drawing_words(faces)}
    if view == "library":
        shown = [tile_face(faces, now.rig, look) for look in faces.recent_looks(SHOWN_AT_MOST)]
        return {"shown": shown, "drawing": drawing_words(faces)}
    if view == "by_hand":
        return {"hands": desk.hands.view(now)}
    if view == "rig":
        return {"stand_ins": stand_in_views(faces, now)}
    if view == "whole_plan":
        return {"plans": plans(now.rig, now.setting.yaw_deg, now.setting.stops)}
    if view == "placing":
        return {"placing": placing_view(desk, now, name)}
    if view == "compare":
        return {"compare": compare_view(faces, now)}
    return {}


def events_of(desk: Desk) -> list[EventView]:
    """What was done, the newest first. A look at the good frame is nothing done."""
    with Session(desk.database) as session:
        return [event_view(event) for event in journal.events(session, but=("compare",))]


def order_of(desk: Desk) -> list[Look]:
    """The running order."""
    with Session(desk.database) as session:
        return store.running_order(session)
