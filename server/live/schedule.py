"""When each universe owes a packet. No thread, no socket, no clock: the moment is an argument."""

from collections.abc import Iterator
from dataclasses import dataclass
from math import inf

from server.live.output import Frame, Timeline

MIN_GAP_S = 1 / 44
"""Shortest time between two packets of one universe. [s] ANSI E1.31-2018, 6.6.1: not faster than
E1.11 allows; 512 slots take 22.676 ms (92 us break + 12 us mark + 513 slots of 44 us), 44 a second.
"""
REPEATS = 3
"""Packets with unchanged values before going quiet (6.6.2); also terminated packets (6.2.6)."""
KEEP_ALIVE_S = 0.9
"""Time between packets while nothing changes. [s] 6.6.2: 0.8..1.0 s."""


@dataclass(frozen=True)
class Packet:
    """What to put on the wires for one universe."""

    universe: int
    slots: bytes
    terminated: bool


@dataclass
class _Line:
    """One universe: what was last sent and what is still owed."""

    slots: bytes
    sent_at: float
    owed: int  # repeats while alive, terminated packets once ended
    alive: bool


class Schedule:
    """Follows a timeline and says which packets are owed at a moment. [s, one monotonic clock]

    A changed universe is owed at once, but never sooner than `MIN_GAP_S` after its last packet;
    then `REPEATS` packets with the same values, then one every `KEEP_ALIVE_S`. A universe that a
    frame leaves out is owed `REPEATS` terminated packets. Frames whose moment went by unplayed are
    skipped: only the newest one due is ever sent. Not thread-safe.
    """

    def __init__(self) -> None:
        self._frames: tuple[tuple[float, Frame], ...] = ()
        self._next = 0  # index of the first frame that is not yet due
        self._lit: Frame = {}
        self._ended = False
        self._lines: dict[int, _Line] = {}

    def play(self, timeline: Timeline, now: float) -> None:
        """Replace what was planned; what is lit stays until the new timeline's first moment."""
        self.lit(now)
        self._frames = timeline.frames
        self._next = 0

    def lit(self, now: float) -> Frame:
        """The frame lit at a moment; empty before the first one."""
        while self._next < len(self._frames) and self._frames[self._next][0] <= now:
            self._lit = self._frames[self._next][1]
            self._next += 1
        return self._lit

    def end(self, now: float) -> None:
        """Plan nothing more and owe every universe its terminated packets."""
        self.lit(now)
        self._frames = ()
        self._next = 0
        self._ended = True

    def all_ended(self) -> bool:
        """Whether every universe has had all its terminated packets."""
        return not any(line.alive or line.owed for line in self._lines.values())

    def due(self, now: float) -> Iterator[Packet]:
        """The packets owed now. The caller sends each one and reports the moment to `sent`."""
        wanted = self._wanted(now)
        for universe in sorted(wanted.keys() | self._lines.keys()):
            line, slots = self._lines.get(universe), wanted.get(universe)
            if now < self._owed_at(universe, line, slots):
                continue
            if slots is None:
                assert line is not None  # the universe came from one of the two
                if line.alive:
                    line.alive, line.owed = False, REPEATS
                line.owed -= 1
                line.sent_at = now
                yield Packet(universe, line.slots, terminated=True)
            else:
                if line is None or not line.alive or line.slots != slots:
                    self._lines[universe] = _Line(slots, now, REPEATS, alive=True)
                else:
                    line.owed = max(0, line.owed - 1)
                    line.sent_at = now
                yield Packet(universe, slots, terminated=False)

    def sent(self, universe: int, at: float) -> None:
        """Note when a packet really left, so that the shortest gap counts from there."""
        self._lines[universe].sent_at = at

    def next_due(self, now: float) -> float:
        """When to look again. [s]; infinity when nothing is planned."""
        wanted = self._wanted(now)
        soonest = self._frames[self._next][0] if self._next < len(self._frames) else inf
        for universe in wanted.keys() | self._lines.keys():
            owed = self._owed_at(universe, self._lines.get(universe), wanted.get(universe))
            soonest = min(soonest, owed)
        return soonest

    def _wanted(self, now: float) -> Frame:
        lit = self.lit(now)
        return {} if self._ended else lit

    def _owed_at(self, universe: int, line: _Line | None, slots: bytes | None) -> float:
        if line is None:
            return -inf
        if slots is None:
            return line.sent_at + MIN_GAP_S if line.alive or line.owed else inf
        if not line.alive or line.slots != slots:
            return line.sent_at + MIN_GAP_S
        if line.owed and not self._changes_soon(universe, line):
            return line.sent_at + MIN_GAP_S
        return line.sent_at + KEEP_ALIVE_S

    def _changes_soon(self, universe: int, line: _Line) -> bool:
        """Whether a repeat would delay the next change of this universe."""
        limit = line.sent_at + 2 * MIN_GAP_S
        for i in range(self._next, len(self._frames)):
            moment, frame = self._frames[i]
            if moment >= limit:
                return False
            if frame.get(universe) != line.slots:
                return True
        return False
