"""Figures as the trade writes them: thirds, stops, shutter times. Text only, no decisions."""

import re
from datetime import datetime
from math import log2

from server.errors import OutOfRange
from server.physics.exposure import F_MARKS, nearest_f_stop
from server.studio.figures import ADVISE_BEYOND_STOPS, LensAdvice, about
from server.studio.head import Placement
from server.studio.mix import VULGAR
from server.studio.rig import Lens
from server.studio.side_words import point_words as point_words
from server.studio.tape import length_words
from server.studio.way_words import FRACTIONS

HALF_A_THIRD = 0.5
LONGEST_BARE_S = 30.0
"""Above this a bare number is more likely meant as a part of a second."""


def stops_words(thirds: float | None) -> str:
    """Whole stops and thirds, the nearest: `1⅓`; `0` for less than half a third. [third, >= 0]"""
    if thirds is None:
        return ""
    whole, rest = divmod(int(thirds + HALF_A_THIRD), 3)
    return f"{whole or ''}{VULGAR[rest]}" or "0"


def lux_words(lux: float) -> str:
    """Three figures that count, never with an exponent: `2120 lux`."""
    if lux >= 1000:
        return f"{float(f'{lux:.3g}'):.0f} lux"
    return f"{lux:.3g} lux"


def ago_words(moment: datetime, now: datetime) -> str:
    """How long ago: `just now`, `12 min ago`, `3 h ago`, `on 01 May`."""
    minutes = (now - moment).total_seconds() / 60
    if minutes < 1:
        return "just now"
    if minutes < 90:
        return f"{minutes:.0f} min ago"
    if minutes < 18 * 60:
        return f"{minutes / 60:.0f} h ago"
    return f"on {moment.astimezone():%d %b %Y}"


def shutter_words(seconds: float) -> str:
    """`1/125` below a second's third, `0.5 s` above."""
    if seconds < 0.3:
        return f"1/{round(1 / seconds)}"
    return f"{seconds:g} s"


def yaw_words(yaw_deg: float) -> str:
    """Where the nose points, as it is said to the sitter's photographer."""
    if abs(yaw_deg) < 3:
        return "full face"
    return f"face {abs(yaw_deg):.0f}° to camera {'right' if yaw_deg > 0 else 'left'}"


def place_words(placement: Placement, units: str = "m") -> str:
    """Where a head stands, as one would call it across the room."""
    azimuth = placement.azimuth_deg
    if azimuth == 0:
        where = "on the camera line"
    elif abs(azimuth) == 180:
        where = "straight behind the sitter"
    else:
        where = f"{abs(azimuth):g}° camera {'right' if azimuth > 0 else 'left'}"
    rise = placement.rise_m
    height = "at eye height" if rise == 0 else (
        f"{length_words(abs(rise), units)} {'above' if rise > 0 else 'below'} the eyes"
    )  # fmt: skip
    return f"{length_words(placement.distance_m, units)}, {where}, {height}"


def seconds_of(text: str) -> float:
    """A shutter time as it is typed, `1/125`, `0.5` or `125 s`. [s]"""
    plain = text.strip().replace(",", ".")
    number = plain.removesuffix("s").rstrip()
    top, slash, bottom = number.partition("/")
    try:
        seconds = float(top) / float(bottom) if slash else float(top)
    except (ValueError, ZeroDivisionError):
        raise OutOfRange(f"shutter must be like 1/125 or 0.5 (seconds), got {text!r:.40}") from None
    if seconds > LONGEST_BARE_S and not slash and number == plain:
        raise OutOfRange(f"shutter {plain}: write 1/{seconds:g} or {seconds:g} s")
    return seconds


def f_words(f_number: float) -> str:
    """An f-number as it was set: the ring's mark where it is one, else the number itself."""
    mark = next((m for m in F_MARKS if abs(float(m) - f_number) < 1e-9), f"{f_number:.3g}")
    return f"f/{mark}"


def look_lens_words(lens: Lens, exact_f_number: float | None) -> str:
    """The lens of a look: as it was set while that was right, else the mark nearest to what its
    lit side reads; empty for a dark look."""
    if not exact_f_number:
        return ""
    off = abs(2 * log2(exact_f_number / lens.exact_f_number))
    return f_words(lens.f_number) if off <= ADVISE_BEYOND_STOPS else (
        nearest_f_stop(exact_f_number).label)  # fmt: skip


def advice_words(lens: LensAdvice) -> str:
    """`set f/6.3`, or `set about f/6.3` where that is reckoned; empty without advice."""
    if not lens.advice or not lens.nearest:
        return ""
    return f"set {about(lens.nearest.label, lens.source)}"


def sixths_words(stops: float) -> str:
    """A small difference to the nearest sixth of a stop, without its sign: `1⅓`, `⅙`; `0` when
    it is less than half of one."""
    whole, rest = divmod(round(6 * abs(stops)), 6)
    return f"{whole or ''}{FRACTIONS[rest]}" or "0"


def name_now(name: str, ratio: str) -> str:
    """A look's name without the figures it was kept with, where they hold no longer: what stands
    beside it says what they are now."""
    kept = re.search(r" · (\d[\d.]*:1) · f/[\d.]+$", name)
    return name[: kept.start()] if kept and kept[1] != ratio else name
