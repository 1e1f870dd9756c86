"""The call that carries looks of another room: worked out, and stored when asked to."""

from asyncio import to_thread
from collections.abc import Mapping
from typing import Any, Literal

from fastapi import APIRouter
from fastapi.responses import JSONResponse
from pydantic import BaseModel, Field
from sqlmodel import Session

from server.errors import NotFound, StudioError
from server.store import look_files
from server.store import looks as store
from server.studio.carry import Carried, Carry
from server.studio.look import Look
from server.studio.sure import Figure, Sureness
from server.web.carrying import looks_to_store
from server.web.desk import Desk, DeskDep, SessionDep
from server.web.routes.carry import STORING, other_room

contract = APIRouter(prefix="/api", tags=["contract"])


class CarryWish(BaseModel):
    """Looks of another room, all of them when none is named, and who stands for whom here."""

    room: int = Field(ge=1, examples=[2])
    looks: list[int] = Field(default=[], max_length=500, examples=[[3]])
    pairs: dict[str, str | None] = Field(default={}, max_length=512, examples=[{"Key": "Key"}])
    lens: Literal["some", "always", "never"] = "some"
    store: bool = Field(default=False, examples=[False])


@contract.post(
    "/carry",
    responses={
        404: {"description": "There is no such room, look or head."},
        409: {"description": "The room is archived, or a look to be stored cannot be carried."},
    },
)
async def post_carry(desk: DeskDep, session: SessionDep, wish: CarryWish) -> JSONResponse:
    """Each look as it would be in the open room: verdict, ratio, lens, what is missing. With
    `store` the looks are kept here, all or none, and their ids answered."""
    return JSONResponse(await to_thread(_carried, desk, session, wish))


def _carried(desk: Desk, session: Session, wish: CarryWish) -> dict[str, Any]:
    source, now = other_room(desk, session, wish.room), desk.engine.now()
    target = now.rig_now
    carry = Carry(source, target, wish.pairs, wish.lens)
    sure = Sureness(carry)
    looks = store.all_looks(session, wish.room)
    if wish.looks:
        known = {look.look_id: look for look in looks}
        if missing := [n for n in wish.looks if n not in known]:
            raise NotFound(f"looks: {source.room.name} has no look {missing[0]}")
        looks = [known[n] for n in dict.fromkeys(wish.looks)]
    answer: dict[str, Any] = {
        "from": source.room.name,
        "to": target.room.name,
        "pairs": dict(carry.pairs),
        "looks": [_look_json(carry, sure, look) for look in looks],
    }
    if wish.store:
        with STORING:
            made = looks_to_store(carry, looks, store.all_looks(session))
            answer["stored"] = look_files.add_looks(session, made, now.record.room_id)
    return answer


def _look_json(carry: Carry, sure: Sureness, look: Look) -> dict[str, Any]:
    told: dict[str, Any] = {"id": look.look_id, "name": look.name}
    try:
        done = carry.carried(look)
    except StudioError as error:
        return told | {"verdict": "cannot", "why": str(error)}
    return told | _json(done, sure.figures(done))


def _json(done: Carried, figures: Mapping[str, Figure]) -> dict[str, Any]:
    return {
        "verdict": done.verdict,
        "ratio": {"before": done.before.value, "after": done.ratio.value},
        "f_number": {"before": done.look.lens.f_number, "after": done.setting.lens.f_number},
        "down_stops": done.down_stops,
        "heads": {n: None if s is None else float(s) for n, s in done.setting.stops.items()},
        "off": [
            {"point": p, "stops": s, "give_or_take_stops": figures[p].give_or_take_stops}
            for p, s in done.off
        ],
        "short": [{"head": s.head, "stops": s.stops, "point": s.point} for s in done.short],
        "absent": [{"head": a.head, "point": a.point, "lux": a.lux} for a in done.absent],
    }
