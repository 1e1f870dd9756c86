"""Outputs between dark and full that come nearest to wanted light: in lux, or counted in stops."""

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

TOLERANCE = 1e-10
UNREACHED_STOPS = 1 / 6
"""Beyond this a wish pulls no harder: what cannot be reached must not drag the rest along."""
FARTHEST = 64.0
ROUNDS = 60
SETTLED_STOPS = 1e-4


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
    x = _boxed(a, b, upper)
    return Solution(tuple(float(v) for v in x), float(np.linalg.norm(a @ x - b)))


def nearest_in_stops(
    at_full: Sequence[Sequence[float]],
    ambient: Sequence[float],
    wanted: Sequence[float],
    weights: Sequence[float],
    near: Sequence[tuple[Sequence[float], float]] = (),
    upper: float = 1.0,
) -> tuple[float, ...]:
    """Outputs x in 0..upper whose light is nearest to what is wanted, counted in stops. [1]

    minimise sum_p w_p h(log2((ambient + A x) / wanted)) + sum |row x - value|**2,
    h(e) = e**2, straight beyond a sixth of a stop

    Parameters
    ----------
    at_full : sequence of sequence of float, shape (m, n)
        Light of each head at full. [lx]
    ambient, wanted : sequence of float, shape (m,)
        The room's own light, and the light wanted, above 0. [lx]
    weights : sequence of float, shape (m,)
        How much a wish counts.
    near : sequence of (row, value)
        Where the outputs go when the wishes leave a choice; light weights.
    upper : float
        Full. > 0

    Returns
    -------
    tuple of float
        Outputs, each 0..upper.

    Notes
    -----
    Relative light is the first step; then the same problem is solved again with weights that make
    its slope the slope of the sum in stops, until no light moves (iteratively reweighted least
    squares; h is Huber's [2]_).

    References
    ----------
    .. [1] C. Schoeneman et al., "Painting with Light", SIGGRAPH 1993.
    .. [2] P. J. Huber, "Robust Estimation of a Location Parameter", Ann. Math. Stat. 35 (1964).
    """
    heads = len(at_full[0]) if at_full else len(near[0][0]) if near else 0
    light, goal = np.asarray(at_full, float).reshape(len(at_full), heads), np.asarray(wanted, float)
    room, weight = np.asarray(ambient, float), np.asarray(weights, float)
    rows = np.array([row for row, _ in near], float).reshape(len(near), heads)
    values = np.array([value for _, value in near], float)
    relative, short = light / goal[:, None], 1.0 - room / goal
    x, slope, known = None, np.ones_like(goal), np.zeros_like(goal)
    for _ in range(ROUNDS):
        root = np.sqrt(weight * slope)
        x = _boxed(
            np.vstack([root[:, None] * relative, rows]),
            np.concatenate([root * short, values]),
            upper,
            x,
        )
        share = np.clip((light @ x + room) / goal, 1 / FARTHEST, FARTHEST)
        stops = np.log2(share)
        if np.abs(stops - known).max(initial=0.0) < SETTLED_STOPS:
            break
        known, slope = stops, _slope(share, stops)
    assert x is not None
    return tuple(float(v) for v in x)


def _slope(share: np.ndarray, stops: np.ndarray) -> np.ndarray:
    """Weight that gives relative light the slope of squared stops, straight beyond a sixth."""
    away = np.abs(share - 1) > 1e-9
    safe = np.where(away, share, 2.0)
    straight = np.minimum(1.0, UNREACHED_STOPS / np.maximum(np.abs(stops), 1e-12))
    slope: np.ndarray = np.where(away, np.log(safe) / (safe - 1) / safe, 1.0) * straight
    return slope


def _boxed(
    a: np.ndarray, b: np.ndarray, upper: float, start: np.ndarray | None = None
) -> np.ndarray:
    """Least squares in the box 0..upper, columns of any size."""
    scale = np.maximum(np.linalg.norm(a, axis=0), 1e-300)
    begin = None if start is None else start * scale
    x: np.ndarray = np.clip(_active_set(a / scale, b, upper * scale, begin) / scale, 0.0, upper)
    return x


def _active_set(
    a: np.ndarray, b: np.ndarray, upper: np.ndarray, start: np.ndarray | None = None
) -> np.ndarray:
    n = a.shape[1]
    x: np.ndarray
    if start is None:
        x = np.clip(np.linalg.lstsq(a, b, rcond=None)[0], 0.0, upper)
    else:
        x = np.minimum(start, upper)
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
