"""The shape of a look book, as it may be sent; its JSON schema is made from here."""

from typing import Annotated, Any, Literal

from pydantic import ConfigDict, Field

from server.web.contract import PlacementDocument, Strict

MOST_NAMES = 512
Stops = Annotated[
    str,
    Field(pattern=r"^[0-9]{1,4000}(/[0-9]{1,4000})?$", examples=["4/3"],
          description="exact stops below full: a whole number or a fraction"),
]  # fmt: skip
Name = Annotated[str, Field(min_length=1, max_length=40)]


class BookLens(Strict):
    """What the camera was set to."""

    iso: float
    shutter_s: float
    f_number: float


class BookFigures(Strict):
    """What the look gave where it was kept; null where nothing is known."""

    lux: dict[Name, float] = Field(default={}, max_length=MOST_NAMES)
    ratio: float | None = None
    f_number: float | None = None


class BookLook(Strict):
    """One look. A head of null is dark."""

    name: Name
    tags: list[Annotated[str, Field(max_length=30)]] = Field(default=[], max_length=12)
    notes: str = Field(default="", max_length=2000)
    place: Annotated[int, Field(ge=1, le=100_000)] | None = Field(
        default=None, description="place in the running order, counted from 1"
    )
    kept_at: str | None = Field(default=None, description="moment, ISO 8601")
    stops_below_full: dict[Name, Stops | None] = Field(max_length=MOST_NAMES)
    placements: dict[Name, PlacementDocument] = Field(default={}, max_length=MOST_NAMES)
    lens: BookLens
    yaw_deg: float = Field(default=0.0, ge=-180, le=180)
    figures: BookFigures | None = None


class LookBook(Strict):
    """All looks of a library in one file."""

    model_config = ConfigDict(extra="forbid", allow_inf_nan=False, title="Look book")
    format: Literal["thirdstop look book"]
    version: Literal[1]
    looks: list[BookLook] = Field(max_length=5000)


def book_schema() -> dict[str, Any]:
    """The JSON schema of a look book."""
    return {
        "$schema": "https://json-schema.org/draft/2020-12/schema",
        **LookBook.model_json_schema(),
    }
