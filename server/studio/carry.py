"""Carry a look to another room: light is kept, not levels."""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace
from math import log2

from server.errors import OutOfRange, Refused
from server.physics.stops import light_factor
from server.studio.figures import LensAdvice, Ratio, lens_advice, outputs_of, ratio_of
from server.studio.light import LightMatrix, light_matrix
from server.studio.look import Look
from server.studio.matching import matched
from server.studio.rig import Rig
from server.studio.setting import Setting, exact_stops, signalled_output
from server.studio.wanted import Wanted

REACHED_STOPS = 0.05
SIXTH = 1 / 6
LENS_CARRIES_STOPS = {"key": 2.0, "fill": 2.0}
OTHERS_CARRY_STOPS = 1.0
"""A head that is short by more is told, instead of all others coming down to it, where the lens
follows to some extent. Key and fill make the picture; for an edge of light nobody opens the lens by
two stops. [stop]"""
FOLLOWS = ("some", "always", "never")
"""How far the lens follows heads that have too little light."""
TOLD_FROM_STOPS = 0.005
WITHOUT_BOUND = 4096.0

Pairs = Mapping[str, str | None]
"""Head of the room the look comes from -> head of the room it goes to."""


@dataclass(frozen=True)
class Short:
    """A head that cannot give its part: by how many stops, and at which point that shows most."""

    head: str
    stops: float
    point: str
    carried: bool = True
    """Whether all came down to it, so that the lens makes up for it."""


@dataclass(frozen=True)
class Absent:
    """A head of the look that nothing stands for: where it showed, and its light there. [lx]"""

    head: str
    point: str
    lux: float


@dataclass(frozen=True)
class Carried:
    """A look in another room. `lit_stops`: how far the lit side changed, which the lens follows.

    `off` are (point, stops) against the picture that was wanted, the lens counted in; `absent` are
    heads of the look that nothing in the room stands for.
    """

    look: Look
    setting: Setting
    pairs: Pairs
    lit_stops: float
    down_stops: float
    """How far all heads came down together because one had not the light."""
    off: tuple[tuple[str, float], ...]
    short: tuple[Short, ...]
    absent: tuple[Absent, ...]
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
    """Which head stands for which: the same name and role, then the role, in the rigs' order.
    Nothing stands for another that is out itself."""
    pairs: dict[str, str | None] = {}
    free = [h for h in target.heads if not h.out]
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
    """One look carried; see `Carry`."""
    return Carry(source, target, pairs).carried(look)


class Carry:
    """Two rooms and which head stands for which; the light of either is reckoned once.

    `lens` tells how far all heads come down, and the lens follows, when one has not the light; one
    of `FOLLOWS`. Raises OutOfRange for pairs that cannot be.
    """

    def __init__(
        self, source: Rig, target: Rig, pairs: Pairs | None = None, lens: str = "some"
    ) -> None:
        if lens not in FOLLOWS:
            raise OutOfRange(f"lens must be one of {', '.join(FOLLOWS)}, got {lens!r:.20}")
        self.source, self.target, self.lens = source, target, lens
        self.pairs: Pairs = {**paired(source, target), **(pairs or {})}
        _check(self.pairs, source, target)
        self._known: dict[object, LightMatrix] = {}

    def carried(self, look: Look) -> Carried:
        """The look in the target's room, as near as its heads can come.

        Light at each point relative to the lit side is kept, and the reading in the key's shadow
        that the ratio is made of. When a head has not got the light, all come down together and
        the lens follows.

        Raises Refused when the look is dark, or the rooms have no face point in common.
        """
        wanted = self.wanted(look)
        found = matched(wanted.wishes(1.0), wanted.near(1.0))
        short, scale = [0.0] * len(found), 1.0
        worst = max(abs(w.off_stops(found)) for w in wanted.wishes(1.0))
        if max(found) > 1.0 - 1e-9 and worst > TOLD_FROM_STOPS:
            # what it would take if heads had no top tells which head is short, and by how much
            free = matched(wanted.wishes(1.0), wanted.near(1.0), WITHOUT_BOUND)
            short = [log2(x) if x > 1.0 + 1e-9 else 0.0 for x in free]
            little = self._little(wanted, short)
            scale = _scale_within(wanted, short, little)
            if scale < 1.0:
                found = matched(wanted.wishes(scale), wanted.near(scale))
        return self._told(look, wanted, found, scale, short)

    def _little(self, wanted: Wanted, short: Sequence[float]) -> list[bool]:
        """Which heads all others may come down to."""
        if self.lens != "some":
            return [self.lens == "always"] * len(short)
        roles = [self.target.head(b).role for _, b in wanted.movers]
        limits = [LENS_CARRIES_STOPS.get(role, OTHERS_CARRY_STOPS) for role in roles]
        return [s <= limit for s, limit in zip(short, limits, strict=True)]

    def wanted(self, look: Look) -> Wanted:
        """What a look wants of the target's room. Refused when it is dark, or nothing stands for
        its heads."""
        there = {h.name for h in self.source.heads}
        source = self.source.standing({n: p for n, p in look.placements.items() if n in there})
        # a head that is out there now was not when the look was kept
        source = replace(source, heads=tuple(replace(h, out=False) for h in source.heads))
        was = outputs_of(source, Setting(look.stops, look.lens, look.yaw_deg))
        lit = [h.name for h in source.heads if was[h.name] > 0]
        if not lit:
            raise Refused(f"{look.name} is dark: there is no light to carry")
        movers = [(n, to) for n in lit if (to := self.pairs[n]) is not None]
        if not movers:
            raise Refused(
                f"no head of {self.target.room.name} stands for {', '.join(lit)}:"
                " choose which one does"
            )
        yaw = look.yaw_deg
        old = self._matrix(("from", yaw, *(h.placement for h in source.heads)), source, yaw)
        new = self._matrix(("to", yaw), self.target, yaw)
        return Wanted(source, self.target, old, new, was, movers)

    def _matrix(self, key: object, rig: Rig, yaw_deg: float) -> LightMatrix:
        if key not in self._known:
            self._known[key] = light_matrix(rig, yaw_deg)
        return self._known[key]

    def _told(
        self,
        look: Look,
        wanted: Wanted,
        found: Sequence[float],
        scale: float,
        short: Sequence[float],
    ) -> Carried:
        target, movers = self.target, wanted.movers
        stops = {h.name: exact_stops(0.0) for h in target.heads}
        for (_, b), output in zip(movers, found, strict=True):
            lowest = 2.0 ** -target.head(b).deepest_stops
            stops[b] = exact_stops(min(1.0, output) if output >= lowest / 2 else 0.0)
        setting = Setting(stops, look.lens, look.yaw_deg)
        # what the rounded signal gives is what is judged
        real = {h.name: signalled_output(h, setting.output(h)) for h in target.heads}
        before = ratio_of(wanted.source, wanted.old, wanted.was)
        ratio = ratio_of(target, wanted.new, real)
        given = [real[b] for _, b in movers]
        lens = lens_advice(target, look.lens, ratio)
        follows = lens.advice and lens.nearest and self.lens != "never"
        f_number = float(lens.nearest.mark) if follows and lens.nearest else look.lens.f_number
        lit = [n for n, output in wanted.was.items() if output > 0]
        return Carried(
            look=look,
            setting=setting.with_lens(replace(look.lens, f_number=f_number)),
            pairs=self.pairs,
            lit_stops=log2(ratio.lit_lux / before.lit_lux) if ratio.lit_lux > 0 else -99.0,
            down_stops=-log2(scale),
            off=tuple(
                (name, wish.off_stops(given))
                for name, wish in zip(wanted.names, wanted.wishes(scale), strict=True)
            ),
            short=tuple(
                Short(b, s, wanted.point_of(a), carried)
                for (a, b), s, carried in zip(
                    movers, short, self._little(wanted, short), strict=True
                )
                if s > TOLD_FROM_STOPS
            ),
            absent=tuple(
                Absent(n, p, scale * wanted.old.at[p][n] * wanted.was[n])
                for n in lit
                if self.pairs[n] is None and (p := wanted.point_of(n))
            ),
            ratio=ratio,
            before=before,
            lens=lens,
        )


def _scale_within(wanted: Wanted, short: Sequence[float], little: Sequence[bool]) -> float:
    """How far the whole picture comes down, so that heads that are a little short can make it."""
    down = max((s for s, ok in zip(short, little, strict=True) if ok), default=0.0)
    scale = light_factor(-down)
    for _ in range(4):  # the room's own light does not come down with the heads
        now = matched(wanted.wishes(scale), wanted.near(scale), WITHOUT_BOUND)
        over = max((x for x, ok in zip(now, little, strict=True) if ok), default=0.0)
        if over <= 1.0 + 1e-6:
            break
        scale /= over
    return scale


def _check(pairs: Pairs, source: Rig, target: Rig) -> None:
    taken: dict[str, str] = {}
    for name, to in pairs.items():
        source.head(name)
        if to is None:
            continue
        if target.head(to).out:
            raise OutOfRange(f"{to} is out: choose another head to stand for {name}, or nobody")
        other = taken.setdefault(to, name)
        if other != name:
            raise OutOfRange(f"{to} cannot stand for both {other} and {name}")
