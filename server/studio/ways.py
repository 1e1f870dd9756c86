"""Ways to get there: equal-light moves for one head and a wish in stops, with what else they do."""

from collections.abc import Iterator, Mapping
from dataclasses import dataclass, replace
from math import log2

from server.errors import OutOfRange, Refused
from server.physics.lamp import mired_shift, tungsten_cct_kelvin
from server.physics.stops import THIRDS_PER_STOP, light_factor, throw_factor
from server.studio.figures import outputs_of
from server.studio.head import Head, Placement
from server.studio.light import light_matrix
from server.studio.rig import Rig
from server.studio.setting import Setting

# Seconds are judgement (common practice): a tap, a camera dial, a walk to the stand.
TAP_S, DIAL_S, SCRIM_S, FOCUS_S, WALK_S = 1.0, 3.0, 20.0, 10.0, 30.0
CLOSE_STOPS = 0.05
FRACTIONS = {0: "", 1: "⅙", 2: "⅓", 3: "½", 4: "⅔", 5: "⅚"}


@dataclass(frozen=True)
class Way:
    """One way: what to do in the unit of the tape measure or the dial, and what else it changes.

    `unwanted` holds, per point, how far it ends from the picture that dimming alone would give.
    [stop]
    """

    kind: str
    text: str
    seconds: float
    hands: bool
    unwanted: Mapping[str, float]
    mired: float
    softness_factor: float
    cost: float


def ways(rig: Rig, setting: Setting, head: Head, thirds: int) -> tuple[Way, ...]:
    """All ways that reach the wish, the cheapest first.

    Raises OutOfRange for no or more than nine thirds, Refused for a dark head.
    """
    if not 0 < abs(thirds) <= 9:
        raise OutOfRange(f"thirds must be a whole number from -9 to 9 and not 0, got {thirds}")
    if setting.of(head) is None:
        raise Refused(f"{head.name} gives no light now: bring it in first")
    wish = thirds / THIRDS_PER_STOP
    found = [*_at_the_dimmer(rig, setting, head, wish), *_at_the_stand(rig, setting, head, wish)]
    return tuple(sorted(found, key=lambda way: way.cost))


def _at_the_dimmer(rig: Rig, setting: Setting, head: Head, wish: float) -> Iterator[Way]:
    stops = setting.of(head)
    assert stops is not None
    room = float(stops) if wish > 0 else head.deepest_stops - float(stops)
    possible = min(abs(wish), max(0.0, room)) * (1 if wish > 0 else -1)
    if possible == wish:
        yield _way("dim", f"{head.name} {_signed(wish)}", TAP_S, mired=_mired(head, setting, wish))
    rest = wish if possible == wish else wish - possible
    others = [h for h in rig.heads if h is not head and setting.of(h) is not None]
    if rest < 0 and any(float(setting.of(h) or 0) < -rest for h in others):
        return  # the others cannot come up that far
    size = _stops_text(abs(rest))
    first = "" if rest == wish else f"{head.name} to its end, then "
    verb, back = ("open", "down") if rest > 0 else ("close", "up")
    rest_text = f" and bring everything else {back} {size}" if others else ""
    same = "the same picture"
    yield _way("lens", f"{first}{verb} the lens {size}{rest_text}: {same}", DIAL_S)
    for kind, dial in (("iso", "ISO"), ("shutter", "shutter")):
        more = {"iso": "raise", "shutter": "lengthen"} if rest > 0 else {
            "iso": "lower", "shutter": "shorten"}  # fmt: skip
        yield _way(
            kind, f"{first}{more[kind]} the {dial} {size}{rest_text}: {same}", DIAL_S,
            extra=2 * abs(rest),
        )  # fmt: skip


def _at_the_stand(rig: Rig, setting: Setting, head: Head, wish: float) -> Iterator[Way]:
    placement = head.placement
    factor = throw_factor(wish)
    near = placement.distance_m * factor
    if 0.5 <= near <= 20:
        moved = replace(placement, distance_m=near, rise_m=placement.rise_m * factor)
        yield _moved_way(
            rig, setting, head, moved, wish, "distance", f"{head.name} to {near:.2f} m", WALK_S,
            extra=4.0, softness=1 / factor,
        )  # fmt: skip
    for stops, word in ((0.5, "single"), (1.0, "double")):
        if wish < 0 and abs(stops + wish) < CLOSE_STOPS:
            moved = replace(placement, scrims=(*placement.scrims, stops))
            yield _moved_way(rig, setting, head, moved, wish, "scrim", f"{word} scrim in", SCRIM_S)
        if wish > 0 and stops in placement.scrims and abs(stops - wish) < CLOSE_STOPS:
            left = list(placement.scrims)
            left.remove(stops)
            moved = replace(placement, scrims=tuple(left))
            yield _moved_way(rig, setting, head, moved, wish, "scrim", f"{word} scrim out", SCRIM_S)
    focus = _focus_for(rig, setting, head, wish)
    if focus is not None:
        toward = "flood" if focus > placement.focus else "spot"
        yield _moved_way(
            rig, setting, head, replace(placement, focus=focus), wish, "focus",
            f"{head.name} toward {toward}: {100 * focus:.0f} % of the way to flood", FOCUS_S,
            extra=4.0,
        )  # fmt: skip


def _focus_for(rig: Rig, setting: Setting, head: Head, wish: float) -> float | None:
    """Focus that changes the light at the mark by the wish, None when the head cannot."""
    now = light_matrix(rig, setting.yaw_deg).mark[head.name]

    def gain(focus: float) -> float:
        moved = replace(head, placement=replace(head.placement, focus=focus))
        alone = replace(rig, heads=(moved,))
        lux = light_matrix(alone, setting.yaw_deg).mark[head.name]
        return log2(lux / now) if lux > 0 and now > 0 else -99.0

    low, high = 0.0, 1.0
    if not min(gain(low), gain(high)) <= wish <= max(gain(low), gain(high)):
        return None
    rising = gain(high) > gain(low)
    for _ in range(40):
        middle = (low + high) / 2
        if (gain(middle) < wish) == rising:
            low = middle
        else:
            high = middle
    return (low + high) / 2


def _moved_way(
    rig: Rig,
    setting: Setting,
    head: Head,
    placement: Placement,
    wish: float,
    kind: str,
    text: str,
    seconds: float,
    extra: float = 0.0,
    softness: float = 1.0,
) -> Way:
    """A way at the stand, with what it does at every point against dimming alone."""
    outputs = outputs_of(rig, setting)
    before = light_matrix(rig, setting.yaw_deg)
    heads = tuple(replace(h, placement=placement) if h is head else h for h in rig.heads)
    after = light_matrix(replace(rig, heads=heads), setting.yaw_deg)
    dimmed = {**outputs, head.name: outputs[head.name] * light_factor(wish)}
    unwanted = {}
    for point in rig.points:
        wanted, got = before.lux(point.name, dimmed), after.lux(point.name, outputs)
        if wanted > 0 and got > 0:
            unwanted[point.name] = log2(got / wanted)
    softer = 3.0 if abs(log2(softness)) > 0.1 else 0.0
    return _way(
        kind, text, seconds, hands=True, unwanted=unwanted, extra=extra + softer, softness=softness
    )


def _way(
    kind: str,
    text: str,
    seconds: float,
    *,
    hands: bool = False,
    unwanted: Mapping[str, float] | None = None,
    mired: float = 0.0,
    extra: float = 0.0,
    softness: float = 1.0,
) -> Way:
    unwanted = unwanted or {}
    cost = (
        seconds / 5
        + 8 * sum(abs(v) for v in unwanted.values())
        + 0.3 * max(0.0, abs(mired) - 10)
        + extra
    )
    return Way(kind, text, seconds, hands, unwanted, mired, softness, cost)


def _mired(head: Head, setting: Setting, wish: float) -> float:
    if head.lamp != "tungsten":
        return 0.0
    output = setting.output(head)
    return mired_shift(
        tungsten_cct_kelvin(head.cct_kelvin, output),
        tungsten_cct_kelvin(head.cct_kelvin, min(1.0, output * light_factor(wish))),
    )


def _stops_text(stops: float) -> str:
    """Stops in sixths where they fall on one: `½`, `1⅓`, else with two decimals."""
    sixths = round(stops * 6)
    if abs(stops * 6 - sixths) < 0.06 and sixths:
        whole, rest = divmod(sixths, 6)
        return f"{whole or ''}{FRACTIONS[rest]}"
    return f"{stops:.2f}"


def _signed(stops: float) -> str:
    return f"{'▲' if stops > 0 else '▼'}{_stops_text(abs(stops))}"
