"""Readings down the fader become the curve of a channel. SciPy's PCHIP is the reference."""

from dataclasses import replace
from datetime import UTC, datetime
from math import log2

import pytest
from hypothesis import given
from hypothesis import strategies as st
from scipy.interpolate import PchipInterpolator

from server.errors import OutOfRange
from server.physics.curve import Curve, LinearCurve, MeasuredCurve, SquareCurve
from server.studio.curve_in import (
    LevelReading,
    curved,
    dark_levels,
    fine_down_to,
    measured_points,
    on_curve,
    third_down,
)
from server.studio.document import head_document, head_from_document
from server.studio.head import Head, Placement
from server.studio.light import light_matrix
from server.studio.nudge import nudged
from server.studio.readings import Reading
from server.studio.setting import Setting, exact_stops
from tests.studio.test_readings import rig

NOON = datetime(2026, 5, 1, 12, tzinfo=UTC)
FULL, ROOM = 4000.0, 6.0


def taken(*pairs: tuple[float, float]) -> list[LevelReading]:
    """Readings of a head that gives so much of full at each level, in a room with light."""
    return [LevelReading(level, FULL * output + ROOM) for level, output in pairs]


FIVE = ((1.0, 1.0), (0.8, 0.61), (0.6, 0.31), (0.4, 0.12), (0.2, 0.02))


@given(st.floats(0, 1))
def test_five_readings_make_the_curve_that_scipy_draws(level: float) -> None:
    curve = MeasuredCurve(measured_points(taken(*FIVE), ROOM))
    x, y = zip((0.0, 0.0), *reversed(FIVE), strict=True)
    assert curve.output(level) == pytest.approx(float(PchipInterpolator(x, y)(level)), abs=1e-9)


def test_the_order_of_the_readings_does_not_matter_and_repeats_are_averaged() -> None:
    again = taken(*FIVE, (0.4, 0.125))[::-1]
    points = dict(measured_points(again, ROOM))
    assert points[0.4] == pytest.approx((0.12 * 0.125) ** 0.5)
    assert points[0.8] == pytest.approx(0.61)


@pytest.mark.parametrize(
    ("pairs", "says"),
    [
        (FIVE[:4], "needs 5 levels, 100 % among them; read so far: 100 %, 80 %, 60 %, 40 %"),
        ((*FIVE[1:], (0.1, 0.004)), "100 % among them"),
        ((*FIVE, (0.3, 0.13)), "40 % reads 486 lux and 30 % 526 lux: light must rise"),
        ((*FIVE, (0.9, 0.61)), "90 % reads 2446 lux and 80 % 2446 lux"),
        ((*FIVE, (0.4, 0.24)), "two readings at 40 % lie 1.0 stops apart"),
        (tuple((level, 0.0) for level, _ in FIVE), "no more than the room's own 6 lux"),
        ((*FIVE, (0.3, 0.0)), "light must rise"),
    ],
)
def test_what_makes_no_curve_is_told_with_its_numbers(
    pairs: tuple[tuple[float, float], ...], says: str
) -> None:
    with pytest.raises(OutOfRange, match=says):
        measured_points(taken(*pairs), ROOM)


@pytest.mark.parametrize(("level", "lux"), [(0.0, 1), (1.1, 1), (0.5, -1), (0.5, float("nan"))])
def test_a_reading_that_cannot_be_is_refused(level: float, lux: float) -> None:
    with pytest.raises(OutOfRange):
        LevelReading(level, lux)


def test_a_lamp_that_is_out_low_down_is_steady_from_where_it_gives_light() -> None:
    points = measured_points(taken(*FIVE, (0.1, 0.0), (0.05, 0.0)), ROOM)
    assert dark_levels(points) == (0.05, 0.1)
    head = curved(Head("Key", "key"), points, 0.0)
    assert head.steady_from == 0.2
    assert head.deepest_stops == pytest.approx(-log2(0.02))
    assert curved(Head("Key", "key"), points, 0.4).deepest_stops == pytest.approx(-log2(0.12))
    assert head_from_document(head_document(head)) == head


def test_no_nudge_goes_below_where_it_burns_steadily() -> None:
    plain = rig()
    key = curved(plain.head("Key"), measured_points(taken(*FIVE), ROOM), 0.4)
    studio = replace(plain, heads=(key, plain.head("Fill")))
    setting = Setting(stops={"Key": exact_stops(0.31), "Fill": exact_stops(0.5)})
    result = nudged(studio, light_matrix(studio, 0.0), setting, [key], -9)
    assert result.limited
    assert result.setting.output(key) == pytest.approx(0.12)


def test_earlier_readings_are_told_anew_on_the_new_curve() -> None:
    """At 50 % a straight curve says half; this lamp gave what its curve says there."""
    before = Head("Key", "key")
    after = curved(before, measured_points(taken(*FIVE), ROOM), 0.0)
    old = [
        Reading("cheek right", "Key", 900.0, 0.6, NOON, Placement()),
        Reading("cheek right", "Fill", 300.0, 0.6, NOON, Placement()),
    ]
    key, fill = on_curve(old, before, after)
    assert key.output == pytest.approx(0.31)
    assert fill == old[1]
    assert on_curve([key], after, before)[0].output == pytest.approx(0.6)


def test_byte_8_of_a_straight_curve_still_gives_four_tenths() -> None:
    """Story of the low end: 8 of 255, a third down lands on 6: log2(6/8) = -0.415."""
    straight = [(v, v) for v in (1.0, 0.8, 0.6, 0.4, 0.2, 0.1)]
    measured = MeasuredCurve(measured_points(taken(*straight), ROOM))
    for curve in (LinearCurve(), measured):
        assert third_down(curve, 8 / 255, 8) == pytest.approx(log2(6 / 8), abs=1e-6)
        assert third_down(curve, 8 / 255, 16) == pytest.approx(-1 / 3, abs=2e-3)


@pytest.mark.parametrize(("curve", "thirds"), [(LinearCurve(), 15), (SquareCurve(), 24)])
def test_how_far_down_the_steps_are_fine(curve: Curve, thirds: int) -> None:
    """By hand, 8 bits. Straight: log2(n / (n-1)) passes 1/6 between byte 10 (0.152) and 9 (0.170);
    14 thirds below full is byte 10, 15 thirds byte 8. Square: twice that passes 1/6 between byte 18
    (0.165) and 17 (0.175); 23 thirds below full is byte 18, 24 thirds byte 16."""
    assert fine_down_to(curve, 8) == thirds


def test_sixteen_bits_are_fine_to_the_end() -> None:
    assert fine_down_to(LinearCurve(), 16) == 30
    assert fine_down_to(SquareCurve(), 16) == 30
