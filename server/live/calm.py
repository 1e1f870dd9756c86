"""Quick changes counted as the one rise they are, so that nobody flinches."""

from collections.abc import Mapping

from server.live.fade import FLINCH_S, calm_seconds

Lux = Mapping[str, float]
"""Point of the face -> the light there. [lx]"""


class Calm:
    """How dark the face has been within the last 1.5 s, when each change set off.

    A light that was no darker anywhere than a later one decides nothing and is forgotten: however
    quick the taps, few are kept.
    """

    def __init__(self) -> None:
        self._seen: list[tuple[float, Lux]] = []

    def seconds(self, wanted_s: float, before: Lux, after: Lux, moment: float) -> float:
        """How long a change takes that sets off at a moment. One that is to be made at once is
        measured against the light it sets off from alone. [s]"""
        self._seen = [
            (at, lux)
            for at, lux in self._seen
            if moment - at < FLINCH_S and not _no_darker(lux, before)
        ]
        self._seen.append((moment, before))
        lights = [lux for _, lux in self._seen] if wanted_s > 0 else [before]
        darkest = {p: min(lux.get(p, was) for lux in lights) for p, was in before.items()}
        return calm_seconds(wanted_s, darkest, after)


def _no_darker(light: Lux, other: Lux) -> bool:
    return light.keys() == other.keys() and all(light[p] >= lux for p, lux in other.items())
