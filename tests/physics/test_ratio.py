"""Both published lighting ratios, each against its own table."""

from math import inf, log2, nan, sqrt

import pytest
from hypothesis import given
from hypothesis import strategies as st

from server.errors import OutOfRange
from server.physics.photometry import illuminance_lx
from server.physics.ratio import key_over_fill_stops, lit_to_shadow
from server.physics.stops import light_factor, stops_between

# Key over fill in stops; key : fill ("Lighting ratio", encyclopedia: 2 to the power of the stops;
# 2 stops 4:1, 3 stops 8:1); (key + fill) : fill (US Army subcourse SS0510, Lesson 1 para 10,
# p. 1-17: main plus fill compared to the fill alone); highlight over shadow in stops.
TABLE = [
    (0, 1.0, 2.0, 1.000),
    (1 / 3, 1.260, 2.260, 1.176),
    (1 / 2, 1.414, 2.414, 1.272),
    (2 / 3, 1.587, 2.587, 1.372),
    (1, 2.0, 3.0, 1.585),
    (4 / 3, 2.520, 3.520, 1.816),
    (1.5, 2.828, 3.828, 1.937),
    (1.585, 3.0, 4.0, 2.000),
    (2, 4.0, 5.0, 2.322),
    (2.5, 5.657, 6.657, 2.735),
    (3, 8.0, 9.0, 3.170),
    (4, 16.0, 17.0, 4.087),
]


@pytest.mark.parametrize(("stops", "key_to_fill", "ratio", "side_to_side"), TABLE)
def test_both_definitions(stops, key_to_fill, ratio, side_to_side):
    fill = 320.0
    key = fill * key_to_fill
    assert key_over_fill_stops(key, fill) == pytest.approx(stops, abs=0.001)
    value = lit_to_shadow(key + fill, fill)
    assert value == pytest.approx(ratio, rel=0.005)
    assert log2(value) == pytest.approx(side_to_side, abs=0.001)


def test_television_two_to_one_is_one_stop():
    # TV-production course, module 33: key 1000 lx, fill 500 lx is 2:1, key to fill.
    assert key_over_fill_stops(1000, 500) == 1.0
    assert lit_to_shadow(1500, 500) == 3.0


def test_mistakes_in_print():
    # Several pages: "3:1 is one and a half stops" (it is 1.585); one: 5:1 is 2.5 (it is 2.32).
    assert key_over_fill_stops(3, 1) == pytest.approx(1.585, abs=0.001)
    assert light_factor(1.5) == pytest.approx(2.83, abs=0.005)
    assert key_over_fill_stops(5, 1) == pytest.approx(2.32, abs=0.005)


# Equal heads, ratio by distance alone: d_fill / d_key = sqrt(R - 1), from the inverse square law
# (the Army text lists a "square root method").
@pytest.mark.parametrize(
    ("ratio", "times_as_far"), [(2, 1.000), (3, 1.414), (4, 1.732), (5, 2.000)]
)
def test_equal_heads_by_distance(ratio, times_as_far):
    key = illuminance_lx(9000, 1.5)
    fill = illuminance_lx(9000, 1.5 * times_as_far)
    assert lit_to_shadow(key + fill, fill) == pytest.approx(ratio, rel=0.005)


@given(st.floats(1.001, 1000), st.floats(0.01, 1e5))
def test_ratio_to_stops_and_back(ratio, fill):
    # R = 2**s + 1 turned round: s = log2(R - 1).
    stops = log2(ratio - 1)
    key = fill * light_factor(stops)
    assert lit_to_shadow(key + fill, fill) == pytest.approx(ratio)
    assert key_over_fill_stops(key, fill) == pytest.approx(stops, abs=1e-9)


@given(st.floats(0.01, 1e5), st.floats(0.01, 1e5), st.floats(-6, 6))
def test_all_heads_together_change_no_ratio(lit, shadow, stops):
    factor = light_factor(stops)
    assert lit_to_shadow(lit * factor, shadow * factor) == pytest.approx(lit_to_shadow(lit, shadow))


@given(st.floats(0.01, 1e5), st.floats(0.01, 1e5))
def test_adding_fill_never_raises_the_ratio(key, fill):
    before = lit_to_shadow(key + fill, fill)
    more = fill * light_factor(1 / 3)
    after = lit_to_shadow(key + more, more)
    assert 1 <= after <= before
    assert stops_between(after, 1) <= stops_between(before, 1)


def test_edges():
    assert lit_to_shadow(500, 0) == inf  # no fill, no bounce
    assert lit_to_shadow(0, 500) == 0.0
    assert lit_to_shadow(320, 320) == 1.0
    assert key_over_fill_stops(0, 320) == -inf
    assert sqrt(lit_to_shadow(4, 1)) == 2.0


@pytest.mark.parametrize(("lit", "shadow"), [(-1, 1), (1, -1), (nan, 1), (1, nan), (nan, nan)])
def test_refuses_what_is_no_light(lit, shadow):
    # Once a shadow side that is no number came out as infinitely dark.
    with pytest.raises(OutOfRange, match="light"):
        lit_to_shadow(lit, shadow)


def test_darkness_has_no_ratio():
    with pytest.raises(OutOfRange, match="no ratio"):
        lit_to_shadow(0, 0)


@pytest.mark.parametrize(("key", "fill"), [(100, 0), (100, -1), (-1, 100), (nan, 100), (100, nan)])
def test_key_over_fill_refuses(key, fill):
    with pytest.raises(OutOfRange, match="got"):
        key_over_fill_stops(key, fill)
