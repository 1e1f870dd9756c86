"""The way back from a metering pass or a channel walk that was left half way."""

from typing import Annotated

from fastapi import APIRouter, Form, Request, Response

from server.web.desk import ActorDep, DeskDep
from server.web.left_off import light_before
from server.web.routes.live import answer

router = APIRouter(include_in_schema=False)


@router.post("/live/light-before")
async def back_to_the_light_before(
    request: Request, desk: DeskDep, actor: ActorDep, back: Annotated[str, Form()] = "/board"
) -> Response:
    """Back to the light before; a walk is given up."""
    desk.engine.make(light_before, actor)
    desk.walking.walk = None
    return answer(request, back)
