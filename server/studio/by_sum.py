"""The ratio as the sum of key and fill says it, and what the walls make of it.

In a black room lit : shadow is (key + fill) : fill. What the key throws off the walls reaches both
sides, and makes it less.
"""

from dataclasses import dataclass, replace
from math import log2

from server.errors import Refused
from server.studio.figures import MOST_TOLD, outputs_of, ratio_of
from server.studio.light import LightMatrix
from server.studio.reach import with_ratio
from server.studio.rig import Rig
from server.studio.setting import Setting

TELLS_STOPS = 1 / 6
"""A smaller difference between the sum and what is there is not worth a line. [stop]"""


@dataclass(frozen=True)
class BySum:
    """What the sum says, and by how much the fill would have to move for it to be true. [stop]

    `fill_stops` is None where no fill makes it so.
    """

    value: float
    fill_stops: float | None


def by_sum(rig: Rig, matrix: LightMatrix, setting: Setting) -> BySum | None:
    """The ratio without what the keys throw off the walls; None where that makes no difference, or
    where there is no fill."""
    keys = {h.name for h in rig.heads if h.role == "key"}
    bare = {
        point: {
            name: lux - (matrix.bounce.get(point, {}).get(name, 0.0) if name in keys else 0.0)
            for name, lux in row.items()
        }
        for point, row in matrix.at.items()
    }
    none = {point: dict.fromkeys(keys, 0.0) for point in matrix.at}
    outputs = outputs_of(rig, setting)
    real = ratio_of(rig, matrix, outputs).value
    said = ratio_of(rig, replace(matrix, at=bare, bounce=none), outputs).value
    if real is None or said is None or not 1 < said <= MOST_TOLD:
        return None
    if log2(said / real) < TELLS_STOPS:
        return None
    try:
        there = with_ratio(rig, matrix, setting, said, "fill")
    except Refused:
        return None
    fill = next(h for h in rig.heads_of("fill") if setting.of(h) is not None)
    was, now = setting.of(fill), there.setting.of(fill)
    moved = None if there.limited or was is None or now is None else float(was - now)
    return BySum(said, moved)
