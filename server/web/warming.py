"""How warm heads are, in words: minutes on, what is still to come, and what to read again."""

from collections.abc import Iterable
from dataclasses import dataclass

from server.live.now import Now
from server.studio.drift import MATTERS_STOPS, NO_DRIFT, Drift
from server.studio.figures import outputs_of, ratio_of
from server.studio.head import Head
from server.studio.readings import Reading
from server.studio.warm import MOST_MINUTES


def drift_of(now: Now, head: str) -> Drift:
    """The head's own record; one that says nothing when there is none."""
    return now.rig.drifts.get(head, NO_DRIFT)


def to_come(now: Now, head: Head) -> float:
    """How far a lit head's light will still move, as its record says. [stop]"""
    if now.setting.of(head) is None:
        return 0.0
    return drift_of(now, head.name).to_come(now.minutes_on(head.name))


def warming(now: Now, heads: Iterable[Head]) -> tuple[Head, ...]:
    """Those of which more than a twelfth of a stop is still to come."""
    return tuple(h for h in heads if abs(to_come(now, h)) > MATTERS_STOPS)


def warming_words(now: Now, heads: Iterable[Head]) -> str:
    """`Key: 4 min on, steady in about 16`; empty when all are steady."""
    several = warming(now, heads)
    if len(several) > 1:
        left = max(_left(now, h) for h in several)
        return f"{len(several)} heads warming up, steady in about {left} min"
    return "".join(f"{h.name}: {steady_words(now, h)}" for h in several)


def steady_words(now: Now, head: Head) -> str:
    """`4 min on, steady in about 16`."""
    return f"{on_words(now.minutes_on(head.name))}, steady in about {_left(now, head)}"


def _left(now: Now, head: Head) -> int:
    return max(1, round(drift_of(now, head.name).steady_at - now.minutes_on(head.name)))


def on_words(minutes: float) -> str:
    """`4 min on`."""
    if minutes >= MOST_MINUTES:
        return "over an hour on"
    return f"{int(minutes)} min on"


def head_words(now: Now, head: Head) -> str:
    """What the Rig says of a head's warmth; empty for a cold one that is dark."""
    minutes = now.minutes_on(head.name)
    if now.setting.of(head) is None:
        return "dark, not yet cold" if minutes >= 1 and head.lamp != "tungsten" else ""
    if head.lamp == "tungsten":
        return f"{on_words(minutes)}, steady at once"
    if warming(now, (head,)):
        return steady_words(now, head)
    if read_cold(now, head.name):
        return f"{on_words(minutes)}, steady: re-check one reading, it was read while it warmed up"
    return on_words(minutes)


def read_cold(now: Now, head: str) -> tuple[Reading, ...]:
    """The head's newest readings that were taken while more than a twelfth was still to come."""
    drift = drift_of(now, head)
    newest = {r.pair: r for r in sorted(now.rig.readings, key=lambda r: r.at) if r.head == head}
    return tuple(
        r
        for r in newest.values()
        if r.minutes_on is not None and abs(drift.to_come(r.minutes_on)) > MATTERS_STOPS
    )


@dataclass(frozen=True)
class RatioToCome:
    """The ratio now and when all heads are steady, as labels."""

    now: str
    then: str


def ratio_to_come(now: Now) -> RatioToCome | None:
    """What the drift still to come does to the ratio; None when it does nothing that shows."""
    outputs = outputs_of(now.rig, now.setting)
    there = {h.name: outputs[h.name] * 2 ** to_come(now, h) for h in now.rig.heads}
    before, after = (ratio_of(now.rig, now.matrix, o).told for o in (outputs, there))
    return None if before == after else RatioToCome(before, after)


def minute_of(now: Now) -> int:
    """Changes each minute while anything warms up, so that pages are drawn anew."""
    return int(now.at.timestamp() // 60) if warming(now, now.rig.heads) else 0
