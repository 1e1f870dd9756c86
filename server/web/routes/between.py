"""Between two lights: half-way, a walk in so many presses, and the light turned round."""

from typing import Annotated

from fastapi import APIRouter, Form, Request, Response
from pydantic import BaseModel, Field

from server.errors import Refused
from server.live.fade import RECALL_S
from server.live.now import Now
from server.live.owner import Move
from server.store import looks as store
from server.studio.flip import Flipped, flipped
from server.studio.way_words import signed
from server.web.desk import ActorDep, Desk, DeskDep, EngineDep, SessionDep
from server.web.state import state_answer
from server.web.templating import html, went
from server.web.views import strip_view
from server.web.words import point_words

router = APIRouter(include_in_schema=False)
contract = APIRouter(prefix="/api", tags=["contract"])
PAGE = "/board/between"
STEPS = (3, 5, 8)


@router.get(PAGE)
async def between_page(desk: DeskDep, session: SessionDep, steps: int = 5) -> Response:
    """Half-way to a look, a walk to it, or this light for a sitter who turns the other way."""
    now = desk.engine.now()
    walk = desk.strolling.under_way(now)
    return html(
        "pages/between.html", view="strip", oob=False, notice="", strip=strip_view(now),
        looks=[(k.look_id, k.name) for k in store.running_order(session)
               if not k.missing_heads(now.rig)],
        steps=steps if steps in STEPS else 5, choices=STEPS,
        walk=f"{walk.at} of {walk.steps} on the way to {walk.look.name}" if walk else "",
        flip=_flip_words(now), back=PAGE,
    )  # fmt: skip


def _flip_words(now: Now) -> tuple[str, bool]:
    """What turning the light round would give, and whether it can be done at all."""
    try:
        found = flipped(now.rig, now.record.history.now.setting)
    except Refused as error:
        return str(error), False
    off = ", ".join(f"{point_words(name)} {signed(stops)}" for name, stops in found.off)
    told = f"{found.was.told} becomes {found.then.told}"
    if found.reached:
        return f"{told}; every point within a sixth of a stop.", True
    return f"{told}. These heads cannot give all of it: {off}.", True


@router.post("/live/half-way")
async def half_way(
    request: Request, engine: EngineDep, session: SessionDep, actor: ActorDep,
    look: Annotated[int, Form()],
) -> Response:  # fmt: skip
    """Half-way to a look, in stops."""
    engine.mix(store.get_look(session, look), 0.5, actor=actor)
    return went(request, "/board")


@router.post("/live/walk")
async def walk(
    request: Request, desk: DeskDep, session: SessionDep, actor: ActorDep,
    look: Annotated[int, Form()], steps: Annotated[int, Form()],
) -> Response:  # fmt: skip
    """The pedal, and Next look, go to this look step by step from now on."""
    desk.strolling.begin(desk.engine.now(), store.get_look(session, look), steps)
    desk.engine.make(lambda now: desk.strolling.pressed(now, 1), actor)
    return went(request, PAGE)


@router.post("/live/walk/step")
async def walk_step(
    request: Request, desk: DeskDep, actor: ActorDep, by: Annotated[int, Form(ge=-1, le=1)]
) -> Response:
    """One press more, or one back."""
    stroll(desk, by, actor)
    return went(request, PAGE)


@router.post("/live/walk/end")
async def walk_end(request: Request, desk: DeskDep) -> Response:
    """Stay here; the pedal calls looks again."""
    desk.strolling.end()
    return went(request, PAGE)


def stroll(desk: Desk, by: int, actor: str) -> Now:
    """A press of the pedal while a walk is on."""
    if desk.strolling.under_way(desk.engine.now()) is None:
        raise Refused("no walk is on: choose a look to walk to")
    return desk.engine.make(lambda now: desk.strolling.pressed(now, by), actor)


@router.post("/live/flip")
async def flip(request: Request, desk: DeskDep, actor: ActorDep) -> Response:
    """This light for a sitter who turns the other way: one step, one undo."""
    _flip(desk, actor)
    return went(request, "/board")


def _flip(desk: Desk, actor: str) -> tuple[Now, Flipped]:
    done: list[Flipped] = []

    def decide(now: Now) -> Move:
        done.append(flipped(now.rig, now.record.history.now.setting))
        return Move(done[-1].setting, "flip", "turned round", RECALL_S)

    return desk.engine.make(decide, actor), done[-1]


class Walk(BaseModel):
    """A look to walk to, in how many presses."""

    look: int = Field(examples=[3])
    steps: int = Field(default=5, ge=2, le=12, examples=[5])


@contract.post("/walk")
async def post_walk(desk: DeskDep, session: SessionDep, actor: ActorDep, wish: Walk) -> Response:
    """Take the first step of a walk to a look; `POST /api/walk/step` takes the next."""
    desk.strolling.begin(desk.engine.now(), store.get_look(session, wish.look), wish.steps)
    return state_answer(stroll(desk, 1, actor))


class WalkStep(BaseModel):
    """On, or back."""

    by: int = Field(default=1, ge=-1, le=1, examples=[1])


@contract.post("/walk/step")
async def post_walk_step(desk: DeskDep, actor: ActorDep, wish: WalkStep) -> Response:
    """The next step of a walk, or one back."""
    return state_answer(stroll(desk, wish.by, actor))


@contract.post("/flip")
async def post_flip(desk: DeskDep, actor: ActorDep) -> Response:
    """Turn the light round for a sitter who faces the other way."""
    now, found = _flip(desk, actor)
    off = [{"point": name, "stops": stops} for name, stops in found.off]
    return state_answer(now, flip={"reached": found.reached, "off": off})
