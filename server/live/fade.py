"""Fades: where the light is on its way, in equal perceived steps, as frames ready to be sent."""

from collections.abc import Iterable, Mapping
from dataclasses import dataclass, field, replace
from math import ceil, log2

from server.errors import OutOfRange
from server.live.keeper_state import boot_id
from server.live.output import Timeline
from server.live.schedule import MIN_GAP_S
from server.physics.filament import followed, heating_s
from server.physics.lightness import between
from server.physics.signal import signal_for
from server.studio.head import SLOTS, Head
from server.studio.history import Way
from server.studio.light import LightMatrix
from server.studio.rig import Rig

FRAME_S = MIN_GAP_S  # 44 a second
RECALL_S = 1.0
NUDGE_S = 0.2
FLINCH_STOPS = 2.0
FLINCH_S = 1.5
LONGEST_S = 60.0
SHORT = 5.0
"""A fade shorter than so many heating times of a lamp is short: nothing may run ahead of it."""

Outputs = Mapping[str, float]
Channel = tuple[int, int]
"""Universe and slot (DMX address)."""
Channels = Mapping[Channel, int]


@dataclass(frozen=True)
class Fade:
    """A way from one light to another, on the monotonic clock. Seconds, outputs 0..1.

    Heads in `waiting` follow as a tungsten lamp with this heating time does, so that they arrive
    together with one. `leaving` are channels that light up nothing of the rig any more, with the
    values they still have: they fade out along with it.
    """

    start: Outputs
    end: Outputs
    begins: float
    lasts_s: float
    waiting: frozenset[str] = frozenset()
    heating_s: float = 0.0
    leaving: Channels = field(default_factory=dict)

    def at(self, moment: float) -> dict[str, float]:
        """Output of every head at a moment."""
        return self.after(moment - self.begins, self.end)

    def after(self, elapsed_s: float, heads: Iterable[str]) -> dict[str, float]:
        """Output of these heads so long after it began."""
        part = 1.0 if self.lasts_s <= 0 else max(0.0, min(1.0, elapsed_s / self.lasts_s))
        late = part
        if self.waiting:
            arrived = elapsed_s >= self.all_s
            late = 1.0 if arrived else followed(elapsed_s, self.lasts_s, self.heating_s)
        return {
            n: between(self.start.get(n, 0.0), self.end[n], late if n in self.waiting else part)
            for n in heads
        }

    def leaving_at(self, moment: float) -> dict[Channel, int]:
        """What the channels that fade out still show at a moment."""
        part = 1.0 if self.lasts_s <= 0 else min(1.0, (moment - self.begins) / self.lasts_s)
        shown = {c: round(value * (1.0 - max(0.0, part))) for c, value in self.leaving.items()}
        return {channel: value for channel, value in shown.items() if value}

    def renamed(self, names: Mapping[str, str]) -> "Fade":
        """The same way after heads got other names (old name -> new name)."""
        start, end = (
            {names.get(n, n): o for n, o in outputs.items()} for outputs in (self.start, self.end)
        )
        waiting = frozenset(names.get(n, n) for n in self.waiting)
        return replace(self, start=start, end=end, waiting=waiting)

    @property
    def all_s(self) -> float:
        """How long it takes with those that wait. [s]"""
        return self.lasts_s + (self.heating_s if self.waiting else 0.0)

    def left_s(self, moment: float) -> float:
        """How long the control is still on its way. [s]"""
        return max(0.0, self.begins + self.lasts_s - moment)

    def all_left_s(self, moment: float) -> float:
        """How long the light is still on its way, with those that wait. [s]"""
        return max(0.0, self.begins + self.all_s - moment)

    def running(self, moment: float) -> bool:
        """Whether the light is still on its way."""
        return self.all_left_s(moment) > 0


def fade_to(rig: Rig, start: Outputs, end: Outputs, begins: float, lasts_s: float) -> Fade:
    """The fade from one light to another: what does not glow waits for the lamps that do."""
    moving = [h for h in rig.heads if start.get(h.name, 0.0) != end[h.name]]
    slowest_s = max(
        (heating_s(h.watts, rig.room.mains_volts) for h in moving if h.lamp == "tungsten"),
        default=0.0,
    )
    if not 0 < lasts_s < SHORT * slowest_s:
        return Fade(start, end, begins, lasts_s)
    waiting = frozenset(h.name for h in moving if h.lamp != "tungsten")
    return Fade(start, end, begins, lasts_s, waiting, slowest_s)


def fade_seconds(
    wanted_s: float, rig: Rig, matrix: LightMatrix, start: Outputs, end: Outputs
) -> float:
    """How long a change takes: as wanted, but a face never brightens suddenly. [s]

    A rise of more than two stops at any point of the face takes at least 1.5 s.
    """
    return calm_seconds(wanted_s, face_lux(rig, matrix, start), face_lux(rig, matrix, end))


def calm_seconds(wanted_s: float, before: Mapping[str, float], after: Mapping[str, float]) -> float:
    """As `fade_seconds`, by the light on each point of the face. [s; lx]"""
    if not 0 <= wanted_s <= LONGEST_S:
        raise OutOfRange(f"fade_s must lie in 0..{LONGEST_S:g} seconds, got {wanted_s:g}")
    for point, lux in after.items():
        was = before.get(point, lux)
        if lux > 0 and (was <= 0 or log2(lux / was) > FLINCH_STOPS):
            return max(wanted_s, FLINCH_S)
    return wanted_s


def face_lux(rig: Rig, matrix: LightMatrix, outputs: Outputs) -> dict[str, float]:
    """Light on each point of the face; a head that is not in `outputs` is dark. [lx]"""
    heads = {h.name: outputs.get(h.name, 0.0) for h in rig.heads}
    return {p.name: matrix.lux(p.name, heads) for p in rig.face_points}


def seconds_left(
    fade: Fade,
    rig: Rig,
    matrix: LightMatrix,
    start: Outputs,
    end: Outputs,
    moment: float,
    leaving: Channels,
) -> float:
    """How long a change of the rig takes: what is left of the fade, or a recall's time when a
    head was patched elsewhere and has to find its light, was taken out or is back. [s]"""
    left_s = fade.all_left_s(moment)
    now = fade.at(moment)
    as_before = all(start[name] == now.get(name, 0.0) for name in start)
    if as_before and not leaving and all(end[n] == fade.end.get(n, end[n]) for n in end):
        return left_s
    return max(left_s, fade_seconds(RECALL_S, rig, matrix, start, end))


def way_of(fade: Fade, moment: float) -> Way | None:
    """A fade that is still on its way, as it is kept."""
    if not fade.running(moment):
        return None
    waiting = tuple(sorted(fade.waiting))
    return Way(dict(fade.start), fade.begins, fade.lasts_s, boot_id(), waiting, fade.heating_s)


def resumed_fade(way: Way | None, outputs: Outputs, moment: float) -> Fade:
    """The fade that a server joins when it starts: the one that was on its way, if it still is."""
    if way and way.boot == boot_id() != "":
        waiting = frozenset(way.waiting) & outputs.keys()
        fade = Fade(way.start, outputs, way.begins, way.lasts_s, waiting, way.heating_s)
        if fade.running(moment):
            return fade
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
    steps = max(1, ceil(fade.lasts_s / FRAME_S))
    step_s = fade.lasts_s / steps
    count = max(steps, ceil(fade.all_s / FRAME_S))
    last = frame_of(rig, fade.end)
    going = {u: bytes(SLOTS) for u, _ in fade.leaving} | last
    moving = {h.name: h for h in rig.heads if fade.start.get(h.name, 0.0) != fade.end[h.name]}
    frames: list[tuple[float, dict[int, bytes]]] = []
    for step in range(1, count):
        universes = {u: bytearray(slots) for u, slots in going.items()}
        for name, output in fade.after(step * step_s, moving).items():
            _put(universes, moving[name], moving[name].quick_level(output))
        if fade.leaving:
            for (universe, slot), value in fade.leaving_at(fade.begins + step * step_s).items():
                universes[universe][slot - 1] = value
        frame = {u: bytes(slots) for u, slots in universes.items()}
        frames.append((fade.begins + (step - 1) * FRAME_S, frame))
    frames.append((fade.begins + (count - 1) * FRAME_S, last))
    return Timeline(tuple(frames))


def _put(universes: Mapping[int, bytearray], head: Head, level: float) -> None:
    signal = signal_for(level, head.bits)
    start = head.address - 1
    universes[head.universe][start : start + len(signal)] = bytes(signal)
