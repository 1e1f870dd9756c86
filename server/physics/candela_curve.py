"""Intensity by the angle from a head's axis, as it was measured: a curve of points."""

from bisect import bisect_right
from dataclasses import dataclass
from functools import cached_property
from itertools import pairwise
from math import isfinite

from server.errors import OutOfRange

MOST_POINTS = 4096
LARGEST_CD = 1e8
SAME_DEG = 1e-9
ON_AXIS = 0.5
"""A head whose axis gives less than this share of its peak was measured along another axis."""


@dataclass(frozen=True)
class CandelaCurve:
    """Candela at rising angles from the axis; straight lines between, nothing beyond the last.

    It offers what `physics.beam.Beam` does: peak `candela`, `beam_deg`, `field_deg`.
    """

    angles_deg: tuple[float, ...]
    candelas: tuple[float, ...]

    def __post_init__(self) -> None:
        count = len(self.angles_deg)
        if not 2 <= count <= MOST_POINTS or count != len(self.candelas):
            raise OutOfRange(
                f"a candela curve needs 2 to {MOST_POINTS} angles and as many candelas,"
                f" got {count} and {len(self.candelas)}"
            )
        if self.angles_deg[0] != 0 or not self.angles_deg[-1] <= 180:
            raise OutOfRange(
                "angles_deg must begin with 0, the axis, and end at 180 or before,"
                f" got {self.angles_deg[0]:g} .. {self.angles_deg[-1]:g}"
            )
        for before, after in pairwise(self.angles_deg):
            if not after > before:
                raise OutOfRange(f"angles_deg must rise, got {after:g} after {before:g}")
        for angle, candela in zip(self.angles_deg, self.candelas, strict=True):
            if not (isfinite(candela) and 0 <= candela <= LARGEST_CD):
                raise OutOfRange(
                    f"candelas must lie in 0..{LARGEST_CD:g}, got {candela:g} at {angle:g} degrees"
                )
        if not self.candelas[0] >= ON_AXIS * self.candela or self.candela == 0:
            raise OutOfRange(
                f"the axis gives {self.candelas[0]:g} cd, the brightest direction"
                f" {self.candela:g} cd: the beam must point along 0 degrees"
                f" and give at least half its peak there"
            )

    @cached_property
    def candela(self) -> float:
        """The peak. [cd]"""
        return max(self.candelas)

    @cached_property
    def beam_deg(self) -> float:
        """Full angle between the directions of half the peak. [deg]"""
        return self.full_angle_deg(0.5)

    @cached_property
    def field_deg(self) -> float:
        """Full angle between the directions of a tenth of the peak. [deg]"""
        return self.full_angle_deg(0.1)

    def full_angle_deg(self, share: float) -> float:
        """Full angle out to the last direction with this share of the peak. [deg], 0..360

        Where a curve ends above the share, its end is the edge. IES usage: beam angle at 50 %,
        field angle at 10 % of the maximum intensity.
        """
        wanted = share * self.candela
        last = max(i for i, candela in enumerate(self.candelas) if candela >= wanted)
        if last == len(self.candelas) - 1:
            return 2 * self.angles_deg[-1]
        inner, outer = self.angles_deg[last], self.angles_deg[last + 1]
        here, there = self.candelas[last], self.candelas[last + 1]
        return 2 * (inner + (outer - inner) * (here - wanted) / (here - there))

    def intensity_cd(self, off_axis_deg: float) -> float:
        """Intensity off the axis. [cd]"""
        angle, last = abs(off_axis_deg), self.angles_deg[-1]
        if angle >= last:
            return self.candelas[-1] if angle - last < SAME_DEG else 0.0
        i = bisect_right(self.angles_deg, angle)
        inner, outer = self.angles_deg[i - 1], self.angles_deg[i]
        part = (angle - inner) / (outer - inner)
        return self.candelas[i - 1] + part * (self.candelas[i] - self.candelas[i - 1])


def curve_between(spot: CandelaCurve, flood: CandelaCurve, part: float) -> CandelaCurve:
    """Curve of a head whose focus lies between two measured ones. [cd]

    I0 = I0s**(1 - p) * I0f**p,   beam = (1 - p) * beam_s + p * beam_f,
    I(theta) / I0 = (1 - p) * shape_s(t) + p * shape_f(t),   t = theta / (beam / 2)

    Parameters
    ----------
    spot, flood : CandelaCurve
        The curves on either side.
    part : float
        0 at `spot` .. 1 at `flood`. [1]

    Returns
    -------
    CandelaCurve
        Candela by angle; half the peak at half the beam angle.

    Raises
    ------
    OutOfRange
        `part` lies outside 0..1.

    Notes
    -----
    Peak in log candela and angle linearly, as between beam rows; the shape, measured in half
    beam angles, passes from one to the other. Light beyond 180 degrees is cut off.

    Examples
    --------
    >>> spot = CandelaCurve((0.0, 10.0, 20.0), (9000.0, 4500.0, 0.0))
    >>> flood = CandelaCurve((0.0, 30.0, 60.0), (1000.0, 500.0, 0.0))
    >>> middle = curve_between(spot, flood, 0.5)
    >>> middle.candela, middle.beam_deg, middle.intensity_cd(30.0)
    (3000.0, 40.0, 750.0)

    References
    ----------
    Ours, after `physics.beam.beam_at` (common practice).
    """
    if not 0 <= part <= 1:
        raise OutOfRange(f"part must lie in 0..1, got {part:g}")
    if part in (0, 1):
        return flood if part else spot
    peak = spot.candela ** (1 - part) * flood.candela**part
    half = ((1 - part) * spot.beam_deg + part * flood.beam_deg) / 2
    shares: dict[float, float] = {}
    for curve in (spot, flood):
        for angle in curve.angles_deg:
            t = 2 * angle / curve.beam_deg
            share = (1 - part) * _share(spot, t) + part * _share(flood, t)
            if t * half <= 180:
                shares[t * half] = share
    angles = tuple(sorted(shares))
    return CandelaCurve(angles, tuple(peak * shares[a] for a in angles))


def _share(curve: CandelaCurve, half_beams: float) -> float:
    """Intensity as a share of the peak, so many half beam angles off the axis."""
    return curve.intensity_cd(half_beams * curve.beam_deg / 2) / curve.candela
