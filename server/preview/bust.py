"""The whole stand-in as one signed distance, and which material is where. [cm]"""

import numpy as np

from server.preview.face import eyeball, skin
from server.preview.hair import hair
from server.preview.scene import StandIn
from server.preview.shapes import Floats, union
from server.preview.torso import garment, torso

SKIN, EYEBALL, HAIR, GARMENT = range(4)
LOW = np.array([-26.1, -46.0, -17.0], np.float32)  # the box that holds the drawing, alike in x
HIGH = np.array([26.1, 15.5, 14.0], np.float32)
_CHUNK = 16384  # points at a time: stays in the processor's cache, which is what makes it fast


def parts(points: Floats, who: StandIn) -> Floats:
    """Distance to each of the four materials, shape (4, n), for points of shape (n, 3). [cm]"""
    # both halves alike (but for the hair), with no crease between them
    side = np.sqrt(points[:, 0] * points[:, 0] + 0.05)
    out = np.empty((4, len(points)), np.float32)
    for start in range(0, len(points), _CHUNK):
        part = slice(start, start + _CHUNK)
        body_x, y, z = side[part], points[part, 1], points[part, 2]
        x, signed_x = body_x / who.face_width, points[part, 0] / who.face_width
        out[SKIN, part] = union(skin(x, y, z, who), torso(body_x, y, z), 2.5)
        out[EYEBALL, part] = eyeball(x, y, z)
        out[HAIR, part] = hair(signed_x, y, z, who)
        out[GARMENT, part] = garment(body_x, y, z, who)
    return out


def distance(points: Floats, who: StandIn) -> Floats:
    """Distance to the nearest surface of any material, shape (n,). [cm]"""
    return parts(points, who).min(axis=0)
