"""A place of the picture as a spot: how much of its light each head gives."""

import numpy as np

from server.preview.portrait import Portrait
from server.preview.subject import AMBIENT
from server.studio.spot import Spot

_REACH = 2  # so many pixels each way: a finger is no needle


def spot_at(portrait: Portrait, x: float, y: float) -> Spot:
    """The mean of a small square about (x, y), 0..1 from the upper left. [lx times reflectance]"""
    height, width = next(iter(portrait.frames.values())).shape
    column, row = round(x * (width - 1)), round(y * (height - 1))
    square = np.s_[
        max(0, row - _REACH) : row + _REACH + 1, max(0, column - _REACH) : column + _REACH + 1
    ]
    light = {
        name: float(np.asarray(frame[square], np.float64).mean())
        for name, frame in portrait.frames.items()
    }
    return Spot(light, light.pop(AMBIENT, 0.0))
