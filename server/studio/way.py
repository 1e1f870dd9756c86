"""One way to get a wished light: what is done, what else it changes, and what that costs."""

from collections.abc import Mapping
from dataclasses import dataclass, replace
from functools import cached_property
from math import log2

from server.physics.lamp import mired_shift, tungsten_cct_kelvin
from server.physics.softness import apparent_size_deg, falloff_stops, penumbra_m
from server.physics.stops import light_factor
from server.studio.figures import outputs_of
from server.studio.head import Head, Placement
from server.studio.light import LightMatrix, light_matrix
from server.studio.load import circuit_loads, worst_of_change
from server.studio.rig import Rig
from server.studio.setting import Setting

# Costs are judgement (common practice): seconds at the dimmer before a walk to the stand.
TAP_S, DIAL_S, FOCUS_S, SCRIM_S, WALK_S = 1.0, 3.0, 10.0, 20.0, 30.0
SECONDS_A_POINT, UNWANTED_A_STOP, MIRED_A_POINT, UNSEEN_MIRED = 5.0, 8.0, 0.3, 10.0
METER_AGAIN, SOFTNESS_CHANGED, GRAIN_OR_BLUR_A_STOP = 4.0, 3.0, 2.0
SOFTNESS_SEEN_STOPS = 0.1
CHEEK_TO_EAR_M, NOSE_M = 0.15, 0.025
"""How much deeper the ear lies than the cheek, how far the nose stands out (common practice)."""
MARK = "mark"


@dataclass(frozen=True)
class Side:
    """What a way does to a head beside its light, before and after.

    Falloff from cheek to ear [stop], soft edge of the nose shadow [m], size as the sitter sees it
    [deg], colour of a tungsten lamp [K, 0 for others].
    """

    falloff_stops: tuple[float, float]
    edge_m: tuple[float, float]
    size_deg: tuple[float, float]
    cct_kelvin: tuple[float, float]


@dataclass(frozen=True)
class Way:
    """One way: what to do in the unit of the tape measure or the dial, and what else it changes.

    `unwanted` holds, per point, how far it ends from the picture that dimming alone would give,
    after the lens is reset. [stop] `setting` is the light and lens a tap makes; `placement` what
    hands do first, None when they need not.
    """

    kind: str
    text: str
    seconds: float
    setting: Setting
    placement: Placement | None
    unwanted: Mapping[str, float]
    mired: float
    side: Side
    trips: tuple[str, ...]
    """Circuits whose breaker it would pass."""
    over: tuple[str, ...]
    """Circuits that it takes over their planning limit."""
    cost: float

    @property
    def hands(self) -> bool:
        """Whether someone must walk to the stand."""
        return self.placement is not None


@dataclass(frozen=True)
class Wanted:
    """A wish for one head: its light at its own place, so many stops up or down."""

    rig: Rig
    setting: Setting
    head: Head
    wish: float

    @cached_property
    def before(self) -> LightMatrix:
        """Light at full as the rig stands. [lx]"""
        return light_matrix(self.rig, self.setting.yaw_deg)

    @cached_property
    def place(self) -> str:
        """Where the wish is read: the point the head is aimed at, else where it gives most."""
        head = self.head
        if isinstance(head.placement.aim, str) and head.placement.aim != MARK:
            return head.placement.aim
        most = max(self.rig.points, key=lambda p: self.before.at[p.name][head.name])
        return MARK if head.placement.aim == MARK and most.on == "face" else most.name

    @cached_property
    def amps(self) -> Mapping[str, float]:
        """What each circuit draws now. [A]"""
        loads = circuit_loads(self.rig, outputs_of(self.rig, self.setting))
        return {c.name: c.amps_now for c in loads}

    def gain_stops(self, placement: Placement) -> float | None:
        """What another placement does to the head's light at its place. [stop]"""
        moved = replace(self.head, placement=placement)
        alone = light_matrix(replace(self.rig, heads=(moved,)), self.setting.yaw_deg)
        now, then = self._at(self.before), self._at(alone)
        return log2(then / now) if now > 0 and then > 0 else None

    def _at(self, matrix: LightMatrix) -> float:
        row = matrix.mark if self.place == MARK else matrix.at[self.place]
        return row[self.head.name]

    def way(
        self,
        kind: str,
        text: str,
        seconds: float,
        setting: Setting,
        placement: Placement | None = None,
        *,
        lens_stops: float = 0.0,
        extra: float = 0.0,
    ) -> Way:
        """Work out what a way changes. `lens_stops`: how much more the camera takes in."""
        rig = self.rig
        if placement is not None:
            heads = (replace(h, placement=placement) if h is self.head else h for h in rig.heads)
            rig = replace(rig, heads=tuple(heads))
        unwanted = self._unwanted(rig, setting, lens_stops)
        mired = self._mired(setting)
        side = self._side(setting, placement)
        loads = worst_of_change(rig, outputs_of(self.rig, self.setting), outputs_of(rig, setting))
        softer = abs(log2(side.size_deg[1] / side.size_deg[0])) > SOFTNESS_SEEN_STOPS
        seen_mired = max(0.0, abs(mired) - UNSEEN_MIRED) if rig.sitter.colour else 0.0
        return Way(
            kind=kind,
            text=text,
            seconds=seconds,
            setting=setting,
            placement=placement,
            unwanted=unwanted,
            mired=mired,
            side=side,
            trips=tuple(
                c.name for c in loads if c.amps_now > max(c.breaker_amps, self.amps[c.name])
            ),
            over=tuple(c.name for c in loads if c.limit_amps < c.amps_now > self.amps[c.name]),
            cost=seconds / SECONDS_A_POINT
            + UNWANTED_A_STOP * sum(abs(v) for v in unwanted.values())
            + MIRED_A_POINT * seen_mired
            + (SOFTNESS_CHANGED if softer else 0.0)
            + extra,
        )

    def _unwanted(self, rig: Rig, setting: Setting, lens_stops: float) -> dict[str, float]:
        outputs = outputs_of(self.rig, self.setting)
        dimmed = {**outputs, self.head.name: outputs[self.head.name] * light_factor(self.wish)}
        after = self.before if rig is self.rig else light_matrix(rig, setting.yaw_deg)
        then = outputs_of(rig, setting)
        unwanted = {}
        for point in self.rig.points:
            wanted, got = self.before.lux(point.name, dimmed), after.lux(point.name, then)
            if wanted > 0 and got > 0:
                unwanted[point.name] = log2(got / wanted) + lens_stops
        return unwanted

    def _mired(self, setting: Setting) -> float:
        """The largest change of a lit tungsten lamp's colour. [mired]"""
        shifts = [
            mired_shift(
                tungsten_cct_kelvin(head.cct_kelvin, self.setting.output(head)),
                tungsten_cct_kelvin(head.cct_kelvin, setting.output(head)),
            )
            for head in self.rig.heads
            if head.lamp == "tungsten" and self.setting.output(head) > 0 < setting.output(head)
        ]
        return max(shifts, key=abs, default=0.0)

    def _side(self, setting: Setting, placement: Placement | None) -> Side:
        head = self.head
        width = head.lens_diameter_m
        near, far = head.placement.distance_m, (placement or head.placement).distance_m
        tungsten = head.lamp == "tungsten"

        def colour(output: float) -> float:
            return tungsten_cct_kelvin(head.cct_kelvin, output) if tungsten else 0.0

        return Side(
            (falloff_stops(near, CHEEK_TO_EAR_M), falloff_stops(far, CHEEK_TO_EAR_M)),
            (penumbra_m(width, near, NOSE_M), penumbra_m(width, far, NOSE_M)),
            (apparent_size_deg(width, near), apparent_size_deg(width, far)),
            (colour(self.setting.output(head)), colour(setting.output(head))),
        )
