"""How far the ratio and the lit side can be trusted, and the fewest readings that would restore it.

Every term (a head at a point, its bounce, the room's own light) is uncertain by so many stops; its
part in a side's uncertainty is that times its share of the side's light. Terms are taken as
independent, so their squares add.
"""

from collections.abc import Iterable, Mapping
from dataclasses import dataclass
from itertools import combinations
from math import comb, hypot, log, sqrt

from server.studio.anchor import Anchored, Anchors
from server.studio.figures import outputs_of, ratio_of, sides_of
from server.studio.light import LightMatrix, anchors
from server.studio.readings import Metered
from server.studio.rig import Rig
from server.studio.room import Point
from server.studio.setting import Setting
from server.studio.touched import Pair

BUDGET_STOPS = 1 / 6
"""What a figure should be good to: a change that nobody sees. [stop]"""
# How far off a figure is likely to be (one standard deviation), by where it comes from. Common
# practice, but for the first: a hand meter shows tenths. [stop]
METERED_STOPS = 0.1
CARRIED_STOPS = 0.15
MOVED_STOPS = 0.3
PREDICTED_STOPS = 0.6
BOUNCE_UNREAD = 0.05
"""The share of a key that walls may send back, where that was never read (common practice). [1]"""
DARKEST = 1e-3
"""A shadow side below this share of the lit side is taken as so dark: nothing is quite black. [1]
"""
HELPS, HELPS_NOTICEABLY = 1e-9, 1e-4
"""What a reading must take off the variances to be tried, and to be asked for in vain. [stop**2]"""
MOST_TRIED = 20_000
LN2 = log(2)


@dataclass(frozen=True)
class Term:
    """One part of the light on a side. [lx], [stop]

    `lit` and `ratio` are its parts in the uncertainty of the lit side and of the ratio; `left` what
    would remain of them after one reading, as a share.
    """

    pair: Pair
    lux: float
    source: str
    stops: float
    lit: float
    ratio: float
    left: float

    @property
    def gain(self) -> tuple[float, float]:
        """What one reading would take off both variances. [stop**2]"""
        taken = 1 - self.left**2
        return self.lit**2 * taken, self.ratio**2 * taken


@dataclass(frozen=True)
class Trust:
    """What limits the figures now. [stop]"""

    lit: str
    shadow: str
    lit_stops: float
    ratio_stops: float
    terms: tuple[Term, ...]
    fewest: tuple[Pair, ...]
    """The readings to take, in this order."""
    after_stops: float
    """The larger of the two uncertainties after them."""

    @property
    def good(self) -> bool:
        """Whether both are within the budget."""
        return max(self.lit_stops, self.ratio_stops) <= BUDGET_STOPS


def trust_of(
    rig: Rig, matrix: LightMatrix, setting: Setting, drifted: Mapping[Pair, float]
) -> Trust | None:
    """The trust of a light; None in the dark. `drifted` tells how far heads have warmed away from
    their readings. [stop]"""
    outputs = outputs_of(rig, setting)
    ratio = ratio_of(rig, matrix, outputs)
    if ratio.lit_lux <= 0:
        return None
    terms = _terms(rig, matrix, setting, drifted)
    fewest = fewest_readings(terms)
    lit, both = _after(terms, ())
    return Trust(ratio.lit, ratio.shadow, lit, both, terms, fewest, max(_after(terms, fewest)))


def _terms(
    rig: Rig, matrix: LightMatrix, setting: Setting, drifted: Mapping[Pair, float]
) -> tuple[Term, ...]:
    outputs = outputs_of(rig, setting)
    lit, shadow, with_key = sides_of(rig, matrix, outputs)
    ratio = ratio_of(rig, matrix, outputs)
    known = anchors(rig)
    parts: dict[Pair, Part] = {}
    for point, total, dark in (
        (lit, ratio.lit_lux, False),
        (shadow, max(ratio.shadow_lux, DARKEST * ratio.lit_lux), True),
    ):
        for head in rig.heads:
            output = outputs[head.name]
            if output <= 0:
                continue
            anchored = known.of(point, head, setting.yaw_deg)
            shaded = dark and with_key and head.role == "key"
            pair = (point.name, head.name, shaded)
            if shaded:
                lux, sigma = anchored.bounce * output, _of_bounce(anchored)
                unread = BOUNCE_UNREAD * matrix.at[lit.name][head.name] * output
                off = sigma.now * LN2 * lux if _bounce_read(anchored) else unread
            else:
                lux = matrix.at[point.name][head.name] * output
                sigma = _of_direct(anchored, drifted.get(pair, 0.0))
                off = sigma.now * LN2 * lux
            _add(parts, Part(pair, lux, sigma), off / (total * LN2), dark)
        lux, sigma = matrix.ambient[point.name], _of_room(known, point)
        _add(parts, Part((point.name, "", False), lux, sigma), sigma.now * lux / total, dark)
    return tuple(p.term for p in parts.values())


@dataclass(frozen=True)
class Sigma:
    """How uncertain a term is now and after one reading, and why. [stop]"""

    now: float
    after: float
    source: str


@dataclass
class Part:
    """A term while it is put together: by how many stops each side is uncertain through it."""

    pair: Pair
    lux: float
    sigma: Sigma
    on_lit: float = 0.0
    on_shadow: float = 0.0

    @property
    def term(self) -> Term:
        """What is off on both sides alike does not show in the ratio."""
        sigma = self.sigma
        left = min(1.0, sigma.after / sigma.now) if sigma.now > 0 else 1.0
        both = abs(self.on_lit - self.on_shadow)
        return Term(self.pair, self.lux, sigma.source, sigma.now, self.on_lit, both, left)


def _add(parts: dict[Pair, Part], part: Part, stops: float, dark: bool) -> None:
    known = parts.setdefault(part.pair, part)
    if dark:
        known.on_shadow += stops
    else:
        known.on_lit += stops


def _of_direct(anchored: Anchored, drift: float) -> Sigma:
    if anchored.read is None:
        return Sigma(PREDICTED_STOPS, METERED_STOPS, "predicted")
    if anchored.source == "moved":
        return Sigma(MOVED_STOPS, METERED_STOPS, "moved")
    if anchored.carried:
        return Sigma(hypot(CARRIED_STOPS, drift), METERED_STOPS, "metered")
    repeats = repeat_stops(anchored.read)
    return Sigma(hypot(repeats, drift), repeats, "metered")


def repeat_stops(read: Metered) -> float:
    """How well a metered pair is known: a meter's tenth, less for repeats that agree. [stop]"""
    return max(read.spread_stops, METERED_STOPS / sqrt(read.count))


def _bounce_read(anchored: Anchored) -> Metered | None:
    """The reading that tells a key's bounce: shaded, or around the corner from the key."""
    return anchored.shaded or (anchored.read if anchored.around else None)


def _of_bounce(anchored: Anchored) -> Sigma:
    read = _bounce_read(anchored)
    if read is None:
        return Sigma(PREDICTED_STOPS, METERED_STOPS, "predicted")
    now = CARRIED_STOPS if anchored.carried else repeat_stops(read)
    if anchored.source == "moved":
        now = MOVED_STOPS
    return Sigma(now, METERED_STOPS, anchored.source)


def _of_room(known: Anchors, point: Point) -> Sigma:
    if point.name in known.ambient:
        return Sigma(METERED_STOPS, METERED_STOPS, "metered")
    return Sigma(PREDICTED_STOPS, METERED_STOPS, "predicted")


def _after(terms: Iterable[Term], taken: Iterable[Pair]) -> tuple[float, float]:
    """Both uncertainties after some readings. [stop]"""
    known, read = tuple(terms), set(taken)
    lit = sum(t.lit**2 for t in known) - sum(t.gain[0] for t in known if t.pair in read)
    ratio = sum(t.ratio**2 for t in known) - sum(t.gain[1] for t in known if t.pair in read)
    return sqrt(max(0.0, lit)), sqrt(max(0.0, ratio))


def fewest_readings(terms: Iterable[Term], budget: float = BUDGET_STOPS) -> tuple[Pair, ...]:
    """The fewest readings that bring both uncertainties within the budget, the weightiest first.

    Found exactly, by trying all sets of one reading, of two, and so on; of several that do, the one
    that leaves the least. Where there are too many sets to try, the reading that helps most is
    taken, and again. Where no set will do, all that help noticeably.
    """
    known = tuple(terms)
    # what has to go of each variance; a reading takes its gains off both
    over = [v**2 - budget**2 for v in _after(known, ())]
    if max(over) <= 0:
        return ()
    helpful = sorted((t for t in known if sum(t.gain) > HELPS), key=lambda t: -sum(t.gain))

    def left(taken: Iterable[Term]) -> float:
        gains = [t.gain for t in taken]
        return max(over[0] - sum(g[0] for g in gains), over[1] - sum(g[1] for g in gains))

    if left(helpful) > 0:
        return tuple(t.pair for t in helpful if sum(t.gain) > HELPS_NOTICEABLY)
    tried = 0
    for count in range(1, len(helpful) + 1):
        tried += comb(len(helpful), count)
        if tried > MOST_TRIED:
            break
        best = min(combinations(helpful, count), key=left)
        if left(best) <= 0:
            return tuple(t.pair for t in best)
    taken: list[Term] = []
    while left(taken) > 0:
        rest = [t for t in helpful if t not in taken]
        taken.append(min(rest, key=lambda t: left([*taken, t])))
    return tuple(t.pair for t in taken)
