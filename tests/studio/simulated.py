"""A simulated studio: the light formula written anew, with errors that the tool does not know.

Lenses stand up to 5 cm from where they are entered in each direction, lamps are up to 0.2 stop off
their figures, about 5 % of each head's light comes off the walls, a reading is up to 0.1 stop off
(the last digit of a hand meter), signals have 8 bits.
"""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field, replace
from datetime import UTC, datetime, timedelta
from math import acos, cos, degrees, exp, log, radians, sin
from random import Random

from server.studio.head import Head
from server.studio.metering import METER_STOPS, Step, asked_steps, steps
from server.studio.readings import Reading
from server.studio.rig import Rig
from server.studio.room import Point
from server.studio.touched import Pair

NOON = datetime(2026, 5, 1, 12, tzinfo=UTC)
Vector = tuple[float, float, float]


@dataclass(frozen=True)
class Errors:
    """How far a studio is from its rig."""

    placed_m: float = 0.05
    lamp_stops: float = 0.2
    bounce: float = 0.05
    meter_stops: float = 0.1
    """No reading is farther off than this; or, with `bell`, its standard deviation."""
    bell: bool = False


@dataclass
class Studio:
    """One real room behind a rig. `seed` decides all its errors."""

    rig: Rig
    seed: int
    errors: Errors = Errors()
    lens: dict[str, Vector] = field(default_factory=dict)
    lamp: dict[str, float] = field(default_factory=dict)
    walls: dict[str, float] = field(default_factory=dict)

    def __post_init__(self) -> None:
        self.chance = Random(self.seed)
        off, lamp = self.errors.placed_m, self.errors.lamp_stops
        for head in self.rig.heads:
            at = head.placement
            flat = (at.distance_m**2 - at.rise_m**2) ** 0.5
            turn = radians(at.azimuth_deg)
            self.lens[head.name] = tuple(
                v + self.chance.uniform(-off, off)
                for v in (flat * sin(turn), at.rise_m, flat * cos(turn))
            )
            self.lamp[head.name] = 2 ** self.chance.uniform(-lamp, lamp)
        for point in self.rig.points:
            self.walls[point.name] = self.errors.bounce * self.chance.uniform(0.7, 1.3)

    def part(self, point: Point, head: Head, yaw_deg: float, shaded: bool = False) -> float:
        """Light of one head at full at one point; shaded: only what comes off the walls. [lx]"""
        bounce = self.walls[point.name] * self._toward(head, (0.0, 0.0, 0.0), yaw_deg)
        if shaded:
            return bounce
        place, normal = _placed(point, yaw_deg)
        ray = _minus(self.lens[head.name], place)
        cosine = _dot(ray, normal) / (_size(ray) * _size(normal))
        seen = (1 + cosine) / 2 if point.receptor == "dome" else max(0.0, cosine)
        return self._toward(head, place, yaw_deg) * seen + bounce

    def _toward(self, head: Head, place: Vector, yaw_deg: float) -> float:
        lens, aim = self.lens[head.name], head.placement.aim
        if aim == "mark":
            aim = (0.0, 0.0, 0.0)
        elif isinstance(aim, str):
            aim = _placed(next(p for p in self.rig.points if p.name == aim), yaw_deg)[0]
        axis, ray = _minus(aim, lens), _minus(place, lens)
        share = _dot(axis, ray) / (_size(axis) * _size(ray))
        candela = _intensity(head, degrees(acos(max(-1.0, min(1.0, share)))))
        scrims = 2.0 ** -sum(head.placement.scrims)
        return candela * self.lamp[head.name] * scrims / _size(ray) ** 2

    def lux(
        self, point: str, outputs: Mapping[str, float], yaw_deg: float = 0.0,
        shaded: tuple[str, ...] = (),
    ) -> float:  # fmt: skip
        """What is really there, the signals rounded to their bits. [lx]"""
        found = next(p for p in self.rig.points if p.name == point)
        return self.rig.room.ambient_lux + sum(
            self.part(found, h, yaw_deg, h.name in shaded) * rounded(h, outputs.get(h.name, 0.0))
            for h in self.rig.heads
        )

    def after_a_pass(self, repeats: int = 1, yaw_deg: float = 0.0) -> Rig:
        """The rig with every reading of one metering pass, as the tool asks for them."""
        rig, minute = self.rig, 0
        for _ in range(repeats):
            for step in steps(rig, yaw_deg):
                minute += 1
                rig = replace(rig, readings=(*rig.readings, self._read(step, yaw_deg, minute)))
        return rig

    def reading_more(self, rig: Rig, pairs: Sequence[Pair], chance: int) -> Rig:
        """The rig with just these readings more, taken an hour later; errors by `chance` alone."""
        self.chance = Random(chance)
        for minute, step in enumerate(asked_steps(rig, 0.0, pairs, NOON) if pairs else ()):
            reading = self._read(step, 0.0, 120 + minute)
            rig = replace(rig, readings=(*rig.readings, reading))
        return rig

    def _read(self, step: Step, yaw_deg: float, minute: int) -> Reading:
        output = rounded(self.rig.head(step.head), 2.0**-METER_STOPS) if step.head else 0.0
        shaded = (step.head,) if step.shaded else ()
        real = self.lux(step.point, {step.head: 2.0**-METER_STOPS}, yaw_deg, shaded)
        err = self.errors.meter_stops
        off = self.chance.gauss(0, err) if self.errors.bell else self.chance.uniform(-err, err)
        return Reading(
            point=step.point, head=step.head, lux=real * 2**off, output=output,
            at=NOON + timedelta(minutes=minute),
            placement=self.rig.head(step.head).placement if step.head else None,
            yaw_deg=yaw_deg,
            receptor=next(p.receptor for p in self.rig.points if p.name == step.point),
            shaded=step.shaded,
        )  # fmt: skip


def rounded(head: Head, output: float) -> float:
    """The output that the head's byte really gives (a straight or a square curve)."""
    if head.bits != 8 or head.curve not in ("linear", "square"):
        raise ValueError(f"the simulated studio knows no {head.bits} bits, {head.curve}")
    power = 2 if head.curve == "square" else 1
    return (int(255 * output ** (1 / power) + 0.5) / 255) ** power


def _intensity(head: Head, off_axis_deg: float) -> float:
    """I0 exp(-ln 2 (theta / half)**n), rows interpolated; half at 50 %, a tenth at 10 %."""
    rows = sorted(head.beam, key=lambda r: r.focus)
    focus = min(max(head.placement.focus, rows[0].focus), rows[-1].focus)
    high = next((r for r in rows if r.focus >= focus), rows[-1])
    low = next((r for r in reversed(rows) if r.focus <= focus), rows[0])
    part = (focus - low.focus) / (high.focus - low.focus) if high.focus > low.focus else 0.0

    def mixed(a: float, b: float) -> float:
        return a + part * (b - a)

    peak = exp(mixed(log(low.beam.candela), log(high.beam.candela)))
    beam = mixed(low.beam.beam_deg, high.beam.beam_deg)
    spread = mixed(low.beam.field_deg, high.beam.field_deg)
    power = log(log(10) / log(2)) / log(spread / beam)
    return peak * exp(-log(2) * (off_axis_deg / (beam / 2)) ** power)


def _placed(point: Point, yaw_deg: float) -> tuple[Vector, Vector]:
    turn = radians(yaw_deg) if point.on == "face" else 0.0

    def turned(v: Vector) -> Vector:
        return (v[0] * cos(turn) + v[2] * sin(turn), v[1], v[2] * cos(turn) - v[0] * sin(turn))

    return turned((point.x, point.y, point.z)), turned((point.nx, point.ny, point.nz))


def _minus(a: Vector, b: Vector) -> Vector:
    return (a[0] - b[0], a[1] - b[1], a[2] - b[2])


def _dot(a: Vector, b: Vector) -> float:
    return a[0] * b[0] + a[1] * b[1] + a[2] * b[2]


def _size(a: Vector) -> float:
    return _dot(a, a) ** 0.5
