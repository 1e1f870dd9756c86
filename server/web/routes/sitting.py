"""The sitting: what was done, and the way back to the light of any good frame."""

from typing import Annotated

from fastapi import APIRouter, Form, Request, Response

from server.errors import NotFound, Refused
from server.live.now import Now
from server.live.owner import Move
from server.store import journal
from server.studio.document import setting_from_document
from server.studio.setting import kept_over
from server.web.desk import ActorDep, DeskDep, SessionDep
from server.web.routes.live import answer
from server.web.templating import events_of, html
from server.web.views import strip_view

router = APIRouter(include_in_schema=False)


@router.get("/sitting")
async def sitting(desk: DeskDep) -> Response:
    """What was done, the newest first; good frames are starred."""
    now = desk.engine.now()
    return html(
        "pages/sitting.html", view="sitting", oob=False, notice="", strip=strip_view(now),
        events=events_of(desk), back="/sitting",
    )  # fmt: skip


@router.post("/live/good-frame")
async def good_frame(
    request: Request, desk: DeskDep, actor: ActorDep, session: SessionDep,
    event: Annotated[int, Form()],
) -> Response:  # fmt: skip
    """Back to the light of a good frame of this sitting."""
    told = journal.event(session, event)
    if told is None or "setting" not in told.detail:
        raise NotFound("that line is not a good frame whose light was kept")
    setting = setting_from_document(told.detail["setting"])

    def decide(now: Now) -> Move:
        lens = now.record.history.now.setting.lens  # the camera is the photographer's
        there = kept_over(now.rig, setting)
        gone = [n for n, s in setting.stops.items() if s is not None and n not in there.stops]
        if gone:
            raise Refused(f"that light needs {', '.join(gone)}, which this rig has not got")
        return Move(
            there.with_lens(lens), "back to good", "back to an earlier good frame",
        )  # fmt: skip

    desk.engine.make(decide, actor)
    return answer(request, "/sitting")
