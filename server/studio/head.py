"""One head: housing, lamp and lens on a dimmer channel, and where it stands."""

from bisect import bisect_left
from dataclasses import dataclass, field
from datetime import datetime
from functools import cached_property
from math import isfinite, log2

from server.errors import OutOfRange
from server.physics.beam import Beam, BeamRow, beam_at, intensity_cd
from server.physics.candela_curve import CandelaCurve
from server.physics.curve import Curve, LinearCurve, MeasuredCurve, SCurve, SquareCurve
from server.physics.geometry import Vector, head_position
from server.physics.signal import FULL_SCALE
from server.studio.photometry import MeasuredBeam, curve_at, require_rising

ROLES = ("key", "fill", "kicker", "rim", "hair", "background", "accent")
CURVES = ("linear", "square", "s-curve", "measured")
LAMPS = ("led", "tungsten")
NAME_LENGTH = 40
WHOLE = 2**53
NO_NAMES = (".", "..", "new")
JOINERS = "\u200c\u200d"
"""Unseen letters that some scripts and pictures are joined with."""
LAST_UNIVERSE = 63999
SLOTS = 512
# Below a thousandth of full a lamp looks out (common practice); no nudge goes lower.
DEEPEST_STOPS = 10.0
LEVELS_REMEMBERED = 64
LEVEL_STEPS = 256

Aim = str | Vector


def number(field_name: str, value: float, low: float, high: float, *, above: bool = False) -> float:
    """The value, if it is finite and lies in low..high (above low when `above`)."""
    if isinstance(value, int) and not -WHOLE <= value <= WHOLE:
        raise OutOfRange(f"{field_name} is far too large a number")
    if not isfinite(value) or not (low < value if above else low <= value) or value > high:
        raise OutOfRange(
            f"{field_name} must lie {'above' if above else 'from'} {low:g}"
            f" {'and at most' if above else 'to'} {high:g}, got {value:g}"
        )
    return value


def name_of(field_name: str, value: str) -> str:
    """The name without outer space, if it is a name at all."""
    text = " ".join(value.split())
    plain = text.translate(dict.fromkeys(map(ord, JOINERS)))
    if not plain or len(text) > NAME_LENGTH or not plain.isprintable():
        raise OutOfRange(f"{field_name} must be 1 to {NAME_LENGTH} characters, got {value!r:.60}")
    return text


@dataclass(frozen=True)
class Placement:
    """Where a head stands and how it is set. Degrees, metres, focus 0 spot .. 1 flood, stops."""

    azimuth_deg: float = 45.0
    distance_m: float = 2.0
    rise_m: float = 0.6
    focus: float = 0.5
    scrims: tuple[float, ...] = ()
    aim: Aim = "mark"

    def __post_init__(self) -> None:
        number("azimuth_deg", self.azimuth_deg, -180, 180)
        number("distance_m", self.distance_m, 0.1, 100)
        number("rise_m", self.rise_m, -100, 100)
        number("focus", self.focus, 0, 1)
        if len(self.scrims) > 6:
            raise OutOfRange(f"scrims: at most 6 fit a head, got {len(self.scrims)}")
        for scrim in self.scrims:
            number("scrims", scrim, 0, 6)
        if isinstance(self.aim, str):
            name_of("aim", self.aim)
        else:
            for axis in self.aim:
                number("aim", axis, -100, 100)
        head_position(self.azimuth_deg, self.distance_m, self.rise_m)  # |rise| < distance

    @cached_property
    def position_m(self) -> Vector:
        """The lens in room coordinates. [m]"""
        return head_position(self.azimuth_deg, self.distance_m, self.rise_m)

    @property
    def scrim_stops(self) -> float:
        """All scrims together. [stop]"""
        return sum(self.scrims)


@dataclass(frozen=True)
class PastCurve:
    """A curve that a channel was taken to have, and where its head burnt steadily then."""

    curve: str = "linear"
    curve_points: tuple[tuple[float, float], ...] = ()
    steady_from: float = 0.0

    def __post_init__(self) -> None:
        if self.curve not in CURVES:
            raise OutOfRange(f"curve must be one of {', '.join(CURVES)}, got {self.curve!r:.40}")
        if self.curve == "measured":
            MeasuredCurve(self.curve_points)
        elif self.curve_points:
            raise OutOfRange(f"curve_points belong to the curve 'measured', not {self.curve!r}")
        number("steady_from", self.steady_from, 0, 1)


@dataclass(frozen=True)
class Head:
    """A head as it is patched, powered and measured, with its placement in the rig."""

    name: str
    role: str
    universe: int = 1
    address: int = 1
    bits: int = 8
    circuit: str = ""
    watts: float = 200.0
    power_factor: float = 1.0
    lamp: str = "led"
    cct_kelvin: float = 5600.0
    curve: str = "linear"
    curve_points: tuple[tuple[float, float], ...] = ()
    beam: tuple[BeamRow, ...] = (BeamRow(0.5, Beam(20000.0, 25.0, 40.0)),)
    placement: Placement = field(default_factory=Placement)
    lens_diameter_m: float = 0.2
    steady_from: float = 0.0
    """The level below which it flickers or goes out, as it was seen. [1], 0..1"""
    touched_at: datetime | None = None
    """When someone touched it: earlier readings are doubted until one is taken since."""
    out: bool = False
    """Its lamp is dead or its breaker open: it gives no light, whatever it is set to."""
    bands_below: float = 0.0
    """Output below which the photographer's test frames showed bands. [1], 0 when never seen"""
    photometry: tuple[MeasuredBeam, ...] = ()
    """Measured curves; where there are any they stand in place of the beam rows."""
    curve_before: PastCurve | None = None
    """What its channel was taken for before its curve was measured or entered anew."""

    def __post_init__(self) -> None:
        try:
            self._check()
        except OutOfRange as error:
            raise OutOfRange(f"head {self.name!r:.60}: {error}") from None

    def _check(self) -> None:
        object.__setattr__(self, "name", name_of("name", self.name))
        if "/" in self.name or self.name in NO_NAMES:  # it is part of an address of a page
            raise OutOfRange(f"name must not hold a / nor be {', '.join(NO_NAMES)}")
        for label, value, allowed in (("role", self.role, ROLES), ("lamp", self.lamp, LAMPS)):
            if value not in allowed:
                raise OutOfRange(f"{label} must be one of {', '.join(allowed)}, got {value!r:.40}")
        number("universe", self.universe, 1, LAST_UNIVERSE)
        if self.bits not in FULL_SCALE:
            raise OutOfRange(f"bits must be 8 or 16, got {self.bits}")
        number("address", self.address, 1, SLOTS - (self.bits == 16))
        number("watts", self.watts, 0, 100_000)
        number("power_factor", self.power_factor, 0.05, 1)
        number("cct_kelvin", self.cct_kelvin, 1000, 20_000)
        number("lens_diameter_m", self.lens_diameter_m, 0.005, 5)
        if self.touched_at is not None and self.touched_at.tzinfo is None:
            raise OutOfRange("touched_at needs its time zone, like 2026-05-01T10:00:00+00:00")
        number("bands_below", self.bands_below, 0, 1)
        _ = self.past_curve
        beam_at(self.beam, self.placement.focus)
        require_rising(self.photometry)

    @property
    def past_curve(self) -> PastCurve:
        """Its present curve, to be kept when another one takes its place."""
        return PastCurve(self.curve, self.curve_points, self.steady_from)

    @cached_property
    def dimmer(self) -> Curve:
        """The curve of its channel."""
        if self.curve == "measured":
            return MeasuredCurve(self.curve_points)
        if self.curve == "square":
            return SquareCurve()
        return SCurve() if self.curve == "s-curve" else LinearCurve()

    @cached_property
    def _levels(self) -> dict[float, float]:
        return {}

    def level(self, output: float) -> float:
        """The control level that gives this output on its curve. [1], 0..1

        Exact. Remembered, since a curve without a closed inverse is inverted by root-finding and
        every change asks again for heads that have not moved.
        """
        known = self._levels
        if output not in known:
            if len(known) >= LEVELS_REMEMBERED:
                known.clear()
            known[output] = self.dimmer.level(output)
        return known[output]

    @cached_property
    def _outputs_by_level(self) -> tuple[float, ...]:
        return tuple(self.dimmer.output(i / LEVEL_STEPS) for i in range(LEVEL_STEPS + 1))

    def quick_level(self, output: float) -> float:
        """Level for an output on the way of a fade, off a table of the curve. [1], 0..1

        Within a hundredth of a level; where a light ends the exact inverse is used instead.
        """
        table = self._outputs_by_level
        above = min(LEVEL_STEPS, max(1, bisect_left(table, output)))
        low, high = table[above - 1], table[above]
        part = (output - low) / (high - low) if high > low else 0.0
        return min(1.0, max(0.0, (above - 1 + part) / LEVEL_STEPS))

    @property
    def slots(self) -> range:
        """The DMX addresses it occupies."""
        return range(self.address, self.address + self.bits // 8)

    @cached_property
    def beam_now(self) -> Beam | CandelaCurve:
        """Its beam at the focus it is set to: peak candela, beam and field angle."""
        if self.photometry:
            return curve_at(self.photometry, self.placement.focus)
        return beam_at(self.beam, self.placement.focus)

    def intensity_cd(self, off_axis_deg: float) -> float:
        """Its intensity at full, so far off its axis. [cd]"""
        beam = self.beam_now
        if isinstance(beam, Beam):
            return intensity_cd(beam, off_axis_deg)
        return beam.intensity_cd(off_axis_deg)

    @cached_property
    def steady_output(self) -> float:
        """The lowest light at which it burns steadily, a hair less for rounding. [1]"""
        return 0.999 * self.dimmer.output(self.steady_from) if self.steady_from else 0.0

    @cached_property
    def deepest_stops(self) -> float:
        """The lowest light it holds: the signal's first step, or where it still burns steadily.
        [stop below full]"""
        lowest = max(self.steady_from, 1 / FULL_SCALE[self.bits])
        return min(DEEPEST_STOPS, -log2(self.dimmer.output(lowest)))
