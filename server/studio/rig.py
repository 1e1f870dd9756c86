"""The whole rig as one frozen value: room, sitter, points, lens, heads."""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field, replace
from functools import cached_property

from server.errors import NotFound, OutOfRange, Refused
from server.physics.exposure import exact_f_number
from server.studio.drift import Drift, drifts
from server.studio.head import SLOTS, Head, Placement, number
from server.studio.lamps import LampChange
from server.studio.readings import Reading, ambient_read
from server.studio.room import USUAL_POINTS, Meter, Point, Room, Sitter

MOST_READINGS = 5000
MOST_LAMPS = 2000
BACKGROUND = "background"
"""The point that tells how far away the background is."""


@dataclass(frozen=True)
class Lens:
    """What the photographer has set on the camera: ISO, shutter [s], f-number."""

    iso: float = 400.0
    shutter_s: float = 1 / 125
    f_number: float = 5.6

    def __post_init__(self) -> None:
        number("iso", self.iso, 1, 1_000_000)
        number("shutter_s", self.shutter_s, 1e-5, 3600)
        number("f_number", self.f_number, 0.5, 128)

    @property
    def exact_f_number(self) -> float:
        """The f-number behind the printed mark."""
        return exact_f_number(self.f_number)


@dataclass(frozen=True)
class Rig:
    """Everything that does not change while a look is being nudged."""

    room: Room
    sitter: Sitter = field(default_factory=Sitter)
    points: tuple[Point, ...] = USUAL_POINTS
    lens: Lens = field(default_factory=Lens)
    heads: tuple[Head, ...] = ()
    meter: Meter = field(default_factory=Meter)
    readings: tuple[Reading, ...] = ()
    lamps: tuple[LampChange, ...] = ()

    def __post_init__(self) -> None:
        _unique("heads", [h.name for h in self.heads])
        _unique("points", [p.name for p in self.points])
        if not any(p.on == "face" for p in self.points):
            raise OutOfRange("points need at least one on the face, or there is no ratio")
        if len(self.readings) > MOST_READINGS:
            raise OutOfRange(
                f"readings: at most {MOST_READINGS} are kept, got {len(self.readings)}"
            )
        if len(self.lamps) > MOST_LAMPS:
            raise OutOfRange(f"lamps: at most {MOST_LAMPS} are kept, got {len(self.lamps)}")
        circuits = {c.name for c in self.room.circuits}
        targets = {"mark"} | {p.name for p in self.points}
        taken: dict[tuple[int, int], str] = {}
        for head in self.heads:
            if head.circuit and head.circuit not in circuits:
                raise OutOfRange(
                    f"head {head.name}: circuit {head.circuit!r:.60} is not in the room;"
                    f" there are {', '.join(sorted(circuits)) or 'none'}"
                )
            if isinstance(head.placement.aim, str) and head.placement.aim not in targets:
                raise OutOfRange(
                    f"head {head.name}: aim {head.placement.aim!r:.60} is no point;"
                    f" there are {', '.join(sorted(targets))}"
                )
            for slot in head.slots:
                other = taken.setdefault((head.universe, slot), head.name)
                if other != head.name:
                    raise OutOfRange(
                        f"head {head.name}: address {slot} in universe {head.universe} is taken"
                        f" by {other}; each head needs addresses of its own (1..{SLOTS})"
                    )

    @cached_property
    def drifts(self) -> Mapping[str, Drift]:
        """How each head drifts while it warms up, where that was read. A tungsten head does not."""
        at_points = {p.name: self.room.ambient_lux for p in self.points}
        found = drifts(self.alike, {**at_points, **ambient_read(self.alike)})
        return {
            h.name: found[h.name] for h in self.heads if h.name in found and h.lamp != "tungsten"
        }

    def head(self, name: str) -> Head:
        """The head with this name, or NotFound with the names there are."""
        for head in self.heads:
            if head.name == name:
                return head
        known = ", ".join(h.name for h in self.heads) or "none yet"
        raise NotFound(f"no head is called {name!r:.60}; there are {known}")

    def standing(self, placements: Mapping[str, Placement]) -> "Rig":
        """The same rig with some heads standing elsewhere.

        A head that was aimed at a point that is gone is aimed at the mark.
        """
        points = {p.name for p in self.points}

        def stand(head: Head) -> Head:
            placement = placements.get(head.name, head.placement)
            if isinstance(placement.aim, str) and placement.aim not in points:
                placement = replace(placement, aim="mark")
            return replace(head, placement=placement)

        return replace(self, heads=tuple(stand(h) for h in self.heads))

    def heads_of(self, role: str) -> tuple[Head, ...]:
        """All heads of a role; refused with the roles in use when there is none."""
        found = tuple(h for h in self.heads if h.role == role)
        if not found:
            known = ", ".join(sorted({h.role for h in self.heads})) or "none yet"
            raise NotFound(f"no head plays {role!r:.40}; roles in this rig: {known}")
        return found

    @property
    def face_points(self) -> tuple[Point, ...]:
        """The points that turn with the face."""
        return tuple(p for p in self.points if p.on == "face")

    @property
    def side_points(self) -> tuple[Point, ...]:
        """The face points that make the ratio: those of the receptor that most of them are read
        with (as the first, where that ties), since a ratio never mixes flat and dome."""
        receptor = receptor_of(self.face_points)
        return tuple(p for p in self.face_points if p.receptor == receptor)

    @cached_property
    def alike(self) -> tuple[Reading, ...]:
        """The readings that were taken with the receptor that their point is read with now: flat
        and dome are never mixed. What was read at a point that is gone is left in."""
        now = {p.name: p.receptor for p in self.points}
        return tuple(r for r in self.readings if now.get(r.point, r.receptor) == r.receptor)

    @property
    def background_m(self) -> float | None:
        """From the mark back to the background point, None when there is none. [m]"""
        return next((-p.z for p in self.points if p.name == BACKGROUND), None)

    def with_background(self, distance_m: float) -> "Rig":
        """The same rig with its background so far behind the mark; what was metered on it where it
        hung before no longer holds and goes. [m]"""
        number("background distance, metres", distance_m, 0.2, 50)
        hangs = self.background_m
        if hangs is not None and abs(hangs - distance_m) < 0.01:  # as a tape measure tells it
            return self
        usual = next(p for p in USUAL_POINTS if p.name == BACKGROUND)
        points = self.points if hangs is not None else (*self.points, usual)
        return replace(
            self,
            points=tuple(replace(p, z=-distance_m) if p.name == BACKGROUND else p for p in points),
            readings=tuple(r for r in self.readings if r.point != BACKGROUND),
        )

    def require_heads(self) -> "Rig":
        """Itself, if there is anything to light."""
        if not self.heads:
            raise Refused("heads: a rig needs at least one head, got none")
        return self


def receptor_of(face: Sequence[Point]) -> str:
    """The receptor that most of some points are read with, as the first where that ties."""
    flat = sum(p.receptor == "flat" for p in face)
    dome = len(face) - flat
    return face[0].receptor if flat == dome else ("flat" if flat > dome else "dome")


def _unique(field_name: str, names: list[str]) -> None:
    double = sorted({n for n in names if names.count(n) > 1})
    if double:
        raise OutOfRange(f"{field_name} need names of their own; twice: {', '.join(double)}")
