"""The patch at a glance, one channel's page, and the sheet that is taped to the rack."""

from dataclasses import dataclass

from server.live.now import Now
from server.studio.head import Head
from server.studio.load import head_amps
from server.studio.patch import Slot, channels_shown, conflicts, gaps, sheet, universes


@dataclass(frozen=True)
class Cell:
    """One channel as a key."""

    address: int
    url: str
    head: str
    state: str
    note: str


@dataclass(frozen=True)
class Line:
    """One line of the printed sheet."""

    channel: str
    head: str
    role: str
    circuit: str
    watts: str
    amps: str
    lamp: str
    curve: str


@dataclass(frozen=True)
class PatchView:
    """A universe: its channels, what is free, and the sheet of all universes."""

    universe: int
    universes: tuple[int, ...]
    channels: int
    cells: tuple[Cell, ...]
    free: str
    twice: str
    sheets: tuple[tuple[int, tuple[Line, ...]], ...]
    circuits: tuple[str, ...]


def patch_view(now: Now, universe: int, channels: int) -> PatchView:
    """One universe at a glance."""
    rig = now.rig
    count = channels or channels_shown(rig, universe)
    slots = sheet(rig, universe, count)
    free = gaps(slots)
    twice = [f"{slot} of universe {u}: {a} and {b}" for u, slot, a, b in conflicts(rig.heads)]
    used = universes(rig)
    return PatchView(
        universe=universe,
        universes=tuple(sorted({*used, universe})),
        channels=count,
        cells=tuple(_cell(slot, universe) for slot in slots),
        free=f"Free: {', '.join(free)}." if free else "No channel is free here.",
        twice=f"Given twice: {'; '.join(twice)}." if twice else "No channel is given twice.",
        sheets=tuple((u, tuple(_lines(now, u, count if u == universe else 0))) for u in used),
        circuits=tuple(
            f"{c.name}: {c.amps_full:.1f} A at full, planning limit {c.limit_amps:.1f} A"
            f" (breaker {c.breaker_amps:g} A){', over' if c.amps_full > c.limit_amps else ''}"
            for c in now.circuits
        ),
    )  # fmt: skip


def power_words(head: Head) -> str:
    """`A · 220 W`, or only the watts where no circuit is told."""
    watts = f"{head.watts:g} W"
    return f"{head.circuit} · {watts}" if head.circuit else watts


def channel_words(head: Head) -> str:
    """`5`, `1+2`, with its universe when that is not the first."""
    pair = f"{head.address}+{head.address + 1}" if head.bits == 16 else f"{head.address}"
    return pair if head.universe == 1 else f"{pair}, universe {head.universe}"


def _cell(slot: Slot, universe: int) -> Cell:
    url = f"/rig/patch/{universe}/{slot.address}"
    if slot.head is None:
        return Cell(slot.address, url, "free", "free", "")
    if slot.half == "fine":
        return Cell(slot.address, url, slot.head.name, "fine", f"16 bit, with {slot.address - 1}")
    state = "coarse" if slot.half else "head"
    return Cell(slot.address, url, slot.head.name, state, power_words(slot.head))


def _lines(now: Now, universe: int, channels: int) -> list[Line]:
    lines = []
    for slot in sheet(now.rig, universe, channels or channels_shown(now.rig, universe)):
        head = slot.head
        if head is None:
            lines.append(Line(f"{slot.address}", "", "", "", "", "", "", ""))
        elif slot.half != "fine":
            amps = head_amps(head, now.rig.room.mains_volts, 1.0)
            lines.append(
                Line(
                    f"{head.address}+{head.address + 1}" if slot.half else f"{head.address}",
                    head.name, head.role, head.circuit, f"{head.watts:g}", f"{amps:.1f}",
                    "LED" if head.lamp == "led" else head.lamp, head.curve,
                )
            )  # fmt: skip
    return lines


@dataclass(frozen=True)
class Taker:
    """A head that may get the channel, and what it would give up."""

    name: str
    words: str
    swap: bool


@dataclass(frozen=True)
class ChannelView:
    """One channel: whose it is, and who may have it."""

    universe: int
    address: int
    owner: str
    words: str
    takers: tuple[Taker, ...]


def channel_view(now: Now, universe: int, address: int) -> ChannelView:
    """One channel's page. A head of another size cannot swap; giving it is refused in words."""
    rig = now.rig
    slot = sheet(rig, universe, address)[-1]
    owner = slot.head
    takers = tuple(
        Taker(
            name=h.name,
            words=f"now {channel_words(h)}" if owner is None
            else f"{owner.name} gets {channel_words(h)}",
            swap=owner is not None,
        )
        for h in rig.heads
        if owner is None or (h is not owner and h.bits == owner.bits)
    )  # fmt: skip
    words = "free" if owner is None else f"{owner.name}, {power_words(owner)}"
    if slot.half:
        words += f", {slot.half} half of {channel_words(owner)}" if owner else ""
    return ChannelView(universe, address, owner.name if owner else "", words, takers)
