"""Carry a look to another room: light is kept, not levels."""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace
from math import log2

from server.errors import OutOfRange, Refused
from server.studio.figures import LensAdvice, Ratio, lens_advice, outputs_of, ratio_of, sides_of
from server.studio.light import LightMatrix, light_matrix
from server.studio.look import Look
from server.studio.matching import Wish, matched
from server.studio.rig import Rig
from server.studio.setting import Setting, exact_stops, signalled_output

REACHED_STOPS = 0.05
SIXTH = 1 / 6
LENS_CARRIES_STOPS = 2.0
"""A head that is short by more is told, instead of all others coming down to it. [stop]"""
FACE_WEIGHT, ROOM_WEIGHT, NEAR_WEIGHT = 1.0, 0.5, 0.03
WITHOUT_BOUND = 4096.0

Pairs = Mapping[str, str | None]
"""Head of the room the look comes from -> head of the room it goes to."""


@dataclass(frozen=True)
class Short:
    """A head that cannot give its part: by how many stops, and at which point that shows most."""

    head: str
    stops: float
    point: str


@dataclass(frozen=True)
class Carried:
    """A look in another room. `lit_stops`: how far the lit side changed, which the lens follows.

    `off` are (point, stops) against the picture that was wanted, the lens counted in. `absent` are
    heads of the look that nothing in the room stands for.
    """

    look: Look
    setting: Setting
    pairs: Pairs
    lit_stops: float
    off: tuple[tuple[str, float], ...]
    short: tuple[Short, ...]
    absent: tuple[str, ...]
    ratio: Ratio
    before: Ratio
    lens: LensAdvice

    @property
    def worst_stops(self) -> float:
        """The point that is farthest off. [stop]"""
        return max((abs(stops) for _, stops in self.off), default=0.0)

    @property
    def verdict(self) -> str:
        """reached, within a sixth, or not reached."""
        if self.worst_stops <= REACHED_STOPS:
            return "reached"
        return "within a sixth" if self.worst_stops <= SIXTH else "not reached"


def paired(source: Rig, target: Rig) -> dict[str, str | None]:
    """Which head stands for which: the same name and role, then the role, in the rigs' order."""
    pairs: dict[str, str | None] = {}
    free = list(target.heads)
    for same_name in (True, False):
        for head in source.heads:
            if pairs.get(head.name):
                continue
            found = next(
                (h for h in free
                 if h.role == head.role and (not same_name or h.name == head.name)), None,
            )  # fmt: skip
            pairs[head.name] = found.name if found else None
            if found:
                free.remove(found)
    return {h.name: pairs[h.name] for h in source.heads}


def carried(look: Look, source: Rig, target: Rig, pairs: Pairs | None = None) -> Carried:
    """The look in the target's room, as near as its heads can come.

    Light at each point relative to the lit side is kept, and the reading in the key's shadow that
    the ratio is made of. When a head has not got the light, all come down together and the lens
    follows.

    Raises Refused when the look is dark, or the rooms have no face point in common; OutOfRange
    for pairs that cannot be.
    """
    chosen = {**paired(source, target), **(pairs or {})}
    _check(chosen, source, target)
    standing = source.standing(
        {n: p for n, p in look.placements.items() if n in {h.name for h in source.heads}}
    )
    old = light_matrix(standing, look.yaw_deg)
    new = light_matrix(target, look.yaw_deg)
    setting = Setting(look.stops, look.lens, look.yaw_deg)
    was = outputs_of(standing, setting)
    lit = [h.name for h in standing.heads if was[h.name] > 0]
    if not lit:
        raise Refused(f"{look.name} is dark: there is no light to carry")
    movers = [(n, to) for n in lit if (to := chosen[n]) is not None]
    if not movers:
        raise Refused(
            f"no head of {target.room.name} stands for {', '.join(lit)}: choose which one does"
        )
    wishes = _Wishes(standing, target, old, new, was, movers)
    # what it would take if heads had no top tells which head is short, and by how much
    free = matched(wishes.at(1.0), wishes.near(1.0), WITHOUT_BOUND)
    short = [log2(x) if x > 1.0 + 1e-9 else 0.0 for x in free]
    scale = 2.0 ** -max((s for s in short if s <= LENS_CARRIES_STOPS), default=0.0)
    for _ in range(4):  # the room's own light does not come down with the heads
        now = matched(wishes.at(scale), wishes.near(scale), WITHOUT_BOUND)
        over = max((x for x, s in zip(now, short, strict=True) if s <= LENS_CARRIES_STOPS),
                   default=0.0)  # fmt: skip
        if over <= 1.0 + 1e-6:
            break
        scale /= over
    found = matched(wishes.at(scale), wishes.near(scale))
    return _told(look, standing, target, new, chosen, movers, found, scale, wishes, short, was, old)


def _check(pairs: Pairs, source: Rig, target: Rig) -> None:
    taken: dict[str, str] = {}
    for name, to in pairs.items():
        source.head(name)
        if to is None:
            continue
        target.head(to)
        other = taken.setdefault(to, name)
        if other != name:
            raise OutOfRange(f"{to} cannot stand for both {other} and {name}")


@dataclass(frozen=True)
class _Wishes:
    """What the look wants, for any scale of the whole picture."""

    source: Rig
    target: Rig
    old: LightMatrix
    new: LightMatrix
    was: Mapping[str, float]
    movers: Sequence[tuple[str, str]]

    def names(self) -> tuple[str, ...]:
        """The points both rooms have, then the shadow side read in the key's shadow."""
        theirs = {p.name: p for p in self.target.points}
        common = []
        for point in self.source.points:
            other = theirs.get(point.name)
            if other is None or other.on != point.on or self.old.lux(point.name, self.was) <= 0:
                continue
            if other.receptor != point.receptor:
                raise Refused(
                    f"{point.name} is read with the {point.receptor} in one room and with the"
                    f" {other.receptor} in the other: flat and dome are never mixed"
                )
            common.append(point.name)
        if not any(theirs[n].on == "face" for n in common):
            raise Refused("the two rooms have no point on the face with the same name in common")
        return tuple(common)

    def at(self, scale: float) -> list[Wish]:
        """All wishes with the whole picture this much brighter."""
        on = {p.name: p.on for p in self.target.points}
        to = [b for _, b in self.movers]
        found = [
            Wish(
                [self.new.at[n][b] for b in to], self.new.ambient[n],
                scale * self.old.lux(n, self.was),
                FACE_WEIGHT if on[n] == "face" else ROOM_WEIGHT,
            )
            for n in self.names()
        ]  # fmt: skip
        shadow = self._shadow(scale)
        return found + ([shadow] if shadow else [])

    def _shadow(self, scale: float) -> Wish | None:
        _, shadow, with_key = sides_of(self.source, self.old, self.was)
        if not with_key or shadow.name not in self.names():
            return None
        keys = {h.name for h in self.source.heads if h.role == "key"}
        lux = self.old.lux_in_shadow(shadow.name, self.was, keys)
        if lux <= 0:
            return None
        row, bounce = self.new.at[shadow.name], self.new.bounce.get(shadow.name, {})
        parts = [bounce.get(b, 0.0) if a in keys else row[b] for a, b in self.movers]
        return Wish(parts, self.new.ambient[shadow.name], scale * lux)

    def near(self, scale: float) -> list[tuple[list[float], float]]:
        """Each head's own light where it shows most: decides what the points leave open."""
        rows = []
        for i, (a, b) in enumerate(self.movers):
            before, after = self._own(a, b)
            if before > 0 and after > 0:
                row = [0.0] * len(self.movers)
                row[i] = NEAR_WEIGHT * after / (before * scale)
                rows.append((row, NEAR_WEIGHT))
        return rows

    def point_of(self, a: str) -> str:
        """Where a head of the look makes the largest share of the light."""
        return max(
            self.names(),
            key=lambda n: self.old.at[n][a] * self.was[a] / self.old.lux(n, self.was),
        )

    def _own(self, a: str, b: str) -> tuple[float, float]:
        at = self.point_of(a)
        before, after = self.old.at[at][a] * self.was[a], self.new.at[at][b]
        if before > 0 and after > 0:
            return before, after
        return self.old.mark[a] * self.was[a], self.new.mark[b]


def _told(
    look: Look, source: Rig, target: Rig, new: LightMatrix, pairs: Pairs,
    movers: Sequence[tuple[str, str]], found: Sequence[float], scale: float, wishes: _Wishes,
    short: Sequence[float], was: Mapping[str, float], old: LightMatrix,
) -> Carried:  # fmt: skip
    stops = {h.name: exact_stops(0.0) for h in target.heads}
    for (_, b), output in zip(movers, found, strict=True):
        lowest = 2.0 ** -target.head(b).deepest_stops
        stops[b] = exact_stops(min(1.0, output) if output >= lowest / 2 else 0.0)
    setting = Setting(stops, look.lens, look.yaw_deg)
    # what the rounded signal gives is what is judged
    real = {h.name: signalled_output(h, setting.output(h)) for h in target.heads}
    before = ratio_of(source, old, was)
    ratio = ratio_of(target, new, real)
    names = (*wishes.names(), f"{before.shadow}, in the key's shadow")
    given = [real[b] for _, b in movers]
    off = tuple(
        (name, wish.off_stops(given))
        for name, wish in zip(names, wishes.at(scale), strict=False)
    )  # fmt: skip
    lens = lens_advice(target, look.lens, ratio)
    f_number = float(lens.nearest.mark) if lens.advice and lens.nearest else look.lens.f_number
    lit = [h.name for h in source.heads if was[h.name] > 0]
    return Carried(
        look=look,
        setting=setting.with_lens(replace(look.lens, f_number=f_number)),
        pairs=pairs,
        lit_stops=log2(ratio.lit_lux / before.lit_lux) if ratio.lit_lux > 0 else -99.0,
        off=off,
        short=tuple(
            Short(b, s, wishes.point_of(a))
            for (a, b), s in zip(movers, short, strict=True)
            if s > 0.005
        ),
        absent=tuple(n for n in lit if pairs[n] is None),
        ratio=ratio,
        before=before,
        lens=lens,
    )
