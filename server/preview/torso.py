"""Shoulders and the plain round-necked garment. [cm]"""

from server.preview.scene import StandIn
from server.preview.shapes import Floats, capsule, carve, ellipsoid, union


def torso(x: Floats, y: Floats, z: Floats) -> Floats:
    """The body under the garment, down to where the picture ends."""
    d = capsule(x, y, z, (0, -11.4, -5.8), (13.6, -19.4, -5.2), 2.7, 3.0)
    d = union(d, capsule(x, y, z, (4, -20.9, -4.3), (15.6, -22.0, -4.5), 4.1, 4.7), 3.0)
    d = union(d, ellipsoid(x, y, z, (0, -31.5, -3.5), (16.5, 13, 9.3)), 4)
    d = union(d, ellipsoid(x, y, z, (0, -22, -6.6), (12, 9, 6.0)), 4)
    return union(d, capsule(x, y, z, (16.8, -22.8, -4.6), (19, -45, -5), 4.3, 4.0), 2)


def garment(x: Floats, y: Floats, z: Floats, who: StandIn) -> Floats:
    """Cloth half a centimetre off the body, open at the neck."""
    d = torso(x, y, z) - 0.5
    opening = ellipsoid(x, y, z, (0, -12.4, 0.2), (6.3 * who.neck_width, 5.9, 9.0))
    return carve(d, opening, 0.4)
