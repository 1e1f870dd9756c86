"""A look mirrored camera left to right, for a sitter who turns the other way."""

from collections.abc import Sequence
from dataclasses import dataclass, replace
from math import log2

from server.errors import Refused
from server.studio.figures import Ratio, outputs_of, ratio_of, sides_of
from server.studio.light import LightMatrix, light_matrix
from server.studio.matching import Wish, matched
from server.studio.rig import Rig
from server.studio.room import Point
from server.studio.setting import Setting, exact_stops

NEAR_M, NEAR_NORMAL = 0.02, 0.1
"""Two points mirror each other when they do so nearly: faces are measured with a tape."""
DARK_WEIGHT = 0.005
REACHED_STOPS = 1 / 6
ROOM_WEIGHT = 0.5


@dataclass(frozen=True)
class Flipped:
    """The mirrored light with the heads there are. `off` are (point, stops) that stay away."""

    setting: Setting
    off: tuple[tuple[str, float], ...]
    was: Ratio
    then: Ratio

    @property
    def reached(self) -> bool:
        """Whether every point is within a sixth of a stop."""
        return all(abs(stops) <= REACHED_STOPS for _, stops in self.off)


def mirror_of(point: Point, points: Sequence[Point]) -> Point | None:
    """The point that lies as this one does on the other side; itself on the middle line."""
    for other in points:
        if (
            other.on == point.on
            and other.receptor == point.receptor
            and abs(other.x + point.x) <= NEAR_M
            and abs(other.y - point.y) <= NEAR_M
            and abs(other.z - point.z) <= NEAR_M
            and abs(other.nx + point.nx) <= NEAR_NORMAL
        ):
            return other
    return None


def flipped(rig: Rig, setting: Setting) -> Flipped:
    """The light mirrored, the face turned the other way, as near as these heads come.

    Bounded least squares counted in stops: each point gets the light of its mirror image, and the
    shadow side that of the other's in the key's shadow.

    Raises Refused when all is dark, or no point on the face has a mirror image.
    """
    was = outputs_of(rig, setting)
    if not any(was.values()):
        raise Refused("all heads are dark: there is no light to turn round")
    here, there = light_matrix(rig, setting.yaw_deg), light_matrix(rig, -setting.yaw_deg)
    pairs = [(p, m) for p in rig.points if (m := mirror_of(p, rig.points)) is not None]
    if not any(p.on == "face" for p, _ in pairs):
        raise Refused("no point on the face has one that mirrors it: add it on the Rig page")
    names = [h.name for h in rig.heads if not h.out]
    wishes = _wishes(rig, here, there, was, pairs, names)
    near = [([DARK_WEIGHT if i == j else 0.0 for j in range(len(names))], 0.0)
            for i in range(len(names))]  # fmt: skip
    found = matched(wishes, near)
    stops = {}
    for name, output in zip(names, found, strict=True):
        lowest = 2.0 ** -rig.head(name).deepest_stops
        stops[name] = exact_stops(min(1.0, output)) if output > lowest else None
    turned = replace(setting.with_stops(stops), yaw_deg=-setting.yaw_deg, origin=None)
    then = outputs_of(rig, turned)
    off = [
        (m.name, log2(max(there.lux(m.name, then) / lux, 2**-12)))
        for p, m in pairs
        if (lux := here.lux(p.name, was)) > 0
    ]
    return Flipped(
        turned,
        tuple((name, stops) for name, stops in off if abs(stops) > 0.05),
        ratio_of(rig, here, was),
        ratio_of(rig, there, then),
    )


def _wishes(
    rig: Rig, here: LightMatrix, there: LightMatrix, was: dict[str, float],
    pairs: Sequence[tuple[Point, Point]], names: Sequence[str],
) -> list[Wish]:  # fmt: skip
    wishes = [
        Wish(
            [there.at[m.name][n] for n in names], there.ambient[m.name], lux,
            1.0 if p.on == "face" else ROOM_WEIGHT,
        )
        for p, m in pairs
        if (lux := here.lux(p.name, was)) > 0
    ]  # fmt: skip
    _, shadow, with_key = sides_of(rig, here, was)
    mirror = mirror_of(shadow, rig.points)
    keys = {h.name for h in rig.heads if h.role == "key"}
    lux = here.lux_in_shadow(shadow.name, was, keys) if with_key else 0.0
    if mirror is not None and lux > 0:
        bounce = there.bounce.get(mirror.name, {})
        row = [bounce.get(n, 0.0) if n in keys else there.at[mirror.name][n] for n in names]
        wishes.append(Wish(row, there.ambient[mirror.name], lux))
    return wishes
