"""Nudging: multiply the light of a head or a role by thirds of a stop, and say what came of it."""

from collections.abc import Callable, Sequence
from dataclasses import dataclass
from fractions import Fraction
from math import log2

from server.errors import OutOfRange, Refused
from server.physics.stops import THIRDS_PER_STOP
from server.studio.figures import outputs_of, sides_of
from server.studio.head import Head
from server.studio.light import LightMatrix
from server.studio.rig import Rig
from server.studio.setting import Setting, signalled_output

KEEPS = ("nothing", "exposure", "ratio")
MOST_THIRDS = 9
HALVINGS = 60


@dataclass(frozen=True)
class Nudged:
    """A nudge that was worked out: the new setting and what it really gives, in stops."""

    setting: Setting
    heads: tuple[str, ...]
    asked_stops: float
    got_stops: float
    missing_stops: float
    limited: bool
    limited_by: str
    """Name of the head that ended the nudge, empty when nothing did."""
    before: Setting
    """The light that was nudged."""


def nudged(
    rig: Rig,
    matrix: LightMatrix,
    setting: Setting,
    heads: Sequence[Head],
    thirds: int,
    keep: str = "nothing",
) -> Nudged:
    """Work out a nudge of some heads by thirds. Dark heads of a role are left dark.

    Heads of one nudge move together: when one of them ends at full (or at the lowest light its
    signal can hold), all of them stop there, so their balance stays.

    Raises OutOfRange for more than nine thirds or an unknown keep, Refused when every head is
    dark (nothing times two is nothing).
    """
    if isinstance(thirds, bool) or not isinstance(thirds, int) or abs(thirds) > MOST_THIRDS:
        raise OutOfRange(f"thirds must be a whole number from -9 to 9, got {thirds}")
    if keep not in KEEPS:
        raise OutOfRange(f"keep must be one of {', '.join(KEEPS)}, got {keep!r:.40}")
    named = tuple(heads)
    if keep == "ratio" and any(h.role in ("key", "fill") for h in named):
        named += tuple(h for h in rig.heads if h.role in ("key", "fill") and h not in named)
    moving = [h for h in named if setting.of(h) is not None]
    if not moving:
        names = " and ".join(h.name for h in heads)
        raise Refused(
            f"{names} gives no light now, so there is nothing to nudge: bring it in first"
        )

    asked = Fraction(thirds, THIRDS_PER_STOP)

    def after(stops: Fraction) -> Setting:
        there = setting.shifted(moving, stops)
        return _exposure_kept(rig, matrix, setting, there) if keep == "exposure" else there

    def limit(there: Setting) -> str:
        return _first_beyond(rig, setting, there, moving)

    got, there = asked, after(asked)
    limited_by = limit(there)
    if limited_by:
        got = (
            _room(setting, moving, up=thirds > 0)
            if keep != "exposure"
            else _as_far_as_it_goes(asked, lambda stops: not limit(after(stops)))
        )
        there = after(got)
    return Nudged(
        setting=there,
        heads=tuple(h.name for h in moving),
        asked_stops=float(asked),
        got_stops=_signalled_change(matrix, setting, there, moving),
        missing_stops=float(asked - got),
        limited=bool(limited_by),
        limited_by=limited_by,
        before=setting,
    )


def _room(setting: Setting, heads: Sequence[Head], *, up: bool) -> Fraction:
    """How far all heads can move together, signed. [stop]"""
    known = [(h, s) for h in heads if (s := setting.of(h)) is not None]
    if up:
        return max(Fraction(0), min(s for _, s in known))
    return -max(Fraction(0), min(Fraction(h.deepest_stops) - s for h, s in known))


def _first_beyond(rig: Rig, before: Setting, after: Setting, moving: Sequence[Head]) -> str:
    """Name of the first head past full, or moved below the lowest light its signal holds."""
    for head in rig.heads:
        stops, was = after.of(head), before.of(head)
        if stops is None or was is None:
            continue
        if stops < 0:
            return head.name
        if head in moving and stops > was and stops > head.deepest_stops:
            return head.name
    return ""


def _exposure_kept(rig: Rig, matrix: LightMatrix, before: Setting, after: Setting) -> Setting:
    """All heads scaled together until the lit side reads as before. May pass full."""
    outputs = outputs_of(rig, before)
    before_lit = sides_of(rig, matrix, outputs)[0].name
    wanted = matrix.lux(before_lit, outputs) - matrix.ambient[before_lit]
    now = outputs_of(rig, after)
    lit = sides_of(rig, matrix, now)[0]
    heads = matrix.lux(lit.name, now) - matrix.ambient[lit.name]
    if wanted <= 0 or heads <= 0:
        return after
    return after.shifted(rig.heads, Fraction(log2(wanted / heads)))


def _as_far_as_it_goes(asked: Fraction, fits: Callable[[Fraction], bool]) -> Fraction:
    """The largest part of the asked change that fits, to a millionth of a stop and finer."""
    low, high = Fraction(0), Fraction(1)
    for _ in range(HALVINGS):
        middle = (low + high) / 2
        if fits(asked * middle):
            low = middle
        else:
            high = middle
    return asked * low


def _signalled_change(
    matrix: LightMatrix, before: Setting, after: Setting, heads: Sequence[Head]
) -> float:
    """Change in the heads' light that the rounded signals really give. [stop]

    Several heads are weighed by their light at the mark.
    """

    def light(setting: Setting) -> float:
        return sum(
            (matrix.mark[h.name] or 1e-12) * signalled_output(h, setting.output(h)) for h in heads
        )

    was, now = light(before), light(after)
    if was <= 0 or now <= 0:  # below the first step of the signal: it gives no light
        return 0.0
    return log2(now / was)
