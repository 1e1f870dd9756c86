"""What would give a carried look its missing light: nearer, toward spot, a scrim out, another lens.

Every way is reckoned on the rig itself: the head as it would stand, at the point where it shows.
"""

from collections.abc import Callable, Iterator
from dataclasses import dataclass, replace
from itertools import combinations
from math import log2

from server.errors import StudioError
from server.physics.geometry import from_to, length, placement_of
from server.physics.stops import THIRDS_PER_STOP, light_factor
from server.studio.carry import Carried, Carry, Short
from server.studio.head import Head, Placement
from server.studio.light import aim_point, light_matrix
from server.studio.rig import Rig
from server.studio.tape import length_words

NEAREST_M = 0.5
"""Nobody stands a hot head nearer than this (common practice). [m]"""
STEPS, HALVINGS = 48, 20
ENOUGH_STOPS = 0.03
WORTH_TELLING_STOPS = 1 / 12
STRONGER_FROM_STOPS = 0.5
"""Nobody changes a head for less. [stop]"""


@dataclass(frozen=True)
class Remedy:
    """One way: what to do, with the head as it then stands where that is what changes.

    `missing_stops` is what it leaves, 0 for a whole remedy. [stop]
    """

    kind: str
    text: str
    placement: Placement | None = None
    missing_stops: float = 0.0


def remedies(short: Short, rig: Rig, yaw_deg: float) -> tuple[Remedy, ...]:
    """Ways to get the light that a head is short of at the point where that shows most.

    In the order of the trouble they make: scrims out, toward spot, nearer, another head.
    """
    head = rig.head(short.head)
    gain = _gain_at(rig, head, short.point, yaw_deg)
    found = [
        *_scrims_out(head, short.stops),
        *_refocused(head, short, gain),
        *_nearer(rig, head, short, yaw_deg, gain),
    ]
    if short.stops >= STRONGER_FROM_STOPS:
        times = light_factor(short.stops)
        found.append(Remedy("stronger", f"a head {times:.1f} times as strong in its place"))
    return tuple(found)


def _gain_at(
    rig: Rig, head: Head, point: str, yaw_deg: float
) -> Callable[[Placement], float | None]:
    """How many stops more a head gives at a point when it stands otherwise."""

    # what was read of other heads tells nothing of this one, and there may be thousands
    own = tuple(r for r in rig.readings if r.head in ("", head.name))

    def lux(placement: Placement) -> float:
        alone = replace(rig, heads=(replace(head, placement=placement),), readings=own)
        return light_matrix(alone, yaw_deg).at[point][head.name]

    now = lux(head.placement)

    def gain(placement: Placement) -> float | None:
        there = lux(placement)
        return log2(there / now) if there > 0 and now > 0 else None

    return gain


def _scrims_out(head: Head, wish: float) -> Iterator[Remedy]:
    scrims = head.placement.scrims
    sets = [c for n in range(1, len(scrims) + 1) for c in combinations(scrims, n) if sum(c) > 0]
    if not sets:
        return
    enough = [c for c in sets if sum(c) >= wish - ENOUGH_STOPS]
    out = min(enough, key=lambda c: (len(c), sum(c))) if enough else max(sets, key=sum)
    left = list(scrims)
    for scrim in out:
        left.remove(scrim)
    what = " and ".join(f"{s:g}" for s in out)
    rest = max(0.0, wish - sum(out))
    lacking = f", which leaves {rest:.1f} stop" if rest > ENOUGH_STOPS else ""
    yield Remedy(
        "scrim",
        f"{head.name}: the scrim of {what} stop out{lacking}",
        replace(head.placement, scrims=tuple(left)),
        rest if rest > ENOUGH_STOPS else 0.0,
    )


def _refocused(
    head: Head, short: Short, gain: Callable[[Placement], float | None]
) -> Iterator[Remedy]:
    now = head.placement
    for end, word in ((0.0, "spot"), (1.0, "flood")):

        def placed(part: float, end: float = end) -> Placement:
            return replace(now, focus=now.focus + part * (end - now.focus))

        found = _first(placed, gain, short.stops)
        if found is not None and found.focus != now.focus:
            yield Remedy(
                "focus",
                f"{head.name} toward {word}: {100 * found.focus:.0f} % of the way to flood",
                found,
            )
            return


def _nearer(
    rig: Rig, head: Head, short: Short, yaw_deg: float, gain: Callable[[Placement], float | None]
) -> Iterator[Remedy]:
    points = {p.name: p.place(yaw_deg) for p in rig.points}
    # toward what it is aimed at, so that the picture's direction of light stays
    toward, lens = aim_point(head, points), head.placement.position_m
    throw = length(from_to(lens, toward))
    if throw <= NEAREST_M:
        return

    def placed(part: float) -> Placement:
        share = part * (1 - NEAREST_M / throw)
        place = tuple(a + share * (b - a) for a, b in zip(lens, toward, strict=True))
        azimuth, distance, rise = placement_of((place[0], place[1], place[2]))
        return replace(head.placement, azimuth_deg=azimuth, distance_m=distance, rise_m=rise)

    found = _first(placed, gain, short.stops)
    if found is None:
        return
    there = length(from_to(found.position_m, toward))
    aim = head.placement.aim if isinstance(head.placement.aim, str) else "its aim"
    units = rig.room.units
    yield Remedy(
        "distance",
        f"{head.name} {100 * (1 - there / throw):.0f} % nearer:"
        f" {length_words(there, units)} from {'the mark' if aim == 'mark' else aim},"
        f" not {length_words(throw, units)}",
        found,
    )


def _first(
    placed: Callable[[float], Placement], gain: Callable[[Placement], float | None], wish: float
) -> Placement | None:
    """The first placement on a way, part 0..1, that gives the wish; None when none does."""

    def enough(part: float) -> bool:
        try:
            got = gain(placed(part))
        except StudioError:  # nobody can stand it there
            return False
        return got is not None and got >= wish

    high = next((k / STEPS for k in range(1, STEPS + 1) if enough(k / STEPS)), None)
    if high is None:
        return None
    low = high - 1 / STEPS
    for _ in range(HALVINGS):
        middle = (low + high) / 2
        low, high = (low, middle) if enough(middle) else (middle, high)
    return placed(high)


def instead_of_the_lens(carry: Carried) -> tuple[Remedy, ...]:
    """When all came down and the lens would follow: the ISO that keeps the lens as it was."""
    look, lens = carry.look, carry.lens
    if lens.off_by_stops is None or lens.advice is None or lens.off_by_stops >= 0:
        return ()
    iso = look.lens.iso * light_factor(round(-lens.off_by_stops * THIRDS_PER_STOP) / 3)
    marked = min(ISO_MARKS, key=lambda m: abs(log2(m / iso)))
    if marked == look.lens.iso:
        return ()
    return (Remedy("iso", f"ISO {marked}, and the lens stays f/{look.lens.f_number:g}"),)


ISO_MARKS = tuple(
    int(mark * 10**power) for power in range(5)
    for mark in (10, 12.5, 16, 20, 25, 32, 40, 50, 64, 80)
)  # fmt: skip
"""The marks of ISO speeds, a third of a stop apart (ISO 12232, 100 to 6400 and beyond)."""


def stood_as_there(carry: Carry, done: Carried) -> tuple[Remedy, float] | None:
    """The one head that, stood as in the room the look comes from, helps most; what is then off.

    None when no head helps by more than a twelfth of a stop.
    """
    best: tuple[Remedy, float] | None = None
    for a, b in done.pairs.items():
        if b is None or done.look.stops.get(a) is None:
            continue
        there = done.look.placements.get(a, carry.source.head(a).placement)
        here = replace(there, scrims=carry.target.head(b).placement.scrims)
        try:
            there_too = carry.target.standing({b: here})
            moved = Carry(carry.source, there_too, carry.pairs, carry.lens)
            again = moved.carried(done.look)
        except StudioError:  # its aim is no point here
            continue
        least = best[1] if best else done.worst_stops - WORTH_TELLING_STOPS
        if again.worst_stops < least:
            side = "right" if here.azimuth_deg > 0 else "left"
            units = carry.target.room.units
            height = "above" if here.rise_m >= 0 else "below"
            text = (
                f"{b} as it stood there: {abs(here.azimuth_deg):.0f}° to camera {side},"
                f" {length_words(here.distance_m, units)},"
                f" {length_words(abs(here.rise_m), units)} {height} the eyes,"
                f" {100 * here.focus:.0f} % of the way to flood"
            )
            best = Remedy("stand", text, here), again.worst_stops
    return best
