"""A measured candela table: planes round an axis (type C) or leaves of a book (type B)."""

from bisect import bisect_right
from collections.abc import Sequence
from dataclasses import dataclass
from math import asin, atan2, cos, degrees, radians, sin

from server.physics.candela_curve import CandelaCurve

PLANES_OF_A_MEAN = 72
"""Type B tables are averaged round the axis over planes 5 degrees apart."""
SIGNIFICANT = 6
MOST_ANGLES = 721
"""A curve keeps at most so many of a table's angles: a quarter degree over the whole range."""


@dataclass(frozen=True)
class Distribution:
    """Candela by angle: `candelas[plane][vertical]`, one row for each horizontal angle. [deg, cd]

    Type C: `horizontal_deg` turns round the axis, `vertical_deg` leaves it; 0 is the axis.
    Type B: `vertical_deg` tilts a plane about a horizontal line, `horizontal_deg` goes along it;
    both 0 is the axis. A table over one quadrant or half stands for the mirrored rest.
    """

    kind: str
    vertical_deg: tuple[float, ...]
    horizontal_deg: tuple[float, ...]
    candelas: tuple[tuple[float, ...], ...]

    def candela(self, vertical_deg: float, horizontal_deg: float) -> float:
        """Intensity at two angles of the table, straight lines between its points. [cd]"""
        vertical, horizontal = self._folded(vertical_deg, horizontal_deg)
        if not self.vertical_deg[0] <= vertical <= self.vertical_deg[-1]:
            return 0.0
        if not self.horizontal_deg[0] <= horizontal <= self.horizontal_deg[-1]:
            return 0.0
        i, v = _between(self.vertical_deg, vertical)
        j, h = _between(self.horizontal_deg, horizontal)
        low, high = self.candelas[j], self.candelas[min(j + 1, len(self.candelas) - 1)]
        here = (1 - v) * low[i] + v * low[i + 1]
        there = (1 - v) * high[i] + v * high[i + 1]
        return (1 - h) * here + h * there

    def _folded(self, vertical: float, horizontal: float) -> tuple[float, float]:
        """The angles at which a symmetric table holds the same light."""
        if self.kind == "B":
            return (
                abs(vertical) if self.vertical_deg[0] == 0 else vertical,
                abs(horizontal) if self.horizontal_deg[0] == 0 else horizontal,
            )
        turn, last = horizontal % 360, self.horizontal_deg[-1]
        if last <= 180:
            turn = min(turn, 360 - turn)
        if last <= 90:
            turn = min(turn, 180 - turn)
        return vertical, 0.0 if last == 0 else turn

    def toward(self, off_axis_deg: float, plane_deg: float = 0.0) -> float:
        """Intensity off the axis, in a plane through it. [cd]

        Type B: sin H = sin(theta) cos(plane), tan V = tan(theta) sin(plane).
        """
        if self.kind == "C":
            return self.candela(off_axis_deg, plane_deg)
        off, plane = radians(off_axis_deg), radians(plane_deg)
        # to twelve places: at 90 degrees the rounding of a zero would decide the plane
        across = round(sin(off) * cos(plane), 12)
        up, ahead = round(sin(off) * sin(plane), 12), round(cos(off), 12)
        horizontal, vertical = degrees(asin(across)), degrees(atan2(up, ahead))
        return self.candela(round(vertical, 9), round(horizontal, 9))

    def mean_toward(self, off_axis_deg: float) -> float:
        """Intensity off the axis, the mean over all planes through it. [cd]"""
        if self.kind == "B":
            turns = [360.0 * i / PLANES_OF_A_MEAN for i in range(PLANES_OF_A_MEAN)]
            return sum(self.toward(off_axis_deg, t) for t in turns) / len(turns)
        planes = self.horizontal_deg
        values = [self.toward(off_axis_deg, p) for p in planes]
        if len(planes) == 1:
            return values[0]
        area = sum(
            (b - a) * (x + y) / 2
            for a, b, x, y in zip(planes, planes[1:], values, values[1:], strict=False)
        )
        return area / (planes[-1] - planes[0])


def axial_curve(table: Distribution, plane_deg: float | None = None) -> CandelaCurve:
    """Intensity by the angle from the axis, round it or in one plane. [cd]

    Parameters
    ----------
    table : Distribution
        The measured table.
    plane_deg : float or None
        One plane through the axis [deg]; None takes the mean over all planes.

    Returns
    -------
    CandelaCurve
        At the angles of the table, candela to six figures.

    Raises
    ------
    OutOfRange
        The axis gives less than half of the brightest direction: no head points so.

    Notes
    -----
    Type C: the axis is vertical angle 0, planes weighted by the angle between them. Type B: the
    axis is horizontal and vertical 0, where only the forward half is measured.

    Examples
    --------
    >>> table = Distribution("C", (0.0, 45.0, 90.0), (0.0, 90.0),
    ...                      ((1000.0, 400.0, 0.0), (1000.0, 200.0, 0.0)))
    >>> axial_curve(table).candelas
    (1000.0, 300.0, 0.0)

    References
    ----------
    ANSI/IESNA LM-63-02, definitions of vertical and horizontal angles and of photometric zero.
    """
    if table.kind == "C":
        angles: list[float] = sorted({0.0, *table.vertical_deg})
    else:
        both = (*table.vertical_deg, *table.horizontal_deg)
        angles = sorted({0.0} | {abs(a) for a in both})
    if len(angles) > MOST_ANGLES:
        steps = MOST_ANGLES - 1
        angles = [angles[round(i * (len(angles) - 1) / steps)] for i in range(steps + 1)]
    candelas = [
        table.mean_toward(a) if plane_deg is None else table.toward(a, plane_deg) for a in angles
    ]
    return CandelaCurve(tuple(angles), tuple(float(f"{c:.{SIGNIFICANT}g}") for c in candelas))


def _between(angles: Sequence[float], angle: float) -> tuple[int, float]:
    """The step of rising angles in which one lies, and how far into it. 0..1"""
    if len(angles) == 1:
        return 0, 0.0
    i = min(bisect_right(angles, angle), len(angles) - 1) - 1
    return i, (angle - angles[i]) / (angles[i + 1] - angles[i])
