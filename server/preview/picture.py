"""Finished pictures: a portrait under one light, in zones, or two lights side by side."""

from collections.abc import Mapping
from dataclasses import dataclass

import numpy as np

from server.preview.develop import MID_GREY, develop, jpeg, resized
from server.preview.portrait import Portrait
from server.preview.zoned import zone_picture


@dataclass(frozen=True)
class Exposure:
    """One light as the set lens sees it: outputs by head, and the lux that print middle grey."""

    outputs: Mapping[str, float]
    mid_grey_lux: float


def face(portrait: Portrait, light: Exposure, *, zones: bool = False) -> bytes:
    """A JPEG of the face."""
    return jpeg(_printed(portrait, light, zones))


def split_face(left: tuple[Portrait, Exposure], right: tuple[Portrait, Exposure]) -> bytes:
    """A JPEG whose camera-left half is one light and whose camera-right half is another."""
    picture = _printed(*left).copy()
    other = _printed(*right)
    if other.shape != picture.shape:  # one is drawn more finely
        other = resized(other, picture.shape[1], picture.shape[0])
    middle = picture.shape[1] // 2
    picture[:, middle:] = other[:, middle:]
    picture[:, middle - 1 : middle + 1] = 0  # a fine line tells where one ends
    return jpeg(picture)


def _printed(portrait: Portrait, light: Exposure, zones: bool = False) -> np.ndarray:
    linear = portrait.lit(light.outputs)
    make = zone_picture if zones else develop
    return make(linear, light.mid_grey_lux)


def all_lit(portrait: Portrait) -> bytes:
    """JPEG of a face with every head at full, exposed so that it is well seen."""
    light = portrait.lit(dict.fromkeys(portrait.frames, 1.0))
    return jpeg(develop(light, max(float(np.percentile(light, 75)) / MID_GREY, 1e-6)))
