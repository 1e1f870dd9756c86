"""Amps: P = V I pf, and 80 % of a breaker (NEC 210.20(A), 125 % for continuous load, as quoted)."""

from math import nan

import pytest
from hypothesis import given
from hypothesis import strategies as st

from server.errors import OutOfRange
from server.physics.load import mains_amps, planning_limit_amps


# I = P / (V pf) by hand.
@pytest.mark.parametrize(
    ("watts", "volts", "power_factor", "amps"),
    [
        (2000, 120, 1, 16.67),
        (1000, 120, 1, 8.333),
        (650, 120, 1, 5.417),
        (300, 120, 1, 2.5),
        (2000, 230, 1, 8.696),
        (1000, 230, 1, 4.348),
        (300, 120, 0.9, 2.778),
        (300, 120, 0.6, 4.167),
        (3680, 230, 1, 16.0),  # a European 16 A circuit at its limit
        (0, 120, 1, 0),
    ],
)
def test_mains_amps(watts, volts, power_factor, amps):
    assert mains_amps(watts, volts, power_factor) == pytest.approx(amps, rel=0.002)


# 1 / 1.25 = 80 %: 20 A at 120 V is 1920 W, 16 A at 230 V is 2944 W, 30 A a leg 2880 W.
@pytest.mark.parametrize(
    ("breaker", "volts", "watts"), [(20, 120, 1920), (16, 230, 2944), (30, 120, 2880)]
)
def test_planning_limit(breaker, volts, watts):
    limit = planning_limit_amps(breaker)
    assert limit == pytest.approx(breaker / 1.25)
    assert limit == pytest.approx(mains_amps(watts, volts))


def test_one_two_kilowatt_head_is_over_the_limit_of_twenty_amps():
    assert mains_amps(2000, 120) > planning_limit_amps(20)


def test_a_circuit_may_be_planned_to_the_full():
    # A code quiz on NEC 520.41(A): stage circuits "may be loaded to 20A or 100%".
    assert planning_limit_amps(20, continuous_factor=1.0) == 20


@given(st.lists(st.floats(0, 5000), max_size=8), st.floats(100, 240), st.floats(0.3, 1))
def test_amps_of_several_heads_are_the_amps_of_their_watts(watts, volts, power_factor):
    apart = sum(mains_amps(w, volts, power_factor) for w in watts)
    assert apart == pytest.approx(mains_amps(sum(watts), volts, power_factor))


# What is no number must not slip under a limit: nan > limit is false.
@pytest.mark.parametrize("bad", [-1, nan])
def test_refuses_watts(bad):
    with pytest.raises(OutOfRange, match="watts"):
        mains_amps(bad, 120)


@pytest.mark.parametrize("bad", [0, -120, nan])
def test_refuses_volts(bad):
    with pytest.raises(OutOfRange, match="mains_volts"):
        mains_amps(1000, bad)


@pytest.mark.parametrize("bad", [0, -0.5, 1.01, nan])
def test_refuses_a_factor(bad):
    with pytest.raises(OutOfRange, match="power_factor"):
        mains_amps(1000, 120, bad)
    with pytest.raises(OutOfRange, match="continuous_factor"):
        planning_limit_amps(20, bad)


@pytest.mark.parametrize("bad", [0, -20, nan])
def test_refuses_a_breaker(bad):
    with pytest.raises(OutOfRange, match="breaker_amps"):
        planning_limit_amps(bad)
