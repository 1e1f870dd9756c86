"""Reaching a wanted lit : shadow ratio: key and fill together with the lens held, or one alone."""

from dataclasses import dataclass
from fractions import Fraction
from math import inf, isfinite, log2

from server.errors import OutOfRange, Refused
from server.studio.figures import outputs_of, ratio_of, sides_of
from server.studio.head import Head
from server.studio.light import LightMatrix
from server.studio.rig import Rig
from server.studio.setting import Setting

TARGETS = (1.0, 64.0)
MOVES = ("key", "fill")
CLOSE = 0.005


@dataclass(frozen=True)
class Reached:
    """The setting nearest to the wanted ratio and what ended the way, if anything did."""

    setting: Setting
    asked: float
    got: float | None
    limited: bool
    why: str


def with_ratio(
    rig: Rig, matrix: LightMatrix, setting: Setting, target: float, move: str | None = None
) -> Reached:
    """Reach lit : shadow = `target`.

    Without `move` the lit side is held, so the lens may stay: key and fill both move. With it
    only that role moves. No head passes full or the lowest light its signal holds; what cannot
    be reached is said.

    Raises OutOfRange for a target outside 1..64, Refused without a lit key and fill.
    """
    if not (isfinite(target) and TARGETS[0] < target <= TARGETS[1]):
        raise OutOfRange(f"target must lie above 1 and at most 64, got {target:g}")
    if move is not None and move not in MOVES:
        raise OutOfRange(f"move must be key or fill, got {move!r:.40}")
    keys = _lit_heads(rig, setting, "key")
    fills = _lit_heads(rig, setting, "fill")
    outputs = outputs_of(rig, setting)
    lit, shadow, _ = sides_of(rig, matrix, outputs)

    def part(point: str, heads: list[Head]) -> float:
        return sum(matrix.at[point][h.name] * outputs[h.name] for h in heads)

    key_lit, fill_lit = part(lit.name, keys), part(lit.name, fills)
    fill_shadow = part(shadow.name, fills)
    if fill_shadow <= 0:
        raise Refused("the fill does not reach the shadow side, so no fill level gives a ratio")
    other_lit = matrix.lux(lit.name, outputs) - key_lit - fill_lit
    # in the key's shadow its bounce is still there
    bounce = matrix.bounce.get(shadow.name, {})
    key_shadow = sum(bounce.get(h.name, 0.0) * outputs[h.name] for h in keys)
    in_shadow = matrix.lux_in_shadow(shadow.name, outputs, {h.name for h in keys})
    other_shadow = in_shadow - key_shadow - fill_shadow

    key_range, fill_range = _factors(setting, keys), _factors(setting, fills)
    total = key_lit + fill_lit + other_lit
    key, fill = 1.0, 1.0
    if move == "key":
        slope = key_lit - target * key_shadow
        rest = target * (fill_shadow + other_shadow) - fill_lit - other_lit
        key = rest / slope if slope > 0 else inf
    elif move == "fill":
        slope = target * fill_shadow - fill_lit
        rest = key_lit + other_lit - target * (other_shadow + key_shadow)
        fill = rest / slope if slope > 0 else (inf if rest > 0 else 0.0)
    else:
        # key_lit k + fill_lit f = total - other_lit;  key_shadow k + fill_shadow f = total / target
        # - other_shadow
        lit_left, shadow_left = total - other_lit, total / target - other_shadow
        across = key_lit * fill_shadow - key_shadow * fill_lit
        fill = (key_lit * shadow_left - key_shadow * lit_left) / across if across > 0 else 0.0
        fill = _within(fill, fill_range)
        key = (lit_left - fill * fill_lit) / key_lit
        if key != _within(key, key_range) and fill_lit > 0:
            key = _within(key, key_range)
            fill = (total - key * key_lit - other_lit) / fill_lit
    key, fill = _within(key, key_range), _within(fill, fill_range)

    there = _scaled(_scaled(setting, keys, key), fills, fill)
    got = ratio_of(rig, matrix, outputs_of(rig, there)).value
    limited = got is None or abs(log2(got / target)) > CLOSE
    return Reached(there, target, got, limited, _why(key, key_range, fill, fill_range, limited))


def _lit_heads(rig: Rig, setting: Setting, role: str) -> list[Head]:
    heads = [h for h in rig.heads_of(role) if setting.of(h) is not None]
    if not heads:
        raise Refused(f"no {role} is lit, so there is no ratio to move: bring the {role} in first")
    return heads


Range = tuple[float, float]


def _factors(setting: Setting, heads: list[Head]) -> Range:
    """Lowest and highest factor by which these heads can be scaled together."""
    known = [(h, float(s)) for h in heads if (s := setting.of(h)) is not None]
    up = min(s for _, s in known)
    down = min(h.deepest_stops - s for h, s in known)
    return float(2.0 ** -max(0.0, down)), float(2.0**up)


def _within(factor: float, limits: Range) -> float:
    return max(limits[0], min(limits[1], factor))


def _scaled(setting: Setting, heads: list[Head], factor: float) -> Setting:
    there = setting.shifted(heads, Fraction(log2(factor)))
    full = {n: max(Fraction(0), s) for n, s in there.stops.items() if s is not None}
    return there.with_stops(full)


def _why(key: float, key_range: Range, fill: float, fill_range: Range, limited: bool) -> str:
    if not limited:
        return ""
    ends = [
        f"the {role} is at {end}"
        for role, factor, limits in (("key", key, key_range), ("fill", fill, fill_range))
        for end, limit in (("its lowest", limits[0]), ("full", limits[1]))
        if factor == limit
    ]
    return " and ".join(ends) or "other heads decide the ratio here"
