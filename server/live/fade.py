"""Fades: where the light is on its way, in equal perceived steps, as frames ready to be sent."""

from collections.abc import Mapping
from dataclasses import dataclass
from math import ceil, log2

from server.errors import OutOfRange
from server.live.keeper_state import boot_id
from server.live.output import Timeline
from server.physics.lightness import between
from server.physics.signal import signal_for
from server.studio.head import SLOTS, Head
from server.studio.history import Way
from server.studio.light import LightMatrix
from server.studio.rig import Rig

FRAMES_PER_SECOND = 44
RECALL_S = 1.0
NUDGE_S = 0.2
FLINCH_STOPS = 2.0
FLINCH_S = 1.5
LONGEST_S = 60.0

Outputs = Mapping[str, float]


@dataclass(frozen=True)
class Fade:
    """A way from one light to another, on the monotonic clock. Seconds, outputs 0..1."""

    start: Outputs
    end: Outputs
    begins: float
    lasts_s: float

    def at(self, moment: float) -> dict[str, float]:
        """Output of every head at a moment."""
        part = self.part(moment)
        return {n: between(self.start.get(n, 0.0), e, part) for n, e in self.end.items()}

    def part(self, moment: float) -> float:
        """How much of the way is done. 0..1"""
        if self.lasts_s <= 0:
            return 1.0
        return max(0.0, min(1.0, (moment - self.begins) / self.lasts_s))

    def renamed(self, names: Mapping[str, str]) -> "Fade":
        """The same way after heads got other names (old name -> new name)."""
        start, end = (
            {names.get(n, n): o for n, o in outputs.items()} for outputs in (self.start, self.end)
        )
        return Fade(start, end, self.begins, self.lasts_s)

    def left_s(self, moment: float) -> float:
        """How long the light is still on its way. [s]"""
        return max(0.0, self.begins + self.lasts_s - moment)

    def running(self, moment: float) -> bool:
        """Whether the light is still on its way."""
        return self.part(moment) < 1.0


def fade_seconds(
    wanted_s: float, rig: Rig, matrix: LightMatrix, start: Outputs, end: Outputs
) -> float:
    """How long a change takes: as wanted, but a face never brightens suddenly. [s]

    A rise of more than two stops at any point of the face takes at least 1.5 s.
    """
    if not 0 <= wanted_s <= LONGEST_S:
        raise OutOfRange(f"fade_s must lie in 0..{LONGEST_S:g} seconds, got {wanted_s:g}")
    for point in rig.face_points:
        before, after = matrix.lux(point.name, start), matrix.lux(point.name, end)
        if after > 0 and (before <= 0 or log2(after / before) > FLINCH_STOPS):
            return max(wanted_s, FLINCH_S)
    return wanted_s


def way_of(fade: Fade, moment: float) -> Way | None:
    """A fade that is still on its way, as it is kept."""
    if not fade.running(moment):
        return None
    return Way(dict(fade.start), fade.begins, fade.lasts_s, boot_id())


def resumed_fade(way: Way | None, outputs: Outputs, moment: float) -> Fade:
    """The fade that a server joins when it starts: the one that was on its way, if it still is."""
    if way and way.boot == boot_id() != "" and moment < way.begins + way.lasts_s:
        return Fade(way.start, outputs, way.begins, way.lasts_s)
    return Fade(outputs, outputs, moment, 0.0)


def frame_of(rig: Rig, outputs: Outputs) -> dict[int, bytes]:
    """Slot values of every universe of the rig for these outputs."""
    universes = {u: bytearray(SLOTS) for u in {h.universe for h in rig.heads}}
    for head in rig.heads:
        level = head.level(outputs[head.name])
        _put(universes, head, level)
    return {u: bytes(slots) for u, slots in universes.items()}


def timeline_of(rig: Rig, fade: Fade) -> Timeline:
    """The frames of a fade, 44 a second, the first already a step on; the last is exact.

    On the way a level is read off each head's table of its curve (inverting a curve exactly
    costs a hundred times more); where the light ends it is inverted exactly.
    """
    count = max(1, ceil(fade.lasts_s * FRAMES_PER_SECOND))
    last = frame_of(rig, fade.end)
    moving = [h for h in rig.heads if fade.start.get(h.name, 0.0) != fade.end[h.name]]
    frames: list[tuple[float, dict[int, bytes]]] = []
    for step in range(1, count):
        universes = {u: bytearray(slots) for u, slots in last.items()}
        for head in moving:
            output = between(fade.start.get(head.name, 0.0), fade.end[head.name], step / count)
            _put(universes, head, head.quick_level(output))
        frames.append(
            (
                fade.begins + (step - 1) / FRAMES_PER_SECOND,
                {u: bytes(slots) for u, slots in universes.items()},
            )
        )
    frames.append((fade.begins + (count - 1) / FRAMES_PER_SECOND, last))
    return Timeline(tuple(frames))


def _put(universes: Mapping[int, bytearray], head: Head, level: float) -> None:
    signal = signal_for(level, head.bits)
    start = head.address - 1
    universes[head.universe][start : start + len(signal)] = bytes(signal)
