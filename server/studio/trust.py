"""How far the ratio and the lit side can be trusted, and the fewest readings that would restore it.

Every term (a head at a point, its bounce, the room's own light) is uncertain by so many stops; its
part in a side's uncertainty is that times its share of the side's light. Terms are taken as
independent, so their squares add; but what several of them take from one meter reading, as all do
that the camera told by it, is off together and adds up before it is squared.
"""

from collections import defaultdict
from collections.abc import Collection, Iterable, Mapping
from dataclasses import dataclass, field
from math import sqrt

from server.studio.fewest import fewest
from server.studio.figures import outputs_of, ratio_of, sides_of
from server.studio.light import LightMatrix, anchors
from server.studio.readings import Reading
from server.studio.rig import Rig
from server.studio.setting import Setting
from server.studio.touched import Pair
from server.studio.unsure import LN2, Known, Part

BUDGET_STOPS = 1 / 6
"""What a figure should be good to: a change that nobody sees. [stop]"""
DARKEST = 1e-3
"""A shadow side below this share of the lit side is taken as so dark: nothing is quite black. [1]
"""


@dataclass(frozen=True)
class Term:
    """One part of the light on a side. [lx], [stop]

    `lit` and `ratio` are its parts in the uncertainty of the lit side and of the ratio, `ratio`
    below 0 where it makes the shadow side lighter; `left` what would remain of them after one
    reading, and `leans` what of them comes from a single meter reading, as shares.
    """

    pair: Pair
    lux: float
    source: str
    stops: float
    lit: float
    ratio: float
    left: float
    leans: Mapping[Reading, float] = field(default_factory=dict)

    @property
    def own(self) -> float:
        """The share of its variance that it has by itself."""
        return 1 - sum(share**2 for share in self.leans.values())


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
    lit, both = (sqrt(v) for v in _variances(terms))
    after = sqrt(max(_variances(terms, fewest)))
    return Trust(ratio.lit, ratio.shadow, lit, both, terms, fewest, after)


def _terms(
    rig: Rig, matrix: LightMatrix, setting: Setting, drifted: Mapping[Pair, float]
) -> tuple[Term, ...]:
    outputs = outputs_of(rig, setting)
    lit, shadow, with_key = sides_of(rig, matrix, outputs)
    ratio = ratio_of(rig, matrix, outputs)
    known = Known(rig, matrix, anchors(rig), outputs, setting.yaw_deg, drifted)
    keys = [h.name for h in rig.heads if h.role == "key"] if with_key else []
    found: dict[Pair, tuple[Part, float, float]] = {}
    for part in known.parts(lit):
        found[part.pair] = (part, part.off_lux / (ratio.lit_lux * LN2), 0.0)
    dark_lux = max(ratio.shadow_lux, DARKEST * ratio.lit_lux)
    for part in known.parts(shadow, keys):
        _, on_lit, _ = found.get(part.pair, (part, 0.0, 0.0))
        found[part.pair] = (part, on_lit, part.off_lux / (dark_lux * LN2))
    return tuple(term_of(*parts) for parts in found.values())


def term_of(part: Part, on_lit: float, on_shadow: float) -> Term:
    """A part by how many stops each side is uncertain through it; what is off on both sides alike
    does not show in the ratio."""
    sigma = part.sigma
    left = min(1.0, sigma.after / sigma.now) if sigma.now > 0 else 1.0
    leans = {r: s / sigma.now for r, s in sigma.leans.items()} if sigma.now > 0 else {}
    both = on_lit - on_shadow
    return Term(part.pair, part.lux, sigma.source, sigma.now, on_lit, both, left, leans)


def _variances(terms: Iterable[Term], taken: Collection[Pair] = ()) -> tuple[float, float]:
    """How far the lit side and the ratio are likely to be off after some readings. [stop**2]"""
    lit = ratio = 0.0
    by_reading: dict[Reading, list[float]] = defaultdict(lambda: [0.0, 0.0])
    for term in terms:
        read = term.pair in taken
        own = term.left**2 if read else term.own
        lit += term.lit**2 * own
        ratio += term.ratio**2 * own
        for reading, share in () if read else term.leans.items():
            by_reading[reading][0] += share * term.lit
            by_reading[reading][1] += share * term.ratio
    together = by_reading.values()
    return lit + sum(s[0] ** 2 for s in together), ratio + sum(s[1] ** 2 for s in together)


def fewest_readings(terms: Iterable[Term], budget: float = BUDGET_STOPS) -> tuple[Pair, ...]:
    """The fewest readings that bring both uncertainties within the budget; see `fewest`."""
    known = tuple(terms)
    now = _variances(known)
    helps = {t.pair: [n - a for n, a in zip(now, _variances(known, {t.pair}), strict=True)]
             for t in known}  # fmt: skip
    return fewest(helps, [v - budget**2 for v in now])
