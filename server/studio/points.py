"""The named metering points: added, changed, taken out, and what happens to what was read there."""

from dataclasses import dataclass, replace
from math import asin, atan2, cos, degrees, radians, sin

from server.errors import NotFound, OutOfRange, Refused
from server.physics.geometry import Vector, length
from server.studio.head import Head, number
from server.studio.readings import Reading
from server.studio.rig import BACKGROUND, Rig, receptor_of
from server.studio.room import USUAL_POINTS, Point
from server.studio.side_words import point_words

MOST_POINTS = 64
FACE_REACHES_M = 0.4
"""Nothing that turns with the face lies farther from the mark (common practice). [m]"""
# Lengths of a head and shoulders about the eyes (common practice).
PRESETS = (
    *USUAL_POINTS,
    Point("nose", "face", 0.0, -0.05, 0.11, 0.0, 0.0, 1.0),
    Point("chin", "face", 0.0, -0.11, 0.08, 0.0, -0.2, 0.98),
    # held at the camera however the face turns: no side of the face, so it may be a dome
    Point("chin, dome", "room", 0.0, -0.11, 0.09, 0.0, 0.0, 1.0, "dome"),
    Point("chest", "room", 0.0, -0.35, 0.06, 0.0, 0.0, 1.0),
    Point("hands", "room", 0.0, -0.7, 0.25, 0.0, 0.5, 0.87),
    Point("background left", "room", -1.0, 0.0, -1.5, 0.0, 0.0, 1.0),
    Point("background right", "room", 1.0, 0.0, -1.5, 0.0, 0.0, 1.0),
    Point("second face", "room", 0.5, 0.0, 0.0, 0.0, 0.0, 1.0),
)


@dataclass(frozen=True)
class PointChange:
    """A rig after one of its points was changed, and how to get back.

    `before` is the point as it was and `at` its place in the list; `now` its name now, empty when
    it is gone. `kept_out` are the readings taken there: they belong to the old place.
    """

    rig: Rig
    before: Point
    at: int
    now: str
    kept_out: tuple[Reading, ...]


def point_of(rig: Rig, name: str) -> Point:
    """The point with this name, or NotFound with the names there are."""
    for point in rig.points:
        if point.name == name:
            return point
    known = ", ".join(p.name for p in rig.points)
    raise NotFound(f"no point is called {name!r:.60}; there are {known}")


def presets(rig: Rig) -> tuple[Point, ...]:
    """Usual points that the rig has not got; those on the background where the background is."""
    names = {p.name for p in rig.points}
    wall, face = rig.background_m, rig.side_points[0].receptor
    usual = (replace(p, receptor=face) if p.on == "face" else p for p in PRESETS)
    return tuple(
        replace(p, z=-wall) if wall is not None and p.name.startswith(BACKGROUND) else p
        for p in usual
        if p.name not in names
    )


def same_receptor(rig: Rig, point: Point, before: Point | None = None) -> Point:
    """The point, if it is read with the receptor of the rest of the face: a ratio never mixes them.
    `before` is what it takes the place of. Refused, with what to do, when it is not."""
    rest = tuple(p for p in rig.face_points if p is not before)
    known = receptor_of(rest) if rest else point.receptor
    kept = before is not None and (before.on, before.receptor) == (point.on, point.receptor)
    if point.on == "face" and known != point.receptor and not kept:
        raise Refused(
            f"{point_words(point.name)} would be read with the {point.receptor}, the rest of the"
            f" face with the {known}, and a ratio never mixes them: leave it {known}, say that it"
            " is in the room, or choose one receptor for all of them under Meter in"
        )
    return point


def normal_of(turn_deg: float, tilt_deg: float) -> Vector:
    """Where a meter is pointed: turned to camera right of the camera line, and up. [deg] -> [1]"""
    turn = radians(number("pointed to camera right", turn_deg, -180, 180))
    tilt = radians(number("pointed up", tilt_deg, -90, 90))
    return (sin(turn) * cos(tilt), sin(tilt), cos(turn) * cos(tilt))


def pointed(normal: Vector) -> tuple[float, float]:
    """The inverse of `normal_of`: turn and tilt. [deg]"""
    x, y, z = normal
    return degrees(atan2(x, z)), degrees(asin(y / length(normal)))


def with_point(rig: Rig, point: Point) -> Rig:
    """One point more."""
    if len(rig.points) >= MOST_POINTS:
        raise Refused(f"at most {MOST_POINTS} points are kept: take one out first")
    return replace(rig, points=(*rig.points, _sane(point)))


def changed_point(rig: Rig, name: str, after: Point) -> PointChange:
    """A point changed. Under another name it takes along its readings and the heads aimed at it;
    at another place its readings are kept out."""
    before = point_of(rig, name)
    moved = _place(_sane(after)) != _place(before)
    out = _readings_at(rig, name) if moved else ()
    readings = (r for r in rig.readings if r not in out)
    changed = replace(
        rig,
        points=tuple(after if p is before else p for p in rig.points),
        heads=tuple(_aimed(rig, name, after.name)),
        readings=tuple(replace(r, point=after.name) if r.point == name else r for r in readings),
    )  # fmt: skip
    return PointChange(changed, before, rig.points.index(before), after.name, out)


def without_point(rig: Rig, name: str) -> PointChange:
    """A point less; what was read there is kept out. Refused while a head is aimed at it."""
    before = point_of(rig, name)
    aimed = [h.name for h in rig.heads if h.placement.aim == name]
    if aimed:
        raise Refused(f"{', '.join(aimed)} {'are' if len(aimed) > 1 else 'is'} aimed at {name}:"
                      " aim elsewhere first")  # fmt: skip
    out = _readings_at(rig, name)
    left = replace(
        rig,
        points=tuple(p for p in rig.points if p is not before),
        readings=tuple(r for r in rig.readings if r not in out),
    )
    return PointChange(left, before, rig.points.index(before), "", out)


def put_back(rig: Rig, change: PointChange) -> Rig:
    """The rig as it is now with that one change taken back."""
    before = change.before
    if change.now:
        changed = changed_point(rig, change.now, before)
        if changed.kept_out:
            raise Refused(f"{change.now} was metered since it was changed: it stays as it is")
        rig = changed.rig
    else:
        points = list(rig.points)
        points.insert(change.at, before)
        rig = replace(rig, points=tuple(points))
    back = (*rig.readings, *(r for r in change.kept_out if r not in rig.readings))
    return replace(rig, readings=tuple(sorted(back, key=lambda r: r.at)))


def _place(point: Point) -> tuple[object, ...]:
    return point.on, point.x, point.y, point.z, point.nx, point.ny, point.nz


def _sane(point: Point) -> Point:
    if point.on == "face" and length((point.x, point.y, point.z)) > FACE_REACHES_M:
        raise OutOfRange(
            f"point {point_words(point.name)}: {length((point.x, point.y, point.z)):.2f} m from the"
            f" mark is not on the face, which ends at {FACE_REACHES_M:g} m: choose “in the room”"
        )
    return point


def _readings_at(rig: Rig, name: str) -> tuple[Reading, ...]:
    return tuple(r for r in rig.readings if r.point == name)


def _aimed(rig: Rig, old: str, new: str) -> list[Head]:
    return [
        replace(h, placement=replace(h.placement, aim=new)) if h.placement.aim == old else h
        for h in rig.heads
    ]
