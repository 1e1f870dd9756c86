"""The rig as a plain document and back: the shape that is stored, exported and sent."""

from collections.abc import Mapping
from dataclasses import asdict
from datetime import datetime
from fractions import Fraction
from typing import Any

from server.errors import OutOfRange
from server.physics.beam import Beam, BeamRow
from server.physics.candela_curve import CandelaCurve
from server.studio.head import Head, PastCurve, Placement
from server.studio.lamps import LampChange
from server.studio.photometry import MeasuredBeam
from server.studio.readings import Reading
from server.studio.rig import Lens, Rig
from server.studio.room import USUAL_POINTS, Circuit, Meter, Point, Room, Sitter
from server.studio.setting import Origin, Setting, Stops

Document = dict[str, Any]
PLACED = tuple(Placement.__dataclass_fields__)


def rig_document(rig: Rig) -> Document:
    """The whole rig as JSON-ready values; `rig_from_document` is its inverse."""
    room = asdict(rig.room)
    return {
        "room": {**room, "circuits": list(room["circuits"])},
        "sitter": asdict(rig.sitter),
        "points": [asdict(p) for p in rig.points],
        "lens": asdict(rig.lens),
        "meter": asdict(rig.meter),
        "heads": [head_document(h) for h in rig.heads],
        "readings": [reading_document(r) for r in rig.readings],
        "lamps": [lamp_document(c) for c in rig.lamps],
    }


def lamp_document(change: LampChange) -> Document:
    """One line of the lamp log as JSON-ready values."""
    held = [list(pair) for pair in change.held]
    return {**asdict(change), "at": change.at.isoformat(), "held": held}


def lamp_from_document(document: Mapping[str, Any]) -> LampChange:
    """The line of the lamp log that a document describes."""
    held = tuple((int(look), str(stops)) for look, stops in document.get("held", ()))
    return LampChange(**{**document, "at": _moment(document["at"], "lamp change"), "held": held})


def _moment(text: Any, what: str) -> datetime:
    try:
        return datetime.fromisoformat(text)
    except (TypeError, ValueError):
        raise OutOfRange(
            f"a {what}'s moment must be like 2026-05-01T10:00:00+00:00, got {text!r:.60}"
        ) from None


def reading_document(reading: Reading) -> Document:
    """One meter reading as JSON-ready values."""
    return {
        **{k: v for k, v in vars(reading).items() if k in Reading.__dataclass_fields__},
        "at": reading.at.isoformat(),
        "placement": reading.placement and placement_document(reading.placement),
    }


def reading_from_document(document: Mapping[str, Any]) -> Reading:
    """The reading that a document describes."""
    plain = dict(document)
    if plain.get("placement"):
        plain["placement"] = placement_from_document(plain["placement"], str(plain.get("head")))
    plain["at"] = _moment(plain["at"], "reading")
    return Reading(**plain)


def head_document(head: Head) -> Document:
    """One head as JSON-ready values."""
    plain = {k: v for k, v in vars(head).items() if k in Head.__dataclass_fields__}
    plain["curve_points"] = [list(p) for p in head.curve_points]
    plain["touched_at"] = head.touched_at and head.touched_at.isoformat()
    plain["beam"] = [{"focus": row.focus, **asdict(row.beam)} for row in head.beam]
    plain["photometry"] = [measured_document(beam) for beam in head.photometry]
    if (past := head.curve_before) is not None:
        points = [list(p) for p in past.curve_points]
        plain["curve_before"] = {**vars(past), "curve_points": points}
    plain["placement"] = placement_document(head.placement)
    return plain


def measured_document(beam: MeasuredBeam) -> Document:
    """A measured curve as JSON-ready values."""
    return {
        "focus": beam.focus,
        "name": beam.name,
        "watts": beam.watts,
        "angles_deg": list(beam.curve.angles_deg),
        "candelas": list(beam.curve.candelas),
    }


def placement_document(placement: Placement) -> Document:
    """A placement as JSON-ready values."""
    plain = {name: getattr(placement, name) for name in PLACED}  # `asdict` takes far longer
    plain["scrims"] = list(placement.scrims)
    plain["aim"] = placement.aim if isinstance(placement.aim, str) else list(placement.aim)
    return plain


def rig_from_document(document: Mapping[str, Any]) -> Rig:
    """The rig that a document describes. Raises OutOfRange naming field, value and range."""
    try:
        room = dict(document["room"])
        room["circuits"] = tuple(Circuit(**c) for c in room.get("circuits", ()))
        points = tuple(Point(**p) for p in document.get("points") or ())
        return Rig(
            room=Room(**room),
            sitter=Sitter(**(document.get("sitter") or {})),
            points=points or USUAL_POINTS,
            lens=Lens(**(document.get("lens") or {})),
            meter=Meter(**(document.get("meter") or {})),
            heads=tuple(head_from_document(h) for h in document.get("heads", ())),
            readings=tuple(reading_from_document(r) for r in document.get("readings") or ()),
            lamps=tuple(lamp_from_document(c) for c in document.get("lamps") or ()),
        )
    except (KeyError, TypeError) as error:
        raise OutOfRange(f"the rig document does not have the right shape: {error}") from None


def head_from_document(document: Mapping[str, Any]) -> Head:
    """The head that a document describes."""
    plain = dict(document)
    plain["curve_points"] = _pairs(plain.get("curve_points", ()))
    if (past := plain.get("curve_before")) is not None:
        points = _pairs(past.get("curve_points", ()))
        try:
            plain["curve_before"] = PastCurve(**{**past, "curve_points": points})
        except OutOfRange as error:
            name = plain.get("name", "")
            raise OutOfRange(f"head {name!r:.60}: curve_before: {error}") from None
    if "beam" in plain:
        try:
            plain["beam"] = tuple(
                BeamRow(row["focus"], Beam(row["candela"], row["beam_deg"], row["field_deg"]))
                for row in plain["beam"]
            )
        except OutOfRange as error:
            raise OutOfRange(f"head {plain.get('name', '')!r:.60}: beam: {error}") from None
    try:
        plain["photometry"] = tuple(map(measured_from_document, plain.get("photometry", ())))
    except OutOfRange as error:
        raise OutOfRange(f"head {plain.get('name', '')!r:.60}: photometry: {error}") from None
    if "placement" in plain:
        plain["placement"] = placement_from_document(plain["placement"], str(plain.get("name")))
    if plain.get("touched_at") is not None:
        plain["touched_at"] = _moment(plain["touched_at"], "touch")
    return Head(**plain)


def _pairs(told: Any) -> tuple[tuple[float, float], ...]:
    return tuple((float(a), float(b)) for a, b in told)


def measured_from_document(document: Mapping[str, Any]) -> MeasuredBeam:
    """The measured curve that a document describes."""
    angles, candelas = (tuple(map(float, document[k])) for k in ("angles_deg", "candelas"))
    return MeasuredBeam(
        document["focus"], CandelaCurve(angles, candelas),
        document.get("name", ""), document.get("watts", 0.0),
    )  # fmt: skip


def placement_from_document(document: Mapping[str, Any], head_name: str) -> Placement:
    """The placement that a document describes; errors name the head."""
    plain = dict(document)
    plain["scrims"] = tuple(plain.get("scrims", ()))
    aim = plain.get("aim", "mark")
    plain["aim"] = aim if isinstance(aim, str) else tuple(aim)
    try:
        return Placement(**plain)
    except OutOfRange as error:
        raise OutOfRange(f"head {head_name!r:.60}: placement: {error}") from None


def setting_document(setting: Setting) -> Document:
    """A setting as JSON-ready values; exact stops are written as fractions, `"17/12"`."""
    origin = setting.origin
    return {
        "stops": stops_document(setting.stops),
        "lens": asdict(setting.lens),
        "yaw_deg": setting.yaw_deg,
        "origin": origin
        and {
            "look_id": origin.look_id,
            "name": origin.name,
            "stops": stops_document(origin.stops),
        },
    }


def setting_from_document(document: Mapping[str, Any]) -> Setting:
    """The setting that a document describes: the inverse of `setting_document`."""
    origin = document["origin"]
    return Setting(
        stops=stops_from_document(document["stops"]),
        lens=Lens(**document["lens"]),
        yaw_deg=document["yaw_deg"],
        origin=Origin(origin["look_id"], origin["name"], stops_from_document(origin["stops"]))
        if origin
        else None,
    )


def stops_document(stops: Stops) -> dict[str, str | None]:
    return {name: None if s is None else str(s) for name, s in stops.items()}


def stops_from_document(document: Mapping[str, str | None]) -> dict[str, Fraction | None]:
    """Exact stops from their written fractions."""
    return {name: None if s is None else Fraction(s) for name, s in document.items()}
