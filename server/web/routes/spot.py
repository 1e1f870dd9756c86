"""Tap a spot of the face: its reading, and a third darker or lighter there."""

from math import isfinite
from typing import Annotated, Any

from fastapi import APIRouter, Form, Query, Request, Response
from fastapi.responses import JSONResponse
from pydantic import BaseModel, Field

from server.errors import OutOfRange
from server.live.engine import Engine
from server.live.now import Now
from server.live.owner import Move
from server.studio.spot import SpotChange
from server.web.desk import ActorDep, Desk, DeskDep
from server.web.face_views import face_now
from server.web.routes.live import answer
from server.web.spots import change_of, heads_words, reading_of, spot_view
from server.web.state import state_answer
from server.web.templating import html
from server.web.views import strip_view

router = APIRouter(include_in_schema=False)
contract = APIRouter(prefix="/api", tags=["contract"])
Place = Annotated[float, Query(ge=0, le=1, examples=[0.5])]
WIDTH, HEIGHT = 320, 400


@router.get("/board/spot")
async def spot_page(request: Request, desk: DeskDep) -> Response:
    """One spot; without JavaScript the browser itself adds where the picture was tapped."""
    x, y = _tapped(request.url.query)
    now = desk.engine.now()
    return html(
        "pages/spot.html", view="strip", oob=False, notice="", strip=strip_view(now),
        spot=spot_view(desk.faces, now, x, y), face=face_now(desk.faces, now), back="/board/spot",
    )  # fmt: skip


def _tapped(query: str) -> tuple[float, float]:
    """`x=0.5&y=0.5` in parts of the picture, or `160,200` in its pixels (an image map)."""
    if not query:  # by keyboard: the middle of the face
        return 0.5, 0.45
    fields = dict(part.partition("=")[::2] for part in query.split("&"))
    try:
        if "x" in fields:
            x, y = float(fields["x"]), float(fields["y"])
        else:
            column, _, row = query.partition(",")
            x, y = float(column) / (WIDTH - 1), float(row) / (HEIGHT - 1)
    except (ValueError, KeyError):
        raise OutOfRange("tap the face on the Board to choose a spot") from None
    if not (isfinite(x) and isfinite(y) and 0 <= x <= 1 and 0 <= y <= 1):
        raise OutOfRange("x and y must lie in 0..1, from the upper left of the face")
    return x, y


@router.post("/live/spot")
async def spot_change(
    request: Request, desk: DeskDep, actor: ActorDep, x: Annotated[float, Form(ge=0, le=1)],
    y: Annotated[float, Form(ge=0, le=1)], thirds: Annotated[int, Form(ge=-9, le=9)],
) -> Response:  # fmt: skip
    """A third darker or lighter there: one step, one undo."""
    _move(desk, x, y, thirds, actor)
    return answer(request, f"/board/spot?x={x:.4f}&y={y:.4f}")


def _move(desk: Desk, x: float, y: float, thirds: int, actor: str) -> tuple[Now, SpotChange]:
    engine: Engine = desk.engine
    done: list[SpotChange] = []

    def decide(now: Now) -> Move:
        change = change_of(desk.faces, now, x, y, thirds)
        done.append(change)
        way = "lighter" if thirds > 0 else "darker"
        text = f"a spot {way}: {heads_words(change) or 'nothing moves'}"
        return Move(change.setting, "spot", text, engine.nudge_seconds())

    return engine.make(decide, actor), done[-1]


class SpotWish(BaseModel):
    """A spot of the face, and by how many thirds of a stop it is to move."""

    x: float = Field(ge=0, le=1, examples=[0.5])
    y: float = Field(ge=0, le=1, examples=[0.4])
    thirds: int = Field(ge=-9, le=9, examples=[-1])


@contract.get("/spot")
async def get_spot(desk: DeskDep, x: Place, y: Place) -> JSONResponse:
    """What a spot of the face reads, and which heads make it."""
    reading = reading_of(desk.faces, desk.engine.now(), x, y)
    return JSONResponse(
        {
            "luminance_cd_m2": reading.luminance_cd_m2,
            "grey_card_lux": reading.grey_card_lux,
            "over_grey_stops": reading.over_grey_stops,
            "from_lit_stops": reading.from_lit_stops,
            "zone": reading.zone,
            "makers": [
                {"head": name, "share": share, "without_stops": without}
                for name, share, without in reading.makers
            ],
        }
    )


@contract.post("/spot")
async def post_spot(desk: DeskDep, actor: ActorDep, wish: SpotWish) -> Response:
    """Make a spot darker or lighter by the smallest change of the heads."""
    now, change = _move(desk, wish.x, wish.y, wish.thirds, actor)
    return state_answer(now, spot=_json(change))


@contract.post("/spot/preview")
async def preview_spot(desk: DeskDep, wish: SpotWish) -> JSONResponse:
    """What that change would do, without doing it."""
    return JSONResponse(
        _json(change_of(desk.faces, desk.engine.now(), wish.x, wish.y, wish.thirds))
    )


def _json(change: SpotChange) -> dict[str, Any]:
    return {
        "asked_stops": change.asked_stops,
        "got_stops": change.got_stops,
        "heads": [{"head": name, "thirds": thirds} for name, thirds in change.heads],
        "elsewhere": [{"point": name, "stops": stops} for name, stops in change.elsewhere],
        "why": change.why or None,
    }
