"""A metering pass: which reading comes next, what it should show, what is done already."""

from collections.abc import Mapping
from dataclasses import dataclass, replace
from datetime import datetime
from fractions import Fraction
from math import log2

from server.physics.stops import light_factor
from server.studio.figures import sides_of
from server.studio.light import LightMatrix, light_matrix
from server.studio.look import differs
from server.studio.readings import Reading
from server.studio.rig import Rig
from server.studio.room import Point
from server.studio.setting import Setting

METER_STOPS = Fraction(2)
"""Each head is read so far below full: bright enough for a meter, kind to whoever stands there."""
REACHES = 0.01
"""A head that gives a point less than this share of the strongest is not asked for there."""


@dataclass(frozen=True)
class Step:
    """One reading of the pass. `expected_lux` is what the meter should show meanwhile. [lx]"""

    point: str
    head: str
    shaded: bool
    expected_lux: float
    done: Reading | None

    @property
    def name(self) -> str:
        """What is read, in words."""
        if not self.head:
            return f"the room's own light at {self.point}"
        shade = ", the meter shaded from it" if self.shaded else ""
        return f"{self.head} at {self.point}{shade}"


def steps(rig: Rig, yaw_deg: float, since: datetime | None = None) -> tuple[Step, ...]:
    """The pass in the order that walks least: the room first, then point by point, head by head.

    A step is done when it was read with the head as it stands; with `since`, only when that was
    later. The keys are also read with the meter shaded, where they light the face least: that is
    their bounce.
    """
    matrix = light_matrix(rig, yaw_deg)
    plain = light_matrix(replace(rig, readings=()), yaw_deg)
    found = [_step(rig, p, "", False, matrix.ambient[p.name], since, yaw_deg) for p in rig.points]
    shadow = _shadow_of_keys(rig, matrix)
    output = light_factor(-float(METER_STOPS))
    for point in rig.points:
        strongest = max(plain.at[point.name].values(), default=0.0)
        for head in rig.heads:
            expected = matrix.ambient[point.name] + matrix.at[point.name][head.name] * output
            if plain.at[point.name][head.name] > REACHES * strongest:
                found.append(_step(rig, point, head.name, False, expected, since, yaw_deg))
            if head.role == "key" and point.name == shadow:
                bounce = matrix.bounce[point.name][head.name] * output
                expected = matrix.ambient[point.name] + bounce
                found.append(_step(rig, point, head.name, True, expected, since, yaw_deg))
    return tuple(found)


def _shadow_of_keys(rig: Rig, matrix: LightMatrix) -> str:
    full = {h.name: 1.0 if h.role == "key" else 0.0 for h in rig.heads}
    return sides_of(rig, matrix, full)[1].name if any(full.values()) else ""


def _step(
    rig: Rig,
    point: Point,
    head: str,
    shaded: bool,
    expected: float,
    since: datetime | None,
    yaw_deg: float,
) -> Step:
    done = None
    for reading in rig.readings:
        if reading.pair == (point.name, head, shaded) and (since is None or reading.at >= since):
            same = not head or (
                reading.placement is not None
                and not differs(reading.placement, rig.head(head).placement)
                and (point.on == "room" or reading.yaw_deg == yaw_deg)
            )
            if same and reading.receptor == point.receptor:
                done = reading
    return Step(point.name, head, shaded, expected, done)


def alone(rig: Rig, setting: Setting, head: str, stops: Fraction | None = METER_STOPS) -> Setting:
    """One head by itself, two stops below full; all dark for the room's own light."""
    return setting.with_stops({h.name: stops if h.name == head else None for h in rig.heads})


def is_alone(rig: Rig, setting: Setting, head: str) -> bool:
    """Whether this head, and no other, is lit; for an empty name, whether all is dark."""
    lit = {h.name for h in rig.heads if setting.of(h) is not None}
    return lit == ({head} if head else set())


def off_stops(read_lux: float, expected_lux: float) -> float | None:
    """How far a reading is from what was expected. [stop]; None in the dark."""
    return log2(read_lux / expected_lux) if read_lux > 0 and expected_lux > 0 else None


def table(rig: Rig) -> Mapping[tuple[str, str, bool], Reading]:
    """The newest reading of each pair."""
    return {r.pair: r for r in sorted(rig.readings, key=lambda r: r.at)}
