"""The look book: every look as one plain document, and back."""

from collections.abc import Mapping, Sequence
from dataclasses import replace
from datetime import UTC, datetime
from fractions import Fraction
from typing import Any

from server.errors import OutOfRange
from server.studio.document import placement_document, placement_from_document
from server.studio.head import name_of, number
from server.studio.look import Look, look_name, notes_of, tags_of
from server.studio.rig import Lens

Document = dict[str, Any]
FORMAT = "thirdstop look book"
VERSION = 1
DARKEST_STOPS = 1074
"""Light below this is no number any more (IEEE 754, smallest double: 2**-1074). [stop]"""
LENS = ("iso", "shutter_s", "f_number")
LARGEST = 1e18
"""No figure of a look comes near this; more is a mistake in the file."""


def book_document(looks: Sequence[Look]) -> Document:
    """All looks as JSON-ready values, in the order given; `looks_of_book` is its inverse.

    Ids stay at home. `place` counts the running order from 1, without gaps.
    """
    places = places_of(looks)
    return {
        "format": FORMAT,
        "version": VERSION,
        "looks": [look_document(look, places.get(at)) for at, look in enumerate(looks)],
    }


def places_of(looks: Sequence[Look]) -> dict[int, int]:
    """Which look (by where it stands in the list) has which place, from 1, in the running order."""
    running = sorted((look.place, at) for at, look in enumerate(looks) if look.place is not None)
    return {at: place for place, (_, at) in enumerate(running, start=1)}


def look_document(look: Look, place: int | None) -> Document:
    """One look; stops are exact fractions as text, null for a dark head."""
    return {
        "name": look.name,
        "tags": list(look.tags),
        "notes": look.notes,
        "place": place,
        "kept_at": moment(look.kept_at),
        "stops_below_full": {n: None if s is None else str(s) for n, s in look.stops.items()},
        "placements": {n: _decimal(placement_document(p)) for n, p in look.placements.items()},
        "lens": {name: float(getattr(look.lens, name)) for name in LENS},
        "yaw_deg": float(look.yaw_deg),
        "figures": {
            "lux": {point: float(lux) for point, lux in (look.lux or {}).items()},
            "ratio": look.ratio,
            "f_number": look.f_number,
        },
    }


def _decimal(value: Any) -> Any:
    """The same with 15 written as 15.0: a file that comes back is the file that went out."""
    if isinstance(value, dict):
        return {name: _decimal(part) for name, part in value.items()}
    if isinstance(value, list):
        return [_decimal(part) for part in value]
    return value if isinstance(value, str) else float(value)


def looks_of_book(document: Mapping[str, Any]) -> tuple[Look, ...]:
    """The looks that a book describes, not stored yet, `place` from 0 in the running order.

    Raises OutOfRange naming look, field, value and range; then nothing of the book is good.
    """
    looks = []
    for count, entry in enumerate(document["looks"], start=1):
        try:
            looks.append(_look(entry))
        except OutOfRange as error:
            raise OutOfRange(f"look {count} ({entry.get('name')!r:.60}): {error}") from None
    places = [look.place for look in looks if look.place is not None]
    double = sorted({p for p in places if places.count(p) > 1})
    if double:
        raise OutOfRange(f"place: {double[0]} is taken by two looks; a place is one look's own")
    order = {place: at for at, place in enumerate(sorted(places))}
    return tuple(
        look if look.place is None else replace(look, place=order[look.place]) for look in looks
    )


def _look(entry: Mapping[str, Any]) -> Look:
    figures = entry["figures"] or {}
    return Look(
        look_id=0,
        name=look_name(entry["name"]),
        stops={_name(n): _stops(n, s) for n, s in entry["stops_below_full"].items()},
        placements={_name(n): placement_from_document(p, n)
                    for n, p in entry["placements"].items()},
        lens=Lens(**entry["lens"]),
        yaw_deg=number("yaw_deg", entry["yaw_deg"], -180, 180),
        tags=tags_of(entry["tags"]),
        notes=notes_of(entry["notes"]),
        lux={_name(n): number("lux", v, 0, LARGEST) for n, v in figures.get("lux", {}).items()},
        ratio=_figure("ratio", figures),
        f_number=_figure("f_number", figures),
        place=entry["place"],
        kept_at=moment(entry["kept_at"] or "") or "",
    )  # fmt: skip


def _figure(name: str, figures: Mapping[str, float | None]) -> float | None:
    value = figures.get(name)
    return None if value is None else number(name, value, 0, LARGEST, above=True)


def _name(name: str) -> str:
    """A head's or point's name as it is; another spelling would be another head."""
    if name_of("name", name) != name:
        raise OutOfRange(f"name: no space outside and single ones within, got {name!r:.60}")
    return name


def _stops(head: str, text: str | None) -> Fraction | None:
    if text is None:
        return None
    above, _, below = text.partition("/")
    try:
        stops = Fraction(int(above), int(below or "1"))
    except (ValueError, ZeroDivisionError):
        raise OutOfRange(
            f"stops_below_full: {head} must be a whole number or a fraction such as 4/3,"
            f" got {text!r:.40}"
        ) from None
    if not 0 <= stops <= DARKEST_STOPS:
        raise OutOfRange(
            f"stops_below_full: {head} must lie in 0..{DARKEST_STOPS}, got {text!r:.40}"
        )
    return stops


def moment(text: str) -> str | None:
    """A moment in UTC; one without a zone is taken as UTC, as it is stored."""
    if not text:
        return None
    try:
        at = datetime.fromisoformat(text)
        return (at if at.tzinfo else at.replace(tzinfo=UTC)).astimezone(UTC).isoformat()
    except (ValueError, OverflowError):
        raise OutOfRange(
            f"kept_at must be a moment like 2026-05-01T10:00:00+00:00, got {text!r:.60}"
        ) from None
