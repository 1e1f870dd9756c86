"""The patch: which head is on which channel of the dimmer, what is free, and giving channels."""

from collections.abc import Iterable
from dataclasses import dataclass, replace

from server.errors import OutOfRange, Refused
from server.studio.head import LAST_UNIVERSE, SLOTS, Head, number
from server.studio.rig import Rig

USUAL_CHANNELS = 12
"""A small dimmer rack; a sheet is never shorter."""


@dataclass(frozen=True)
class Slot:
    """One channel: a head of 8 bits, the coarse or fine half of one of 16, or free (no head)."""

    address: int
    head: Head | None
    half: str


def universes(rig: Rig) -> tuple[int, ...]:
    """The universes in use, the first always among them."""
    return tuple(sorted({1, *(h.universe for h in rig.heads)}))


def channels_shown(rig: Rig, universe: int) -> int:
    """Whole dozens up to the highest channel in use."""
    last = max((s for h in rig.heads if h.universe == universe for s in h.slots), default=1)
    return min(SLOTS, USUAL_CHANNELS * -(-last // USUAL_CHANNELS))


def sheet(rig: Rig, universe: int, channels: int) -> tuple[Slot, ...]:
    """The first so many channels of a universe."""
    number("universe", universe, 1, LAST_UNIVERSE)
    number("channels", channels, 1, SLOTS)
    on = {s: h for h in rig.heads if h.universe == universe for s in h.slots}
    return tuple(Slot(n, on.get(n), _half(on.get(n), n)) for n in range(1, channels + 1))


def _half(head: Head | None, address: int) -> str:
    if head is None or head.bits == 8:
        return ""
    return "coarse" if address == head.address else "fine"


def gaps(slots: Iterable[Slot]) -> tuple[str, ...]:
    """The free channels as ranges: `3`, `10–12`."""
    runs: list[list[int]] = []
    for slot in slots:
        if slot.head is not None:
            continue
        if runs and runs[-1][-1] == slot.address - 1:
            runs[-1].append(slot.address)
        else:
            runs.append([slot.address])
    return tuple(f"{r[0]}" if len(r) == 1 else f"{r[0]}–{r[-1]}" for r in runs)


def conflicts(heads: Iterable[Head]) -> tuple[tuple[int, int, str, str], ...]:
    """Channels that two heads would share: universe, address, both names."""
    taken: dict[tuple[int, int], str] = {}
    found = []
    for head in heads:
        for slot in head.slots:
            other = taken.setdefault((head.universe, slot), head.name)
            if other != head.name:
                found.append((head.universe, slot, other, head.name))
    return tuple(found)


def given(rig: Rig, name: str, universe: int, address: int) -> Rig:
    """The rig with a head on another channel; refused with both names when that is taken."""
    head = replace(rig.head(name), universe=universe, address=address)
    heads = [head if h.name == name else h for h in rig.heads]
    found = conflicts(heads)
    if found:
        _, slot, one, two = found[0]
        other = two if one == name else one
        raise Refused(
            f"channel {slot} is {other}’s, so {name} cannot have it too: give {other} another"
            " one first, or swap the two"
        )
    return replace(rig, heads=tuple(heads))


def swapped(rig: Rig, name: str, other: str) -> Rig:
    """Two heads on each other's channels."""
    one, two = rig.head(name), rig.head(other)
    if one is two:
        raise OutOfRange(f"{name} cannot be swapped with itself")
    if one.bits != two.bits:
        raise Refused(
            f"{one.name} has {one.bits} bits and {two.name} {two.bits}: they need channels of"
            " different size, so give each a free one"
        )
    there = {one.name: two, two.name: one}
    heads = (
        replace(h, universe=there[h.name].universe, address=there[h.name].address)
        if h.name in there else h
        for h in rig.heads
    )  # fmt: skip
    return replace(rig, heads=tuple(heads))
