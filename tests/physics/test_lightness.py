"""Equal perceived steps against CIE 1976 lightness as colour-science computes it."""

import warnings

import pytest
from hypothesis import given
from hypothesis import strategies as st

from server.physics.lightness import between

with warnings.catch_warnings():
    warnings.simplefilter("ignore")  # it says on import that matplotlib is missing
    import colour

UNIT = st.floats(0, 1)
# Below Y = 0.8856 (of 100) CIE 1976 lightness turns into a straight line, so the cube root is
# equal steps in L* only above it.
ABOVE_THE_TOE = st.floats(0.009, 1)


def lightness(output):
    return float(colour.lightness(100 * output, method="CIE 1976"))


@given(ABOVE_THE_TOE, ABOVE_THE_TOE, UNIT)
def test_equal_steps_in_cie_lightness(start, end, part):
    expected = lightness(start) + part * (lightness(end) - lightness(start))
    assert lightness(between(start, end, part)) == pytest.approx(expected, abs=1e-6)


def test_middle_grey_lies_half_way_from_black():
    # L* 49.5 is Y 0.18 (CIE 1976); the pure cube root, without the toe, gives 1/8 at half-way.
    assert between(0.0, 1.0, 0.5) == pytest.approx(0.125)
    assert between(0.125, 1.0, 0.0) == 0.125


@given(UNIT, UNIT, st.floats(-1, 2))
def test_a_fade_stays_between_its_ends(start, end, part):
    assert min(start, end) <= between(start, end, part) <= max(start, end)


@given(UNIT, UNIT)
def test_a_fade_begins_and_ends_exactly(start, end):
    assert between(start, end, 0.0) == start
    assert between(start, end, 1.0) == end


@given(UNIT, UNIT, UNIT, UNIT)
def test_a_fade_never_turns_back(start, end, a, b):
    early, late = sorted((a, b))
    first, second = between(start, end, early), between(start, end, late)
    assert (second - first) * (end - start) >= -1e-15
