"""Dimmer curves: published values, and scipy as the reference for the measured curve."""

from itertools import accumulate, pairwise
from math import inf, nan, pi, sin, sqrt

import pytest
from hypothesis import given
from hypothesis import strategies as st
from scipy.integrate import quad
from scipy.interpolate import PchipInterpolator
from scipy.optimize import brentq

from server.errors import OutOfRange
from server.physics.curve import LinearCurve, MeasuredCurve, SCurve, SquareCurve, pchip_slopes

UNIT = st.floats(0, 1)
A_MEASURED_CURVE = ((0.0, 0.0), (0.2, 0.02), (0.5, 0.2), (0.8, 0.7), (1.0, 1.0))
ALL_FOUR = [LinearCurve(), SquareCurve(), SCurve(), MeasuredCurve(A_MEASURED_CURVE)]


@st.composite
def measured_points(draw):
    """Strictly rising points from (0, 0) to (1, 1)."""
    step = st.floats(0.01, 1)
    count = draw(st.integers(1, 8))
    columns = []
    for _ in range(2):
        sums = list(accumulate(draw(st.lists(step, min_size=count, max_size=count))))
        columns.append([0.0, *(s / sums[-1] for s in sums)])
    return tuple(zip(*columns, strict=True))


@st.composite
def any_curve(draw):
    return draw(st.sampled_from(ALL_FOUR) | st.builds(MeasuredCurve, measured_points()))


# Square-law dimmer table (in**2 / 100, published stage table): 10 -> 1, 50 -> 25, 70 -> 49 percent.
@pytest.mark.parametrize(
    ("level", "output"),
    [(0, 0), (0.1, 0.01), (0.25, 0.0625), (0.5, 0.25), (0.7, 0.49), (0.70711, 0.5), (1, 1)],
)  # fmt: skip
def test_square_law(level, output):
    assert SquareCurve().output(level) == pytest.approx(output, rel=0.005)
    assert SquareCurve().level(output) == pytest.approx(level, rel=0.005)


def test_ten_percent_of_the_light_looks_a_third():
    # Perceived ~ sqrt(measured): 10 % light looks 32 % (IESNA Handbook, 9th ed., quoted figure).
    assert SquareCurve().level(0.10) == pytest.approx(0.32, abs=0.005)


@pytest.mark.parametrize("value", [0.0, 0.25, 0.5, 1.0])
def test_linear(value):
    # IES definition "dimmer curve": control setting against light output; straight by definition.
    assert LinearCurve().output(value) == value
    assert LinearCurve().level(value) == value


# Phase control of a resistive load (conduction-angle integral), the shape published as "S-law".
@pytest.mark.parametrize(
    ("level", "output"), [(0, 0), (0.25, 0.0908), (0.5, 0.5), (0.75, 0.9092), (1, 1)]
)
def test_phase_control(level, output):
    assert SCurve().output(level) == pytest.approx(output, rel=0.005, abs=1e-12)
    assert SCurve().level(output) == pytest.approx(level, rel=0.005, abs=1e-12)


def test_phase_control_voltage_at_half():
    # RMS fraction at half conduction: sqrt(1/2) = 0.7071.
    assert sqrt(SCurve().output(0.5)) == pytest.approx(0.7071, abs=0.0001)


@pytest.mark.parametrize("level", [1e-4, 0.01, 0.1, 0.3, 0.5, 0.8, 0.97])
def test_phase_control_is_the_power_of_a_cut_half_wave(level):
    # Power in a resistor that conducts for the last `level` of each half wave, by quadrature.
    power = 2 / pi * quad(lambda t: sin(t) ** 2, 0, pi * level, epsabs=0, epsrel=1e-12)[0]
    assert SCurve().output(level) == pytest.approx(power, rel=1e-9)


@given(UNIT)
def test_phase_control_is_symmetric(level):
    assert SCurve().output(level) + SCurve().output(1 - level) == pytest.approx(1, abs=1e-12)


@given(measured_points(), UNIT)
def test_measured_like_scipy_pchip(points, level):
    # SciPy: "preserves monotonicity in the interpolation data and does not overshoot".
    reference = PchipInterpolator(*zip(*points, strict=True))
    assert MeasuredCurve(points).output(level) == pytest.approx(float(reference(level)), abs=1e-12)


@given(measured_points(), st.floats(0.001, 0.999))
def test_measured_inverse_like_brentq(points, output):
    reference = PchipInterpolator(*zip(*points, strict=True))
    root = brentq(lambda x: float(reference(x)) - output, 0, 1, xtol=1e-15)
    level = MeasuredCurve(points).level(output)
    assert float(reference(level)) == pytest.approx(output, abs=1e-12)
    # where the curve is nearly level many levels give the same light to the last bit
    assert level == pytest.approx(root, abs=1e-4)


@given(
    st.lists(st.tuples(st.floats(0.01, 1), st.floats(-5, 5)), min_size=1, max_size=8),
)
def test_slopes_like_scipy_even_where_data_turn(steps):
    x = [0.0, *accumulate(dx for dx, _ in steps)]
    y = [0.0, *(round(dy, 3) for _, dy in steps)]
    expected = PchipInterpolator(x, y).derivative()(x)
    assert pchip_slopes(list(zip(x, y, strict=True))) == pytest.approx(expected, rel=1e-9, abs=1e-9)


def test_swapping_the_axes_is_another_curve():
    # Why the inverse is a root of the same curve: PCHIP through swapped points differs.
    swapped = PchipInterpolator(*zip(*((y, x) for x, y in A_MEASURED_CURVE), strict=True))
    curve = MeasuredCurve(A_MEASURED_CURVE)
    assert abs(float(swapped(0.05)) - curve.level(0.05)) > 0.0003


@given(any_curve(), UNIT)
def test_output_to_level_and_back(curve, output):
    assert curve.output(curve.level(output)) == pytest.approx(output, abs=1e-12)


@given(any_curve(), UNIT)
def test_level_to_output_and_back(curve, level):
    # An S-curve or a measured one can be flat at its ends: there the light fixes the level less.
    assert curve.level(curve.output(level)) == pytest.approx(level, abs=1e-4)


@given(any_curve(), UNIT, UNIT)
def test_more_level_is_never_less_light(curve, a, b):
    low, high = sorted((a, b))
    assert 0 <= curve.output(low) <= curve.output(high) + 1e-15
    assert curve.output(high) <= 1
    assert curve.level(low) <= curve.level(high) <= 1


@given(st.floats(1e-12, 1e-3))
def test_deep_dimming_keeps_its_stops_on_an_s_curve(level):
    # Near 0 the curve is (2 pi)**2 x**3 / 6 (Taylor series): eight times the light per doubling.
    assert SCurve().output(2 * level) / SCurve().output(level) == pytest.approx(8, rel=1e-4)
    assert SCurve().level(SCurve().output(level)) == pytest.approx(level, abs=1e-13, rel=1e-9)


@pytest.mark.parametrize("curve", ALL_FOUR)
def test_ends(curve):
    assert [curve.output(0.0), curve.output(1.0)] == [0.0, 1.0]
    assert [curve.level(0.0), curve.level(1.0)] == [0.0, 1.0]


@pytest.mark.parametrize("curve", ALL_FOUR)
@pytest.mark.parametrize("bad", [-0.01, 1.01, nan, inf])
def test_what_is_no_fraction_is_refused(curve, bad):
    with pytest.raises(OutOfRange, match="level"):
        curve.output(bad)
    with pytest.raises(OutOfRange, match="output"):
        curve.level(bad)


def test_a_measured_curve_meets_its_points():
    for level, output in A_MEASURED_CURVE:
        assert MeasuredCurve(A_MEASURED_CURVE).output(level) == pytest.approx(output, abs=1e-15)


def test_two_points_make_a_straight_line():
    curve = MeasuredCurve(((0.0, 0.0), (1.0, 1.0)))
    assert [curve.output(x) for x in (0.25, 0.5)] == pytest.approx([0.25, 0.5])


@pytest.mark.parametrize(
    ("points", "said"),
    [
        ((), "at least"),
        (((0.0, 0.0),), "at least"),
        (((0.0, 0.0), (0.9, 1.0)), "run from"),
        (((0.0, 0.1), (1.0, 1.0)), "run from"),
        (((0.0, 0.0), (0.5, 0.5), (0.5, 0.6), (1.0, 1.0)), "rise strictly"),
        (((0.0, 0.0), (0.4, 0.5), (0.5, 0.5), (1.0, 1.0)), "rise strictly"),
        (((0.0, 0.0), (0.4, 0.6), (0.5, 0.5), (1.0, 1.0)), "rise strictly"),
        (((0.0, 0.0), (nan, 0.5), (1.0, 1.0)), "finite"),
        (((0.0, 0.0), (0.5, inf), (1.0, 1.0)), "finite"),
    ],
)
def test_a_measured_curve_refuses(points, said):
    with pytest.raises(OutOfRange, match=said):
        MeasuredCurve(points)


def test_slopes_of_a_straight_line():
    # The slope of a line is the same everywhere, by definition.
    line = [(x, 3 * x) for x in (0.0, 0.1, 0.5, 2.0)]
    assert all(a == pytest.approx(b) for a, b in pairwise([3.0, *pchip_slopes(line)]))
