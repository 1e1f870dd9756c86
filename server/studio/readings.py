"""Meter readings: one head alone at one point, or the room's own light there."""

from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass, replace
from datetime import datetime, timedelta
from math import isfinite, log2

from server.errors import OutOfRange
from server.physics.exposure import exact_f_number, lux_for
from server.studio.head import Placement, name_of, number
from server.studio.lamps import LampChange, gained_since
from server.studio.room import Meter

KINDS = ("lux", "ev", "f")
"""What a meter may show: lux, EV at an ISO, or an f-number with tenths at ISO and shutter."""
BY = ("meter", "camera")
"""Who read it: a hand meter, or the camera by a known reading on the same surface."""
METERED_STOPS = 0.1
"""How far one reading is likely to be off: a hand meter shows tenths. [stop]"""
SAME_WITHIN_STOPS = 1 / 4
"""Repeats of the same day that lie within this of the newest are averaged with it: meters and hands
err by a tenth of a stop and more, and two of them apart are no new lamp. [stop]"""
OLDER_WITHIN_STOPS = 1 / 6
SAME_DAY = timedelta(hours=12)
AS_WARM_MIN = 5.0
"""Repeats are averaged when the head had been on about as long, to so many minutes. [min]"""
FAR_STOPS = 1.0
"""A reading of a head farther than this from what was expected is asked about. [stop]"""
FAR_ROOM_STOPS = 2.0
"""The same for the room's own light, which differs more from point to point (common practice).
[stop]"""
DARKEST_LUX = 1.0
"""Below it a hand meter shows nothing that can be trusted (common practice). [lx]"""
FAINTEST = 0.0005
"""A head dimmer than this (11 stops below full) gives no reading worth keeping. [1]"""
FIRST_YEAR, LAST_YEAR = 1970, 2200
LUX = (0.01, 500_000.0)


@dataclass(frozen=True)
class Reading:
    """What the meter said. `head` empty: the room's own light, all heads dark.

    `lux` is the reading itself; `output` the light the head gave meanwhile, as a fraction of
    full; `shaded`: the meter was shaded from the head, so that only its bounce was read.
    """

    point: str
    head: str
    lux: float
    output: float
    at: datetime
    placement: Placement | None = None
    yaw_deg: float = 0.0
    receptor: str = "flat"
    shaded: bool = False
    minutes_on: float | None = None
    """How long the head had been on; None when that is not known. [min]"""
    by: str = "meter"

    def __post_init__(self) -> None:
        name_of("point of a reading", self.point)
        if self.head:
            name_of("head of a reading", self.head)
        number("lux", self.lux, 0, LUX[1])
        number("output", self.output, FAINTEST if self.head else 0, 1)
        number("yaw_deg", self.yaw_deg, -180, 180)
        if self.receptor not in ("flat", "dome"):
            raise OutOfRange(f"receptor must be flat or dome, got {self.receptor!r:.40}")
        if self.by not in BY:
            raise OutOfRange(f"by must be meter or camera, got {self.by!r:.40}")
        if self.by == "camera" and not self.head:
            raise OutOfRange("by camera: only a head's light is told so, and no head is named")
        if self.head and self.placement is None:
            raise OutOfRange(f"a reading of {self.head} needs the head's placement")
        if self.shaded and not self.head:
            raise OutOfRange("only a head can be shaded from the meter")
        if self.minutes_on is not None:
            number("minutes_on", self.minutes_on, 0, 100_000)
        if self.at.tzinfo is None:
            raise OutOfRange("a reading needs its moment with a time zone")
        if not FIRST_YEAR <= self.at.year <= LAST_YEAR:
            raise OutOfRange(
                f"a reading's year must lie in {FIRST_YEAR}..{LAST_YEAR}, got {self.at.year}"
            )

    @property
    def pair(self) -> tuple[str, str, bool]:
        """What it is a reading of."""
        return self.point, self.head, self.shaded


def lux_of_meter(
    kind: str,
    value: float,
    *,
    meter: Meter,
    receptor: str,
    iso: float = 100.0,
    shutter_s: float = 1 / 125,
    tenths: float = 0.0,
) -> float:
    """What a meter shows, as illuminance. [lx]

    E = C * 2**EV / S;   N**2 / t = E * S / C, N = marked f-number times 2**(tenths / 20)

    Parameters
    ----------
    kind : str
        "lux", "ev" (EV at `iso`) or "f" (f-number at `iso` and `shutter_s`).
    value : float
        The number shown; 0 lux where it is too dark for the meter.
    meter : Meter
        Its constants. [lx s]
    receptor : str
        "flat" or "dome".
    iso, shutter_s : float
        What the meter is set to. [s]
    tenths : float
        Tenths of a stop beside the f-number. 0..9

    Raises
    ------
    OutOfRange
        A number no meter shows; the sentence says what it may have been.

    References
    ----------
    ISO 2720:1974 (C); the tenths digit of hand meters: common practice.
    """
    if kind not in KINDS:
        raise OutOfRange(f"kind must be lux, ev or f, got {kind!r:.20}")
    if not isfinite(value):
        raise OutOfRange(f"value must be a number, got {value!r}")
    constant = meter.c_flat if receptor == "flat" else meter.c_dome
    number("iso", iso, 1, 1_000_000)
    if kind == "lux":
        if value != 0 and not LUX[0] <= value <= LUX[1]:
            raise OutOfRange(
                f"lux must lie in {LUX[0]:g}..{LUX[1]:g}, or be 0 for too dark, got {value:g}"
            )
        return value
    if kind == "ev":
        if not -6 <= value <= 24:
            raise OutOfRange(f"EV must lie in -6..24, got {value:g}: is it lux, or an f-number?")
        return float(constant * 2.0**value / iso)
    if not 0.5 <= value <= 128:
        raise OutOfRange(f"an f-number must lie in 0.5..128, got {value:g}: is it lux?")
    if not 0 <= tenths <= 9:
        raise OutOfRange(f"tenths must lie in 0..9, got {tenths:g}")
    number("shutter_s", shutter_s, 1e-5, 3600)
    return lux_for(exact_f_number(value) * 2 ** (tenths / 20), iso, shutter_s, constant)


@dataclass(frozen=True)
class Metered:
    """What the readings of one pair come to: light at full, where it was read, how well it agrees.

    `spread_stops` is the range of the repeats that count, 0 for a single one.
    """

    newest: Reading
    lux_full: float
    count: int
    spread_stops: float


def by_pair(readings: Iterable[Reading]) -> dict[tuple[str, str, bool], list[Reading]]:
    """The readings of each pair, in the order they come."""
    found: dict[tuple[str, str, bool], list[Reading]] = {}
    for reading in readings:
        found.setdefault(reading.pair, []).append(reading)
    return found


def metered(
    readings: Iterable[Reading], ambient: Mapping[str, float], lamps: Sequence[LampChange] = ()
) -> dict[tuple[str, str, bool], Metered]:
    """What has been read of each pair; the room's own light there is taken off. [lx at full]

    The newest reading counts, averaged in stops with earlier ones of the same placement that agree
    with it. A reading of an earlier lamp counts as the lamp that is in now would read.
    """
    found = {}
    of_heads = (r for r in sorted(readings, key=lambda r: r.at) if r.head)
    for pair, repeats in by_pair(of_heads).items():
        newest = repeats[-1]
        last = light_at_full(newest, ambient) * gained_since(lamps, newest.head, newest.at)
        if last <= 0:
            found[pair] = Metered(newest, 0.0, 1, 0.0)
            continue
        near = [
            value
            for r in repeats
            if (value := light_at_full(r, ambient) * gained_since(lamps, r.head, r.at)) > 0
            and _agrees(r, newest)
            and abs(log2(value / last)) <= _within_stops(r, newest)
        ]
        mean = 2.0 ** (sum(log2(v) for v in near) / len(near))
        spread = log2(max(near) / min(near))
        found[pair] = Metered(newest, mean, len(near), spread)
    return found


def _agrees(a: Reading, b: Reading) -> bool:
    """Whether two readings are of the same: head, sitter and warmth; and by the meter, since the
    camera says the same again as often as it is asked."""
    metered = a is b or a.by == b.by == "meter"
    return metered and a.placement == b.placement and a.yaw_deg == b.yaw_deg and as_warm(a, b)


def _within_stops(older: Reading, newest: Reading) -> float:
    today = newest.at - older.at < SAME_DAY
    return SAME_WITHIN_STOPS if today else OLDER_WITHIN_STOPS


def as_warm(a: Reading, b: Reading) -> bool:
    """Whether two readings of a head were taken about equally warm, as far as is known."""
    if a.minutes_on is None or b.minutes_on is None:
        return True
    return abs(a.minutes_on - b.minutes_on) <= AS_WARM_MIN


def light_at_full(reading: Reading, ambient: Mapping[str, float]) -> float:
    """What a reading says of its head at full, the room's own light taken off. [lx]"""
    return max(0.0, reading.lux - ambient.get(reading.point, 0.0)) / reading.output


def ambient_read(readings: Iterable[Reading]) -> dict[str, float]:
    """The room's own light at each point where it was read, the newest reading. [lx]"""
    return {r.point: r.lux for r in sorted(readings, key=lambda r: r.at) if not r.head}


def renamed_heads(readings: Iterable[Reading], names: Mapping[str, str]) -> tuple[Reading, ...]:
    """The same readings after heads got other names (old name -> new name)."""
    return tuple(replace(r, head=names.get(r.head, r.head)) for r in readings)
