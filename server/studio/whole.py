"""The whole studio as one document and back: all rooms, all looks, the running orders.

    {"thirdstop": "whole studio", "version": 1,
     "open": 0,                                which of the rooms is open, counted from 0
     "rooms": [{"rig": {...},                  the rig document of the room
                "running_order": [1, 0]}],     looks by their place in "looks", counted from 0
     "looks": [{"room": 0,                     the room it was kept in, counted from 0
                "name": "Loop", "tags": ["usual"], "notes": "",
                "stops": {"Key": "5/3", "Hair": null},   stops below full as exact fractions,
                                                         null for a dark head
                "placements": {"Key": {...}},  where each head stood, as in a rig document
                "lens": {...}, "yaw_deg": 0.0, camera and turn of the face when it was kept
                "lux": {"cheek right": 812.0}, "ratio": 3.0, "f_number": 5.6,
                                               what it gave then; ratio and f_number may be null
                "kept_at": "2026-05-01T10:00:00+00:00"}]}

Looks stand in the order they were kept in. What was archived or deleted is not in it, nor what was
done in the sitting: `thirdstop backup` copies everything.
"""

import json
import re
from collections.abc import Callable, Mapping
from dataclasses import asdict, dataclass
from datetime import UTC, datetime
from typing import Any, Generic, TypeVar

from server.errors import OutOfRange
from server.studio.document import (
    placement_document,
    placement_from_document,
    rig_document,
    rig_from_document,
    stops_document,
    stops_from_document,
)
from server.studio.head import name_of, number
from server.studio.look import Look, look_name, notes_of, tags_of
from server.studio.rig import Lens, Rig

KIND, VERSION = "whole studio", 1
MOST = 1e300
DEEPEST = 1000
FRACTION = re.compile(r"\d{1,4000}(/\d{1,4000})?", re.ASCII)


@dataclass(frozen=True)
class WholeRoom:
    """A room with its running order: places in the looks of the studio."""

    rig: Rig
    running: tuple[int, ...] = ()


Kept = TypeVar("Kept")


@dataclass(frozen=True)
class Whole(Generic[Kept]):
    """Everything there is to move to another machine; `look_rooms` tells each look's room. What is
    kept of a look is the look itself, or what a reader of thousands needs of it."""

    rooms: tuple[WholeRoom, ...]
    open: int = 0
    looks: tuple[Kept, ...] = ()
    look_rooms: tuple[int, ...] = ()

    def __post_init__(self) -> None:
        if not 0 <= self.open < len(self.rooms):
            raise OutOfRange(
                f"open must be one of the {len(self.rooms)} rooms, counted from 0, got {self.open}"
            )
        for i, room in enumerate(self.rooms):
            within(f"rooms {i}: running_order", room.running, len(self.looks), "looks")
            if len(set(room.running)) < len(room.running):
                raise OutOfRange(f"rooms {i}: a look can stand once in the running order")
        within("looks: room", self.look_rooms, len(self.rooms), "rooms")

    @property
    def opened(self) -> Rig:
        """The rig of the open room."""
        return self.rooms[self.open].rig


def within(name: str, places: tuple[int, ...], count: int, things: str) -> None:
    """OutOfRange when a place is none of so many things."""
    for place in places:
        if not 0 <= place < count:
            raise OutOfRange(f"{name} must be one of the {count} {things} from 0, got {place}")


def whole_document(whole: Whole[Look]) -> dict[str, Any]:
    """The document of a studio; `whole_from_document` is its inverse."""
    return {
        "thirdstop": KIND,
        "version": VERSION,
        "open": whole.open,
        "rooms": [_room_document(room) for room in whole.rooms],
        "looks": list(map(_look_document, whole.looks, whole.look_rooms)),
    }


def look_text(look: Look, room: int) -> str:
    """A look, and the place of its room, as it stands in the document."""
    return json.dumps(_look_document(look, room))


def whole_text(whole: Whole[str]) -> str:
    """The document as text, a room and a look a line; each look is its `look_text` already: while
    one large text is made nothing else of the program can go on."""
    rooms = ",\n".join(json.dumps(_room_document(room)) for room in whole.rooms)
    looks = ",\n".join(whole.looks)
    head = json.dumps({"thirdstop": KIND, "version": VERSION, "open": whole.open})[:-1]
    return f'{head}, "rooms": [\n{rooms}\n], "looks": [\n{looks}\n]}}\n'


def _room_document(room: WholeRoom) -> dict[str, Any]:
    return {"rig": rig_document(room.rig), "running_order": list(room.running)}


def _look_document(look: Look, room: int) -> dict[str, Any]:
    return {
        "room": room,
        "name": look.name,
        "tags": list(look.tags),
        "notes": look.notes,
        "stops": stops_document(look.stops),
        "placements": {n: placement_document(p) for n, p in look.placements.items()},
        "lens": asdict(look.lens),
        "yaw_deg": look.yaw_deg,
        "lux": dict(look.lux or {}),
        "ratio": look.ratio,
        "f_number": look.f_number,
        "kept_at": look.kept_at,
    }


def whole_from_document(document: Mapping[str, Any], keep: Callable[[Look], Kept]) -> Whole[Kept]:
    """The studio that a document of the right shape describes, with what is to be kept of each
    look; they may come one by one. Raises OutOfRange."""
    looks = [(keep(_look(each)), each["room"]) for each in document["looks"]]
    return Whole(
        tuple(
            WholeRoom(rig_from_document(each["rig"]), tuple(each["running_order"]))
            for each in document["rooms"]
        ),
        document["open"],
        tuple(look for look, _ in looks),
        tuple(room for _, room in looks),
    )


def _look(document: Mapping[str, Any]) -> Look:
    name = look_name(document["name"])
    try:
        return Look(
            look_id=0,
            name=name,
            stops=_stops(document["stops"]),
            placements={
                name_of("head", n): placement_from_document(p, n)
                for n, p in document["placements"].items()
            },
            lens=Lens(**document["lens"]),
            yaw_deg=number("yaw_deg", document["yaw_deg"], -180, 180),
            tags=tags_of(document["tags"]),
            notes=notes_of(document["notes"]),
            lux={
                name_of("point", n): number(f"lux at {n:.40}", v, 0, MOST)
                for n, v in document["lux"].items()
            },
            ratio=_above_0("ratio", document["ratio"]),
            f_number=_above_0("f_number", document["f_number"]),
            kept_at=_moment(document["kept_at"]),
        )
    except OutOfRange as error:
        raise OutOfRange(f"look {name}: {error}") from None


def _stops(document: Mapping[str, str | None]) -> dict[str, Any]:
    for head, text in document.items():
        name_of("head", head)
        if text is not None and not FRACTION.fullmatch(text):
            raise OutOfRange(f"stops of {head} must be a fraction like 5/3, got {text!r:.60}")
    try:
        stops = stops_from_document(document)
    except ZeroDivisionError:
        raise OutOfRange("stops must be a fraction like 5/3, got one over 0") from None
    for head, value in stops.items():
        if value is not None and value > DEEPEST:
            raise OutOfRange(f"stops of {head} must lie in 0..{DEEPEST}, got {float(value):g}")
    return stops


def _above_0(name: str, value: float | None) -> float | None:
    return None if value is None else number(name, value, 0, MOST, above=True)


def _moment(text: str) -> str:
    try:
        moment = datetime.fromisoformat(text)
    except ValueError:
        moment = None
    if moment is None or moment.tzinfo is None or not 1970 <= moment.year < 2200:
        raise OutOfRange(f"kept_at must be like 2026-05-01T10:00:00+00:00, got {text!r:.60}")
    return moment.astimezone(UTC).isoformat()
