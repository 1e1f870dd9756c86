"""How far the ratio and the lit side can be trusted, and the fewest readings that would restore it.

Every term (a head at a point, its bounce, the room's own light) is uncertain by so many stops; its
part in a side's uncertainty is that times its share of the side's light. Terms are taken as
independent, so their squares add.
"""

from collections.abc import Iterable, Mapping
from dataclasses import dataclass
from math import sqrt

from server.studio.fewest import fewest
from server.studio.figures import outputs_of, ratio_of, sides_of
from server.studio.light import LightMatrix, anchors
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
    both = abs(on_lit - on_shadow)
    return Term(part.pair, part.lux, sigma.source, sigma.now, on_lit, both, left)


def _after(terms: Iterable[Term], taken: Iterable[Pair]) -> tuple[float, float]:
    """Both uncertainties after some readings. [stop]"""
    known, read = tuple(terms), set(taken)
    lit = sum(t.lit**2 for t in known) - sum(t.gain[0] for t in known if t.pair in read)
    ratio = sum(t.ratio**2 for t in known) - sum(t.gain[1] for t in known if t.pair in read)
    return sqrt(max(0.0, lit)), sqrt(max(0.0, ratio))


def fewest_readings(terms: Iterable[Term], budget: float = BUDGET_STOPS) -> tuple[Pair, ...]:
    """The fewest readings that bring both uncertainties within the budget; see `fewest`."""
    known = tuple(terms)
    over = [v**2 - budget**2 for v in _after(known, ())]
    return fewest({t.pair: t.gain for t in known}, over)
