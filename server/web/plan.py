"""The lighting plan: from above and from the side, drawn to scale from the rig. Text for SVG.

From above the camera is below the sitter, camera right at the right; from the side the camera is at
the right and up is up. Units of the drawing are centimetres.
"""

from collections.abc import Callable, Mapping
from dataclasses import dataclass
from math import atan2, ceil, cos, degrees, floor, hypot, pi, radians, sin, sqrt, tan

from server.physics.geometry import Vector
from server.studio.head import Head
from server.studio.light import aim_point
from server.studio.mix import thirds_text
from server.studio.rig import Rig
from server.studio.setting import Stops
from server.studio.tape import FOOT_M, length_words
from server.web.plan_labels import HALF_HEAD_CM, Labels, line_and_margin

MARGIN_CM = 75.0
LINE_SHARE, LARGE_LINE_SHARE = 1 / 36, 1 / 24
"""Height of a line of words as a share of the sheet: where the plan is shown large, and where one
head is moved and the plan is shown smaller."""
TYPE_OF_LINE = 0.9
MANY = 24
"""With more heads than this the drawing tells their names only."""
REACH_BEYOND = 1.0
"""Cones end at the plane of the aim, where the light is meant to be. [throws]"""
FALLBACK_CAMERA_M = 2.2
SHEET_CM = 50.0
"""The sheet grows in such steps, so that a head that is moved a little does not shift the rest."""
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
    lines: tuple[str, ...]
    """What stands beside it on the drawing; none when there was no room."""
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
    line: str
    """Height of a line of words. [cm]"""
    type_size: str
    unnamed: str
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
    labels: Labels


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
    left, right = (100 * side(c[0] for c in corners) for side in (min, max))
    upper, lower = (100 * side(c[1] for c in corners) for side in (min, max))
    said = {h.name: _lines(h, units, stops, moving, len(rig.heads)) for h in rig.heads}
    line, beside = line_and_margin(
        max(right - left, lower - upper),
        list(said.values()),
        LARGE_LINE_SHARE if moving else LINE_SHARE,
    )
    left, right = _sheet(left - beside, floor), _sheet(right + beside, ceil)
    above = max(MARGIN_CM, 2.5 * line)
    upper, lower = _sheet(upper - above, floor), _sheet(lower + above, ceil)
    line = max(
        line, ceil((LARGE_LINE_SHARE if moving else LINE_SHARE) * max(right - left, lower - upper))
    )
    grip = GRIP * max(right - left, lower - upper)
    labels = Labels(line, left, upper, right, lower)
    labels.keep_off(0.0, 0.0, 26.0, 26.0)  # the sitter
    labels.keep_off(
        100 * camera[0], 100 * camera[1] + line / 2, max(14.0, 2 * line), 12.0 + line / 2
    )
    for x, y in spots.values():
        labels.keep_off(100 * x, 100 * y, HALF_HEAD_CM, HALF_HEAD_CM)
    sheet = _Sheet(flat, top, units, stops, moving, grip, labels)
    unit = FOOT_M if units == "ft" else 1.0
    bar = 100 * unit * max(1, ceil((right - left) / 600)) * (3 if units == "ft" else 1)
    words = f"{round(bar / 100 / unit)} {units}"
    labels.keep_off(left + 14 + bar / 2, lower - 14 - line / 2, bar / 2, line)
    heads = tuple(
        _head(h, sheet, aims[h.name], said[h.name]) for h in _outermost(rig, spots, stops, moving)
    )
    nose = flat((sin(radians(yaw_deg)), 0.0, cos(radians(yaw_deg))))
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
        line=f"{line:.0f}",
        type_size=f"{TYPE_OF_LINE * line:.1f}",
        unnamed=_unnamed(sum(not h.lines for h in heads)),
        text=f"{name}: " + "; ".join(h.words for h in heads),
    )


def _sheet(edge_cm: float, outward: Callable[[float], int]) -> float:
    return SHEET_CM * outward(edge_cm / SHEET_CM)


def _point(name: str, place: Vector, normal: Vector, flat: Flat) -> PlanPoint:
    x, y = (100 * v for v in flat(place))
    scale = NORMAL_CM / hypot(*normal)
    to_x, to_y = (scale * v for v in flat(normal))
    return PlanPoint(name, f"{x:.1f}", f"{y:.1f}", f"M{x:.1f} {y:.1f}l{to_x:.1f} {to_y:.1f}")


def _outermost(
    rig: Rig, spots: Mapping[str, tuple[float, float]], stops: Stops | None, moving: str
) -> list[Head]:
    """In the order in which places for words are given: what is moved, what is lit, what is far."""
    return sorted(
        rig.heads,
        key=lambda h: (
            h.name != moving,
            stops is not None and stops.get(h.name) is None,
            -hypot(*spots[h.name]),
        ),
    )


def _lines(head: Head, units: str, stops: Stops | None, moving: str, heads: int) -> tuple[str, ...]:
    """Its name, and where there is room for it how far it stands and how bright it is."""
    if (moving and head.name != moving) or heads > MANY:
        return (head.name,)
    throw = length_words(head.placement.distance_m, units)
    return head.name, throw if moving else throw + _level(head, stops)


def _level(head: Head, stops: Stops | None) -> str:
    if stops is None:
        return ""
    below = stops.get(head.name)
    return " dark" if below is None else f" {thirds_text(-3 * float(below)) or 'full'}"


def _unnamed(heads: int) -> str:
    return f"{heads} name{'s' if heads > 1 else ''} left out for want of room" if heads else ""


def _head(head: Head, sheet: _Sheet, aim: Vector, lines: tuple[str, ...]) -> PlanHead:
    stops = sheet.stops
    x, y = (100 * v for v in sheet.flat(head.placement.position_m))
    aim_x, aim_y = (100 * v for v in sheet.flat(aim))
    way = atan2(aim_y - y, aim_x - x)
    reach = REACH_BEYOND * hypot(aim_x - x, aim_y - y)
    beam = head.beam_now
    lit = stops is None or stops.get(head.name) is not None
    size = 1.0
    if stops is not None:
        below = stops.get(head.name)
        output = 0.0 if below is None else 2.0 ** -float(below)
        size = DARK_SIZE + (FULL_SIZE - DARK_SIZE) * sqrt(output)
    words = sheet.labels.beside(x, y, HALF_HEAD_CM, lines)
    return PlanHead(
        name=head.name,
        role=head.role,
        state="lit" if lit else "dark",
        x=f"{x:.1f}",
        y=f"{y:.1f}",
        turn=f"{degrees(way):.1f}",
        cone=_cone(x, y, way, reach, beam.beam_deg) if lit else "",
        spill=_cone(x, y, way, reach, beam.field_deg) if lit else "",
        label_x=f"{words.x:.1f}",
        label_y=f"{words.y:.1f}",
        anchor=words.anchor,
        lines=words.lines,
        words=f"{head.name} {length_words(head.placement.distance_m, sheet.units)}"
        + _level(head, stops),
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
