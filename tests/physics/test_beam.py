"""The beam model: published definitions of its angles, and the Gaussian as a limiting case."""

from math import inf, nan, sqrt

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from scipy.stats import norm

from server.errors import OutOfRange
from server.physics.beam import Beam, BeamRow, beam_at, intensity_cd
from server.physics.geometry import angle_between_deg
from server.physics.photometry import illuminance_lx

# beam [deg], field [deg], exponent n = ln(ln10/ln2) / ln(field/beam), relative light at beam/4:
# worked with a pocket calculation from the 50 % and 10 % definitions (IES usage of both terms).
CHECK_VALUES = [
    (10, 20, 1.7320, 0.8117),
    (24, 44, 1.9807, 0.8389),
    (40, 60, 2.9609, 0.9148),
    (50, 60, 6.5848, 0.9928),
    (60, 100, 2.3502, 0.8729),
]
ROWS = [BeamRow(0.0, Beam(90000, 10, 18)), BeamRow(1.0, Beam(9000, 50, 65))]


@st.composite
def beams(draw):
    beam_deg = draw(st.floats(1, 120))
    return Beam(draw(st.floats(1, 1e6)), beam_deg, draw(st.floats(beam_deg * 1.02, 180)))


@st.composite
def row_lists(draw):
    focuses = sorted(draw(st.sets(st.integers(0, 100), min_size=1, max_size=5)))
    return [BeamRow(focus / 100, draw(beams())) for focus in focuses]


@pytest.mark.parametrize(("beam_deg", "field_deg", "exponent", "quarter"), CHECK_VALUES)
def test_check_values(beam_deg, field_deg, exponent, quarter):
    beam = Beam(1000.0, beam_deg, field_deg)
    # IES: beam angle between the 50 % directions, field angle between the 10 % directions.
    assert intensity_cd(beam, beam_deg / 2) == pytest.approx(500.0)
    assert intensity_cd(beam, field_deg / 2) == pytest.approx(100.0)
    assert intensity_cd(beam, beam_deg / 4) == pytest.approx(1000 * quarter, rel=0.005)
    # theta = h s**(1/n) is s stops down
    third = beam_deg / 2 * (1 / 3) ** (1 / exponent)
    assert intensity_cd(beam, third) == pytest.approx(1000 * 2 ** (-1 / 3), rel=0.005)
    assert intensity_cd(beam, 0.0) == 1000.0


@given(st.floats(-40, 40))
def test_gaussian_where_field_is_1_8226_beams(theta):
    # Full widths of the normal curve: 2.35482 sigma at 50 %, 4.29193 sigma at 10 % (tables).
    sigma = 10.0
    beam = Beam(1000.0, 2.35482 * sigma, 4.29193 * sigma)
    expected = 1000.0 * norm.pdf(theta / sigma) / norm.pdf(0.0)
    assert intensity_cd(beam, theta) == pytest.approx(expected, rel=1e-3)


def test_beam_width_on_a_wall():
    # Diameter = 2 d tan(beam/2): 24 deg is 1.275 m wide at 3 m (throw table arithmetic).
    beam = Beam(60000.0, 24.0, 44.0)
    edge = angle_between_deg((0.0, 0.0, 3.0), (1.2753 / 2, 0.0, 3.0))
    assert intensity_cd(beam, edge) == pytest.approx(30000.0, rel=0.001)


def test_half_the_candela_is_less_than_half_the_lux_on_a_plane():
    # ANSI E1.9 measures on a flat surface, IES in candela: the two differ by cos**3.
    beam = Beam(60000.0, 60.0, 100.0)
    distance, cosine = 3.0, np.cos(np.radians(30))
    centre = illuminance_lx(intensity_cd(beam, 0.0), distance)
    edge = illuminance_lx(intensity_cd(beam, 30.0), distance / cosine, response=cosine)
    assert edge / centre == pytest.approx(0.5 * cosine**3)


def test_far_off_a_steep_beam_there_is_no_light_and_no_overflow():
    assert intensity_cd(Beam(1000.0, 50.0, 50.0001), 180.0) == 0.0
    assert intensity_cd(Beam(1000.0, 50.0, 50.0001), 24.0) == pytest.approx(1000.0)


@given(beams(), st.floats(0, 180), st.floats(0, 180))
def test_light_never_rises_away_from_the_axis(beam, a, b):
    near, far = sorted((a, b))
    assert 0 <= intensity_cd(beam, far) <= intensity_cd(beam, near) <= beam.candela
    assert intensity_cd(beam, -far) == intensity_cd(beam, far)


def test_half_way_in_log_candela_is_the_geometric_mean():
    middle = beam_at(ROWS, 0.5)
    assert middle.candela == pytest.approx(sqrt(90000 * 9000))
    assert (middle.beam_deg, middle.field_deg) == pytest.approx((30, 41.5))


@given(row_lists(), st.floats(0, 1))
def test_between_and_beyond_the_rows_like_numpy(rows, focus):
    # numpy.interp as reference: linear between, the outermost row held beyond.
    focuses = [row.focus for row in rows]
    beam = beam_at(rows, focus)
    log_candela = np.interp(focus, focuses, np.log([row.beam.candela for row in rows]))
    assert beam.candela == pytest.approx(np.exp(log_candela))
    for name in ("beam_deg", "field_deg"):
        values = [getattr(row.beam, name) for row in rows]
        assert getattr(beam, name) == pytest.approx(np.interp(focus, focuses, values))


@given(row_lists())
def test_a_row_answers_for_itself(rows):
    for row in rows:
        assert beam_at(rows, row.focus).candela == pytest.approx(row.beam.candela)


@pytest.mark.parametrize(
    ("rows", "focus", "said"),
    [
        ([], 0.5, "at least one"),
        (ROWS[::-1], 0.5, "rise in focus"),
        ([ROWS[0], ROWS[0]], 0.5, "rise in focus"),
        (ROWS, -0.1, "focus"),
        (ROWS, 1.1, "focus"),
        (ROWS, nan, "focus"),
    ],
)
def test_beam_at_refuses(rows, focus, said):
    with pytest.raises(OutOfRange, match=said):
        beam_at(rows, focus)


@pytest.mark.parametrize(
    ("candela", "beam_deg", "field_deg", "said"),
    [
        (0, 10, 20, "candela"),
        (-1, 10, 20, "candela"),
        (nan, 10, 20, "candela"),
        (inf, 10, 20, "candela"),
        (1, 0, 20, "beam_deg"),
        (1, 180, 181, "beam_deg"),
        (1, nan, 20, "beam_deg"),
        (1, 10, 10, "field_deg"),  # the exponent has no value there
        (1, 10, 9, "field_deg"),
        (1, 10, 181, "field_deg"),
        (1, 10, nan, "field_deg"),
    ],
)
def test_a_beam_refuses(candela, beam_deg, field_deg, said):
    with pytest.raises(OutOfRange, match=said):
        Beam(candela, beam_deg, field_deg)


@pytest.mark.parametrize("focus", [-0.01, 1.01, nan])
def test_a_row_refuses_a_focus(focus):
    with pytest.raises(OutOfRange, match="focus"):
        BeamRow(focus, Beam(1, 10, 20))
