"""A head is out: what that does to the picture, and the nearest one with what is left."""

from collections.abc import Collection, Mapping, Sequence
from dataclasses import dataclass, replace
from math import log2

from server.errors import Refused
from server.physics.stops import THIRDS_PER_STOP
from server.studio.figures import Ratio, outputs_of, ratio_of, sides_of
from server.studio.light import LightMatrix, light_matrix
from server.studio.load import worst_of_change
from server.studio.matching import Wish, matched
from server.studio.rig import Rig
from server.studio.setting import Setting, exact_stops

FACE_WEIGHT, ROOM_WEIGHT, STAY_WEIGHT, DARK_WEIGHT = 1.0, 0.5, 0.05, 0.005
LOST_STOPS = 1 / 6
"""A point that stays farther off is told as lost. [stop]"""
MOVED_STOPS = 1 / 24
HALVINGS = 30
SHARE = 0.999


@dataclass(frozen=True)
class Rescue:
    """The nearest picture with what is left.

    `heads` are (head, thirds; None for one that comes in), `lost` (point, stops) that stay off.
    `was` is the ratio before, `without` with the head out, `then` after the rescue.
    """

    setting: Setting
    out: tuple[str, ...]
    heads: tuple[tuple[str, float | None], ...]
    lost: tuple[tuple[str, float], ...]
    was: Ratio
    without: Ratio
    then: Ratio
    limited_by: tuple[str, ...]
    """Circuits that allow no more."""


def with_out(rig: Rig, names: Collection[str], out: bool) -> Rig:
    """The rig with some heads marked as out, or as back. NotFound for an unknown head."""
    for name in names:
        rig.head(name)
    heads = (replace(h, out=out) if h.name in names else h for h in rig.heads)
    return replace(rig, heads=tuple(heads))


def rescued(rig: Rig, setting: Setting) -> Rescue:
    """What the heads that are left can do for the picture that the dead ones helped to make.

    Bounded least squares over the named points and the shadow side in the key's shadow, counted in
    stops; the other heads stay where they are unless that helps. Dark heads of a dead one's role
    may come in. Never above full, never more than a breaker carries.

    Raises Refused when no head is out that gave light, or none is left.
    """
    whole = with_out(rig, [h.name for h in rig.heads if h.out], False)
    was = outputs_of(whole, setting)
    dead = [h for h in rig.heads if h.out and was[h.name] > 0]
    if not dead:
        raise Refused("no head is out that gave light: nothing to make up for")
    roles = {h.role for h in dead}
    movers = [h.name for h in rig.heads if not h.out and (was[h.name] > 0 or h.role in roles)]
    if not movers:
        raise Refused("no head is left that could make up for it")
    matrix = light_matrix(whole, setting.yaw_deg)
    wishes = _wishes(whole, matrix, was, movers)
    if not wishes:
        raise Refused("no point that is read was lit: nothing to make up for")
    found = matched(wishes, _stay(was, movers))
    now = outputs_of(rig, setting)
    wanted = _kept_dark(rig, dict(zip(movers, found, strict=True)), now)
    outputs, limited_by = _within_breakers(rig, now, {**now, **wanted})
    stops = {
        name: exact_stops(o) if (o := outputs[name]) > 0 else None
        for name in movers
        if outputs[name] != now[name]
    }
    changed = setting.with_stops(stops)
    then = outputs_of(rig, changed)
    lost = [(p.name, _off(matrix.lux(p.name, then), matrix.lux(p.name, was))) for p in rig.points]
    return Rescue(
        setting=changed,
        out=tuple(h.name for h in dead),
        heads=tuple(
            (n, THIRDS_PER_STOP * log2(then[n] / now[n]) if now[n] > 0 else None) for n in stops
        ),
        lost=tuple((name, stops) for name, stops in lost if abs(stops) > LOST_STOPS),
        was=ratio_of(whole, matrix, was),
        without=ratio_of(rig, matrix, now),
        then=ratio_of(rig, matrix, then),
        limited_by=limited_by,
    )


def _wishes(
    rig: Rig, matrix: LightMatrix, was: Mapping[str, float], movers: Sequence[str]
) -> list[Wish]:
    wishes = []
    for point in rig.points:
        lux = matrix.lux(point.name, was)
        if lux > 0:
            row = [matrix.at[point.name][n] for n in movers]
            weight = FACE_WEIGHT if point.on == "face" else ROOM_WEIGHT
            wishes.append(Wish(row, matrix.ambient[point.name], lux, weight))
    _, shadow, with_key = sides_of(rig, matrix, was)
    keys = {h.name for h in rig.heads if h.role == "key"}
    lux = matrix.lux_in_shadow(shadow.name, was, keys) if with_key else 0.0
    if lux > 0:
        bounce = matrix.bounce.get(shadow.name, {})
        row = [bounce.get(n, 0.0) if n in keys else matrix.at[shadow.name][n] for n in movers]
        wishes.append(Wish(row, matrix.ambient[shadow.name], lux))
    return wishes


def _stay(was: Mapping[str, float], movers: Sequence[str]) -> list[tuple[list[float], float]]:
    """Every head would rather stay: a light wish each."""
    rows = []
    for i, name in enumerate(movers):
        row = [0.0] * len(movers)
        lit = was[name] > 0
        row[i] = STAY_WEIGHT / was[name] if lit else DARK_WEIGHT
        rows.append((row, STAY_WEIGHT if lit else 0.0))
    return rows


def _kept_dark(rig: Rig, wanted: Mapping[str, float], now: Mapping[str, float]) -> dict[str, float]:
    """A change too small to see is none; what lies below the lowest light is dark."""
    kept = {}
    for name, output in wanted.items():
        lowest = 2.0 ** -rig.head(name).deepest_stops
        if now[name] > 0:
            output = min(1.0, max(lowest, output))
            kept[name] = now[name] if abs(log2(output / now[name])) < MOVED_STOPS else output
        else:
            kept[name] = min(1.0, output) if output > lowest else 0.0
    return kept


def _within_breakers(
    rig: Rig, now: Mapping[str, float], wanted: Mapping[str, float]
) -> tuple[dict[str, float], tuple[str, ...]]:
    """As much of the way as every breaker carries, and the circuits that end it."""

    def part(share: float) -> dict[str, float]:
        return {n: now[n] + share * (wanted[n] - now[n]) for n in wanted}

    at_start = {c.name: c.amps_now for c in worst_of_change(rig, now, now)}

    def passed(share: float) -> list[str]:
        loads = worst_of_change(rig, now, part(share))
        return [c.name for c in loads if c.amps_now > max(c.breaker_amps, at_start[c.name])]

    over = passed(1.0)
    if not over:
        return part(1.0), ()
    low, high = 0.0, 1.0
    for _ in range(HALVINGS):
        middle = (low + high) / 2
        if passed(middle):
            high = middle
        else:
            low = middle
    return part(SHARE * low), tuple(over)


def _off(lux: float, wanted: float) -> float:
    if wanted <= 0:
        return 0.0
    return log2(max(lux, wanted * 2.0**-12) / wanted)
