"""What a new head most likely is: the next role, the next channel, the lamp of the one before."""

from dataclasses import replace

from server.studio.head import SLOTS, Head, Placement
from server.studio.rig import BACKGROUND, Rig

USUAL = {
    "key": Placement(azimuth_deg=45, distance_m=2.0, rise_m=0.8),
    "fill": Placement(azimuth_deg=-40, distance_m=2.5, rise_m=0.2),
    "rim": Placement(azimuth_deg=150, distance_m=2.0, rise_m=1.0),
    "background": Placement(azimuth_deg=165, distance_m=1.2, rise_m=-0.5, aim=BACKGROUND),
    "hair": Placement(azimuth_deg=180, distance_m=1.8, rise_m=1.4),
    "kicker": Placement(azimuth_deg=-140, distance_m=2.0, rise_m=0.3),
    "accent": Placement(azimuth_deg=90, distance_m=2.0, rise_m=0.5),
}
"""Where a head of each role often stands, in the order heads are put up: common practice. [m]"""


def next_head(rig: Rig) -> Head:
    """A head to begin with, for the form of a new one; every value may be changed there."""
    played = {h.role for h in rig.heads}
    role = next((r for r in USUAL if r not in played), "accent")
    placement = USUAL[role]
    if placement.aim not in {"mark", *(p.name for p in rig.points)}:
        placement = replace(placement, aim="mark")
    names = {h.name for h in rig.heads}
    name, number = role.capitalize(), 2
    while name in names:
        name, number = f"{role.capitalize()} {number}", number + 1
    circuits = rig.room.circuits
    alike = (
        rig.heads[-1]
        if rig.heads
        else Head("alike", role, circuit=circuits[0].name if circuits else "")
    )
    taken = [slot for h in rig.heads if h.universe == alike.universe for slot in h.slots]
    return Head(
        name=name,
        role=role,
        universe=alike.universe,
        address=min(max(taken, default=0) + 1, SLOTS + 1 - alike.bits // 8),
        bits=alike.bits,
        circuit=alike.circuit,
        watts=alike.watts,
        power_factor=alike.power_factor,
        lamp=alike.lamp,
        cct_kelvin=alike.cct_kelvin,
        curve=alike.curve,
        curve_points=alike.curve_points,
        beam=alike.beam if len(alike.beam) <= 2 else (alike.beam[0], alike.beam[-1]),
        placement=placement,
        lens_diameter_m=alike.lens_diameter_m,
    )
