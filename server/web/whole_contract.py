"""The shape of the document of a whole studio (`studio.whole` tells what it means)."""

import json
from collections.abc import Callable
from typing import Any, Literal

from pydantic import Field, ValidationError

from server.errors import OutOfRange
from server.studio.look import Look
from server.studio.whole import Kept, Whole, whole_from_document
from server.web.contract import LensDocument, PlacementDocument, RigDocument, Strict
from server.web.errors import sentences
from server.web.piecewise import parts_of

MOST_ROOMS, MOST_LOOKS = 200, 20_000


class WholeRoomDocument(Strict):
    rig: RigDocument
    running_order: list[int] = Field(default=[], max_length=MOST_LOOKS)


class WholeLookDocument(Strict):
    room: int
    name: str
    tags: list[str] = Field(default=[], max_length=64)
    notes: str = ""
    stops: dict[str, str | None] = Field(max_length=512)
    placements: dict[str, PlacementDocument] = Field(default={}, max_length=512)
    lens: LensDocument = LensDocument()
    yaw_deg: float = 0.0
    lux: dict[str, float] = Field(default={}, max_length=64)
    ratio: float | None = None
    f_number: float | None = None
    kept_at: str


class WholeDocument(Strict):
    thirdstop: Literal["whole studio"]
    version: Literal[1]
    open: int = 0
    rooms: list[str] = Field(min_length=1, max_length=MOST_ROOMS)
    looks: list[str] = Field(default=[], max_length=MOST_LOOKS)
    """Each of them is checked by itself: while a check is made nothing else can go on, and one of
    thousands of looks takes seconds."""


def whole_of(text: str | bytes, keep: Callable[[Look], Kept]) -> Whole[Kept]:
    """The studio in a file, with what is to be kept of each look. OutOfRange naming field, value
    and what is allowed."""
    try:
        plain = parts_of(text)
    except (ValueError, RecursionError) as error:
        raise OutOfRange(f"this is no document of a whole studio: {error}") from None
    if isinstance(plain, dict) and "heads" in plain:
        raise OutOfRange("this is the document of one rig: import it on the Rig page")
    try:
        shape = WholeDocument.model_validate(plain)
    except ValidationError as error:
        raise OutOfRange(f"this is no whole studio: {sentences(error.errors())}") from None
    rooms = [_checked(WholeRoomDocument, "rooms", i, each) for i, each in enumerate(shape.rooms)]
    looks = (_checked(WholeLookDocument, "looks", i, each) for i, each in enumerate(shape.looks))
    return whole_from_document({"open": shape.open, "rooms": rooms, "looks": looks}, keep)


def _checked(shape: type[Strict], where: str, number: int, text: str) -> dict[str, Any]:
    try:
        return shape.model_validate(json.loads(text)).model_dump()
    except ValidationError as error:
        told = [{**e, "loc": (where, number, *e["loc"])} for e in error.errors()]
        raise OutOfRange(f"this is no whole studio: {sentences(told)}") from None
