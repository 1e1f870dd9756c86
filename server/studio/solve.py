"""Bounded least squares: outputs between dark and full that come nearest to wanted light."""

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

TOLERANCE = 1e-10


@dataclass(frozen=True)
class Solution:
    """Outputs, and how far the light stays from what was wanted (root of the summed squares)."""

    outputs: tuple[float, ...]
    residual: float


def bounded_least_squares(
    rows: Sequence[Sequence[float]], wanted: Sequence[float], upper: float = 1.0
) -> Solution:
    """Outputs x in 0..upper for which rows @ x is nearest to what is wanted. [1]

    minimise |A x - b|**2   subject to   0 <= x <= upper

    Light adds, so what a set of heads gives is linear in their outputs; a picture that is wished
    for becomes this problem [1]_. Solved by an active set: heads that want to leave the box are
    held at its wall, and let go when they want back [2]_.

    Parameters
    ----------
    rows : sequence of sequence of float, shape (m, n)
        Light of each head at full, a row a wish; rows may be weighted.
    wanted : sequence of float, shape (m,)
        The light wished for, in the units of its row.
    upper : float
        Full. > 0

    Returns
    -------
    Solution
        Outputs, each 0..upper, and the residual.

    Raises
    ------
    ValueError
        Shapes differ or a number is not finite: a bug in the caller.

    References
    ----------
    .. [1] C. Schoeneman, J. Dorsey, B. Smits, J. Arvo, D. Greenberg, "Painting with Light",
       SIGGRAPH 1993: lamp intensities by constrained least squares.
    .. [2] P. B. Stark, R. L. Parker, "Bounded-Variable Least-Squares", Computational Statistics
       10 (1995).
    """
    a, b = np.asarray(rows, float), np.asarray(wanted, float)
    if a.ndim != 2 or b.shape != (a.shape[0],):
        raise ValueError(f"rows {a.shape} and wanted {b.shape} do not fit")
    if not (np.isfinite(a).all() and np.isfinite(b).all() and upper > 0):
        raise ValueError("rows, wanted and upper must be finite, upper above 0")
    scale = np.maximum(np.linalg.norm(a, axis=0), 1e-300)
    x = _active_set(a / scale, b, upper * scale) / scale
    x = np.clip(x, 0.0, upper)
    return Solution(tuple(float(v) for v in x), float(np.linalg.norm(a @ x - b)))


def _active_set(a: np.ndarray, b: np.ndarray, upper: np.ndarray) -> np.ndarray:
    n = a.shape[1]
    x: np.ndarray = np.clip(np.linalg.lstsq(a, b, rcond=None)[0], 0.0, upper)
    free = (x > 0) & (x < upper)
    tolerance = TOLERANCE * max(1.0, float(np.linalg.norm(b)))
    for _ in range(20 * n + 20):
        _settle(a, b, upper, x, free)
        pull = a.T @ (b - a @ x)
        wants = np.where(x <= 0, pull, np.where(x >= upper, -pull, 0.0))
        wants[free] = 0.0
        if n == 0 or wants.max() <= tolerance:
            return x
        free[int(wants.argmax())] = True
    return x  # a cycle of ties at the walls: all of them equally near


def _settle(
    a: np.ndarray, b: np.ndarray, upper: np.ndarray, x: np.ndarray, free: np.ndarray
) -> None:
    """Best outputs of the free heads; those that would leave the box stop at its wall. In place."""
    while free.any():
        rest = b - a[:, ~free] @ x[~free]
        best = np.linalg.lstsq(a[:, free], rest, rcond=None)[0]
        now, top = x[free], upper[free]
        if ((best >= 0) & (best <= top)).all():
            x[free] = best
            return
        with np.errstate(divide="ignore", invalid="ignore"):
            steps = np.where(best < 0, now / (now - best), (top - now) / (best - now))
        steps[(best >= 0) & (best <= top)] = np.inf
        stop = int(np.nanargmin(steps))
        x[free] = np.clip(now + max(0.0, float(steps[stop])) * (best - now), 0.0, top)
        at = np.flatnonzero(free)[stop]
        x[at] = 0.0 if best[stop] < 0 else upper[at]
        free[at] = False
