"""A head or a circuit is out: two taps to say so, the nearest picture with what is left."""

import asyncio
from collections.abc import Sequence
from typing import Annotated, Any

from fastapi import APIRouter, Form, Request, Response
from fastapi.responses import JSONResponse
from pydantic import BaseModel, Field

from server.errors import NotFound, Refused
from server.live.fade import RECALL_S
from server.live.now import Now
from server.live.owner import Move
from server.studio.rescue import Rescue, rescued, with_out
from server.web.desk import ActorDep, Desk, DeskDep
from server.web.rescue import rescue_json, rescue_view
from server.web.state import state_answer
from server.web.templating import html, went
from server.web.views import strip_view

router = APIRouter(include_in_schema=False)
contract = APIRouter(prefix="/api", tags=["contract"])
PAGE = "/board/out"
ONE_AFTER_ANOTHER_S = 2.0
"""Between heads of a circuit that come back: a cold filament draws many times its current for a
moment (common practice). [s]"""


@router.get(PAGE)
async def out_page(desk: DeskDep) -> Response:
    """Which head or circuit is out, what it does to the picture, and what would make up for it."""
    now = desk.engine.now()
    lit = [h.head for h in now.figures.heads if h.output > 0]
    out = [h for h in now.rig.heads if h.out]
    circuits = {h.circuit for h in lit if h.circuit}
    return html(
        "pages/out.html", view="strip", oob=False, notice="", strip=strip_view(now),
        lit=[h.name for h in lit], out=[h.name for h in out],
        circuits=[c.name for c in now.rig.room.circuits if c.name in circuits],
        dead_circuits=[c.name for c in now.rig.room.circuits
                       if sum(h.circuit == c.name for h in out) > 1],
        rescue=_view(now), back=PAGE,
    )  # fmt: skip


def _view(now: Now) -> Any:
    try:
        return rescue_view(_rescued(now))
    except Refused:
        return None


def _rescued(now: Now) -> Rescue:
    return rescued(now.rig, now.record.history.now.setting)


@router.post("/live/out")
async def out(
    request: Request, desk: DeskDep, actor: ActorDep, head: Annotated[str, Form()] = "",
    circuit: Annotated[str, Form()] = "",
) -> Response:  # fmt: skip
    """This head is out, or every head on this circuit."""
    _mark(desk, _named(desk.engine.now(), head, circuit), True, circuit or head, actor)
    return went(request, PAGE)


@router.post("/live/in-again")
async def in_again(
    request: Request, desk: DeskDep, actor: ActorDep, head: Annotated[str, Form()] = "",
    circuit: Annotated[str, Form()] = "",
) -> Response:  # fmt: skip
    """It is back: heads fade in from low, one after another."""
    names = _named(desk.engine.now(), head, circuit)
    _mark(desk, names[:1], False, names[0], actor)
    _expect(desk, names[1:], actor)
    return went(request, PAGE)


def _expect(desk: Desk, names: Sequence[str], actor: str) -> None:
    """These heads come back one after another, unless they are said to be out once more."""
    if names:
        desk.expected_back |= set(names)
        room_id = desk.engine.now().record.room_id
        desk.coming_back(_one_after_another(desk, names, room_id, actor))


async def _one_after_another(desk: Desk, names: Sequence[str], room_id: int, actor: str) -> None:
    for name in names:
        await asyncio.sleep(ONE_AFTER_ANOTHER_S)
        now = desk.engine.now()
        if now.record.room_id != room_id:
            return  # another room was opened: what is out there is said there
        if name in desk.expected_back and any(h.name == name and h.out for h in now.rig.heads):
            _mark(desk, [name], False, name, actor)


def _named(now: Now, head: str, circuit: str) -> list[str]:
    if bool(head) == bool(circuit):
        raise NotFound("name either a head or a circuit")
    if head:
        return [now.rig.head(head).name]
    names = [h.name for h in now.rig.heads if h.circuit == circuit]
    if not names:
        raise NotFound(f"no head hangs on a circuit called {circuit!r:.60}")
    return names


def _mark(desk: Desk, names: Sequence[str], out: bool, what: str, actor: str) -> Now:
    desk.expected_back -= set(names)
    rig = with_out(desk.engine.now().rig_now, names, out)
    return desk.engine.replace_rig(rig, actor, f"{what} is {'out' if out else 'back'}")


@router.post("/live/rescue")
async def rescue(request: Request, desk: DeskDep, actor: ActorDep) -> Response:
    """The nearest picture with what is left: one step, one undo."""
    _take(desk, actor)
    return went(request, "/board")


def _take(desk: Desk, actor: str) -> tuple[Now, Rescue]:
    done: list[Rescue] = []

    def decide(now: Now) -> Move:
        found = _rescued(now)
        done.append(found)
        # the dead heads' light is made up for: were they to come back, it would be there twice
        there = found.setting.with_stops(dict.fromkeys(found.out, None))
        return Move(there, "rescue", f"without {', '.join(found.out)}", RECALL_S)

    now = desk.engine.make(decide, actor)
    return now, done[-1]


class Out(BaseModel):
    """Heads, or all of a circuit, that are out or back."""

    head: str = Field(default="", max_length=100, examples=["Fill"])
    circuit: str = Field(default="", max_length=100, examples=[""])
    out: bool = Field(default=True, examples=[True])


@contract.post("/out")
async def post_out(desk: DeskDep, actor: ActorDep, wish: Out) -> Response:
    """Say that a head or a circuit is out, or back. Heads of a circuit come back one by one."""
    names = _named(desk.engine.now(), wish.head, wish.circuit)
    first = names if wish.out else names[:1]
    now = _mark(desk, first, wish.out, wish.circuit or wish.head, actor)
    if not wish.out:
        _expect(desk, names[1:], actor)
    return state_answer(now)


@contract.get("/rescue")
async def get_rescue(desk: DeskDep) -> JSONResponse:
    """What would make up for the heads that are out, without doing it."""
    return JSONResponse(rescue_json(_rescued(desk.engine.now())))


@contract.post("/rescue")
async def post_rescue(desk: DeskDep, actor: ActorDep) -> Response:
    """Go to the nearest picture with what is left."""
    now, found = _take(desk, actor)
    return state_answer(now, rescue=rescue_json(found))
