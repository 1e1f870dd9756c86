"""A wanted stop from a page: what the light should do, then the start command ends everything."""

import os
import signal
from typing import Annotated, Literal

from fastapi import APIRouter, Form, Response
from starlette.background import BackgroundTask

from server.errors import Refused
from server.web.desk import ActorDep, DeskDep
from server.web.templating import html
from server.web.views import strip_view

router = APIRouter(include_in_schema=False)
STOP = "/rig/stop"
LEFT = {
    "fade": "The light fades down, then Thirdstop ends.",
    "hold": "The light stays as it is, Thirdstop ends. Start it again to take the light over.",
    "end": "Thirdstop ends, and the signal with it.",
}


@router.get(STOP)
async def stop_page(desk: DeskDep) -> Response:
    """Asks what the light should do."""
    now = desk.engine.now()
    return html(
        "pages/stop.html", view="strip", oob=False, notice="", strip=strip_view(now),
        has_lamps=desk.settings.has_lamps, stopped="", back=STOP,
    )  # fmt: skip


@router.post(STOP)
async def stop(
    desk: DeskDep, actor: ActorDep, light: Annotated[Literal["fade", "hold", "end"], Form()]
) -> Response:
    """Tell the start command, once this has been answered."""
    parent = os.getppid()
    if desk.settings.stop_fd < 0:
        raise Refused("this server was not started by the start command: end it where it runs")
    os.write(desk.settings.stop_fd, f"{light}\n".encode())
    answer = html(
        "pages/stop.html", view="strip", oob=False, notice="", strip=strip_view(desk.engine.now()),
        has_lamps=desk.settings.has_lamps, stopped=LEFT[light], back=STOP,
    )  # fmt: skip
    answer.background = BackgroundTask(os.kill, parent, signal.SIGTERM)
    return answer
