"""The lighting pattern's name, read from the nose shadow that the keys cast.

The names overlap in angle (reference texts give loop 20 to 50, Rembrandt 45 to 60 degrees) and
the shape of the face matters, so the shadow decides: on the far cheek, light cut off from the mouth
and jaw is the closed triangle of Rembrandt; light that runs on is loop; no light is split.
"""

from collections.abc import Sequence
from math import atan2, cos, degrees, hypot, radians, sin
from pathlib import Path

from server.preview.chart import chart_of, read_shadow
from server.preview.light import at_mark
from server.preview.scene import Source
from server.studio.pattern import Pattern

_ROUND_THE_HEAD = ("flat", "butterfly", "loop", "Rembrandt", "split", "rim")  # as the key moves
_NEAR_DEG = 4.0  # a name that changes within this turn of the keys is "between"
_SIDE_FROM_DEG = 8.0  # a face turned less is full face: neither broad nor short
_REMBRANDT_FROM_DEG = 10.0  # elevation under which no triangle is claimed


def pattern_of(
    yaw_deg: float,
    sources: Sequence[Source],
    weights: Sequence[float],
    folder: Path | None = None,
) -> Pattern:
    """Name what the keys do on a face turned by `yaw_deg`.

    `weights` are the keys' outputs; several keys are summed by them. `folder` keeps the sampled
    drawing for the next process.

    References
    ----------
    Patterns by nose shadow and azimuth from the nose: as taught (Navy training course 14209,
    pp. 7-9 to 7-11; Army SS05100028). Broad and short by the turned side: ibid.
    """
    strength = [w * at_mark(s) for s, w in zip(sources, weights, strict=True)]
    if sum(strength) <= 0:
        return Pattern("none")
    azimuth, elevation = _from_nose(yaw_deg, sources, strength)
    name = _name(yaw_deg, sources, weights, azimuth, elevation, folder)
    between = None
    for turn in (-_NEAR_DEG, _NEAR_DEG):
        # turning the face by -turn moves the keys by +turn around it
        other = _name(yaw_deg - turn, sources, weights, azimuth + turn, elevation, folder)
        if other != name:
            first, second = sorted((name, other), key=_ROUND_THE_HEAD.index)
            between = (first, second)
            break
    side = ""
    if abs(yaw_deg) >= _SIDE_FROM_DEG and name in ("loop", "Rembrandt", "split"):
        side = "short" if azimuth * yaw_deg > 0 else "broad"
    return Pattern(name, side, between)


def _from_nose(
    yaw_deg: float, sources: Sequence[Source], strength: Sequence[float]
) -> tuple[float, float]:
    """Azimuth from the nose axis and elevation of the keys together. [deg]"""
    x = y = z = 0.0
    for source, lux in zip(sources, strength, strict=True):
        distance = hypot(*source.position_m)
        x += lux * source.position_m[0] / distance
        y += lux * source.position_m[1] / distance
        z += lux * source.position_m[2] / distance
    yaw = radians(yaw_deg)
    across, ahead = x * cos(yaw) - z * sin(yaw), x * sin(yaw) + z * cos(yaw)
    return degrees(atan2(across, ahead)), degrees(atan2(y, hypot(x, z)))


def _name(
    yaw_deg: float,
    sources: Sequence[Source],
    weights: Sequence[float],
    azimuth: float,
    elevation: float,
    folder: Path | None,
) -> str:
    lit_side = 1.0 if azimuth >= 0 else -1.0
    seen = read_shadow(chart_of(folder), yaw_deg, sources, weights, lit_side)
    if seen.face_lit < 0.10:
        return "rim"
    if seen.cheek_lit < 0.10:
        return "split"
    if seen.island_closed:
        if elevation >= _REMBRANDT_FROM_DEG:
            return "Rembrandt"
        # a low lamp cuts the cheek off sideways: no triangle, so the lit share decides
        return "split" if seen.cheek_lit < 0.35 else "loop"
    if abs(seen.nose_shadow_off_cm) < 0.28:
        return "butterfly" if seen.nose_shadow > 0.10 else "flat"
    return "loop"
