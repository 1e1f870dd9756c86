"""Slot values: ANSI E1.11 (DMX512-A) counts a slot 0..255; coarse first is common practice."""

from math import nan

import pytest
from hypothesis import given
from hypothesis import strategies as st

from server.errors import OutOfRange
from server.physics.curve import LinearCurve, SquareCurve
from server.physics.signal import level_of, signal_for
from server.physics.stops import light_factor, stops_between

BITS = st.sampled_from([8, 16])


# Full is 255, half is 128 by half-up rounding; 16 bits are coarse * 256 + fine (common practice).
@pytest.mark.parametrize(
    ("level", "byte", "pair"),
    [
        (0.0, (0,), (0, 0)),
        (1.0, (255,), (255, 255)),
        (0.5, (128,), (128, 0)),
        (0.1, (26,), (25, 154)),  # 25.5 goes up to 26; 6553.5 to 6554 = 25 * 256 + 154
        (1 / 255, (1,), (1, 1)),
        (1 / 65535, (0,), (0, 1)),
        (256 / 65535, (1,), (1, 0)),
    ],
)
def test_bytes(level, byte, pair):
    assert signal_for(level) == byte
    assert signal_for(level, bits=16) == pair


def test_half_is_half_however_it_was_reckoned():
    # A level that went through a curve and back may miss its own half by the last bit.
    curve = SquareCurve()
    assert signal_for(curve.level(curve.output(0.5))) == (128,)
    assert signal_for(0.5 - 1e-15) == (128,)


def test_every_byte_names_itself():
    assert [signal_for(level_of((b,)))[0] for b in range(256)] == list(range(256))


def test_every_pair_names_itself():
    pairs = [divmod(number, 256) for number in range(0, 65536, 17)]
    assert [signal_for(level_of(pair), bits=16) for pair in pairs] == pairs


# Step of one byte in stops: log2((b+1)/b) on a straight curve, twice that on a square law.
@pytest.mark.parametrize(
    ("byte", "straight", "square"),
    [(5, 0.263, 0.526), (10, 0.138, 0.275), (26, 0.054, 0.109), (81, 0.018, 0.035),
     (128, 0.011, 0.022), (200, 0.007, 0.014)],
)  # fmt: skip
def test_step_size(byte, straight, square):
    levels = [level_of((byte,)), level_of((byte + 1,))]
    for curve, expected in ((LinearCurve(), straight), (SquareCurve(), square)):
        low, high = (curve.output(level) for level in levels)
        assert stops_between(high, low) == pytest.approx(expected, abs=0.0006)


@pytest.mark.parametrize(("curve", "first"), [(LinearCurve(), 4), (SquareCurve(), 9)])
def test_thirds_are_resolved_from_this_byte_up(curve, first):
    # log2(5/4) and 2 log2(10/9) are the first steps below a third of a stop.
    def step(byte):
        return stops_between(curve.output(level_of((byte + 1,))), curve.output(level_of((byte,))))

    assert step(first - 1) > 1 / 3 >= step(first)


def test_a_third_down_from_byte_8_lands_on_6():
    # Straight curve, 8 * 2**(-1/3) = 6.35 rounds to 6, and log2(6/8) = -0.415: not a third.
    curve = LinearCurve()
    before = curve.output(level_of((8,)))
    signal = signal_for(curve.level(before * light_factor(-1 / 3)))
    assert signal == (6,)
    assert stops_between(curve.output(level_of(signal)), before) == pytest.approx(-0.415, abs=5e-4)


def test_thirds_up_and_down_again_give_the_same_bytes():
    # From the unrounded stops, rounded once: no drift, byte by byte.
    curve = SquareCurve()
    for byte in range(1, 128):
        stops = stops_between(curve.output(level_of((byte,))), 1.0)
        for third in (1, 1, 1, -1, -1, -1):
            stops += third / 3
        assert signal_for(curve.level(light_factor(stops))) == (byte,)


@given(st.floats(0, 1), BITS)
def test_level_to_signal_and_back_is_within_half_a_step(level, bits):
    half_step = 0.5 / (2**bits - 1)
    signal = signal_for(level, bits)
    assert len(signal) * 8 == bits
    assert all(0 <= slot <= 255 for slot in signal)
    assert abs(level_of(signal) - level) <= half_step + 1e-9


@given(st.floats(0, 1), st.floats(0, 1), BITS)
def test_more_level_is_never_a_smaller_signal(a, b, bits):
    low, high = sorted((a, b))
    assert signal_for(low, bits) <= signal_for(high, bits)


@pytest.mark.parametrize("level", [-0.001, 1.001, nan])
def test_refuses_a_level(level):
    with pytest.raises(OutOfRange, match="level"):
        signal_for(level)


@pytest.mark.parametrize("bits", [0, 7, 12, 32])
def test_refuses_other_widths(bits):
    with pytest.raises(OutOfRange, match="bits"):
        signal_for(0.5, bits)
