"""The stand-in's hair: a layer that grows out of the scalp from a soft hairline. [cm]

Unlike the rest of the drawing it may differ from side to side: x is signed here. A parting on one
side, with the hair swept across to the other, keeps the head from looking like a mould.
"""

import numpy as np

from server.preview.face import cranium
from server.preview.scene import StandIn
from server.preview.shapes import Floats, capsule, carve, ellipsoid, intersection, ramp, union

PARTING_X = -2.9


def hairline(x: Floats, y: Floats, z: Floats, who: StandIn) -> Floats:
    """How far inside the hair a point of the scalp is: 0 on the hairline, negative on the face."""
    side = np.sqrt(x * x + 0.05)
    swept = y + 0.11 * who.parting * np.clip(x, -6.0, 6.0)  # lower where the hair falls across
    forehead = ellipsoid(side, swept, z, (0, 0.6, 9.8), (7.6, 6.8, 7.2))
    temple = ellipsoid(side, swept, z, (5.4, 2.2, 5.2), (2.2, 3.0, 2.5))
    cheek = ellipsoid(side, y, z, (0, -6.0, 6.6), (9.5, 8.2, 6.6))
    ear = ellipsoid(side, y, z, (7.6, -2.8, 0.0), (3.4, 3.7, 2.7))
    open_skin = union(union(union(forehead, temple, 5.0), cheek, 3.5), ear, 1.0)
    above_nape = y + 6.0 + 0.25 * z
    return union(open_skin, above_nape, 0.8)


def hair(x: Floats, y: Floats, z: Floats, who: StandIn) -> Floats:
    """All of the hair."""
    side = np.sqrt(x * x + 0.05)
    depth = hairline(x, y, z, who)
    top = ramp(1.0, 9.5, y)
    lean = 1.0 + 0.22 * who.parting * np.clip(x / 6.0, -1.0, 1.0)
    volume = who.hair_volume * (0.7 + 0.75 * top * lean)
    grown = 1.0 - np.exp(-np.maximum(depth, 0.0) / 2.0)
    # on the face the layer dives under the skin, or the hollows of the eyes would show it
    thickness = volume * grown - 0.12 - 0.6 * np.maximum(-0.3 - depth, 0.0)
    if who.parting:
        groove = np.exp(-(((x - PARTING_X) / 0.38) ** 2)) * ramp(6.0, 9.5, y) * ramp(-4.0, 0.0, z)
        thickness -= 0.32 * who.parting * groove
    short = cranium(side, y, z) - thickness
    if who.hair_length <= 0:
        return short
    return union(short, _falling(side, y, z, who), 3.0)


def _falling(x: Floats, y: Floats, z: Floats, who: StandIn) -> Floats:
    """Hair that covers the ears and falls to the jaw: a bell, open in front."""
    end = -3.0 - 7.5 * who.hair_length
    d = ellipsoid(x, y, z, (0, -1.5, -2.2), (8.9, 14.0, 8.4))
    d = carve(d, ellipsoid(x, y, z, (0, -3.0, 9.6), (7.3, 13.0, 9.4)), 1.6)
    d = carve(d, capsule(x, y, z, (0, -8.0, 1.5), (0, -20.0, 0.5), 5.2, 5.6), 1.5)
    return intersection(d, end - y - 0.1 * z, 2.4)
