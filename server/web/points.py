"""The page of the metering points: where each is in words, its form, and the last change undone."""

from collections.abc import Mapping
from dataclasses import dataclass, replace
from typing import Any

from server.errors import Refused
from server.live.now import Now
from server.studio.points import PointChange, normal_of, pointed
from server.studio.room import Point
from server.studio.tape import INCH_M, metres_of
from server.web.forms import number

FINE = {"m": ("cm", 0.01), "ft": ("in", INCH_M)}
"""What a bare number of a point's place is in. [m]"""
AXES = (
    ("x", "To camera right (left is negative)"),
    ("y", "Above the eyes (below is negative)"),
    ("z", "Toward the camera (behind is negative)"),
)
POINTED = (
    ("turn", "Meter pointed to camera right, degrees (0 at the camera)"),
    ("tilt", "Meter pointed up, degrees"),
)


class PointsOut:
    """The last change of a room's points, to be taken back; forgotten when the server ends."""

    def __init__(self) -> None:
        self._last: tuple[int, PointChange] | None = None

    def keep(self, room: int, change: PointChange | None) -> None:
        """Remember a change, or that it has been taken back."""
        self._last = (room, change) if change else None

    def last(self, room: int) -> PointChange | None:
        """The last change of this room's points."""
        return self._last[1] if self._last and self._last[0] == room else None

    def require(self, room: int) -> PointChange:
        """The same, refused when there is none."""
        change = self.last(room)
        if change is None:
            raise Refused("no point was changed here since Thirdstop started: nothing to take back")
        return change


@dataclass(frozen=True)
class PointView:
    """One point of the list."""

    name: str
    on: str
    place: str
    lux: str
    readings: str
    aimed: str


def point_views(now: Now) -> tuple[PointView, ...]:
    """Every point, with its light now, what was read there and who is aimed at it."""
    rig = now.rig
    lux = {p.point.name: p.lux for p in now.figures.points}
    views = []
    for point in rig.points:
        count = sum(r.point == point.name for r in rig.readings)
        aimed = [h.name for h in rig.heads if h.placement.aim == point.name]
        views.append(
            PointView(
                name=point.name,
                on="turns with the face" if point.on == "face" else "in the room",
                place=point_words(point, rig.room.units),
                lux=f"{lux[point.name]:.0f} lux now",
                readings=readings_words(count),
                aimed=f"{', '.join(aimed)} aimed at it" if aimed else "",
            )
        )
    return tuple(views)


def readings_words(count: int) -> str:
    """`3 readings`; empty for none."""
    return f"{count} reading{'s' if count > 1 else ''}" if count else ""


def point_words(point: Point, units: str) -> str:
    """Where it is and how its meter is held, as one would show it with a hand."""
    ways = (
        (point.x, "camera right", "camera left"),
        (point.y, "above the eyes", "below the eyes"),
        (point.z, "toward the camera", "behind the mark"),
    )
    parts = [f"{_fine(abs(v), units)} {a if v > 0 else b}" for v, a, b in ways if v]
    turn, tilt = pointed((point.nx, point.ny, point.nz))
    if tilt > 80:
        way = "up"
    elif tilt < -80:
        way = "down"
    elif abs(turn) < 3:
        way = "at the camera"
    elif abs(turn) > 177:
        way = "away from the camera"
    else:
        way = f"{abs(turn):.0f}° camera {'right' if turn > 0 else 'left'}"
    return f"{', '.join(parts) or 'on the mark'}; {point.receptor}, pointed {way}"


def _fine(metres: float, units: str) -> str:
    unit, size = FINE[units]
    return f"{round(metres / size, 2):g} {unit}"


def point_values(point: Point, units: str) -> dict[str, str]:
    """A point as its form shows it."""
    turn, tilt = pointed((point.nx, point.ny, point.nz))
    places = {axis: _fine(getattr(point, axis), units) for axis, _ in AXES}
    return {
        "name": point.name, "on": point.on, "receptor": point.receptor, **places,
        "turn": f"{round(turn, 1):g}", "tilt": f"{round(tilt, 1):g}",
    }  # fmt: skip


def point_from(form: Mapping[str, Any], before: Point | None, units: str) -> Point:
    """The point that a form describes. What reads as it was shown stays exactly as it was."""
    shown = point_values(before, units) if before else {}
    unit = FINE[units][0]

    def same(name: str) -> bool:
        return bool(before) and str(form.get(name, "")).strip() == shown[name]

    place = {
        axis: getattr(before, axis) if same(axis)
        else metres_of(words.partition(" (")[0].lower(), str(form.get(axis, "")), units, unit)
        for axis, words in AXES
    }  # fmt: skip
    if before and same("turn") and same("tilt"):
        normal = before.nx, before.ny, before.nz
    else:
        told = {"pointed to camera right": form.get("turn"), "pointed up": form.get("tilt")}
        normal = normal_of(*(number(told, name) for name in told))
    nx, ny, nz = normal
    return Point(
        name=str(form.get("name", "")), on=str(form.get("on", "")),
        receptor=str(form.get("receptor", "")), nx=nx, ny=ny, nz=nz, **place,
    )  # fmt: skip


def undo_words(change: PointChange) -> str:
    """What the undo key would do."""
    name = change.before.name
    count = readings_words(len(change.kept_out))
    along = f" with its {count}" if count else ""
    return f"Bring {name} back{along}" if not change.now else f"Put {name} back{along}"


def told_words(change: PointChange) -> str:
    """What was done, and what became of the readings."""
    name, count = change.before.name, readings_words(len(change.kept_out))
    done = f"{name} is taken out" if not change.now else f"{change.now} is changed"
    if not count:
        return f"{done}."
    return (
        f"{done}; its {count}, taken where it was, {'are' if len(change.kept_out) > 1 else 'is'}"
        " kept out of all figures."
    )


def as_new(point: Point, number_of_points: int) -> Point:
    """A point to start a form from."""
    return replace(point, name=f"point {number_of_points + 1}")
