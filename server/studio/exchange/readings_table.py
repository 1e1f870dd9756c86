"""Meter readings as a table, and a table as readings: all of it or one sentence and nothing."""

import re
from dataclasses import replace
from datetime import datetime

from server.errors import NotFound, OutOfRange
from server.studio.exchange.table import Cell, Row, read, written
from server.studio.head import Aim, Head, Placement
from server.studio.readings import Reading, lux_of_meter
from server.studio.rig import Rig
from server.studio.side_words import point_words

LIGHT = ("illuminance_lux", "ev_at_iso", "f_number")
"""What the meter showed: one of them in every row."""
PLACE = ("azimuth_deg", "distance_m", "rise_m", "focus_0_to_1")
COLUMNS = (
    "taken_at", "point", "head", "shaded", *LIGHT, "tenths_of_stop", "iso", "shutter_s",
    "output_fraction", "receptor", "face_yaw_deg", *PLACE, "scrims_stops", "aim",
    "minutes_on", "by",
)  # fmt: skip
NEEDED = ("taken_at", "point", "head")
YES = {"yes": True, "true": True, "no": False, "false": False, "": False}
NO_SCRIM = "none"
FRACTION = re.compile(r"(\d+)/([1-9]\d*)", re.ASCII)
A_PLACE = "at "
"""Begins an aim that is no point: `at 0.1 -0.2 0.3`, in metres."""


def readings_table(rig: Rig) -> str:
    """Every reading of a rig as a table, in the order they were taken; light in lux."""
    return written(COLUMNS, [_row(r) for r in rig.readings])


def _row(reading: Reading) -> list[Cell]:
    placed = reading.placement
    place: list[Cell] = [None] * (len(PLACE) + 2)
    if placed:
        place = [
            float(placed.azimuth_deg), float(placed.distance_m), float(placed.rise_m),
            float(placed.focus), " ".join(repr(float(s)) for s in placed.scrims) or NO_SCRIM,
            placed.aim if isinstance(placed.aim, str)
            else A_PLACE + " ".join(repr(float(axis)) for axis in placed.aim),
        ]  # fmt: skip
    return [
        reading.at.isoformat(), reading.point, reading.head, "yes" if reading.shaded else "no",
        float(reading.lux), None, None, None, None, None,
        float(reading.output), reading.receptor, float(reading.yaw_deg), *place,
        None if reading.minutes_on is None else float(reading.minutes_on), reading.by,
    ]  # fmt: skip


def readings_of_table(data: bytes, rig: Rig) -> tuple[Reading, ...]:
    """The readings of a table; an empty cell stands for what the rig shows now.

    Raises OutOfRange or NotFound with line and column; then nothing of the table is good.
    A reading that the rig holds already may be of a head or point that is gone.
    """
    here = set(rig.readings)
    return tuple(_reading(row, rig, here) for row in read(data, COLUMNS, NEEDED))


def _reading(row: Row, rig: Rig, here: set[Reading]) -> Reading:
    point_name, head_name = _point_name(row, rig), row.text("head").strip()
    point = next((p for p in rig.points if p.name == point_name), None)
    head = next((h for h in rig.heads if h.name == head_name), None)
    shaded = row.text("shaded").strip().lower()
    if shaded not in YES:
        raise row.wrong("shaded", f"must be yes or no, got {shaded!r:.20}")
    receptor = row.text("receptor").strip() or (point.receptor if point else "flat")
    if receptor not in ("flat", "dome"):
        raise row.wrong("receptor", f"must be flat or dome, got {receptor!r:.20}")
    yaw_deg, output = row.number("face_yaw_deg"), row.number("output_fraction")
    if head_name and not output:
        raise row.wrong(
            "output_fraction", "needed: the head's light meanwhile, 0.25 for two stops below full"
        )
    if YES[shaded] and not head_name:
        raise row.wrong("shaded", "only a head can be shaded from the meter, and no head is named")
    column = _light_column(row)
    lux = _lux(row, column, rig, receptor)
    placement, at = _placement(row, rig, head), _moment(row)
    try:
        reading = Reading(
            point=point_name, head=head_name, lux=lux, output=output or 0.0, at=at,
            placement=placement, yaw_deg=rig.sitter.yaw_deg if yaw_deg is None else yaw_deg,
            receptor=receptor, shaded=YES[shaded], minutes_on=row.number("minutes_on"),
            by=row.text("by").strip().lower() or "meter",
        )  # fmt: skip
    except OutOfRange as error:
        _known(row, rig, head_name, placement)
        raise OutOfRange(f"line {row.line}, {_column_of(str(error), column)}: {error}") from None
    if reading not in here:
        _known(row, rig, head_name, placement)
    return reading


def _point_name(row: Row, rig: Rig, column: str = "point") -> str:
    """A point as the rig calls it, which may be told as it is said: `cheek camera left`."""
    told = row.text(column).strip()
    return next((p.name for p in rig.points if told == point_words(p.name)), told)


def _known(row: Row, rig: Rig, head_name: str, placement: Placement | None) -> None:
    """A new reading must be of a point and a head of this rig, aimed where something is."""
    points, heads = {p.name: point_words(p.name) for p in rig.points}, [h.name for h in rig.heads]
    aim = placement.aim if placement and isinstance(placement.aim, str) else "mark"
    for column, name, there, said in (
        ("point", _point_name(row, rig), [*points], [*points.values()]),
        ("head", head_name, ["", *heads], heads),
        ("aim", aim, ["mark", *points], ["mark", *points.values()]),
    ):
        if name not in there:
            raise NotFound(
                f"line {row.line}, {column}: nothing here is called {name!r:.60};"
                f" there are {', '.join(said) or 'none yet'}"
            )


def _light_column(row: Row) -> str:
    given = [column for column in LIGHT if row.text(column).strip()]
    if len(given) != 1:
        raise OutOfRange(
            f"line {row.line}: one of {', '.join(LIGHT)} says what the meter showed, got"
            f" {' and '.join(given) or 'none'}"
        )
    return given[0]


def _lux(row: Row, column: str, rig: Rig, receptor: str) -> float:
    value = row.number(column) or 0.0
    if column == "illuminance_lux":
        return value
    iso, shutter_s = row.number("iso"), _shutter_s(row)
    if iso is None:
        raise row.wrong("iso", f"needed beside {column}")
    if column == "f_number" and shutter_s is None:
        raise row.wrong("shutter_s", "needed beside f_number, such as 1/125 or 0.008")
    try:
        return lux_of_meter(
            "ev" if column == "ev_at_iso" else "f", value, meter=rig.meter, receptor=receptor,
            iso=iso, shutter_s=shutter_s or 0.0, tenths=row.number("tenths_of_stop") or 0.0,
        )  # fmt: skip
    except OutOfRange as error:
        raise OutOfRange(f"line {row.line}, {_column_of(str(error), column)}: {error}") from None


def _shutter_s(row: Row) -> float | None:
    """The shutter as cameras and meters show it, `1/125`, or in seconds; None when it is empty."""
    parts = FRACTION.fullmatch(row.text("shutter_s").strip())
    if not parts:
        return row.number("shutter_s")
    return float(parts[1]) / float(parts[2])


def _column_of(sentence: str, otherwise: str) -> str:
    """The column that a sentence about a value speaks of."""
    names = {"point": "point", "head": "head", "output": "output_fraction",
             "yaw_deg": "face_yaw_deg", "iso": "iso", "shutter_s": "shutter_s",
             "tenths": "tenths_of_stop", "minutes_on": "minutes_on", "by": "by",
             "a": "taken_at"}  # fmt: skip
    return names.get(sentence.split(" ", 1)[0], otherwise)


def _moment(row: Row) -> datetime:
    text = row.text("taken_at").strip()
    try:
        at = datetime.fromisoformat(text)
        at.astimezone()  # out of the calendar's range otherwise, when it is shown
    except (ValueError, OverflowError):
        at = None
    if at is None or at.tzinfo is None:
        raise row.wrong(
            "taken_at",
            "must be a moment with its time zone, like 2026-05-01T10:00:00+00:00 (or Z for +00:00),"
            f" got {text!r:.40}",
        )
    return at


def _placement(row: Row, rig: Rig, head: Head | None) -> Placement | None:
    """Where the head stood; as it stands now where the table does not say."""
    cells = {column: row.number(column) for column in PLACE}
    scrims, aim = row.text("scrims_stops").strip(), _point_name(row, rig, "aim")
    placement = head.placement if head else None
    if placement is None:
        if all(value is None for value in cells.values()) and not scrims and not aim:
            return None
        for column, value in cells.items():
            if value is None:
                raise row.wrong(column, "needed: this rig does not say where this head stands")
        placement = Placement()
    try:
        given = {name.partition("_0_")[0]: v for name, v in cells.items() if v is not None}
        placement = replace(placement, **given)  # type: ignore[arg-type]
        if scrims:
            placement = replace(placement, scrims=_scrims(scrims))
        return replace(placement, aim=_aim(aim)) if aim else placement
    except OutOfRange as error:
        word = str(error).split(" ", 1)[0].rstrip(":")
        column = next((c for c in (*PLACE, "scrims_stops") if c.startswith(word)), "aim")
        raise row.wrong(column, error) from None


def _scrims(text: str) -> tuple[float, ...]:
    if text == NO_SCRIM:
        return ()
    try:
        return tuple(float(part) for part in text.split())
    except ValueError:
        raise OutOfRange(f"scrims must be none or stops such as 0.5 1, got {text!r:.40}") from None


def _aim(text: str) -> Aim:
    parts = text.removeprefix(A_PLACE).split()
    if text.startswith(A_PLACE) and len(parts) == 3:
        try:
            x, y, z = (float(part) for part in parts)
            return x, y, z
        except ValueError:
            pass
    return text
