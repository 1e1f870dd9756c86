"""Stops and thirds against published tables."""

from math import inf, isinf, nan

import pytest
from hypothesis import given
from hypothesis import strategies as st

from server.errors import OutOfRange
from server.physics.stops import (
    THIRDS_PER_STOP,
    light_factor,
    stops_below_full,
    stops_between,
    throw_factor,
)

STOPS = st.floats(-40, 40)


# One stop doubles the light (encyclopedia entry "Exposure value"); thirds and halves by definition.
@pytest.mark.parametrize(
    ("stops", "factor"),
    [(0, 1.0), (1, 2.0), (-1, 0.5), (3, 8.0), (1 / 3, 1.259921), (0.5, 1.414214),
     (2 / 3, 1.5874), (-1 / 3, 0.7937), (-4, 0.0625)],
)  # fmt: skip
def test_light_factor(stops, factor):
    assert light_factor(stops) == pytest.approx(factor, rel=1e-4)


def test_three_thirds_are_a_stop():
    # By definition of the third-stop series on lens rings.
    assert light_factor(1 / THIRDS_PER_STOP) ** 3 == pytest.approx(2.0)


# Neutral-density filters, encyclopedia entry "Neutral-density filter": T = 10**-d and its table,
# 0.3 is one stop, 0.6 two, 0.9 three (rounded there: exactly 3.3219 d).
@pytest.mark.parametrize(
    ("density", "stops"),
    [(0.15, -0.498), (0.3, -0.997), (0.6, -1.993), (0.9, -2.990), (1.2, -3.986)],
)
def test_density_in_stops(density, stops):
    assert stops_between(10**-density, 1.0) == pytest.approx(stops, abs=0.001)


def test_a_quarter_less_is_not_half_a_stop():
    # A published column calls a single scrim "25 percent" less; that is 0.415 stop, not a half.
    assert stops_between(0.75, 1.0) == pytest.approx(-0.415, abs=0.0005)
    assert 1 - light_factor(-0.5) == pytest.approx(0.293, abs=0.0005)


# Square-law dimmers (published curve table): 25 % level is 1/16 of the light, 70.7 % is half.
@pytest.mark.parametrize(
    ("output", "below"), [(1.0, 0.0), (0.0625, 4.0), (0.5, 1.0), (0.7071, 0.5)]
)
def test_stops_below_full(output, below):
    assert stops_below_full(output) == pytest.approx(below, abs=1e-4)


def test_full_is_never_minus_zero():
    assert str(stops_below_full(1.0)) == "0.0"


def test_darkness_lies_infinitely_far_down():
    assert stops_below_full(0.0) == inf
    assert stops_between(0.0, 100.0) == -inf


# Inverse square law (CIE e-ILV 17-25-104) turned round: distance factor for a change in stops.
@pytest.mark.parametrize(
    ("stops", "factor"),
    [(-1 / 3, 1.1225), (-1 / 2, 1.1892), (-2 / 3, 1.2599), (-1, 1.4142), (-2, 2.0),
     (1 / 3, 0.8909), (1, 0.7071), (0, 1.0)],
)  # fmt: skip
def test_throw_factor(stops, factor):
    assert throw_factor(stops) == pytest.approx(factor, abs=0.00005)


@pytest.mark.parametrize(("light", "reference"), [(1, 0), (1, -1), (-1, 1), (nan, 1), (1, nan)])
def test_stops_between_refuses_what_is_no_light(light, reference):
    with pytest.raises(OutOfRange, match="got"):
        stops_between(light, reference)


@pytest.mark.parametrize("output", [-0.01, 1.01, nan, inf])
def test_stops_below_full_refuses_what_is_no_output(output):
    with pytest.raises(OutOfRange, match=r"0\.\.1"):
        stops_below_full(output)


@given(STOPS)
def test_stops_to_factor_and_back(stops):
    assert stops_between(light_factor(stops), 1.0) == pytest.approx(stops, abs=1e-12)


@given(st.floats(1e-6, 1e6), st.floats(1e-6, 1e6), st.floats(1e-6, 1e6))
def test_stops_add_along_a_chain(a, b, c):
    assert stops_between(a, b) + stops_between(b, c) == pytest.approx(stops_between(a, c), abs=1e-9)


@given(STOPS)
def test_moving_there_and_back_is_no_move(stops):
    assert throw_factor(stops) * throw_factor(-stops) == pytest.approx(1.0)


@given(st.floats(0, 1))
def test_an_output_never_lies_above_full(output):
    below = stops_below_full(output)
    assert below >= 0
    assert isinf(below) == (output == 0)
