"""When each universe owes a packet. No thread, no socket, no clock: the moment is an argument."""

from collections.abc import Iterator
from dataclasses import dataclass
from math import inf

from server.live.output import Frame, Timeline

MIN_GAP_S = 0.02275
"""Time from one packet of a universe to the next, at least. [s] ANSI E1.31-2018, 6.6.1: not faster
than E1.11 allows; 512 slots take 22.676 ms (92 us break + 12 us mark + 513 slots of 44 us), 44 a
second. 44 of these gaps are 1.001 s.
"""
LATE_S = 0.001
"""How late a packet may leave without delaying the one after it. [s] However late the machine wakes
up, no second holds more than 44 packets: 44 gaps less this are 1 s.
"""
REPEATS = 3
"""Packets with unchanged values before going quiet (6.6.2); also terminated packets (6.2.6)."""
KEEP_ALIVE_S = 0.81
"""Time between packets while nothing changes. [s] 6.6.2: 0.8..1.0 s; near the lower end, so that
a keeper that is killed between two of them may be back before a second has passed.
"""


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
    due_at: float = -inf  # when the last packet should have left
    clear_at: float = -inf  # before that the next one may not leave


class Schedule:
    """Follows a timeline and says which packets are owed at a moment. [s, one monotonic clock]

    A changed universe is owed at once, but never sooner than `MIN_GAP_S` after its last packet was
    due (absolute deadlines: a packet that leaves a little late delays none after it);
    then `REPEATS` packets with the same values, then one every `KEEP_ALIVE_S`. A universe that a
    frame leaves out is owed `REPEATS` terminated packets. Frames whose moment went by unplayed are
    skipped: only the newest one due is ever sent. Not thread-safe.
    """

    def __init__(self) -> None:
        self._frames: tuple[tuple[float, Frame], ...] = ()
        self._next = 0  # index of the first frame that is not yet due
        self._lit: Frame = {}
        self._lit_since = -inf
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
            self._lit_since, self._lit = self._frames[self._next]
            self._next += 1
        return self._lit

    def end(self, now: float) -> None:
        """Plan nothing more and owe every universe its terminated packets."""
        self.lit(now)
        self._frames = ()
        self._next = 0
        self._lit_since = now
        self._ended = True

    def all_ended(self) -> bool:
        """Whether every universe has had all its terminated packets."""
        return not any(line.alive or line.owed for line in self._lines.values())

    def due(self, now: float) -> Iterator[Packet]:
        """The packets owed now. The caller sends each one and reports the moment to `sent`."""
        wanted = self._wanted(now)
        for universe in sorted(wanted.keys() | self._lines.keys()):
            line, slots = self._lines.get(universe), wanted.get(universe)
            owed_at = self._owed_at(universe, line, slots)
            if now < owed_at:
                continue
            if line is None:
                assert slots is not None  # the universe came from one of the two
                line = self._lines[universe] = _Line(slots, now, REPEATS, alive=True)
            elif slots is None:
                if line.alive:
                    line.alive, line.owed = False, REPEATS
                line.owed -= 1
            elif not line.alive or line.slots != slots:
                line.slots, line.owed, line.alive = slots, REPEATS, True
            else:
                line.owed = max(0, line.owed - 1)
            line.due_at = owed_at
            self.sent(universe, now)
            yield Packet(universe, line.slots, terminated=slots is None)

    def sent(self, universe: int, at: float) -> None:
        """Note when a packet really left."""
        line = self._lines[universe]
        line.sent_at = at
        line.clear_at = max(line.due_at, at - LATE_S) + MIN_GAP_S

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
            return self._lit_since
        if slots is None and not line.alive:
            return line.clear_at if line.owed else inf
        if not line.alive or line.slots != slots:
            return max(line.clear_at, self._lit_since)
        repeat_at = max(line.clear_at, self._lit_since)
        if line.owed and not self._changes_soon(universe, line, repeat_at):
            return repeat_at
        return line.sent_at + KEEP_ALIVE_S

    def _changes_soon(self, universe: int, line: _Line, repeat_at: float) -> bool:
        """Whether a repeat then would delay the next change of this universe."""
        limit = repeat_at + MIN_GAP_S - LATE_S
        for i in range(self._next, len(self._frames)):
            moment, frame = self._frames[i]
            if moment >= limit:
                return False
            if frame.get(universe) != line.slots:
                return True
        return False
