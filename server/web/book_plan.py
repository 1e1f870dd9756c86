"""What a look book would do here: which looks are added, which are left out and why."""

import json
from dataclasses import replace
from typing import Any

from pydantic import ValidationError

from server.errors import OutOfRange
from server.studio.exchange.book import FORMAT, VERSION, looks_of_book, moment
from server.studio.exchange.fit import fitted, is_same, known_as
from server.studio.look import Look
from server.studio.rig import Rig
from server.web.book_shape import LookBook
from server.web.errors import sentences
from server.web.incoming import Line, Plan


def book_plan(data: bytes, rig: Rig, here: list[Look]) -> Plan:
    """What a look book would add. OutOfRange with a sentence when any part of it is no good."""
    read = _json(data)
    if not isinstance(read, dict) or read.get("format") != FORMAT:
        raise OutOfRange(f"this is no look book: it does not begin with format: {FORMAT!r}")
    if isinstance(newer := read.get("version"), int) and newer > VERSION:
        raise OutOfRange(
            f"this look book has version {str(newer)[:12]}, this Thirdstop reads {VERSION}:"
            " update Thirdstop first"
        )
    try:
        document = LookBook.model_validate(read, strict=True).model_dump()
    except ValidationError as error:
        raise OutOfRange(sentences(error.errors())) from None
    return looks_plan(looks_of_book(document), rig, here)


def looks_plan(looks: tuple[Look, ...], rig: Rig, here: list[Look]) -> Plan:
    """What storing these looks would do: which are added, which left out and why."""
    known = known_as([replace(look, kept_at=moment(look.kept_at) or "") for look in here])
    taken, add, left_out = [], [], []
    for look in looks:
        alike = known.get(look.name, [])
        if any(is_same(look, other) for other in alike):
            left_out.append(Line(look.name, "is here already, the very same"))
            continue
        try:
            taken.append(fitted(rig, look))
        except OutOfRange as error:
            left_out.append(Line(look.name, f"cannot be set up with this rig: {error}"))
            continue
        add.append(Line(look.name, _note(look, rig, bool(alike))))
    return Plan(tuple(add), tuple(left_out), (), tuple(taken))


def _note(look: Look, rig: Rig, alike: bool) -> str:
    missing = look.missing_heads(rig)
    needs = f"needs {', '.join(missing)}: kept, and recalled once this rig has it"
    told = [needs] if missing else []
    points = {"mark", *(p.name for p in rig.points)}
    for head, placement in look.placements.items():
        if isinstance(placement.aim, str) and placement.aim not in points:
            told.append(f"{head} is aimed at {placement.aim}, which is no point here: at the mark")
    if alike:
        told.append("another look of this name is here: both stay")
    return "; ".join(told)


def _json(data: bytes) -> Any:
    try:
        return json.loads(data)
    except (ValueError, RecursionError) as error:
        raise OutOfRange(f"this is no look book, which is a JSON file: {error}") from None
