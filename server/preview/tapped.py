"""A picture that is looked at for its light: where it was tapped, how its points stand."""

from collections.abc import Mapping
from math import log2

import numpy as np

from server.errors import OutOfRange
from server.preview.develop import jpeg, srgb_encoded
from server.preview.photograph import Photograph
from server.preview.scene import STAND_INS, Scene
from server.studio.rig import Rig

REACH = 3  # so many pixels each way: a finger is no needle
WHITE, BLACK = 0.97, 0.0008
"""Beyond these a print holds no tone any more. Linear, of 1 for white."""

Taps = Mapping[str, tuple[float, float]]
"""Point -> where it was tapped, 0..1 from the upper left."""


def tone_at(picture: Photograph, x: float, y: float) -> float:
    """Mean linear light of a small square about (x, y). [1 for white]

    Raises OutOfRange where the picture is paper white or black: there is no tone to read.
    """
    height, width = picture.linear.shape
    column, row = round(x * (width - 1)), round(y * (height - 1))
    square = picture.linear[
        max(0, row - REACH) : row + REACH + 1, max(0, column - REACH) : column + REACH + 1
    ]
    tone = float(np.asarray(square, np.float64).mean())
    if not BLACK < tone < WHITE:
        colour = "white" if tone >= WHITE else "black"
        raise OutOfRange(f"the picture is plain {colour} there: tap beside it, or skip this point")
    return tone


def tones_of(picture: Photograph, taps: Taps, rig: Rig) -> dict[str, float]:
    """The light at the tapped points, what they are made of taken off. [stop], against white skin

    Skin is alike all over a face. Hair and background are taken to be as light as those of the
    stand-in who is drawn.
    """
    who = STAND_INS[rig.sitter.stand_in]
    on = {p.name: p.on for p in rig.points}
    ground = Scene(who.name, 0.0).background_reflectance
    found = {}
    for name, (x, y) in taps.items():
        if on[name] == "face":
            of_itself = who.skin_reflectance
        else:
            of_itself = who.hair_reflectance if "hair" in name.casefold() else ground
        found[name] = log2(tone_at(picture, x, y) / of_itself)
    return found


def shown(picture: Photograph) -> bytes:
    """The picture as the page shows it: a warm JPEG."""
    grey = np.floor(255 * srgb_encoded(picture.linear) + 0.5)
    return jpeg(grey.astype(np.uint8))
