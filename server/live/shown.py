"""What the channels show, and which light of a rig that is: where a fade has to set off from."""

from collections.abc import Mapping

from server.live.fade import Channel, Fade, Outputs, frame_of
from server.live.output import Frame
from server.physics.signal import level_of
from server.studio.head import Head
from server.studio.rig import Rig

SAME_STEPS = 2
"""Channels that differ by no more show the same light: two clocks read a moment apart."""


def shown_at(rig: Rig, fade: Fade, moment: float) -> dict[int, bytes]:
    """What every channel shows at a moment of a fade, those that are leaving too."""
    universes = {u: bytearray(s) for u, s in frame_of(rig, fade.at(moment)).items()}
    for (universe, slot), value in fade.leaving_at(moment).items():
        universes.setdefault(universe, bytearray(512))[slot - 1] = value
    return {u: bytes(slots) for u, slots in universes.items()}


def output_shown(head: Head, frame: Frame) -> float:
    """The light a head gives under a frame. [1], 0..1"""
    slots = frame.get(head.universe)
    if slots is None:
        return 0.0
    return head.dimmer.output(level_of(tuple(slots[s - 1] for s in head.slots)))


def leaving(rig: Rig, frame: Frame) -> dict[Channel, int]:
    """Channels of a frame that light something, though nothing of the rig is patched there."""
    patched = {(h.universe, slot) for h in rig.heads for slot in h.slots}
    return {
        (universe, slot): value
        for universe, slots in frame.items()
        for slot, value in enumerate(slots, 1)
        if value and (universe, slot) not in patched
    }


def outputs_on(
    rig: Rig, old: Rig, outputs: Outputs, frame: Frame, renamed: Mapping[str, str]
) -> dict[str, float]:
    """What each head of a new rig shows at this moment, under what its channel is given now.

    So a head that is patched elsewhere, or whose curve was put right, does not jump: it sets off
    from what really lights it. `outputs` are the old rig's, by the new names of its heads.
    """
    gave = {_wiring(h): outputs.get(renamed.get(h.name, h.name), 0.0) for h in old.heads}
    return {
        h.name: gave[_wiring(h)] if _wiring(h) in gave else output_shown(h, frame)
        for h in rig.heads
    }


def _wiring(head: Head) -> tuple[object, ...]:
    return head.universe, head.address, head.bits, head.curve, head.curve_points


def same(a: Frame, b: Frame) -> bool:
    """Whether two frames show the same light, but for a step."""
    blank = bytes(512)
    return all(
        abs(x - y) <= SAME_STEPS
        for universe in {*a, *b}
        for x, y in zip(a.get(universe, blank), b.get(universe, blank), strict=True)
    )
