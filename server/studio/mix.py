"""Half-way between two lights, mixed in stops; and what changed between them, in thirds."""

from collections.abc import Sequence
from dataclasses import replace
from fractions import Fraction

from server.errors import OutOfRange
from server.physics.stops import THIRDS_PER_STOP, stops_below_full
from server.studio.rig import Rig
from server.studio.setting import Setting, Stops

VULGAR = {0: "", 1: "⅓", 2: "⅔"}


def mixed(rig: Rig, start: Setting, end: Setting, part: float) -> Setting:
    """A light part-way from one to another, mixed in stops, never in levels. [part 0..1]

    A head that is dark at one end has no stops there to mix. It gives its share of the light of the
    other end: when one key hands over to another the face stays lit, and the ratio does not turn.
    """
    if not 0 <= part <= 1:
        raise OutOfRange(f"part must lie in 0..1, got {part:g}")
    if part in (0.0, 1.0):
        return replace(end if part else start, lens=start.lens)
    share = Fraction(part)
    stops: dict[str, Fraction | None] = {}
    for head in rig.heads:
        a, b = start.of(head), end.of(head)
        if a is None and b is None:
            stops[head.name] = None
            continue
        if a is not None and b is not None:
            stops[head.name] = a + share * (b - a)
            continue
        full, given = (b, part) if a is None else (a, 1 - part)
        assert full is not None
        below = full + Fraction(stops_below_full(given))
        stops[head.name] = max(full, min(below, Fraction(head.deepest_stops)))
    return replace(
        start,
        stops=stops,
        yaw_deg=start.yaw_deg + part * (end.yaw_deg - start.yaw_deg),
        origin=None,
    )


def thirds_text(thirds: float) -> str:
    """A change in words of the trade: `▲⅓`, `▼1⅔`, `~▲⅔` between thirds, empty for none."""
    rounded = round(thirds)
    if abs(thirds) < 0.15:
        return ""
    sign = "▲" if thirds > 0 else "▼"
    about = "" if abs(thirds - rounded) < 0.05 else "~"
    if rounded == 0:
        return f"{sign} under ⅓"
    whole, rest = divmod(abs(rounded), THIRDS_PER_STOP)
    return f"{about}{sign}{whole or ''}{VULGAR[rest]}"


def changes(rig: Rig, start: Stops, end: Stops) -> Sequence[tuple[str, str]]:
    """Heads whose light differs, with the change: `(("Fill", "▼⅔"), ("Hair", "in"))`."""
    told = []
    for head in rig.heads:
        a, b = start.get(head.name), end.get(head.name)
        if a == b:
            continue
        if a is None or b is None:
            told.append((head.name, "in" if a is None else "out"))
        elif text := thirds_text(float(THIRDS_PER_STOP * (a - b))):
            told.append((head.name, text))
    return tuple(told)
