"""Lamp rerating: Fink & Beaty, Standard Handbook for Electrical Engineers, 11th ed., p. 22-8."""

from math import log2, nan

import pytest
from hypothesis import given
from hypothesis import strategies as st

from server.errors import OutOfRange
from server.physics.lamp import (
    mired_shift,
    relative_voltage,
    tungsten_amps,
    tungsten_cct_kelvin,
    tungsten_watts,
)

# v, light v**3.4, stops, power v**1.6, CCT from 3200 K (v**0.42), mired: the handbook's exponents.
BY_VOLTAGE = [
    (0.95, 0.8400, -0.252, 0.9212, 3132, 6.8),
    (0.90, 0.6989, -0.517, 0.8449, 3061, 14.1),
    (0.80, 0.4683, -1.095, 0.6998, 2914, 30.7),
    (0.70, 0.2974, -1.750, 0.5651, 2755, 50.5),
    (0.50, 0.0947, -3.400, 0.3299, 2392, 105.6),
]
# stops, v, CCT from 3200 K, mired, power: the same exponents turned round.
BY_STOPS = [
    (-1 / 3, 0.9343, 3110, 9.05, 0.897),
    (-1, 0.8156, 2937, 27.9, 0.722),
    (-2, 0.6652, 2696, 58.4, 0.521),
    (-3, 0.5425, 2475, 91.5, 0.376),
]


@pytest.mark.parametrize(("v", "light", "stops", "power", "cct", "mired"), BY_VOLTAGE)
def test_rerating(v, light, stops, power, cct, mired):
    assert relative_voltage(light) == pytest.approx(v, rel=0.001)
    assert log2(light) == pytest.approx(stops, abs=0.001)  # the row agrees with itself
    assert tungsten_watts(1000, light) == pytest.approx(1000 * power, rel=0.001)
    kelvin = tungsten_cct_kelvin(3200, light)
    assert kelvin == pytest.approx(cct, abs=1)
    assert mired_shift(3200, kelvin) == pytest.approx(mired, abs=0.1)


@pytest.mark.parametrize(("stops", "v", "cct", "mired", "power"), BY_STOPS)
def test_rerating_by_stops(stops, v, cct, mired, power):
    light = 2**stops
    assert relative_voltage(light) == pytest.approx(v, rel=0.001)
    kelvin = tungsten_cct_kelvin(3200, light)
    assert kelvin == pytest.approx(cct, abs=1)
    assert mired_shift(3200, kelvin) == pytest.approx(mired, abs=0.1)
    assert tungsten_watts(1000, light) == pytest.approx(1000 * power, rel=0.002)


def test_half_a_stop():
    # Same exponents: v 0.9031, 3066 K.
    assert relative_voltage(2**-0.5) == pytest.approx(0.9031, rel=0.001)
    assert tungsten_cct_kelvin(3200, 2**-0.5) == pytest.approx(3066, abs=1)


def test_half_the_light_at_81_percent_of_the_volts():
    # Interior-lighting textbook, ch. 11: 81 % volts give 50 % light.
    assert relative_voltage(0.5) == pytest.approx(0.81, abs=0.01)


@pytest.mark.parametrize("current", [0.95, 0.97, 0.99, 1.0])
def test_against_an_independent_source_near_full(current):
    # SPIE Field Guide to Illumination (2007), "Tungsten lamps", against current, valid from 95 %:
    # flux 6.5, power 2.9, CCT 0.80, voltage 1.9.
    light = current**6.5
    assert relative_voltage(light) == pytest.approx(current**1.9, rel=0.01)
    assert tungsten_watts(1000, light) == pytest.approx(1000 * current**2.9, rel=0.01)
    assert tungsten_cct_kelvin(3200, light) == pytest.approx(3200 * current**0.80, rel=0.002)
    assert tungsten_amps(8.333, light) == pytest.approx(8.333 * current, rel=0.005)


def test_amps_fall_slower_than_watts_and_light():
    # A lamp at 36 % light draws 84 % of its amps though 62 % of its watts (v**0.55, v**1.6).
    assert tungsten_amps(10, 0.36) == pytest.approx(8.4, abs=0.1)
    assert tungsten_watts(1000, 0.36) == pytest.approx(620, abs=5)


def test_two_dimmed_lamps_and_an_led_on_one_circuit():
    # Two 1000 W at 120 V a stop down carry 2 * 8.333 * 0.5**(0.55/3.4) = 14.90 A, not 12.0 A
    # as their watts suggest; with 2.5 A beside them 17.4 A (handbook exponents, by hand).
    assert 2 * tungsten_amps(1000 / 120, 0.5) + 2.5 == pytest.approx(17.4, abs=0.05)
    assert (2 * tungsten_watts(1000, 0.5) + 300) / 120 == pytest.approx(14.5, abs=0.05)


def test_full_is_full():
    assert relative_voltage(1.0) == 1.0
    assert tungsten_cct_kelvin(3200, 1.0) == 3200
    assert tungsten_watts(650, 1.0) == 650
    assert tungsten_amps(5.4, 1.0) == 5.4


def test_dark_is_dark_and_has_no_colour_of_its_own():
    assert relative_voltage(0.0) == 0.0
    assert tungsten_watts(650, 0.0) == 0.0
    assert tungsten_amps(5.4, 0.0) == 0.0
    assert tungsten_cct_kelvin(3200, 0.0) == 3200


def test_mired():
    # Encyclopedia entry "Mired": 5700 K against 3200 K is 137; warmer counts up.
    assert mired_shift(5700, 3200) == pytest.approx(137, abs=0.5)
    assert mired_shift(3200, 5700) == pytest.approx(-137, abs=0.5)
    assert mired_shift(4000, 4000) == 0


@given(st.floats(1000, 20000), st.floats(1000, 20000), st.floats(1000, 20000))
def test_mired_shifts_add(a, b, c):
    assert mired_shift(a, b) + mired_shift(b, c) == pytest.approx(mired_shift(a, c), abs=1e-9)


@given(st.floats(1e-6, 1), st.floats(1e-6, 1))
def test_less_light_is_never_bluer_nor_draws_more(a, b):
    low, high = sorted((a, b))
    assert tungsten_cct_kelvin(3200, low) <= tungsten_cct_kelvin(3200, high)
    assert tungsten_watts(1000, low) <= tungsten_watts(1000, high)
    assert tungsten_amps(8, low) <= tungsten_amps(8, high)


@pytest.mark.parametrize("output", [-0.1, 1.1, nan])
def test_refuses_an_output(output):
    for refused in (
        relative_voltage,
        lambda o: tungsten_cct_kelvin(3200, o),
        lambda o: tungsten_watts(1000, o),
        lambda o: tungsten_amps(8, o),
    ):
        with pytest.raises(OutOfRange, match="output"):
            refused(output)


@pytest.mark.parametrize(("a", "b"), [(0, 3200), (3200, 0), (-1, 3200), (nan, 3200), (3200, nan)])
def test_refuses_a_temperature(a, b):
    with pytest.raises(OutOfRange, match="0 K"):
        mired_shift(a, b)
