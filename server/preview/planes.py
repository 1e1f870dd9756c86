"""One portrait as a file for a browser, which then composes the face itself at every change.

First line: JSON that tells the size, the turn of the face and, a head each, name and scale. Then a
plane of bytes a head, row by row: light = scale * (code / 255)**2. Then three tables, looked up at
round(4095 * sqrt(reflectance / table_end)): red, green and blue of the print, the zone, and,
per zone, grey and its mark (server/preview/zoned.py).
"""

import gzip
import json

import numpy as np

from server.preview.develop import TABLE_END, square_root_planes, tone_table, warm_tones
from server.preview.portrait import Portrait
from server.preview.zoned import zone_table, zone_tones

_LEVEL = 6


def planes_file(portrait: Portrait) -> bytes:
    """The file, gzipped."""
    planes, told = [], []
    for name, frame in portrait.frames.items():
        codes, scale = square_root_planes([frame])
        planes.append(codes.tobytes())
        told.append({"name": name, "scale": scale})
    height, width = next(iter(portrait.frames.values())).shape
    head = {
        "width": width,
        "height": height,
        "yaw_deg": portrait.yaw_deg,
        "heads": told,
        "table_end": TABLE_END,
    }
    tones = np.ascontiguousarray(warm_tones()[tone_table()].T)
    tables = (tones, zone_table(), zone_tones())
    body = [json.dumps(head).encode() + b"\n", *planes, *(t.tobytes() for t in tables)]
    return gzip.compress(b"".join(body), _LEVEL, mtime=0)
