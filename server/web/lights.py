"""A light on a sitter, ready to be drawn and told: where heads stand, outputs, lens, figures."""

from collections.abc import Iterable, Mapping
from dataclasses import dataclass, replace
from fractions import Fraction
from functools import cached_property
from typing import TYPE_CHECKING

from server.live.now import Now
from server.physics.exposure import lux_for
from server.studio.figures import Figures, figures, outputs_of
from server.studio.head import Head, Placement
from server.studio.light import LightMatrix, light_matrix
from server.studio.look import Look
from server.studio.rig import Rig
from server.studio.setting import Setting

if TYPE_CHECKING:
    from server.preview.subject import Keys

PLAIN = (
    Head("Key", "key", placement=Placement(35.0, 2.0, 0.7)),
    Head("Fill", "fill", address=2, placement=Placement(-40.0, 3.5, 0.3)),
)
"""A soft, plain light of no studio's."""


@dataclass(frozen=True)
class Light:
    """One light on one sitter, as the set lens sees it. The heads stand as they do in `rig`."""

    rig: Rig
    yaw_deg: float
    outputs: Mapping[str, float]
    mid_grey_lux: float
    told: Figures

    @cached_property
    def lit(self) -> tuple[str, ...]:
        """Names of the heads that give light."""
        return tuple(name for name, output in self.outputs.items() if output > 0)

    @cached_property
    def keys(self) -> "Keys | None":
        """What its pattern is read from, None when nothing lights the face."""
        from server.preview.subject import keys_of  # numpy: not before a face is asked for

        return keys_of(self.rig, self.yaw_deg, self.outputs)


def light_of(rig: Rig, setting: Setting, told: Figures | None = None) -> Light:
    """A setting on a rig as it stands."""
    lens = setting.lens
    return Light(
        rig,
        setting.yaw_deg,
        outputs_of(rig, setting),
        lux_for(lens.exact_f_number, lens.iso, lens.shutter_s, rig.meter.c_flat),
        told or figures(rig, light_matrix(rig, setting.yaw_deg), setting, None),
    )


def light_now(now: Now) -> Light:
    """What is lit now."""
    return light_of(now.rig, now.setting, now.figures)


def light_on(now: Now, stand_in: str) -> Light:
    """What is lit now, on another stand-in; in the dark a plain light, so that they can be seen."""
    rig = replace(now.rig, sitter=replace(now.rig.sitter, stand_in=stand_in))
    if any(h.output > 0 for h in now.figures.heads):
        return light_of(rig, now.setting, now.figures)
    plain = replace(rig, heads=PLAIN, readings=())
    light = light_of(
        plain, Setting({h.name: Fraction(0) for h in PLAIN}, yaw_deg=rig.sitter.yaw_deg)
    )
    return replace(light, mid_grey_lux=light.told.ratio.lit_lux)


def light_good(now: Now) -> Light | None:
    """The good frame on today's rig, with its own lens; None before there is one."""
    return light_of(now.rig, now.record.good) if now.record.good else None


def light_of_look(rig: Rig, look: Look) -> Light:
    """A look with its own lens, its heads where they stood when it was kept."""
    return light_of(rig.standing(look.placements), Setting(look.stops, look.lens, look.yaw_deg))


def told_of_looks(rig: Rig, looks: Iterable[Look]) -> list[Figures | None]:
    """What looks give as the readings say by now; None for one that needs heads this rig has not.
    Looks whose heads stood alike share one reckoning: there may be a thousand."""
    known: dict[object, LightMatrix] = {}
    found: list[Figures | None] = []
    for look in looks:
        if look.missing_heads(rig):
            found.append(None)
            continue
        placed = rig.standing(look.placements)
        where = (tuple(h.placement for h in placed.heads), look.yaw_deg)
        if where not in known:
            known[where] = light_matrix(placed, look.yaw_deg)
        setting = Setting(look.stops, look.lens, look.yaw_deg)
        found.append(figures(placed, known[where], setting, None))
    return found
