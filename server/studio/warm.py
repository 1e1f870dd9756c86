"""How long each head has been on, as far as warmth goes."""

from collections.abc import Mapping
from dataclasses import dataclass
from datetime import datetime, timedelta
from typing import Any

MOST_MINUTES = 60.0
"""A head that has been on so long is as warm as it gets (common practice)."""
FORGOTTEN = timedelta(minutes=MOST_MINUTES)
"""A light that nobody has changed for so long before a start is taken as having been off."""


@dataclass(frozen=True)
class Warmth:
    """Minutes on at a moment. They count up while the head is lit and down while it is dark, as
    fast: a head that was dark for a short while is not cold."""

    at: datetime
    minutes: float
    lit: bool

    def minutes_at(self, moment: datetime) -> float:
        """Minutes on, 0 when it is cold. [min]"""
        passed = max(0.0, (moment - self.at).total_seconds() / 60)
        there = self.minutes + (passed if self.lit else -passed)
        return min(MOST_MINUTES, max(0.0, there))


Warm = Mapping[str, Warmth]
"""Head name -> its warmth; a head that is not in it is cold."""


def followed(before: Warm, lit: Mapping[str, bool], moment: datetime) -> Warm:
    """The warmth after heads were lit or went dark; the very same when none did."""
    after = {}
    for name, on in lit.items():
        was = before.get(name)
        if was is None and not on:
            continue
        if was is None or was.lit != on:
            was = Warmth(moment, was.minutes_at(moment) if was else 0.0, on)
        after[name] = was
    return before if after == before else after


def woken(warm: Warm, last_change: datetime, start: datetime) -> Warm:
    """The warmth at a start of the program. The light outlives it, so heads stayed on; but after a
    long time without any change the studio was closed."""
    if start - last_change < FORGOTTEN:
        return warm
    return {name: Warmth(start, 0.0, w.lit) for name, w in warm.items() if w.lit}


def warm_document(warm: Warm) -> dict[str, Any]:
    """As JSON-ready values."""
    return {
        name: {"at": w.at.isoformat(), "minutes": round(w.minutes, 3), "lit": w.lit}
        for name, w in warm.items()
    }


def warm_from_document(document: Mapping[str, Any]) -> Warm:
    """The warmth that a document describes."""
    return {
        name: Warmth(datetime.fromisoformat(w["at"]), float(w["minutes"]), bool(w["lit"]))
        for name, w in document.items()
    }
