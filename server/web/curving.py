"""Curve in, as its page shows it: what is asked for, what was read, what it comes to."""

from dataclasses import dataclass, replace
from math import log2

from server.errors import NotFound, OutOfRange
from server.live.now import Now
from server.physics.curve import Curve, MeasuredCurve
from server.physics.stops import stops_below_full
from server.studio.curve_in import (
    NEEDED,
    USUAL_LEVELS,
    curved,
    dark_levels,
    fine_down_to,
    measured_points,
    percent,
    third_down,
)
from server.studio.head import Head
from server.studio.metering import is_alone
from server.studio.readings import ambient_read
from server.web.curve_drawing import CurveDrawing, drawing_of
from server.web.curve_pass import Pass, is_lit
from server.web.words import lux_words, point_words, stops_words

LOW_LEVELS = (0.2, 0.1, 0.05, 0.03, 0.02, 0.01)
HALF = 0.5


@dataclass(frozen=True)
class LineView:
    """One reading of the pass."""

    name: str
    words: str
    steady: bool
    steady_query: str
    without_query: str


@dataclass(frozen=True)
class StepView:
    """What is asked for now; `percent` empty for the room's own light."""

    name: str
    percent: str
    level: str
    lit: bool
    hint: str


@dataclass(frozen=True)
class ThirdView:
    """What a third down gives from one level."""

    level: str
    light: str
    coarse: str
    fine: str


@dataclass(frozen=True)
class Result:
    """What the readings come to, ready to be stored."""

    drawing: CurveDrawing
    thirds: tuple[ThirdView, ...]
    words: tuple[str, ...]
    steady: str


@dataclass(frozen=True)
class CurveView:
    """The page."""

    head: str
    bits: int
    query: str
    points: tuple[tuple[str, str], ...]
    """Each with the word it is called by."""
    point: str
    at: str
    started: bool
    read: int
    step: StepView | None
    lines: tuple[LineView, ...]
    result: Result | None
    trouble: str
    more: tuple[str, ...]
    needed: int = NEEDED


def curve_view(now: Now, head: Head, passing: Pass) -> CurveView:
    """Where the pass stands."""
    names = tuple(p.name for p in now.rig.points)
    if passing.point and passing.point not in names:
        raise NotFound(f"no point is called {passing.point!r:.60}; there are {', '.join(names)}")
    result, trouble = None, ""
    if len({r.level for r in passing.readings}) >= NEEDED:
        try:
            result = _result(now, head, passing)
        except OutOfRange as error:
            trouble = str(error)
    read = {r.level for r in passing.readings}
    best = max(now.rig.points, key=lambda p: now.matrix.at[p.name][head.name]).name
    return CurveView(
        head=head.name,
        bits=head.bits,
        query=passing.query,
        points=tuple((name, point_words(name)) for name in names),
        point=passing.point or best,
        at=point_words(passing.point),
        started=bool(passing.point),
        read=len(read),
        step=_step(now, head, passing) if passing.point else None,
        lines=tuple(_line(passing, i) for i in range(len(passing.readings))),
        result=result,
        trouble=trouble,
        more=tuple(percent(v) for v in sorted((*USUAL_LEVELS, 0.03, 0.01), reverse=True)),
    )


def room_light(now: Now, point: str) -> float | None:
    """The room's own light at a point, where it was read. [lx]"""
    return ambient_read(now.rig.alike).get(point)


def expected_lux(now: Now, head: Head, passing: Pass, level: float) -> float:
    """What the meter should show at a level, if the present curve is right. [lx]"""
    room = passing.room_lux or 0.0
    full = [r.lux - room for r in passing.readings if r.level == 1.0]
    whole = full[-1] if full else now.matrix.at[passing.point][head.name]
    return room + max(0.0, whole) * head.dimmer.output(level)


def question(now: Now, head: Head, passing: Pass, level: float, lux: float, unit: str) -> str:
    """What is asked about a reading that cannot be right beside the others; empty when it can."""
    over = [r for r in passing.readings if r.level > level and r.lux <= lux]
    under = [r for r in passing.readings if r.level < level and r.lux >= lux]
    full = expected_lux(now, head, passing, level) if level == 1.0 else 0.0
    words = ""
    if over or under:
        other = min(over + under, key=lambda r: abs(r.level - level))
        words = (
            f"{percent(level)} reads {lux:.4g} lux, but {percent(other.level)} read"
            f" {other.lux:.4g}: light must rise with the level. Is the head lit as it should be,"
            " and the meter where it was?"
        )
    elif full > 0 and lux > 0 and abs(log2(lux / full)) > 1 and not passing.readings:
        way = "over" if lux > full else "under"
        words = (
            f"{lux:.4g} lux is {abs(log2(lux / full)):.1f} stops {way} what is expected at full."
            " Is the right head lit, the number right?"
        )
    return f"{words} Typed as {unit} it would fit." if words and unit else words


def _step(now: Now, head: Head, passing: Pass) -> StepView | None:
    setting = now.record.history.now.setting
    if passing.room_lux is None:
        lit = is_alone(now.rig, setting, "")
        return StepView("The room’s own light", "", "", lit, "")
    level = passing.next_level
    if level is None:
        return None
    expected = expected_lux(now, head, passing, level)
    told = f"On the present curve it would read about {lux_words(expected)}."
    return StepView(f"{head.name} at {percent(level)}", percent(level), f"{level:.6g}",
                    is_lit(now, head, level), told if expected > 0 else "")  # fmt: skip


def _line(passing: Pass, index: int) -> LineView:
    reading = passing.readings[index]
    left = passing.readings[:index] + passing.readings[index + 1 :]
    steady = reading.level == passing.steady_from
    return LineView(
        name=percent(reading.level),
        words=lux_words(reading.lux),
        steady=steady,
        steady_query=replace(passing, steady_from=0.0 if steady else reading.level).query,
        without_query=replace(passing, readings=left).query,
    )


def _result(now: Now, head: Head, passing: Pass) -> Result:
    points = measured_points(passing.readings, passing.room_lux or 0.0)
    after = curved(head, points, passing.steady_from)
    curve, steady = MeasuredCurve(points), after.steady_from
    lows = sorted({v for v in LOW_LEVELS if v >= steady} | ({steady} if steady else set()))
    return Result(
        drawing=drawing_of(points, head.dimmer, head.curve),
        thirds=tuple(_third(curve, level) for level in reversed(lows)),
        words=_words(now, head, after),
        steady=percent(steady) if steady else "",
    )


def _third(curve: Curve, level: float) -> ThirdView:
    return ThirdView(
        level=percent(level),
        light=f"−{stops_below_full(curve.output(level)):.1f} stops",
        coarse=_got(third_down(curve, level, 8)),
        fine=_got(third_down(curve, level, 16)),
    )


def _got(stops: float | None) -> str:
    return "out" if stops is None else f"{stops:.2f}".replace("-", "−")


def _words(now: Now, before: Head, after: Head) -> tuple[str, ...]:
    was, will = before.dimmer.level(HALF), after.dimmer.level(HALF)
    told = [
        "Every look and the light now keep their light, so the levels change: for half light the"
        f" channel stood at {percent(was)} and will stand at {percent(will)}."
    ]
    count = sum(r.head == before.name for r in now.rig.readings)
    if count:
        told.append(
            f"{count} earlier reading{'s' if count > 1 else ''} of {before.name} will be reckoned"
            " on the new curve: the level they were read at was what it was."
        )
    dark = dark_levels(after.curve_points)
    if dark:
        told.append(f"At {percent(max(dark))} it was out.")
    fine = fine_down_to(after.dimmer, after.bits)
    told.append(
        f"With its {after.bits} bits a third is right to a sixth of a stop down to"
        f" {stops_words(fine)} stops below full."
    )
    return tuple(told)
