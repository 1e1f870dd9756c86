"""Figures as the trade writes them: thirds, stops, shutter times. Text only, no decisions."""

from server.errors import OutOfRange
from server.studio.head import Placement
from server.studio.mix import VULGAR


def stops_words(thirds: float | None) -> str:
    """Whole stops and thirds, rounded down: `1⅓`, `½`-free; `0` when less than a third is left."""
    if thirds is None:
        return ""
    whole, rest = divmod(int(thirds + 1e-6), 3)
    return f"{whole or ''}{VULGAR[rest]}" or "0"


def lux_words(lux: float) -> str:
    """Three figures that count, never with an exponent: `2120 lux`."""
    if lux >= 1000:
        return f"{float(f'{lux:.3g}'):.0f} lux"
    return f"{lux:.3g} lux"


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


def place_words(placement: Placement) -> str:
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
        f"{abs(rise):g} m {'above' if rise > 0 else 'below'} the eyes")  # fmt: skip
    return f"{placement.distance_m:g} m, {where}, {height}"


def seconds_of(text: str) -> float:
    """A shutter time as it is typed, `1/125` or `0.5`. [s]"""
    top, slash, bottom = text.replace(",", ".").partition("/")
    try:
        return float(top) / float(bottom) if slash else float(top)
    except (ValueError, ZeroDivisionError):
        raise OutOfRange(f"shutter must be like 1/125 or 0.5 (seconds), got {text!r:.40}") from None
