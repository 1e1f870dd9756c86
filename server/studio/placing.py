"""Moving one head: by steps, by a drag on the plan, by what the tape measure says."""

from dataclasses import replace
from math import hypot, sqrt

from server.errors import NotFound, OutOfRange, Refused
from server.physics.geometry import Vector, placement_of
from server.studio.head import Head, Placement, number
from server.studio.rig import Rig
from server.studio.tape import INCH_M

SCRIMS = {"single": 0.5, "double": 1.0}
"""Wire scrims by the name of the trade, in stops."""
GRAIN_M = {"m": 0.01, "ft": INCH_M}
"""A drag ends on a whole centimetre or inch, where the steps can reach it too."""
STEPS_M = {"m": (0.01, 0.10, 0.05), "ft": (INCH_M, 6 * INCH_M, 2 * INCH_M)}
"""A small step, a large one along the throw, a large one up the stand. [m]"""
STEPS_DEG = (1.0, 5.0)
FOCUS_STEP = 0.1
VIEWS = ("above", "side")
EXACT = 7
"""Decimals that are kept, so that steps there and back meet again."""


def placed(rig: Rig, name: str, placement: Placement) -> Rig:
    """The rig with one head put elsewhere; refused when its aim is no point that is there."""
    heads = (replace(h, placement=placement) if h.name == name else h for h in rig.heads)
    return replace(rig, heads=tuple(heads))


def stepped(head: Head, what: str, by: float) -> Placement:
    """One step of azimuth [deg], distance, rise [m] or focus."""
    now = head.placement
    number("by", by, -360, 360)
    if what == "azimuth":
        return replace(now, azimuth_deg=_around(now.azimuth_deg + by))
    if what == "distance":
        return replace(now, distance_m=round(now.distance_m + by, EXACT))
    if what == "rise":
        return raised(now, now.rise_m + by)
    if what == "focus":
        return focused(head, now.focus + by)
    raise NotFound(f"what must be azimuth, distance, rise or focus, got {what!r:.40}")


def raised(placement: Placement, rise_m: float) -> Placement:
    """The lens higher or lower on the stand, whose foot stays where it is. [m]"""
    foot = sqrt(placement.distance_m**2 - placement.rise_m**2)
    rise = round(number("rise", rise_m, -100, 100), EXACT)
    return replace(placement, rise_m=rise, distance_m=round(hypot(foot, rise), EXACT))


def dragged(placement: Placement, view: str, x_cm: float, y_cm: float, units: str) -> Placement:
    """Let go at a place of the plan. [cm of the drawing]

    From above the stand moves and the lens keeps its height; from the side the lens goes up or
    down the stand.
    """
    for axis, value in (("x", x_cm), ("y", y_cm)):
        number(axis, value, -10_000, 10_000)
    grain = GRAIN_M[units]
    if view == "side":
        return raised(placement, _on(-y_cm / 100, grain))
    if view != "above":
        raise NotFound(f"view must be one of {', '.join(VIEWS)}, got {view!r:.40}")
    there: Vector = (x_cm / 100, placement.rise_m, y_cm / 100)
    azimuth, distance, _ = placement_of(there)
    return replace(placement, azimuth_deg=_around(round(azimuth)), distance_m=_on(distance, grain))


def zooms(head: Head) -> bool:
    """Whether it can be spotted and flooded."""
    return len(head.photometry or head.beam) > 1


def focused(head: Head, focus: float) -> Placement:
    """Toward spot (0) or flood (1), as far as it goes."""
    there = min(1.0, max(0.0, round(number("focus", focus, -10, 10), EXACT)))
    if not zooms(head):
        raise Refused(f"{head.name} has one beam only: it cannot be spotted or flooded")
    if there == head.placement.focus:
        raise Refused(f"{head.name} is at full {'flood' if there == 1 else 'spot'} already")
    return replace(head.placement, focus=there)


def scrimmed(head: Head, which: str, way: str) -> Placement:
    """A single or double scrim in or out."""
    if which not in SCRIMS or way not in ("in", "out"):
        raise OutOfRange(f"a scrim must be single or double, in or out, got {which!r:.20}")
    stops, now = SCRIMS[which], list(head.placement.scrims)
    if way == "in":
        return replace(head.placement, scrims=(*now, stops))
    if stops not in now:
        raise Refused(f"there is no {which} scrim in {head.name}")
    now.remove(stops)
    return replace(head.placement, scrims=tuple(now))


def _around(azimuth_deg: float) -> float:
    """-180 < azimuth <= 180. [deg]"""
    turned = round(azimuth_deg, EXACT) % 360
    return turned - 360 if turned > 180 else turned


def _on(length_m: float, grain_m: float) -> float:
    return round(round(length_m / grain_m) * grain_m, EXACT)
