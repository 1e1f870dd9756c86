"""Softness and fall-off.

Penumbra and apparent size: similar triangles, worked by hand for a 0.9 m source at 1.2 m and 2.4 m
and a 0.2 m lens at 2 m. Lean and fall-off: inverse square (ANSI/IES LS-1).
"""

from cmath import exp, pi

import pytest
from hypothesis import given
from hypothesis import strategies as st

from server.errors import OutOfRange
from server.physics.load import neutral_amps
from server.physics.softness import (
    apparent_size_deg,
    falloff_stops,
    inverse_square_excess,
    lean_m,
    penumbra_m,
)


@pytest.mark.parametrize(
    ("source", "away", "edge_mm", "size_deg"),
    [(0.9, 1.2, 15.0, 41.1), (0.9, 2.4, 7.5, 21.2), (0.2, 2.0, 2.0, 5.7)],
)
def test_a_larger_and_nearer_source_is_softer(
    source: float, away: float, edge_mm: float, size_deg: float
) -> None:
    assert 1000 * penumbra_m(source, away, 0.02) == pytest.approx(edge_mm, abs=0.05)
    assert apparent_size_deg(source, away) == pytest.approx(size_deg, abs=0.06)


def test_a_key_moved_back_a_stop_is_flatter_and_harder() -> None:
    """Key 1.5 m to 2.12 m: cheek to ear (15 cm) 0.28 to 0.20 stop, nose shadow's edge 2.5 to
    1.8 mm, catchlight 5.7 to 4.1 degrees (lens 150 mm, nose 25 mm)."""
    back = 1.5 * 2**0.5
    assert falloff_stops(1.5, 0.15) == pytest.approx(0.28, abs=0.005)
    assert falloff_stops(back, 0.15) == pytest.approx(0.20, abs=0.005)
    assert 1000 * penumbra_m(0.15, 1.5, 0.025) == pytest.approx(2.5, abs=0.05)
    assert 1000 * penumbra_m(0.15, back, 0.025) == pytest.approx(1.8, abs=0.05)
    assert apparent_size_deg(0.15, 1.5) == pytest.approx(5.7, abs=0.05)
    assert apparent_size_deg(0.15, back) == pytest.approx(4.1, abs=0.06)


def test_story_20_a_lean_of_ten_centimetres() -> None:
    assert -falloff_stops(1.2, -0.10) == pytest.approx(0.25, abs=0.005)
    assert -falloff_stops(2.0, -0.10) == pytest.approx(0.15, abs=0.005)
    assert round(100 * lean_m(1.2, 1 / 6)) == 7
    assert round(100 * lean_m(2.0, 1 / 6)) == 11


def test_story_21_two_sitters_at_two_distances() -> None:
    assert falloff_stops(1.5, 0.5) == pytest.approx(0.83, abs=0.005)
    assert falloff_stops(3.0, 0.5) == pytest.approx(0.44, abs=0.006)


@pytest.mark.parametrize(
    ("diameters", "excess"), [(0.5, 1.0), (1, 0.25), (2, 0.0625), (3, 0.0278), (5, 0.01)]
)
def test_the_inverse_square_law_near_an_even_disc(diameters: float, excess: float) -> None:
    """pi L against pi L r**2 / (r**2 + d**2), by hand; 1 % at five widths is the IES rule."""
    assert inverse_square_excess(0.4, 0.4 * diameters) == pytest.approx(excess, rel=0.01)


@given(st.floats(0.3, 10), st.floats(0.02, 3))
def test_leaning_so_far_gives_so_much(distance: float, stops: float) -> None:
    nearer = distance - lean_m(distance, stops)
    assert falloff_stops(nearer, distance - nearer) == pytest.approx(stops)


@given(st.floats(0.01, 100), st.floats(0.01, 100), st.floats(0.01, 100))
def test_the_neutral_carries_the_sum_of_three_phasors(a: float, b: float, c: float) -> None:
    turn = exp(2j * pi / 3)
    assert neutral_amps(a, b, c) == pytest.approx(abs(a + b * turn + c * turn**2), abs=1e-4)


@pytest.mark.parametrize(
    "call",
    [
        lambda: penumbra_m(0, 1, 1),
        lambda: apparent_size_deg(0.2, 0),
        lambda: falloff_stops(1, -1),
        lambda: lean_m(1, 0),
        lambda: inverse_square_excess(0.2, 0),
        lambda: neutral_amps(-1, 0, 0),
    ],
)
def test_lengths_and_currents_that_cannot_be(call) -> None:
    with pytest.raises(OutOfRange):
        call()
