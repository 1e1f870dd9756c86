"""Ways that need hands at the stand: nearer or farther, a scrim in or out, spot and flood."""

from collections.abc import Callable, Iterator
from dataclasses import replace
from fractions import Fraction

from server.studio.head import Placement
from server.studio.setting import Setting
from server.studio.tape import length_words
from server.studio.way import FOCUS_S, METER_AGAIN, SCRIM_S, WALK_S, Wanted, Way
from server.studio.way_words import signed

NEAREST_M, FARTHEST_M = 0.5, 20.0
SCRIMS = ((0.5, "single"), (1.0, "double"))
CLOSE_STOPS = 0.01
HALVINGS = 25  # of 20 m: less than a micrometre is left


def at_the_stand(wanted: Wanted) -> Iterator[Way]:
    """Every way at the stand that reaches the wish."""
    yield from _distance(wanted)
    yield from _scrims(wanted)
    yield from _focus(wanted)


def _distance(wanted: Wanted) -> Iterator[Way]:
    """Along the same line: same direction, another throw."""
    now = wanted.head.placement

    def at(distance_m: float) -> Placement:
        return replace(now, distance_m=distance_m, rise_m=now.rise_m * distance_m / now.distance_m)

    ends = (NEAREST_M, now.distance_m) if wanted.wish > 0 else (now.distance_m, FARTHEST_M)
    if ends[0] >= ends[1]:
        return
    found = _solved(lambda d: wanted.gain_stops(at(d)), *ends, wanted.wish)
    if found is None:
        return
    placement = at(round(found, 3))
    there = length_words(found, wanted.rig.room.units)
    yield wanted.way(
        "distance", f"{wanted.head.name} to {there}", WALK_S, wanted.setting, placement,
        extra=METER_AGAIN,
    )  # fmt: skip


def _scrims(wanted: Wanted) -> Iterator[Way]:
    """The one scrim in or out that leaves the dimmer the least to make up for."""
    now, head, stops = wanted.head.placement, wanted.head, wanted.setting.of(wanted.head)
    assert stops is not None
    found: list[tuple[float, str, Setting, Placement]] = []
    for scrim, word in SCRIMS:
        for put_in in (True, False):
            scrims = list(now.scrims)
            if put_in and len(scrims) < 6:
                scrims.append(scrim)
            elif not put_in and scrim in scrims:
                scrims.remove(scrim)
            else:
                continue
            gain = -scrim if put_in else scrim
            dim = wanted.wish - gain
            # a scrim against the wish, or one that leaves most of it to the dimmer, is no help
            if gain * wanted.wish < 0 or abs(dim) > abs(wanted.wish):
                continue
            exact = Fraction(dim).limit_denominator(6)
            if not 0 <= stops - exact <= Fraction(head.deepest_stops):
                continue
            text = f"{word} scrim {'in' if put_in else 'out'}"
            setting = wanted.setting
            if abs(dim) > CLOSE_STOPS:
                text += f", then {head.name} {signed(dim)}"
                setting = setting.shifted([head], exact)
            placement = replace(now, scrims=tuple(scrims))
            found.append((abs(dim), text, setting, placement))
    if found:
        _, text, setting, placement = min(found, key=lambda each: each[0])
        yield wanted.way("scrim", text, SCRIM_S, setting, placement)


def _focus(wanted: Wanted) -> Iterator[Way]:
    now = wanted.head.placement

    def gain(focus: float) -> float | None:
        return wanted.gain_stops(replace(now, focus=focus))

    for end in (0.0, 1.0):
        low, high = sorted((now.focus, end))
        found = _solved(gain, low, high, wanted.wish)
        if found is not None:
            toward = "flood" if found > now.focus else "spot"
            yield wanted.way(
                "focus", f"{wanted.head.name} toward {toward}: {100 * found:.0f} % of the way to"
                " flood", FOCUS_S, wanted.setting, replace(now, focus=round(found, 4)),
                extra=METER_AGAIN,
            )  # fmt: skip
            return


def _solved(
    gain: Callable[[float], float | None], low: float, high: float, wish: float
) -> float | None:
    """Where the gain is what is wished, None when it is not in between."""
    at_low, at_high = gain(low), gain(high)
    if at_low is None or at_high is None or not (
        min(at_low, at_high) <= wish <= max(at_low, at_high)
    ):  # fmt: skip
        return None
    rising = at_high > at_low
    for _ in range(HALVINGS):
        middle = (low + high) / 2
        here = gain(middle)
        if here is None:
            return None
        if (here < wish) == rising:
            low = middle
        else:
            high = middle
    found = (low + high) / 2
    reached = gain(found)
    # a head can pass its point on the way: then light jumps there, and nothing lies in between
    return found if reached is not None and abs(reached - wish) < CLOSE_STOPS else None
