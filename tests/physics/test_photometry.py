"""Inverse square law, cosine law, receptors and scrims."""

from math import cos, inf, log2, log10, nan, pi, radians, sqrt

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from scipy.integrate import quad

from server.errors import OutOfRange
from server.physics.photometry import dome_response, flat_response, illuminance_lx
from server.physics.stops import stops_between

INTENSITY = st.floats(0, 1e6)
DISTANCE = st.floats(0.1, 50)
COSINE = st.floats(-1, 1)


# Photometric distance law, CIE e-ILV 17-25-104: E = I / d**2.
@pytest.mark.parametrize(
    ("candela", "distance", "lux"), [(60000, 3, 6667), (60000, 5, 2400), (9000, 3, 1000), (1, 1, 1)]
)
def test_inverse_square(candela, distance, lux):
    assert illuminance_lx(candela, distance) == pytest.approx(lux, rel=1e-4)


def test_a_foot_candle():
    # 1 fc = 10.7639 lx, and a foot is 0.3048 m (international foot): one candela one foot away.
    assert illuminance_lx(1.0, 0.3048) == pytest.approx(10.7639, rel=1e-5)


# The same law in stops, as tables of light fall-off print it.
@pytest.mark.parametrize(
    ("factor", "stops"),
    [(1.1, -0.275), (1.2, -0.526), (1.25, -0.644), (1.4, -0.971), (2, -2.000), (3, -3.170),
     (1.1225, -1 / 3), (1.1892, -1 / 2), (1.2599, -2 / 3), (1.4142, -1), (0.8909, 1 / 3),
     (0.7071, 1)],
)  # fmt: skip
def test_distance_factor_table(factor, stops):
    change = stops_between(illuminance_lx(5000, 1.7 * factor), illuminance_lx(5000, 1.7))
    assert change == pytest.approx(stops, abs=0.0005)


# 0.15 m of face and 1.0 m to a second sitter: E1/E2 = (d2/d1)**2 by the same law.
@pytest.mark.parametrize(
    ("distance", "face", "second"),
    [(1.0, 0.403, 2.000), (1.5, 0.275, 1.474), (2.5, 0.168, 0.971), (4.0, 0.106, 0.644)],
)
def test_fall_off_across_a_face_and_to_a_second_sitter(distance, face, second):
    near = illuminance_lx(5000, distance)
    assert stops_between(near, illuminance_lx(5000, distance + 0.15)) == pytest.approx(
        face, abs=6e-4
    )
    assert stops_between(near, illuminance_lx(5000, distance + 1)) == pytest.approx(
        second, abs=6e-4
    )


# Lambert's cosine law, cosine table.
@pytest.mark.parametrize(
    ("deg", "factor", "stops"),
    [(15, 0.9659, -0.050), (30, 0.8660, -0.208), (45, 0.7071, -0.500), (60, 0.5, -1.000),
     (75, 0.2588, -1.950)],
)  # fmt: skip
def test_cosine_table(deg, factor, stops):
    lux = illuminance_lx(1000, 1, response=flat_response(cos(radians(deg))))
    assert lux == pytest.approx(1000 * factor, abs=0.05)
    assert stops_between(lux, 1000) == pytest.approx(stops, abs=0.0005)


def test_flat_receptor_at_its_edges():
    assert flat_response(1.0) == 1.0
    assert flat_response(cos(radians(90))) == pytest.approx(0, abs=1e-15)
    assert flat_response(cos(radians(91))) == 0.0
    assert flat_response(-1.0) == 0.0


def disc_lux(diameter, distance):
    """A uniform Lambertian disc (L = 1 cd/m2) as rings of small sources, square on."""

    def ring(r):
        slant = sqrt(distance**2 + r**2)
        cosine = distance / slant
        return illuminance_lx(2 * pi * r * cosine, slant, response=flat_response(cosine))

    return quad(ring, 0, diameter / 2, epsabs=0, epsrel=1e-10)[0]


# Five-times rule: IES definition "inverse square law", "accurate within 1% when d is at least 5
# times the maximum dimension of the source"; the other rows are E = pi L r**2 / (r**2 + d**2)
# (Foote, Bull. Bureau of Standards 12 (1915) p. 583; formula from memory).
@pytest.mark.parametrize(
    ("diameters", "error", "stops"),
    [(0.5, 1.00, 1.000), (1, 0.25, 0.322), (2, 0.0625, 0.087), (3, 0.0278, 0.040),
     (5, 0.0100, 0.014), (10, 0.0025, 0.0036)],
)  # fmt: skip
def test_five_times_rule(diameters, error, stops):
    diameter, distance = 0.9, 0.9 * diameters
    point = illuminance_lx(pi * (diameter / 2) ** 2, distance)
    disc = disc_lux(diameter, distance)
    assert point / disc - 1 == pytest.approx(error, rel=0.01)
    assert stops_between(point, disc) == pytest.approx(stops, abs=0.0006)


def test_a_large_near_source_falls_off_slower():
    # 0.9 m disc from 0.6 to 1.2 m: 1.546 stops instead of 2 (disc formula above).
    assert stops_between(disc_lux(0.9, 0.6), disc_lux(0.9, 1.2)) == pytest.approx(1.546, abs=0.001)


@pytest.mark.parametrize("deg", [0, 30, 60, 90, 120, 150, 180])
def test_dome_is_a_hemisphere_of_flat_receptors(deg):
    # Sum of the cosine law over a hemisphere: integral of max(0, n.l) over it, divided by pi.
    count = 400
    theta = (np.arange(count) + 0.5) * (pi / 2 / count)
    phi = (np.arange(count) + 0.5) * (2 * pi / count)
    t, p = np.meshgrid(theta, phi)
    towards = np.sin(t) * np.cos(p) * np.sin(radians(deg)) + np.cos(t) * np.cos(radians(deg))
    area = np.sin(t) * (pi / 2 / count) * (2 * pi / count)
    expected = np.sum(np.maximum(0, towards) * area) / pi
    assert dome_response(cos(radians(deg))) == pytest.approx(expected, abs=2e-4)


# Wire scrims: single 1/2 stop, double 1 stop, stacks add in stops (published course page).
@pytest.mark.parametrize(
    ("scrims", "factor"), [(0, 1), (0.5, 0.7071), (1, 0.5), (1.5, 0.35355), (2, 0.25)]
)
def test_scrims(scrims, factor):
    assert illuminance_lx(1000, 1, scrim_stops=scrims) == pytest.approx(1000 * factor, rel=1e-4)


# Neutral-density gel or glass: T = 10**-D (encyclopedia entry "Neutral-density filter").
@pytest.mark.parametrize(
    ("density", "factor"),
    [(0.15, 0.7079), (0.3, 0.5012), (0.6, 0.2512), (0.9, 0.1259), (1.2, 0.0631)],
)
def test_density_as_a_scrim(density, factor):
    lux = illuminance_lx(1000, 1, scrim_stops=density / log10(2))
    assert lux == pytest.approx(1000 * factor, rel=0.002)


def test_a_dark_head_gives_nothing():
    assert illuminance_lx(0.0, 2.0) == 0.0


@pytest.mark.parametrize("distance", [0, -1, nan])
def test_refuses_a_distance(distance):
    with pytest.raises(OutOfRange, match="distance"):
        illuminance_lx(1000, distance)


@pytest.mark.parametrize("intensity", [-1, nan])
def test_refuses_an_intensity(intensity):
    with pytest.raises(OutOfRange, match="intensity"):
        illuminance_lx(intensity, 1)


@pytest.mark.parametrize("scrims", [-0.5, nan])
def test_refuses_scrims_that_add_light(scrims):
    with pytest.raises(OutOfRange, match="scrims"):
        illuminance_lx(1000, 1, scrim_stops=scrims)


@given(st.floats(1, 1e6), DISTANCE)
def test_double_distance_is_two_stops_less(candela, distance):
    change = log2(illuminance_lx(candela, 2 * distance) / illuminance_lx(candela, distance))
    assert change == pytest.approx(-2)


HEAD = st.tuples(INTENSITY, DISTANCE, COSINE, st.floats(0, 6))


@given(st.lists(HEAD, max_size=8), HEAD, st.sampled_from([flat_response, dome_response]))
def test_adding_a_head_never_darkens(heads, one_more, receptor):
    def total(chosen):
        return sum(illuminance_lx(cd, d, receptor(cosine), s) for cd, d, cosine, s in chosen)

    assert total([*heads, one_more]) >= total(heads) >= 0


@given(COSINE)
def test_a_dome_reads_at_least_what_a_flat_receptor_reads(cosine):
    assert 0 <= flat_response(cosine) <= dome_response(cosine) <= 1


def test_an_infinitely_far_head_is_dark():
    assert illuminance_lx(1000, inf) == 0.0
