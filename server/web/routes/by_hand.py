"""By hand: a desk without a data input, set fader by fader from what this page shows."""

from typing import Annotated

from fastapi import APIRouter, Form, Request, Response

from server.studio.faders import Faders
from server.web.desk import Desk, DeskDep
from server.web.routes.live import answer
from server.web.templating import html
from server.web.views import strip_view

router = APIRouter(include_in_schema=False)
PAGE = "/by-hand"
HeadName = Annotated[str, Form(max_length=200)]


@router.get(PAGE)
async def by_hand(desk: DeskDep) -> Response:
    """Which faders must move, the largest change first."""
    now = desk.engine.now()
    return html(
        "pages/by_hand.html", view="by_hand", oob=False, notice="", strip=strip_view(now),
        hands=desk.hands.view(now), back=PAGE,
    )  # fmt: skip


@router.post(f"{PAGE}/set")
async def is_set(
    request: Request, desk: DeskDep, head: HeadName, number: Annotated[int, Form(ge=0, le=100)]
) -> Response:
    """A fader was moved to the number that the page showed."""
    desk.hands.change(desk.engine.now(), lambda faders: faders.ticked(head, number))
    return _told(request, desk)


@router.post(f"{PAGE}/not-set")
async def not_set(request: Request, desk: DeskDep, head: HeadName) -> Response:
    """A tick was a mistake."""
    desk.hands.change(desk.engine.now(), lambda faders: faders.unticked(head))
    return _told(request, desk)


@router.post(f"{PAGE}/all-set")
async def all_set(request: Request, desk: DeskDep) -> Response:
    """Every fader stands as the light wants it."""
    desk.hands.change(desk.engine.now(), Faders.all_ticked)
    return _told(request, desk)


def _told(request: Request, desk: Desk) -> Response:
    desk.hub.nudge()
    return answer(request, PAGE)
