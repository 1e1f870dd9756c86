"""A metering pass: which reading comes next, what it should show, what is done already."""

from collections.abc import Collection, Mapping, Sequence
from dataclasses import dataclass, replace
from datetime import datetime
from fractions import Fraction
from math import log2

from server.errors import NotFound
from server.physics.stops import light_factor
from server.studio.figures import sides_of
from server.studio.light import LightMatrix, light_matrix
from server.studio.look import differs
from server.studio.readings import Reading
from server.studio.rig import Rig
from server.studio.room import Point
from server.studio.setting import Setting
from server.studio.touched import Pair, holds

METER_STOPS = Fraction(2)
"""Each head is read so far below full: bright enough for a meter, kind to whoever stands there."""
REACHES = 0.01
"""A head that gives a point less than this share of the strongest is not asked for there."""


@dataclass(frozen=True)
class Step:
    """One reading of the pass. `expected_lux` is what the meter should show meanwhile, 0 where
    nothing is known of it yet [lx]; `around`: the head does not reach there but off the walls."""

    point: str
    head: str
    shaded: bool
    expected_lux: float
    done: Reading | None
    around: bool = False

    @property
    def name(self) -> str:
        """What is read, in words."""
        if not self.head:
            return f"the room's own light at {self.point}"
        how = ", the meter shaded from it" if self.shaded else ""
        how = ", what comes off the walls" if self.around else how
        return f"{self.head} at {self.point}{how}"


def steps(rig: Rig, yaw_deg: float, since: datetime | None = None) -> tuple[Step, ...]:
    """The pass in the order that walks least: the room first, then point by point, head by head.

    A step is done when it was read with the head as it stands; with `since`, only when that was
    later. What comes off the walls is read once for each head and once at each point, see
    `_walls_read`: with the meter shaded from a head that reaches it, else as it is.
    """
    matrix = light_matrix(rig, yaw_deg)
    plain = light_matrix(replace(rig, readings=()), yaw_deg)
    found = [_step(rig, p, "", False, matrix.ambient[p.name], since, yaw_deg) for p in rig.points]
    walls = _walls_read(rig, plain)
    output = light_factor(-float(METER_STOPS))
    for point in rig.points:
        room = matrix.ambient[point.name]
        for head in rig.heads:
            reaches, here = _reaches(plain, point.name, head.name), (head.name, point.name) in walls
            bounce = matrix.bounce[point.name][head.name] * output
            if reaches:
                expected = room + matrix.at[point.name][head.name] * output
                found.append(_step(rig, point, head.name, False, expected, since, yaw_deg))
            if here and (reaches or head.role == "key"):
                found.append(_step(rig, point, head.name, True, room + bounce, since, yaw_deg))
            elif here:
                expected = room + bounce if bounce > 0 else 0.0
                step = _step(rig, point, head.name, False, expected, since, yaw_deg)
                found.append(replace(step, around=True))
    return tuple(found)


def asked_steps(
    rig: Rig, yaw_deg: float, pairs: Sequence[Pair], since: datetime
) -> tuple[Step, ...]:
    """Just these readings, in this order, each to be taken anew since a moment."""
    matrix = light_matrix(rig, yaw_deg)
    points = {p.name: p for p in rig.points}
    output = light_factor(-float(METER_STOPS))
    found = []
    for name, head, shaded in pairs:
        if name not in points:
            raise NotFound(f"no point is called {name!r:.60}; there are {', '.join(points)}")
        full = 0.0
        if head:
            rig.head(head)
            full = (matrix.bounce if shaded else matrix.at)[name][head]
        expected = matrix.ambient[name] + full * output
        found.append(_step(rig, points[name], head, shaded, expected, since, yaw_deg))
    return tuple(found)


def _reaches(plain: LightMatrix, point: str, head: str) -> bool:
    row = plain.at[point]
    return row[head] > REACHES * max(row.values())


def _walls_read(rig: Rig, plain: LightMatrix) -> set[tuple[str, str]]:
    """(head, point): where bounce is read.

    A key's at its own shadow side, since the ratio is read there in its shadow. Another head's
    counts where its own light does not reach; most of all on the shadow side of the keys. At a
    point where nothing of that was read, the brightest of these heads tells what comes back there.
    """
    found = {h.name: _shadow_side(rig, plain, {h.name}) for h in rig.heads if h.role == "key"}
    shadow = _shadow_side(rig, plain, set(found) or {h.name for h in rig.heads})
    for head in rig.heads:
        others = (p for p in rig.points if p.on != "face")
        dark = (*rig.face_points, *others)
        around = [p.name for p in dark if not _reaches(plain, p.name, head.name)]
        if around and head.name not in found:
            found[head.name] = shadow if shadow in around else around[0]
    if not found:
        return set()
    keys = [h.name for h in rig.heads if h.role == "key"] or list(found)
    brightest = max((k for k in keys if k in found), key=lambda name: plain.mark[name])
    # points that no chain of readings joins to that head: nothing tells how they differ
    joined = {found[brightest]}
    extra = [p.name for p in rig.points if p.name not in joined]
    return {*found.items(), *((brightest, name) for name in extra)}


def _shadow_side(rig: Rig, plain: LightMatrix, keys: Collection[str]) -> str:
    """The face point that these heads, all at full, light least."""
    as_keys = tuple(replace(h, role="key") for h in rig.heads if h.name in keys)
    return sides_of(replace(rig, heads=as_keys), plain, dict.fromkeys(keys, 1.0))[1].name


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
                and holds(reading, rig.head(head))
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
