"""The shape of the document of a whole studio (`studio.whole` tells what it means)."""

import json
from typing import Any, Literal

from pydantic import Field, ValidationError

from server.errors import OutOfRange
from server.studio.whole import Whole, whole_from_document
from server.web.contract import LensDocument, PlacementDocument, RigDocument, Strict
from server.web.errors import sentences

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
    rooms: list[WholeRoomDocument] = Field(min_length=1, max_length=MOST_ROOMS)
    looks: list[WholeLookDocument] = Field(default=[], max_length=MOST_LOOKS)


def json_of(text: str | bytes, what: str) -> Any:
    """What a file of JSON says. OutOfRange when it is none."""
    try:
        return json.loads(text)
    except (ValueError, RecursionError) as error:
        raise OutOfRange(f"this is no {what}: {error}") from None


def whole_of(text: str | bytes) -> Whole:
    """The studio in a file. OutOfRange naming field, value and what is allowed."""
    plain = json_of(text, "document of a whole studio")
    if isinstance(plain, dict) and "heads" in plain:
        raise OutOfRange("this is the document of one rig: import it on the Rig page")
    try:
        shape = WholeDocument.model_validate(plain)
    except ValidationError as error:
        raise OutOfRange(f"this is no whole studio: {sentences(error.errors())}") from None
    return whole_from_document(shape.model_dump())
