"""Curve in: readings of one head down the fader, made into the curve of its channel."""

from collections.abc import Iterable, Sequence
from dataclasses import dataclass, replace
from math import isfinite, log2

from server.errors import OutOfRange, Refused
from server.physics.curve import Curve
from server.physics.signal import FULL_SCALE, level_of, signal_for
from server.physics.stops import THIRDS_PER_STOP, light_factor
from server.studio.head import DEEPEST_STOPS, Head
from server.studio.readings import FAINTEST, LUX, SAME_WITHIN_STOPS, Reading

NEEDED = 5
"""So many different levels at least, full among them (common practice)."""
MOST = 40
USUAL_LEVELS = (1.0, 0.8, 0.6, 0.4, 0.2, 0.1, 0.05, 0.02)
"""Down the fader: five that are needed, and three that show how it ends."""
OUT_BELOW = 1e-4
"""A reading of less than this share of full is the room's own light: the lamp is out. [1]"""
OUT_OUTPUT = 1e-6
FINE_STOPS = 1 / 6
"""Steps of the signal finer than this leave a third a third. [stop]"""
DEEPEST_THIRDS = int(DEEPEST_STOPS * THIRDS_PER_STOP)


@dataclass(frozen=True)
class LevelReading:
    """What was read with the head alone at a level of its channel. [1], [lx]"""

    level: float
    lux: float

    def __post_init__(self) -> None:
        if not (isfinite(self.level) and 0 < self.level <= 1):
            raise OutOfRange(f"level must lie above 0 and at most 100 %, got {100 * self.level:g}")
        if not (isfinite(self.lux) and 0 <= self.lux <= LUX[1]):
            raise OutOfRange(f"lux must lie in 0..{LUX[1]:g}, got {self.lux:g}")


def percent(level: float) -> str:
    """A level as it stands on the fader, `80 %`."""
    return f"{100 * level:.3g} %"


def measured_points(
    readings: Sequence[LevelReading], ambient_lux: float
) -> tuple[tuple[float, float], ...]:
    """The curve that readings down the fader give, from (0, 0) to (1, 1).

    output(level) = (reading - room) / (reading at 100 % - room)

    Repeats at a level are averaged in stops. Levels at which the lamp is out get an output that
    nobody sees, since a curve must rise. Raises OutOfRange, with the numbers, when there are too
    few, when repeats disagree or when the light does not rise with the level.
    """
    if len(readings) > MOST:
        raise OutOfRange(f"at most {MOST} readings make a curve, got {len(readings)}")
    by_level: dict[float, list[float]] = {}
    for reading in readings:
        by_level.setdefault(reading.level, []).append(reading.lux - ambient_lux)
    if len(by_level) < NEEDED or 1.0 not in by_level:
        raise OutOfRange(
            f"a curve needs {NEEDED} levels, 100 % among them; read so far: "
            + (", ".join(percent(v) for v in sorted(by_level, reverse=True)) or "none")
        )
    full = _agreed(1.0, by_level[1.0])
    if full <= 0:
        raise OutOfRange(
            f"at 100 % it reads no more than the room's own {ambient_lux:.3g} lux: is it this head,"
            " and the right point?"
        )
    points = [(0.0, 0.0)]
    above = 0.0, 0.0
    for rank, level in enumerate(sorted(by_level), start=1):
        light = _agreed(level, by_level[level])
        if light < OUT_BELOW * full and above[1] == 0.0:
            points.append((level, OUT_OUTPUT * rank))
            continue
        if light <= above[1]:
            raise OutOfRange(
                f"{percent(level)} reads {light + ambient_lux:.4g} lux and {percent(above[0])}"
                f" {above[1] + ambient_lux:.4g} lux: light must rise with the level."
                " Take one of them back and read it again"
            )
        above = level, light
        points.append((level, 1.0 if level == 1.0 else light / full))
    return tuple(points)


def _agreed(level: float, values: Sequence[float]) -> float:
    """The mean of repeats in stops; OutOfRange when they lie too far apart. [lx]"""
    if min(values) <= 0:
        return 0.0
    if log2(max(values) / min(values)) > SAME_WITHIN_STOPS:
        raise OutOfRange(
            f"two readings at {percent(level)} lie {log2(max(values) / min(values)):.1f} stops"
            " apart: take one of them back"
        )
    return float(2.0 ** (sum(log2(v) for v in values) / len(values)))


def dark_levels(points: Iterable[tuple[float, float]]) -> tuple[float, ...]:
    """The levels above 0 at which the lamp was out."""
    return tuple(level for level, output in points if 0 < output < OUT_BELOW)


def curved(head: Head, points: tuple[tuple[float, float], ...], steady_from: float) -> Head:
    """The head on its measured curve, going no lower than it burns steadily."""
    dark = max(dark_levels(points), default=0.0)
    lit = min(level for level, output in points if output >= OUT_BELOW)
    steady = steady_from if steady_from > dark else (lit if dark else 0.0)
    return kept_before(
        head, replace(head, curve="measured", curve_points=points, steady_from=steady)
    )


def kept_before(before: Head, after: Head) -> Head:
    """The head with its new curve, which remembers the one before; the very same for none new."""
    if after.past_curve == before.past_curve:
        return after
    return replace(after, curve_before=before.past_curve)


def with_curve_before(head: Head) -> Head:
    """The head with the curve it had before; the present one is then the one before. Refused when
    there is none."""
    past = head.curve_before
    if past is None:
        raise Refused(f"{head.name} has had no other curve: nothing to take back")
    return kept_before(head, replace(head, **vars(past)))


def on_curve(readings: Iterable[Reading], before: Head, after: Head) -> tuple[Reading, ...]:
    """Earlier readings of a head as its new curve tells them: the level was what it was, so it is
    the share of full that it gave which is known better now. Those fainter than any are left out.
    """
    told = []
    for reading in readings:
        if reading.head != after.name or before.dimmer == after.dimmer:
            told.append(reading)
            continue
        output = after.dimmer.output(before.dimmer.level(reading.output))
        if output >= FAINTEST:
            told.append(replace(reading, output=output))
    return tuple(told)


def third_down(curve: Curve, level: float, bits: int) -> float | None:
    """What a third down from a level really gives. [stop]; None where the lamp is out.

    Both ends are rounded as they are sent.
    """
    there = curve.level(curve.output(level) * light_factor(-1 / THIRDS_PER_STOP))
    before, after = (curve.output(level_of(signal_for(v, bits))) for v in (level, there))
    return log2(after / before) if before > 0 and after > 0 else None


def fine_down_to(curve: Curve, bits: int) -> int:
    """How far below full the signal's steps stay finer than a sixth of a stop. [thirds]

    Both ends of a third are rounded by half a step at most, so it is good to a step.
    """
    scale = FULL_SCALE[bits]
    for thirds in range(DEEPEST_THIRDS):
        number = round(scale * curve.level(light_factor(-thirds / THIRDS_PER_STOP)))
        below = curve.output((number - 1) / scale) if number > 1 else 0.0
        if below <= 0 or log2(curve.output(number / scale) / below) > FINE_STOPS:
            return thirds
    return DEEPEST_THIRDS
