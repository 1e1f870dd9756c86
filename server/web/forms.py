"""Forms of the Rig page as documents: numbers with commas or points, errors that name the field."""

from collections.abc import Mapping
from dataclasses import replace
from itertools import chain, repeat
from typing import Any

from server.errors import OutOfRange
from server.physics.beam import Beam
from server.studio.document import head_document, head_from_document
from server.studio.head import Head
from server.studio.room import Circuit, Room
from server.studio.tape import metres_of

NUMBERS = ("watts", "power_factor", "cct_kelvin", "lens_diameter_m")
WHOLE = ("universe", "address", "bits")
PLACEMENT = ("azimuth_deg", "focus")
LENGTHS = ("distance_m", "rise_m")
BEAM = ("candela", "beam_deg", "field_deg")


def number(form: Mapping[str, Any], name: str) -> float:
    """A number from a form; a comma may stand for the point."""
    text = str(form.get(name, "")).strip().replace(",", ".")
    try:
        return float(text)
    except ValueError:
        raise OutOfRange(f"{name} must be a number, got {text!r:.40}") from None


def whole(form: Mapping[str, Any], name: str) -> int:
    """A whole number from a form."""
    value = number(form, name)
    if value != int(value) if abs(value) < 1e9 else True:
        raise OutOfRange(f"{name} must be a whole number, got {value:g}")
    return int(value)


def metres(form: Mapping[str, Any], name: str) -> float:
    """A length from a form: a bare number is in metres, `7' 4 1/2"` is read too."""
    text = str(form.get(name, "")).strip()
    try:
        return float(text.replace(",", "."))
    except ValueError:
        return metres_of(name, text, "m")


def head_of(form: Mapping[str, Any], before: Head | None) -> Head:
    """The head that a form describes. What the form does not show stays as it was."""
    document: dict[str, Any] = head_document(before) if before else {}
    document["name"] = str(form.get("name", ""))
    for name in ("role", "circuit", "lamp"):
        document[name] = str(form.get(name, ""))
    for name in ("bands_below", "steady_from"):
        if name in form:
            document[name] = number(form, name) / 100
    curve = str(form.get("curve", "linear"))
    if curve == "measured":
        document["curve_points"] = _points(str(form.get("curve_points", "")))
    else:
        document["curve_points"] = []
    document["curve"] = curve
    document |= {name: number(form, name) for name in NUMBERS}
    document |= {name: whole(form, name) for name in WHOLE}
    rows = []
    for focus, which in ((0.0, "spot"), (1.0, "flood")):
        row = {name: number(form, f"{which}_{name}") for name in BEAM}
        try:
            Beam(**row)
        except OutOfRange as error:
            raise OutOfRange(f"at {which}: {error}") from None
        rows.append({"focus": focus, **row})
    if before is None or len(before.beam) <= 2:
        document["beam"] = rows
    placement = dict(document.get("placement", {}))
    placement |= {name: number(form, name) for name in PLACEMENT}
    placement |= {name: metres(form, name) for name in LENGTHS}
    placement["aim"] = str(form.get("aim", "mark"))
    if before and not isinstance(before.placement.aim, str) and placement["aim"] == "a place":
        placement["aim"] = before.placement.aim
    placement["scrims"] = [
        float(part) for part in str(form.get("scrims", "")).replace(",", " ").split() if _is(part)
    ]
    document["placement"] = placement
    return head_from_document(document)


def room_of(form: Any, before: Room) -> Room:
    """The room that a form describes; circuit rows without a name are left out."""
    rows = zip(
        form.getlist("circuit_name"),
        form.getlist("circuit_amps"),
        form.getlist("circuit_other"),
        (str(phase) for phase in chain(form.getlist("circuit_phase"), repeat(""))),
        strict=False,
    )
    circuits = tuple(
        Circuit(
            str(name),
            number({f"breaker of {name}, amps": amps}, f"breaker of {name}, amps"),
            number({f"other load of {name}, amps": other or "0"}, f"other load of {name}, amps"),
            phase,
        )
        for name, amps, other, phase in rows
        if str(name).strip()
    )
    ceiling = str(form.get("ceiling_m", before.ceiling_m or "")).strip()
    return replace(
        before,
        ceiling_m=metres({"ceiling_m": ceiling}, "ceiling_m") if ceiling else None,
        name=str(form.get("name", "")),
        mains_volts=number(form, "mains_volts"),
        continuous_factor=number(form, "continuous_factor"),
        ambient_lux=number(form, "ambient_lux"),
        units=str(form.get("units", before.units)),
        circuits=circuits,
    )


def _is(part: str) -> bool:
    try:
        float(part)
    except ValueError:
        raise OutOfRange(f"scrims must be numbers of stops, such as 0.5 1, got {part!r:.40}") from (
            None
        )
    return True


def _points(text: str) -> list[list[float]]:
    points = []
    for line in text.split("\n"):
        parts = line.replace(",", " ").split()
        if not parts:
            continue
        try:
            level, output = map(float, parts)
        except ValueError:
            raise OutOfRange(
                f"curve points: two fractions a line, level and output, got {line.strip()!r:.40}"
            ) from None
        points.append([level, output])
    return points
