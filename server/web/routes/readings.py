"""Readings as the contract knows them: listed, taken of the head that is lit, taken back."""

from fastapi import APIRouter
from fastapi.responses import JSONResponse
from pydantic import BaseModel, ConfigDict, Field

from server.studio.document import reading_document
from server.studio.readings import lux_of_meter
from server.web.desk import ActorDep, DeskDep
from server.web.taking import forget_reading, keep_reading, point_of, reading_now

contract = APIRouter(prefix="/api", tags=["contract"])


class NewReading(BaseModel):
    """What the meter shows with one head lit alone, or with all dark for the room's own light."""

    model_config = ConfigDict(extra="forbid", allow_inf_nan=False)
    point: str = Field(max_length=60, examples=["cheek right"])
    head: str = Field("", max_length=60, examples=["Key"])
    kind: str = Field("lux", examples=["lux"])
    value: float = Field(examples=[812.0])
    iso: float = 100.0
    shutter_s: float = 1 / 125
    tenths: float = 0.0
    shaded: bool = False


@contract.get("/readings")
async def get_readings(desk: DeskDep) -> JSONResponse:
    """Every reading, numbered from 1 in the order it was taken."""
    rig = desk.engine.now().rig
    return JSONResponse(
        [{"number": n, **reading_document(r)} for n, r in enumerate(rig.readings, start=1)]
    )


@contract.post("/readings")
async def post_reading(desk: DeskDep, actor: ActorDep, wish: NewReading) -> JSONResponse:
    """Take a reading of the head that is lit alone now."""
    now = desk.engine.now()
    lux = lux_of_meter(
        wish.kind, wish.value, meter=now.rig.meter, receptor=point_of(now.rig, wish.point).receptor,
        iso=wish.iso, shutter_s=wish.shutter_s, tenths=wish.tenths,
    )  # fmt: skip
    reading = reading_now(now, wish.point, wish.head, lux, wish.shaded)
    number = len(keep_reading(desk, reading, actor).rig.readings)
    return JSONResponse({"number": number, **reading_document(reading)})


@contract.delete("/readings/{number}")
async def delete_reading(desk: DeskDep, actor: ActorDep, number: int) -> JSONResponse:
    """Take a reading back; those after it count one less."""
    return JSONResponse({"readings": len(forget_reading(desk, number, actor).rig.readings)})
