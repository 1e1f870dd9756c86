"""One reading after a lamp change corrects the head in all its looks: they keep their light."""

from collections.abc import Iterable, Mapping
from dataclasses import dataclass, field, replace
from fractions import Fraction
from math import log2

from server.errors import OutOfRange, Refused
from server.studio.head import Head
from server.studio.lamps import FAR_STOPS, unread
from server.studio.light import light_matrix
from server.studio.look import Look, differs
from server.studio.rig import Rig
from server.studio.setting import Setting, Stops
from server.studio.side_words import point_words

HUNDREDTHS = 100
"""A correction is kept to a hundredth of a stop: no meter tells more."""


@dataclass(frozen=True)
class Correction:
    """Takes a head down by so many stops wherever it is lit; held at full and at its lowest.

    `exactly` brings looks that were held back to what they had (look id -> stops below full).
    """

    head: str
    stops: Fraction
    deepest: Fraction
    exactly: Mapping[int, Fraction] = field(default_factory=dict)

    def of(self, below: Fraction) -> Fraction:
        """Stops below full after the correction."""
        return max(Fraction(0), min(below + self.stops, max(self.deepest, below)))

    def missing(self, below: Fraction) -> Fraction:
        """Stops that it cannot follow: above 0 when more than full is wanted."""
        return self.of(below) - (below + self.stops)

    def setting(self, setting: Setting, look_id: int | None = None) -> Setting:
        """The setting with the head corrected, its origin too."""
        origin = setting.origin
        if origin is not None:
            own = self._stops(origin.stops, origin.look_id)
            origin = replace(origin, stops=own)
        return replace(setting, stops=self._stops(setting.stops, look_id), origin=origin)

    def _stops(self, stops: Stops, look_id: int | None) -> Stops:
        below = stops.get(self.head)
        if below is None:
            return stops
        held = below in (0, self.deepest)
        exact = self.exactly.get(look_id) if look_id is not None and held else None
        return {**stops, self.head: self.of(below) if exact is None else exact}


@dataclass(frozen=True)
class NewLamp:
    """How a head reads after its lamp was changed, and whether the old lamp was metered there."""

    point: str
    stops: Fraction
    was_metered: bool


def new_lamp(
    rig: Rig, setting: Setting, head: Head, point: str, lux: float, output: float
) -> NewLamp:
    """How much brighter a head reads than its figures say of the lamp before. [stop]

    stops = log2((lux - ambient) / output / E), E the light at full by the figures

    Raises Refused when the point gets no light from it, OutOfRange when it is off by too much.
    """
    change = unread(rig.lamps, head.name)
    older = [r for r in rig.readings if change is None or not r.head or r.at <= change.at]
    before = replace(rig, readings=tuple(older))
    matrix = light_matrix(before, setting.yaw_deg)
    expected = matrix.at[point][head.name]
    read = (lux - matrix.ambient[point]) / output
    if expected <= 0 or read <= 0:
        raise Refused(
            f"{head.name} gives no light at {point_words(point)}"
            f" {'by its figures' if expected <= 0 else 'beyond the room’s own'}: read it elsewhere"
        )
    stops = log2(read / expected)
    if abs(stops) > FAR_STOPS:
        raise OutOfRange(
            f"{head.name} reads {stops:+.1f} stops against its figures, more than any lamp of the"
            f" rated kind: is it lit alone, the number right, the meter at {point_words(point)}?"
        )
    metered = any(
        r.pair == (point, head.name, False)
        and r.placement is not None
        and not differs(r.placement, head.placement)
        for r in older
    )
    return NewLamp(point, Fraction(round(HUNDREDTHS * stops), HUNDREDTHS), metered)


def lit_looks(looks: Iterable[Look], head: str) -> list[Look]:
    """The looks in which a head is lit."""
    return [look for look in looks if look.stops.get(head) is not None]


def out_of_range(looks: Iterable[Look], correction: Correction) -> list[tuple[Look, Fraction]]:
    """Looks that cannot follow, with the stops that are missing."""
    found = []
    for look in looks:
        below = look.stops.get(correction.head)
        if below is not None and (missing := correction.missing(below)):
            found.append((look, missing))
    return found
