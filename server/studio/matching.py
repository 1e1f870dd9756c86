"""Light that is wanted at a point, and the outputs that come nearest to many such wishes."""

from collections.abc import Sequence
from dataclasses import dataclass
from math import log2

from server.errors import Refused

DARKEST_STOPS = -12.0


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
        return log2(max(self.got(outputs) / self.lux, 2**DARKEST_STOPS))


def matched(
    wishes: Sequence[Wish], near: Sequence[tuple[Sequence[float], float]], upper: float = 1.0
) -> tuple[float, ...]:
    """Outputs 0..upper whose light is nearest to the wishes, counted in stops. [1]

    Raises Refused on a machine without numpy.
    """
    try:
        from server.studio.solve import nearest_in_stops  # numpy: not before it is needed
    except ImportError as error:
        raise Refused(f"light cannot be worked out on this machine ({error})") from None
    return nearest_in_stops(
        [w.at_full for w in wishes],
        [w.ambient for w in wishes],
        [w.lux for w in wishes],
        [w.weight for w in wishes],
        near,
        upper,
    )
