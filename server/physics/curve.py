"""Dimmer curves: the control level of a channel against the LIGHT that comes out, both 0..1."""

import itertools
from collections.abc import Callable, Sequence
from dataclasses import dataclass
from math import isfinite, pi, sin, sqrt
from typing import Protocol

from server.errors import OutOfRange


class Curve(Protocol):
    """Level to light output and back; both ends are fixed at (0, 0) and (1, 1)."""

    def output(self, level: float) -> float:
        """Light for a level. [1], 0..1"""

    def level(self, output: float) -> float:
        """Level for a light: the exact inverse of `output`. [1], 0..1"""


def _checked(name: str, value: float) -> float:
    if not 0 <= value <= 1:
        raise OutOfRange(f"{name} must lie in 0..1, got {value:g}")
    return value


def _inverted(function: Callable[[float], float], wanted: float) -> float:
    """Root of a rising function on 0..1 by bisection, to the last bit that matters."""
    low, high = 0.0, 1.0
    while high - low > 1e-15:
        middle = (low + high) / 2
        if middle in (low, high):
            break
        if function(middle) < wanted:
            low = middle
        else:
            high = middle
    return (low + high) / 2


@dataclass(frozen=True)
class LinearCurve:
    """output = level."""

    def output(self, level: float) -> float:
        return _checked("level", level)

    def level(self, output: float) -> float:
        return _checked("output", output)


@dataclass(frozen=True)
class SquareCurve:
    """output = level**2."""

    def output(self, level: float) -> float:
        return _checked("level", level) ** 2

    def level(self, output: float) -> float:
        return sqrt(_checked("output", output))


@dataclass(frozen=True)
class SCurve:
    """output = x - sin(2 pi x) / (2 pi): a phase-control dimmer without correction."""

    def output(self, level: float) -> float:
        x = _checked("level", level)
        if x < 1e-3:  # the difference of two nearly equal numbers: use the series instead
            return (2 * pi) ** 2 * x**3 / 6 * (1 - (2 * pi * x) ** 2 / 20)
        return min(1.0, max(0.0, x - sin(2 * pi * x) / (2 * pi)))

    def level(self, output: float) -> float:
        if _checked("output", output) in (0.0, 1.0):
            return output
        return _inverted(self.output, output)


@dataclass(frozen=True)
class MeasuredCurve:
    """Monotone PCHIP through measured (level, output) points, inverted on that same curve."""

    points: tuple[tuple[float, float], ...]

    def __post_init__(self) -> None:
        if len(self.points) < 2:
            raise OutOfRange("curve_points need at least [0, 0] and [1, 1]")
        if not all(isfinite(v) for p in self.points for v in p):
            raise OutOfRange("curve_points must be finite numbers")
        if self.points[0] != (0.0, 0.0) or self.points[-1] != (1.0, 1.0):
            raise OutOfRange("curve_points must run from [0, 0] to [1, 1]")
        for (x0, y0), (x1, y1) in zip(self.points, self.points[1:], strict=False):
            if x1 <= x0 or y1 <= y0:
                raise OutOfRange(
                    f"curve_points must rise strictly in level and output,"
                    f" got [{x0:g}, {y0:g}] then [{x1:g}, {y1:g}]"
                )
        object.__setattr__(self, "_slopes", pchip_slopes(self.points))

    def output(self, level: float) -> float:
        x = _checked("level", level)
        points = self.points
        slopes: tuple[float, ...] = self._slopes  # type: ignore[attr-defined]
        i = 0
        while i < len(points) - 2 and x > points[i + 1][0]:
            i += 1
        (x0, y0), (x1, y1) = points[i], points[i + 1]
        h = x1 - x0
        t = (x - x0) / h
        value = (
            (1 + 2 * t) * (1 - t) ** 2 * y0
            + t * (1 - t) ** 2 * h * slopes[i]
            + t**2 * (3 - 2 * t) * y1
            + t**2 * (t - 1) * h * slopes[i + 1]
        )
        return min(1.0, max(0.0, value))

    def level(self, output: float) -> float:
        if _checked("output", output) in (0.0, 1.0):
            return output
        return _inverted(self.output, output)


def pchip_slopes(points: Sequence[tuple[float, float]]) -> tuple[float, ...]:
    """Slopes of the monotone cubic Hermite interpolant at its points. [1]

    Inner slope: weighted harmonic mean of the neighbouring secants, 0 where they differ in
    sign; end slope: one-sided three-point formula, limited to keep the shape.

    Parameters
    ----------
    points : sequence of (float, float), shape (n,)
        Rising in x, n >= 2.

    Returns
    -------
    tuple of float, shape (n,)
        dy/dx at each point.

    Examples
    --------
    >>> pchip_slopes([(0.0, 0.0), (0.5, 0.25), (1.0, 1.0)])
    (0.0, 0.75, 2.0)

    References
    ----------
    F. N. Fritsch and J. Butland, SIAM J. Sci. Stat. Comput. 5(2), 1984, pp. 300-304, as
    described in the documentation of scipy.interpolate.PchipInterpolator.
    """
    steps = [b[0] - a[0] for a, b in itertools.pairwise(points)]
    secants = [(b[1] - a[1]) / h for a, b, h in zip(points, points[1:], steps, strict=False)]
    if len(points) == 2:
        return (secants[0], secants[0])
    slopes = [_end_slope(steps[0], steps[1], secants[0], secants[1])]
    for h0, h1, m0, m1 in zip(steps, steps[1:], secants, secants[1:], strict=False):
        if m0 * m1 <= 0:
            slopes.append(0.0)
        else:
            w0, w1 = 2 * h1 + h0, h1 + 2 * h0
            slopes.append((w0 + w1) / (w0 / m0 + w1 / m1))
    slopes.append(_end_slope(steps[-1], steps[-2], secants[-1], secants[-2]))
    return tuple(slopes)


def _end_slope(h0: float, h1: float, m0: float, m1: float) -> float:
    slope = ((2 * h0 + h1) * m0 - h0 * m1) / (h0 + h1)
    if slope * m0 <= 0:
        return 0.0
    if m0 * m1 <= 0 and abs(slope) > 3 * abs(m0):
        return 3 * m0
    return slope
