"""The lighting plan: from above and from the side, drawn to scale from the rig. Text for SVG.

From above the camera is below the sitter, camera right at the right; from the side the camera is at
the right and up is up. Units of the drawing are centimetres.
"""

from collections.abc import Callable, Mapping
from dataclasses import dataclass, field
from math import atan2, ceil, cos, degrees, floor, hypot, pi, radians, sin, sqrt, tan

from server.physics.geometry import Vector
from server.studio.head import Head
from server.studio.light import aim_point
from server.studio.mix import thirds_text
from server.studio.rig import Rig
from server.studio.setting import Stops
from server.studio.tape import FOOT_M, length_words

MARGIN_CM = 75.0
LABEL_MARGIN_CM = 190.0
"""Room for the words beside the outermost heads. [cm]"""
LABEL_CM = 17.0
LARGE_LABEL_CM = 30.0
"""Labels where one head is moved and the plan is shown smaller."""
REACH_BEYOND = 1.0
"""Cones end at the plane of the aim, where the light is meant to be. [throws]"""
FALLBACK_CAMERA_M = 2.2
SHEET_CM = 50.0
"""The sheet grows in such steps, so that a head that is moved a little does not shift the rest."""
LETTER = 0.52
"""Mean width of a letter, as a share of the line."""
DARK_SIZE, FULL_SIZE = 0.7, 1.5
NORMAL_CM = 16.0
GRIP = 0.07
"""Radius of what a finger takes hold of, as a share of the sheet."""


Flat = Callable[[Vector], tuple[float, float]]
"""What a view sees of a place in the room. [m]"""


@dataclass(frozen=True)
class PlanHead:
    """One head on the plan."""

    name: str
    role: str
    state: str
    x: str
    y: str
    turn: str
    cone: str
    spill: str
    label_x: str
    label_y: str
    anchor: str
    label: str
    words: str
    size: str
    grip: str
    """Radius of the place to take hold of; empty for heads that are not being moved."""


@dataclass(frozen=True)
class PlanPoint:
    """A metering point, with the way its meter is pointed."""

    name: str
    x: str
    y: str
    normal: str


@dataclass(frozen=True)
class Plan:
    """One view of the plan."""

    view: str
    name: str
    box: str
    heads: tuple[PlanHead, ...]
    points: tuple[PlanPoint, ...]
    nose: str
    background: str
    camera_x: str
    camera_y: str
    eye_line: str
    bar: str
    bar_x: str
    bar_y: str
    bar_words: str
    text: str


@dataclass(frozen=True)
class _Sheet:
    """What is common to all heads of a view."""

    flat: Flat
    top: bool
    units: str
    stops: Stops | None
    moving: str
    grip_cm: float
    labels: list[tuple[float, float, float]] = field(default_factory=list)
    """Where words stand already: from, to, on which line."""


def plans(
    rig: Rig, yaw_deg: float, stops: Stops | None = None, *, units: str = "", moving: str = ""
) -> tuple[Plan, Plan]:
    """From above, and from the side. With `stops`, heads that are dark are drawn hollow and the
    others by their light. Lengths in the room's own units, unless others are asked for. The head
    that is `moving` can be taken hold of."""
    units = units or rig.room.units
    places = {p.name: p.place(yaw_deg) for p in rig.points}
    aims = {h.name: aim_point(h, places) for h in rig.heads}
    wall = next((p.place(yaw_deg)[0][2] for p in rig.points if p.name == "background"), None)
    above = _view(
        "From above", rig, aims, lambda v: (v[0], v[2]), stops, wall, yaw_deg, units, moving
    )
    side = _view(
        "From the side", rig, aims, lambda v: (v[2], -v[1]), stops, wall, yaw_deg, units, moving
    )
    return above, side


def _view(
    name: str,
    rig: Rig,
    aims: Mapping[str, Vector],
    flat: Flat,
    stops: Stops | None,
    wall: float | None,
    yaw_deg: float,
    units: str,
    moving: str,
) -> Plan:
    top = name == "From above"
    spots = {h.name: flat(h.placement.position_m) for h in rig.heads}
    camera_z = max([FALLBACK_CAMERA_M, *(h.placement.position_m[2] + 0.5 for h in rig.heads)])
    camera = flat((0.0, 0.0, camera_z))
    corners = [*spots.values(), camera, (0.0, 0.0)]
    if wall is not None:
        corners.append(flat((0.0, 0.0, wall)))
    left = _sheet(100 * min(c[0] for c in corners) - LABEL_MARGIN_CM, floor)
    right = _sheet(100 * max(c[0] for c in corners) + LABEL_MARGIN_CM, ceil)
    upper = _sheet(100 * min(c[1] for c in corners) - MARGIN_CM, floor)
    lower = _sheet(100 * max(c[1] for c in corners) + MARGIN_CM, ceil)
    grip = GRIP * max(right - left, lower - upper)
    sheet = _Sheet(flat, top, units, stops, moving, grip)
    heads = tuple(_head(h, sheet, aims[h.name]) for h in _outermost(rig, spots))
    nose = flat((sin(radians(yaw_deg)), 0.0, cos(radians(yaw_deg))))
    unit = FOOT_M if units == "ft" else 1.0
    bar = 100 * unit * max(1, ceil((right - left) / 600)) * (3 if units == "ft" else 1)
    words = f"{round(bar / 100 / unit)} {units}"
    background = ""
    if wall is not None:
        x, y = (100 * v for v in flat((0.0, 0.0, wall)))
        span = 0.42 * min(right - left, lower - upper)
        background = f"M{x - span:.0f} {y:.0f}H{x + span:.0f}" if top else (
            f"M{x:.0f} {y - span:.0f}V{y + span:.0f}")  # fmt: skip
    return Plan(
        view="above" if top else "side",
        name=name,
        box=f"{left:.0f} {upper:.0f} {right - left:.0f} {lower - upper:.0f}",
        heads=tuple(sorted(heads, key=lambda h: bool(h.grip))),  # drawn last, on top
        points=tuple(_point(p.name, *p.place(yaw_deg), flat) for p in rig.points),
        nose=f"M0 0L{21 * nose[0]:.1f} {21 * nose[1]:.1f}",
        background=background,
        camera_x=f"{100 * camera[0]:.0f}",
        camera_y=f"{100 * camera[1]:.0f}",
        eye_line="" if top else f"M{left:.0f} 0H{right:.0f}",
        bar=f"M{left + 14:.0f} {lower - 14:.0f}h{bar:.0f}",
        bar_x=f"{left + 14:.0f}",
        bar_y=f"{lower - 22:.0f}",
        bar_words=words,
        text=f"{name}: " + "; ".join(h.words for h in heads),
    )


def _sheet(edge_cm: float, outward: Callable[[float], int]) -> float:
    return SHEET_CM * outward(edge_cm / SHEET_CM)


def _point(name: str, place: Vector, normal: Vector, flat: Flat) -> PlanPoint:
    x, y = (100 * v for v in flat(place))
    scale = NORMAL_CM / hypot(*normal)
    to_x, to_y = (scale * v for v in flat(normal))
    return PlanPoint(name, f"{x:.1f}", f"{y:.1f}", f"M{x:.1f} {y:.1f}l{to_x:.1f} {to_y:.1f}")


def _outermost(rig: Rig, spots: Mapping[str, tuple[float, float]]) -> list[Head]:
    """Far heads first, so that near ones find a free place for their label."""
    return sorted(rig.heads, key=lambda h: -hypot(*spots[h.name]))


def _head(head: Head, sheet: _Sheet, aim: Vector) -> PlanHead:
    stops = sheet.stops
    x, y = (100 * v for v in sheet.flat(head.placement.position_m))
    aim_x, aim_y = (100 * v for v in sheet.flat(aim))
    way = atan2(aim_y - y, aim_x - x)
    reach = REACH_BEYOND * hypot(aim_x - x, aim_y - y)
    beam = head.beam_now
    lit = stops is None or stops.get(head.name) is not None
    throw = length_words(head.placement.distance_m, sheet.units)
    level, size = "", 1.0
    if stops is not None:
        below = stops.get(head.name)
        output = 0.0 if below is None else 2.0 ** -float(below)
        size = DARK_SIZE + (FULL_SIZE - DARK_SIZE) * sqrt(output)
        level = " dark" if below is None else f" {thirds_text(-3 * float(below)) or 'full'}"
    label = f"{head.name} {throw}"
    if not sheet.moving:
        label += level
    elif head.name != sheet.moving:
        label = head.name
    label_x, label_y, anchor = _label(x, y, sheet, label)
    return PlanHead(
        name=head.name,
        role=head.role,
        state="lit" if lit else "dark",
        x=f"{x:.1f}",
        y=f"{y:.1f}",
        turn=f"{degrees(way):.1f}",
        cone=_cone(x, y, way, reach, beam.beam_deg) if lit else "",
        spill=_cone(x, y, way, reach, beam.field_deg) if lit else "",
        label_x=f"{label_x:.1f}",
        label_y=f"{label_y:.1f}",
        anchor=anchor,
        label=label,
        words=f"{head.name} {throw}{level}",
        size=f"{size:.2f}",
        grip=f"{sheet.grip_cm:.0f}" if head.name == sheet.moving else "",
    )


def _cone(x: float, y: float, way: float, reach: float, full_deg: float) -> str:
    """A wedge from the lens to the plane of the aim, at most 150 degrees wide."""
    half = min(75.0, full_deg / 2)
    side = reach * tan(radians(half))
    ahead_x, ahead_y = x + reach * cos(way), y + reach * sin(way)
    across_x, across_y = side * cos(way + pi / 2), side * sin(way + pi / 2)
    return (
        f"M{x:.1f} {y:.1f}L{ahead_x + across_x:.1f} {ahead_y + across_y:.1f}"
        f"L{ahead_x - across_x:.1f} {ahead_y - across_y:.1f}Z"
    )


def _label(x: float, y: float, sheet: _Sheet, label: str) -> tuple[float, float, str]:
    """Outward of the head, moved down until it stands clear of the others."""
    line = LARGE_LABEL_CM if sheet.moving else LABEL_CM
    side = 1 if x > 12 else (-1 if x < -12 else 0)
    label_x = x + (line + 7) * side
    label_y = y + (6 if side else (-20 if y < 0 or not sheet.top else 15 + line))
    width = LETTER * line * len(label)
    left = label_x - width * {1: 0.0, 0: 0.5, -1: 1.0}[side]
    while any(
        abs(label_y - at) < line and left < end and start < left + width
        for start, end, at in sheet.labels
    ):
        label_y += line
    sheet.labels.append((left, left + width, label_y))
    return label_x, label_y, {1: "start", 0: "middle", -1: "end"}[side]
