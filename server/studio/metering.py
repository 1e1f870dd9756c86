"""A metering pass: which reading comes next, what it should show, what is done already."""

from collections.abc import Collection, Mapping, Sequence
from dataclasses import dataclass, field, replace
from datetime import datetime
from fractions import Fraction
from itertools import pairwise
from math import log2
from statistics import median

from server.errors import NotFound
from server.physics.stops import light_factor
from server.studio.figures import sides_of
from server.studio.light import LightMatrix, light_matrix
from server.studio.look import differs
from server.studio.readings import DARKEST_LUX, Reading, ambient_read, by_pair
from server.studio.rig import Rig
from server.studio.room import Point
from server.studio.setting import Setting
from server.studio.touched import Pair, holds

METER_STOPS = Fraction(2)
"""Each head is read so far below full: bright enough for a meter, kind to whoever stands there."""
REACHES = 0.01
"""A head that gives a point less than this share of the strongest is not asked for there."""
USUAL_READING_S = 12.0
"""How long one reading takes, with the step to the next (common practice). [s]"""
SOONEST_S, BREAK_S = 2.0, 120.0
"""Readings closer together were not taken by hand, those farther apart had a break between. [s]"""
ENOUGH_TO_PACE = 3


@dataclass(frozen=True)
class Step:
    """One reading of the pass. `expected_lux` is what the meter should show meanwhile, 0 where
    nothing is known of it yet, and more than `most_lux` can hardly be right, 0 where nothing tells
    that [lx]; `around`: the head does not reach there but off the walls."""

    point: str
    head: str
    shaded: bool
    expected_lux: float
    done: Reading | None
    around: bool = False
    most_lux: float = 0.0

    @property
    def pair(self) -> Pair:
        """What is read."""
        return self.point, self.head, self.shaded

    @property
    def name(self) -> str:
        """What is read, in words."""
        if not self.head:
            return f"the room's own light at {self.point}"
        how = ", the meter shaded from it" if self.shaded else ""
        how = ", what comes off the walls" if self.around else how
        return f"{self.head} at {self.point}{how}"


@dataclass(frozen=True)
class _Pass:
    """What a pass is found from: the rig without the heads that are out, and its light. `since`:
    a reading counts when it was taken later, None when any that still holds will do."""

    rig: Rig
    yaw_deg: float
    since: datetime | None
    matrix: LightMatrix
    plain: LightMatrix
    read: Mapping[Pair, Sequence[Reading]] = field(default_factory=dict)

    @classmethod
    def of(cls, rig: Rig, yaw_deg: float, since: datetime | None) -> "_Pass":
        able = replace(rig, heads=tuple(h for h in rig.heads if not h.out))
        plain = light_matrix(replace(able, readings=()), yaw_deg)
        return cls(able, yaw_deg, since, light_matrix(able, yaw_deg), plain, by_pair(rig.readings))

    def room(self, point: Point) -> Step:
        """The reading of the room's own light at a point."""
        expected = expected_room_lux(self.rig, point.name)
        return self.step(point, "", False, expected, most_room_lux(self.matrix, self.plain, point))

    def head(self, point: Point, head: str) -> Step:
        """The reading of one head at a point."""
        return self.step(point, head, False, self.lit(point, self.matrix.at[point.name][head]))

    def shade(self, point: Point, head: str) -> Step:
        """The reading of a head's bounce, with the meter shaded from it. Where it does not reach
        there is next to nothing to shade, and all may be bounce."""
        expected = self.lit(point, self.matrix.bounce[point.name][head])
        reaches = _reaches(self.plain, point.name, head)
        most = self.lit(point, self.matrix.at[point.name][head]) if reaches else 0.0
        return self.step(point, head, True, expected, most)

    def around(self, point: Point, head: str) -> Step:
        """The reading of a head's bounce where it does not reach."""
        bounce = self.matrix.bounce[point.name][head]
        expected = self.lit(point, bounce) if bounce > 0 else 0.0
        return replace(self.step(point, head, False, expected), around=True)

    def lit(self, point: Point, full_lux: float) -> float:
        """What the meter shows of a head as it is lit for its reading. [lx]"""
        return self.matrix.ambient[point.name] + full_lux * light_factor(-float(METER_STOPS))

    def step(
        self, point: Point, head: str, shaded: bool, expected: float, most: float = 0.0
    ) -> Step:
        """The step, and whether it is done: by the newest reading that still holds."""
        done = None
        for reading in self.read.get((point.name, head, shaded), ()):
            if self._counts(reading, point):
                done = reading
        return Step(point.name, head, shaded, expected, done, most_lux=most)

    def _counts(self, reading: Reading, point: Point) -> bool:
        if self.since is not None and reading.at < self.since:
            return False
        if reading.receptor != point.receptor:
            return False
        if not reading.head:
            return True
        head = self.rig.head(reading.head)
        return (
            reading.placement is not None
            and holds(reading, head)
            and not differs(reading.placement, head.placement)
            and (point.on == "room" or reading.yaw_deg == self.yaw_deg)
        )


def steps(rig: Rig, yaw_deg: float, since: datetime | None = None) -> tuple[Step, ...]:
    """The pass in the order that walks least: point by point, at each the room's own light and
    then head by head. A head that is out is left out.

    A step is done when it was read with the head as it stands; with `since`, only when that was
    later. What comes off the walls is read once for each head and once at each point, see
    `_walls_read`: with the meter shaded from a head that reaches it, else as it is.
    """
    known = _Pass.of(rig, yaw_deg, since)
    walls = _walls_read(known.rig, known.plain)
    found = []
    for point in rig.points:
        found.append(known.room(point))
        for head in known.rig.heads:
            reaches = _reaches(known.plain, point.name, head.name)
            here = (head.name, point.name) in walls
            if reaches:
                found.append(known.head(point, head.name))
            if here and (reaches or head.role == "key"):
                found.append(known.shade(point, head.name))
            elif here:
                found.append(known.around(point, head.name))
    return tuple(found)


def asked_steps(
    rig: Rig, yaw_deg: float, pairs: Sequence[Pair], since: datetime
) -> tuple[Step, ...]:
    """Just these readings, in this order, each to be taken anew since a moment; those of a head
    that is out are left out, and those of what is no longer in the rig (`gone_of`)."""
    known = _Pass.of(rig, yaw_deg, since)
    points, gone = {p.name: p for p in rig.points}, set(gone_of(rig, pairs))
    found = []
    for name, head, shaded in pairs:
        if name in gone or head in gone:
            continue
        if not head:
            found.append(known.room(points[name]))
        elif not rig.head(head).out:
            found.append((known.shade if shaded else known.head)(points[name], head))
    return tuple(found)


def gone_of(rig: Rig, pairs: Sequence[Pair]) -> tuple[str, ...]:
    """Points and heads that readings are asked of, and that the rig has not, or no longer.

    Raises NotFound when that leaves no reading to take.
    """
    points, heads = {p.name for p in rig.points}, {h.name for h in rig.heads}
    kept = [(p, h) for p, h, _ in pairs if p in points and (not h or h in heads)]
    gone = {p: None for p, _, _ in pairs if p not in points}
    gone |= {h: None for _, h, _ in pairs if h and h not in heads}
    if pairs and not kept:
        raise NotFound(
            f"no point or head is called {' or '.join(map(repr, gone)):.120}: nothing is left of"
            " the readings that were asked for"
        )
    return tuple(gone)


def expected_room_lux(rig: Rig, point: str) -> float:
    """The room's own light as it was read at a point; else as at the other points, in the middle;
    else as it was typed for the room. [lx]"""
    read = ambient_read(rig.alike)
    return read.get(point) or (median(read.values()) if read else rig.room.ambient_lux)


def most_room_lux(matrix: LightMatrix, plain: LightMatrix, point: Point) -> float:
    """What half of the heads that reach a point give there as they are lit for their readings: with
    more than that from the room itself, one of them is likely lit. 0 without heads. [lx]"""
    output = light_factor(-float(METER_STOPS))
    row = matrix.at[point.name]
    lit = [lux * output for head, lux in row.items() if _reaches(plain, point.name, head)]
    return median(lit) if lit else 0.0


def seconds_a_reading(pass_steps: Sequence[Step]) -> float:
    """The pace of this pass: the middle one of the times between its readings, breaks and tables
    left out; the usual pace where too few were taken. [s]"""
    moments = sorted(s.done.at for s in pass_steps if s.done)
    gaps = [(b - a).total_seconds() for a, b in pairwise(moments)]
    paced = [gap for gap in gaps if SOONEST_S <= gap <= BREAK_S]
    return median(paced) if len(paced) >= ENOUGH_TO_PACE else USUAL_READING_S


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


def far_stops(read_lux: float, expected_lux: float) -> float:
    """The same as far as a meter can tell: all that is too dark for it counts as the darkest that
    it reads, and 0 stands for nothing known. [stop]"""
    if expected_lux <= 0:
        return 0.0
    return log2(max(read_lux, DARKEST_LUX) / max(expected_lux, DARKEST_LUX))


def table(rig: Rig) -> Mapping[tuple[str, str, bool], Reading]:
    """The newest reading of each pair."""
    return {r.pair: r for r in sorted(rig.readings, key=lambda r: r.at)}
