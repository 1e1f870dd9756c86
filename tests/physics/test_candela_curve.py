"""Curves off the axis: symmetry, the mean over planes, beam and field angle, between two foci."""

from math import cos, radians

import pytest
from hypothesis import given
from hypothesis import strategies as st

from server.errors import OutOfRange
from server.physics.beam import Beam, BeamRow, beam_at, intensity_cd
from server.physics.candela_curve import CandelaCurve, curve_between
from server.physics.distribution import Distribution, axial_curve
from server.physics.lm63 import parse_lm63
from tests.physics.lm63_files import ROUND, written

QUARTER = Distribution(
    "C", (0.0, 30.0, 90.0), (0.0, 90.0), ((100.0, 60.0, 0.0), (100.0, 20.0, 0.0))
)


def test_beam_and_field_angle_of_the_file_worked_by_hand() -> None:
    """9000 cd on the axis, 4500 at 10 degrees, 900 at 20 (IES: 50 % and 10 % of the maximum)."""
    curve = axial_curve(parse_lm63(ROUND).table)
    assert (curve.candela, curve.beam_deg, curve.field_deg) == (9000.0, 20.0, 40.0)
    # 5 degrees: (9000 + 4500) / 2; 55 degrees: halfway from 900 to 0
    assert curve.intensity_cd(5.0) == pytest.approx(6750.0)
    assert curve.intensity_cd(-55.0) == pytest.approx(450.0)
    assert curve.intensity_cd(90.1) == 0.0


def test_a_lambert_emitter_has_a_beam_of_120_degrees() -> None:
    """I = I0 cos(theta), so half at 60 degrees and a tenth at arccos 0.1 = 84.2608 degrees."""
    angles = [float(a) for a in range(91)]
    text = written([[1000.0 * cos(radians(a)) if a < 90 else 0.0 for a in angles]], angles, [0.0])
    curve = axial_curve(parse_lm63(text).table)
    assert curve.beam_deg == pytest.approx(120.0, abs=1e-3)
    assert curve.field_deg == pytest.approx(2 * 84.2608, abs=0.02)


def test_a_quadrant_stands_for_the_whole_turn() -> None:
    for turn in (0.0, 180.0, 360.0, -180.0):
        assert QUARTER.candela(30.0, turn) == 60.0
    for turn in (90.0, 270.0, -90.0):
        assert QUARTER.candela(30.0, turn) == 20.0
    for turn in (45.0, 135.0, 225.0, 315.0):  # bilinear: halfway between 60 and 20
        assert QUARTER.candela(30.0, turn) == pytest.approx(40.0)
    assert QUARTER.candela(15.0, 45.0) == pytest.approx(70.0)  # and halfway up to 100
    assert axial_curve(QUARTER).candelas == (100.0, 40.0, 0.0)
    assert axial_curve(QUARTER, 90.0).candelas == (100.0, 20.0, 0.0)


def test_a_very_fine_table_is_thinned_ends_kept() -> None:
    angles = tuple(90 * i / 2000 for i in range(2001))
    fine = Distribution("C", angles, (0.0,), (tuple(1000.0 - 10 * a for a in angles),))
    curve = axial_curve(fine)
    assert len(curve.angles_deg) == 721
    assert (curve.angles_deg[-1], curve.candelas[-1]) == (90.0, 100.0)
    assert curve.beam_deg == pytest.approx(100.0)  # 1000 - 10 x 50 = 500


def test_half_and_full_turns() -> None:
    half = Distribution("C", (0.0, 90.0), (0.0, 90.0, 180.0), ((9.0, 0.0), (9.0, 3.0), (9.0, 8.0)))
    assert half.candela(90.0, 270.0) == 3.0  # mirrored about the plane of 0 and 180
    assert half.candela(90.0, 180.0) == 8.0
    # mean of 0, 3, 8 over equal steps: (0 + 3) / 2 and (3 + 8) / 2
    assert half.mean_toward(90.0) == pytest.approx(3.5)
    full = Distribution("C", (0.0, 90.0), (0.0, 270.0, 360.0), ((9.0, 0.0), (9.0, 4.0), (9.0, 0.0)))
    assert full.candela(90.0, 315.0) == pytest.approx(2.0)
    # planes count by the angle between them: 270 x 2 and 90 x 2 degrees-candela over 360
    assert full.mean_toward(90.0) == pytest.approx(2.0)


def test_type_b_angles_are_those_of_leaves_of_a_book() -> None:
    """cos(theta) = cos H cos V on a sphere; a table that holds just that is round its axis."""
    angles = [float(a) for a in range(0, 91, 2)]
    rows = [[1000 * cos(radians(h)) * cos(radians(v)) for v in angles] for h in angles]
    table = parse_lm63(
        written([[max(0.0, c) for c in r] for r in rows], angles, angles, kind=2)
    ).table
    for plane in (0.0, 30.0, 45.0, 90.0, 200.0):
        for off in (0.0, 10.0, 40.0, 70.0, 89.0):
            expected = 1000 * cos(radians(off))
            assert table.toward(off, plane) == pytest.approx(expected, abs=1.0)
    assert table.toward(100.0, 20.0) == 0.0
    assert axial_curve(table).beam_deg == pytest.approx(120.0, abs=0.2)


def test_a_type_b_table_over_all_four_quarters_is_not_mirrored() -> None:
    table = Distribution("B", (-90.0, 0.0, 90.0), (-90.0, 0.0, 90.0),
                         ((0.0, 10.0, 0.0), (30.0, 100.0, 50.0), (0.0, 20.0, 0.0)))  # fmt: skip
    assert table.toward(90.0, 0.0) == pytest.approx(20.0)  # horizontal +90
    assert table.toward(90.0, 180.0) == pytest.approx(10.0)
    assert table.toward(90.0, 90.0) == pytest.approx(50.0)  # vertical +90
    assert table.toward(90.0, 270.0) == pytest.approx(30.0)


def test_light_that_points_elsewhere_is_no_beam() -> None:
    up = Distribution("C", (90.0, 180.0), (0.0,), ((0.0, 500.0),))
    with pytest.raises(OutOfRange, match="along 0 degrees"):
        axial_curve(up)
    with pytest.raises(OutOfRange, match="along 0 degrees"):
        CandelaCurve((0.0, 20.0, 90.0), (400.0, 1000.0, 0.0))
    with pytest.raises(OutOfRange, match="along 0 degrees"):
        CandelaCurve((0.0, 90.0), (0.0, 0.0))
    dip = CandelaCurve((0.0, 20.0, 90.0), (800.0, 1000.0, 0.0))  # a dip is usual in a flood
    assert dip.candela == 1000.0


@pytest.mark.parametrize(
    ("angles", "candelas", "said"),
    [
        ((0.0,), (1.0,), "2 to"),
        ((0.0, 1.0), (1.0,), "as many"),
        ((1.0, 2.0), (1.0, 0.0), "begin with 0"),
        ((0.0, 181.0), (1.0, 0.0), "end at 180"),
        ((0.0, 5.0, 5.0), (1.0, 1.0, 0.0), "rise"),
        ((0.0, float("nan")), (1.0, 0.0), "end at 180"),
        ((0.0, 5.0), (1.0, -1.0), "candelas must lie"),
        ((0.0, 5.0), (float("inf"), 1.0), "candelas must lie"),
    ],
)
def test_no_curve(angles: tuple[float, ...], candelas: tuple[float, ...], said: str) -> None:
    with pytest.raises(OutOfRange, match=said):
        CandelaCurve(angles, candelas)


def test_a_curve_that_ends_bright_ends_at_its_last_angle() -> None:
    curve = CandelaCurve((0.0, 90.0), (100.0, 80.0))
    assert (curve.beam_deg, curve.field_deg) == (180.0, 180.0)
    assert curve.intensity_cd(90.0) == 80.0
    assert curve.intensity_cd(91.0) == 0.0


def sampled(beam: Beam) -> CandelaCurve:
    angles = tuple(i / 4 for i in range(361))
    return CandelaCurve(angles, tuple(intensity_cd(beam, a) for a in angles))


@given(part=st.floats(0, 1))
def test_between_two_foci_peak_and_beam_are_those_of_beam_rows(part: float) -> None:
    spot, flood = Beam(90000.0, 10.0, 18.0), Beam(9000.0, 50.0, 65.0)
    middle = curve_between(sampled(spot), sampled(flood), part)
    rows = beam_at((BeamRow(0.0, spot), BeamRow(1.0, flood)), part)
    assert middle.candela == pytest.approx(rows.candela, rel=1e-9)
    assert middle.beam_deg == pytest.approx(rows.beam_deg, abs=0.1)
    assert middle.intensity_cd(rows.beam_deg / 2) == pytest.approx(rows.candela / 2, rel=0.01)
