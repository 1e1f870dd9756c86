"""What the figures rest on; heads that were touched; the fewest readings that would restore it."""

from dataclasses import replace
from datetime import UTC, datetime
from typing import Annotated

from fastapi import APIRouter, Form, Response
from fastapi.responses import JSONResponse, RedirectResponse
from pydantic import BaseModel, ConfigDict, Field

from server.errors import Refused
from server.live.now import Now
from server.web.asked import asked_text, meter_url
from server.web.desk import ActorDep, Desk, DeskDep
from server.web.routes.rig import OF_ROOM
from server.web.taking import light_alone
from server.web.templating import html
from server.web.trust_json import trust_json
from server.web.trusting import trust_now, trust_view
from server.web.views import strip_view

router = APIRouter(include_in_schema=False)
contract = APIRouter(prefix="/api", tags=["contract"])
Word = Annotated[str, Form(max_length=60)]
RIG = "/rig#heads"
PAGE = "/meter/trust"


@router.get("/meter/trust")
async def trust_page(desk: DeskDep) -> Response:
    """Every figure's source and age, and what to read again."""
    now = desk.engine.now()
    return html(
        "pages/meter_trust.html", view="strip", oob=False, notice="", strip=strip_view(now),
        trust=trust_view(now), back=PAGE,
    )  # fmt: skip


@router.post("/meter/trust/take", dependencies=OF_ROOM)
async def take(desk: DeskDep, actor: ActorDep) -> Response:
    """Go and take exactly the readings that are missing; the first head is lit alone."""
    found = trust_now(desk.engine.now())
    if found is None:
        raise Refused("no light: recall a look first to see what its figures rest on")
    if not found.fewest:
        raise Refused("there is nothing to read again: the figures are good to a sixth of a stop")
    light_alone(desk, found.fewest[0][1], actor)
    since = datetime.now(UTC).isoformat()
    return RedirectResponse(meter_url({"since": since, "asked": asked_text(found.fewest)}), 303)


@router.post("/meter/touched", dependencies=OF_ROOM)
async def touched(
    desk: DeskDep, actor: ActorDep, head: Word, on: Annotated[bool, Form()] = True,
    back: Word = PAGE,
) -> Response:  # fmt: skip
    """A head was touched: "about" until one spot reading. Or it was not after all."""
    _touch(desk, head, on, actor)
    return RedirectResponse(RIG if back == RIG else PAGE, 303)


def _touch(desk: Desk, head: str, on: bool, actor: str) -> Now:
    rig = desk.engine.now().rig_now
    named = rig.head(head)
    after = replace(named, touched_at=datetime.now(UTC) if on else None)
    heads = tuple(after if h is named else h for h in rig.heads)
    text = f"{head} touched" if on else f"{head} not touched after all"
    return desk.engine.replace_rig(replace(rig, heads=heads), actor, text)


class Touch(BaseModel):
    """A head that someone knocked, re-aimed or set otherwise, or did not after all."""

    model_config = ConfigDict(extra="forbid")
    head: str = Field(max_length=60, examples=["Key"])
    touched: bool = True


@contract.post("/touched")
async def post_touched(desk: DeskDep, actor: ActorDep, wish: Touch) -> JSONResponse:
    """Doubt a head's readings until one is taken since; answers with the trust after it."""
    return JSONResponse(trust_json(_touch(desk, wish.head, wish.touched, actor)))


@contract.get("/trust")
async def get_trust(desk: DeskDep) -> JSONResponse:
    """How far ratio and lit side are known, in stops, and the fewest readings that would mend it.
    All null in the dark."""
    return JSONResponse(trust_json(desk.engine.now()))
