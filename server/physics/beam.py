"""The beam of a spot/flood head: peak, beam angle, field angle, and the shape between."""

import itertools
from collections.abc import Sequence
from dataclasses import dataclass
from math import exp, isfinite, log

from server.errors import OutOfRange

HALF = log(2.0)
TENTH = log(10.0)


@dataclass(frozen=True)
class Beam:
    """A beam at one setting: peak candela, full angle at 50 % and full angle at 10 % of it."""

    candela: float
    beam_deg: float
    field_deg: float

    def __post_init__(self) -> None:
        if not (isfinite(self.candela) and self.candela > 0):
            raise OutOfRange(f"candela must be above 0 cd, got {self.candela:g}")
        if not 0 < self.beam_deg < 180:
            raise OutOfRange(f"beam_deg must lie between 0 and 180, got {self.beam_deg:g}")
        if not self.beam_deg < self.field_deg <= 180:
            raise OutOfRange(
                f"field_deg must be larger than beam_deg ({self.beam_deg:g}) and at most 180,"
                f" got {self.field_deg:g}"
            )


@dataclass(frozen=True)
class BeamRow:
    """A measured or published beam at one focus: 0 is spot, 1 is flood."""

    focus: float
    beam: Beam

    def __post_init__(self) -> None:
        if not 0 <= self.focus <= 1:
            raise OutOfRange(f"focus must lie in 0 (spot) .. 1 (flood), got {self.focus:g}")


def beam_at(rows: Sequence[BeamRow], focus: float) -> Beam:
    """Beam of a head at a focus between its measured rows. [cd, deg, deg]

    Peak candela is interpolated in log candela, both angles linearly; beyond the outermost
    rows the outermost row holds.

    Parameters
    ----------
    rows : sequence of BeamRow, shape (n,)
        One or more rows, rising in focus.
    focus : float
        0 spot .. 1 flood. [1]

    Returns
    -------
    Beam
        Peak [cd], beam angle [deg], field angle [deg].

    Raises
    ------
    OutOfRange
        There is no row, rows do not rise in focus, or focus lies outside 0..1.

    Examples
    --------
    >>> rows = [BeamRow(0.0, Beam(90000, 10, 18)), BeamRow(1.0, Beam(9000, 50, 65))]
    >>> round(beam_at(rows, 0.5).candela), beam_at(rows, 0.5).beam_deg
    (28460, 30.0)

    References
    ----------
    Interpolation is ours; the log step keeps a constant-flux head near I ~ 1 / beam**2
    (common practice).
    """
    if not rows:
        raise OutOfRange("a head needs at least one beam row")
    if any(b.focus <= a.focus for a, b in itertools.pairwise(rows)):
        raise OutOfRange("beam rows must rise in focus, each focus once")
    if not 0 <= focus <= 1:
        raise OutOfRange(f"focus must lie in 0 (spot) .. 1 (flood), got {focus:g}")
    if focus <= rows[0].focus:
        return rows[0].beam
    for low, high in itertools.pairwise(rows):
        if focus <= high.focus:
            part = (focus - low.focus) / (high.focus - low.focus)
            a, b = low.beam, high.beam
            return Beam(
                candela=a.candela * (b.candela / a.candela) ** part,
                beam_deg=a.beam_deg + part * (b.beam_deg - a.beam_deg),
                field_deg=a.field_deg + part * (b.field_deg - a.field_deg),
            )
    return rows[-1].beam


def intensity_cd(beam: Beam, off_axis_deg: float) -> float:
    """Luminous intensity of a beam off its axis. [cd]

    I = I0 exp(-ln2 (theta / (beam/2))**n),   n = ln(ln10 / ln2) / ln(field / beam)

    Parameters
    ----------
    beam : Beam
        Peak and the two full angles.
    off_axis_deg : float
        Angle from the axis. [deg], 0..180

    Returns
    -------
    float
        Intensity. [cd]; half the peak at beam/2, a tenth at field/2.

    Notes
    -----
    A super-Gaussian through the two published angles; nothing is known between or beyond
    them, so a head with a measured candela curve should use that instead.

    Examples
    --------
    >>> round(intensity_cd(Beam(1000.0, 24.0, 44.0), 12.0), 6)
    500.0
    >>> round(intensity_cd(Beam(1000.0, 24.0, 44.0), 22.0), 6)
    100.0

    References
    ----------
    Beam angle at 50 % and field angle at 10 % of the peak: IES usage of both terms.
    """
    half_angle = beam.beam_deg / 2
    exponent = log(TENTH / HALF) / log(beam.field_deg / beam.beam_deg)
    # the power overflows far off the axis of a steep beam; there is no light there
    ratio = abs(off_axis_deg) / half_angle
    if ratio > 1 and exponent * log(ratio) > log(1000.0):
        return 0.0
    return beam.candela * exp(-HALF * ratio**exponent)
