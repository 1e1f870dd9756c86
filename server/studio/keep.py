"""Keeping a light as a look: its stops and placements, and the figures it gives."""

from collections.abc import Mapping

from server.studio.figures import figures
from server.studio.head import Placement
from server.studio.light import light_matrix
from server.studio.look import Look
from server.studio.rig import Rig
from server.studio.setting import Setting


def look_of(
    rig: Rig,
    setting: Setting,
    name: str,
    tags: tuple[str, ...] = (),
    notes: str = "",
    placements: Mapping[str, Placement] | None = None,
) -> Look:
    """A look from a setting, not stored yet. `placements` default to where the heads stand."""
    standing = {h.name: h.placement for h in rig.heads} | dict(placements or {})
    placed = rig.standing(standing)
    told = figures(placed, light_matrix(placed, setting.yaw_deg), setting, None)
    return Look(
        look_id=0,
        name=name,
        stops={h.name: setting.of(h) for h in rig.heads},
        placements=standing,
        lens=setting.lens,
        yaw_deg=setting.yaw_deg,
        tags=tags,
        notes=notes,
        lux={p.point.name: p.lux for p in told.points},
        ratio=told.ratio.value,
        f_number=told.lens.exact_f_number,
    )
