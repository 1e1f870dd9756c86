"""How far the figures can be trusted, as the JSON of the contract."""

from server.live.now import Now
from server.studio.touched import Pair
from server.studio.trust import BUDGET_STOPS
from server.web.state import Json
from server.web.trusting import trust_now


def trust_json(now: Now) -> Json:
    """The trust of what is lit, or was before heads were lit alone for the meter. [stop], [lx]"""
    trust = trust_now(now)
    if trust is None:
        return {"budget_stops": BUDGET_STOPS, "ratio_stops": None, "lit_stops": None, "good": None,
                "lit": None, "shadow": None, "fewest": [], "after_stops": None,
                "parts": []}  # fmt: skip
    return {
        "budget_stops": BUDGET_STOPS,
        "ratio_stops": trust.ratio_stops,
        "lit_stops": trust.lit_stops,
        "good": trust.good,
        "lit": trust.lit,
        "shadow": trust.shadow,
        "fewest": [_pair(pair) for pair in trust.fewest],
        "after_stops": trust.after_stops,
        "parts": [
            {
                **_pair(term.pair),
                "lux": term.lux,
                "source": term.source,
                "uncertain_stops": term.stops,
                "in_lit_stops": term.lit,
                "in_ratio_stops": abs(term.ratio),
            }
            for term in trust.terms
        ],
    }


def _pair(pair: Pair) -> Json:
    point, head, shaded = pair
    return {"point": point, "head": head, "shaded": shaded}
