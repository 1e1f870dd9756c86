"""The outputs that make wanted light: bounded least squares in relative light, refined in stops."""

from collections.abc import Sequence
from dataclasses import dataclass
from math import log, log2, sqrt

UNREACHED_STOPS = 1 / 6
"""Beyond this a point pulls no harder: what cannot be reached must not drag the rest along."""
FARTHEST = 64.0
ROUNDS = 40
SETTLED = 1e-9


@dataclass(frozen=True)
class Wish:
    """Light wanted at one point: what each head gives there at full, and the room. [lx]"""

    at_full: Sequence[float]
    ambient: float
    lux: float
    weight: float = 1.0

    def got(self, outputs: Sequence[float]) -> float:
        """The light there under these outputs. [lx]"""
        return self.ambient + sum(a * x for a, x in zip(self.at_full, outputs, strict=True))

    def off_stops(self, outputs: Sequence[float]) -> float:
        """How far the light there is from what is wanted. [stop]"""
        return log2(max(self.got(outputs) / self.lux, 1 / FARTHEST**2))


def matched(
    wishes: Sequence[Wish], near: Sequence[tuple[Sequence[float], float]], upper: float = 1.0
) -> tuple[float, ...]:
    """Outputs 0..upper whose light is nearest to the wishes, counted in stops. [1]

    minimise sum w h(log2(L / wanted)) + sum |row x - value|**2,   h(e) = e**2, straight beyond 1/6

    Parameters
    ----------
    wishes : sequence of Wish
        Each wanted light above 0. [lx]
    near : sequence of (row, value)
        Where the outputs go when the wishes leave a choice; light weights.
    upper : float
        Full.

    Notes
    -----
    Relative light is the first step; then the same problem is solved again with weights that make
    its slope the slope of the sum in stops, until nothing moves (iteratively reweighted least
    squares; h is Huber's).

    References
    ----------
    .. [1] C. Schoeneman et al., "Painting with Light", SIGGRAPH 1993.
    .. [2] P. J. Huber, "Robust Estimation of a Location Parameter", Ann. Math. Stat. 35 (1964).
    """
    from server.studio.solve import bounded_least_squares  # numpy: not before it is needed

    outputs: tuple[float, ...] | None = None
    for _ in range(ROUNDS):
        rows, values = [list(row) for row, _ in near], [value for _, value in near]
        for wish in wishes:
            weight = sqrt(wish.weight * (1.0 if outputs is None else _slope(wish, outputs)))
            rows.append([weight * a / wish.lux for a in wish.at_full])
            values.append(weight * (wish.lux - wish.ambient) / wish.lux)
        found = bounded_least_squares(rows, values, upper).outputs
        if outputs and max(abs(a - b) for a, b in zip(found, outputs, strict=True)) < SETTLED:
            return found
        outputs = found
    return outputs or ()


def _slope(wish: Wish, outputs: Sequence[float]) -> float:
    """Weight that gives relative light the slope of squared stops, straight beyond a sixth."""
    share = min(FARTHEST, max(1 / FARTHEST, wish.got(outputs) / wish.lux))
    if abs(share - 1) < 1e-9:
        return 1.0
    in_stops = log(share) / (share - 1) / share
    return in_stops * min(1.0, UNREACHED_STOPS / abs(log2(share)))
