"""A head that someone touched: its earlier readings are doubted until one spot reading.

That reading tells what the touch did to the head's light, and it did so at every point: the
correction goes to all its earlier readings, and to no other head.
"""

from collections.abc import Callable, Iterable, Mapping
from dataclasses import replace
from math import log2

from server.studio.head import Head
from server.studio.readings import Metered, Reading

Pair = tuple[str, str, bool]
Found = Mapping[Pair, Metered]


def holds(reading: Reading, head: Head) -> bool:
    """Whether nobody has touched the head since the reading."""
    return head.touched_at is None or reading.at >= head.touched_at


def parted(
    readings: Iterable[Reading], heads: Iterable[Head]
) -> tuple[tuple[Reading, ...], tuple[Reading, ...]]:
    """Readings that hold, and those taken of a head before it was touched."""
    known = {h.name: h for h in heads if h.touched_at is not None}
    held: list[Reading] = []
    doubted: list[Reading] = []
    for reading in readings:
        head = known.get(reading.head)
        (held if head is None or holds(reading, head) else doubted).append(reading)
    return tuple(held), tuple(doubted)


def gains(
    heads: Iterable[Head], held: Found, doubted: Found, said: Callable[[Head, Metered], float]
) -> dict[str, float]:
    """What a touch did to each head's light, where it was read again. [1]

    `said` tells what the doubted readings say of a head where it was read again, at full. [lx] The
    mean in stops over the points where both are known.
    """
    found = {}
    for head in heads:
        stops = []
        for (point, name, shaded), again in held.items():
            before = doubted.get((point, name, shaded))
            if name != head.name or shaded or before is None:
                continue
            assert again.newest.placement is not None
            there = replace(head, placement=again.newest.placement)
            expected = said(there, again)
            if expected > 0 and again.lux_full > 0:
                stops.append(log2(again.lux_full / expected))
        if stops:
            found[head.name] = float(2.0 ** (sum(stops) / len(stops)))
    return found
