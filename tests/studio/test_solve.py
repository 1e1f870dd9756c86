"""Bounded least squares against SciPy on 200 random studios.

Oracle: scipy.optimize.lsq_linear (method "bvls", after Stark and Parker, 1995).
"""

import numpy as np
import pytest
from scipy.optimize import lsq_linear

from server.studio.solve import bounded_least_squares


@pytest.mark.parametrize("seed", range(200))
def test_as_near_as_scipy_comes(seed: int) -> None:
    random = np.random.default_rng(seed)
    heads, wishes = int(random.integers(1, 13)), int(random.integers(1, 20))
    rows = random.exponential(1.0, (wishes, heads)) * (random.random((wishes, heads)) < 0.7)
    if seed % 3 == 0:  # two heads that stand together: many solutions, one light
        rows[:, -1] = rows[:, 0]
    wanted = random.exponential(1.5, wishes) * random.choice([0.1, 1.0, 10.0])
    found = bounded_least_squares(rows.tolist(), wanted.tolist())
    oracle = lsq_linear(rows, wanted, (0, 1), method="bvls", tol=1e-14, max_iter=1000)
    assert all(0 <= x <= 1 for x in found.outputs)
    best = float(np.linalg.norm(rows @ oracle.x - wanted))
    assert found.residual == pytest.approx(best, rel=1e-7, abs=1e-7)


def test_a_wish_within_reach_is_met() -> None:
    """Two heads, two points: 3 a + 1 b = 2 and 1 a + 2 b = 1.5, so a = 0.5, b = 0.5."""
    found = bounded_least_squares([[3, 1], [1, 2]], [2.0, 1.5])
    assert found.outputs == pytest.approx((0.5, 0.5))
    assert found.residual == pytest.approx(0, abs=1e-9)


def test_what_cannot_be_reached_stops_at_full() -> None:
    found = bounded_least_squares([[2.0]], [5.0])
    assert found.outputs == (1.0,)
    assert found.residual == pytest.approx(3.0)


@pytest.mark.parametrize("rows", [[[1.0], [2.0, 3.0]], [[float("nan")]]])
def test_a_caller_s_mistake_is_told(rows: list[list[float]]) -> None:
    with pytest.raises(ValueError, match=r"do not fit|finite|inhomogeneous"):
        bounded_least_squares(rows, [1.0])
