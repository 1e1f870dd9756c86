"""From light to picture: add the frames, expose with the set lens, print in warm grey."""

import io
from collections.abc import Sequence
from functools import lru_cache

import numpy as np
from PIL import Image

from server.errors import OutOfRange

MID_GREY = 0.18
_CONTRAST = 1.22  # slope about middle grey, in stops out per stop in
_SHOULDER = 0.34  # where highlights start to roll off, so that skin at +2 stops still has form
_TABLE = 4096
TABLE_END = 8.0  # reflectance that the table reaches: 5.5 stops over middle grey


def composite(frames: Sequence[np.ndarray], outputs: Sequence[float]) -> np.ndarray:
    """The look: each head's frame times its output, summed, float32. [lx]"""
    if not frames:
        raise ValueError("composite needs at least one frame")
    total = np.zeros(frames[0].shape, np.float32)
    for frame, output in zip(frames, outputs, strict=True):
        if output > 0:
            total += frame.astype(np.float32) * np.float32(output)
    return total


def develop(linear: np.ndarray, lux_for_mid_grey: float) -> np.ndarray:
    """Grey picture, uint8: reflectance 0.18 under `lux_for_mid_grey` prints as sRGB 118.

    References
    ----------
    IEC 61966-2-1 (sRGB): the encoding. The shoulder is ours: a straight curve would clip a lit
    cheek two stops over middle grey.
    """
    return tone_table().take(table_index(linear, lux_for_mid_grey))


def table_index(linear: np.ndarray, lux_for_mid_grey: float) -> np.ndarray:
    """Where in the tables each pixel is looked up: the square root of its reflectance."""
    if not lux_for_mid_grey > 0:
        raise OutOfRange(f"lux_for_mid_grey must be above 0, got {lux_for_mid_grey:g}")
    scaled = np.clip(linear * np.float32(1.0 / (lux_for_mid_grey * TABLE_END)), 0.0, 1.0)
    return (np.sqrt(scaled) * np.float32(_TABLE - 1) + np.float32(0.5)).astype(np.int16)


def table_reflectance() -> np.ndarray:
    """The reflectance that each place of the tables stands for, 0 to TABLE_END."""
    return (np.arange(_TABLE) / (_TABLE - 1)) ** 2 * TABLE_END


@lru_cache(maxsize=1)
def tone_table() -> np.ndarray:
    """What each place prints as, uint8."""
    reflectance = table_reflectance()
    y = MID_GREY * (reflectance / MID_GREY) ** _CONTRAST
    room = 1.0 - _SHOULDER
    rolled = _SHOULDER + room * (1.0 - np.exp(-(y - _SHOULDER) / room))
    y = np.where(y < _SHOULDER, y, rolled)
    return np.floor(255.0 * srgb_encoded(y) + 0.5).astype(np.uint8)


def srgb_encoded(y: np.ndarray) -> np.ndarray:
    """Linear light 0..1 to sRGB 0..1; no unit.

    References
    ----------
    IEC 61966-2-1: 12.92 Y up to 0.0031308, else 1.055 Y**(1/2.4) - 0.055.
    """
    y = np.clip(y, 0.0, 1.0)
    return np.where(y <= 0.0031308, 12.92 * y, 1.055 * y ** (1 / 2.4) - 0.055)


def jpeg(picture: np.ndarray, quality: int = 82, warm: bool = True) -> bytes:
    """The picture as a JPEG file, in a slightly warm print tone or in plain grey."""
    image = Image.fromarray(warm_tones().take(picture, axis=0) if warm else picture)
    file = io.BytesIO()
    image.save(file, "JPEG", quality=quality)
    return file.getvalue()


def resized(picture: np.ndarray, width: int, height: int) -> np.ndarray:
    """The picture at another size, uint8."""
    return np.asarray(Image.fromarray(picture).resize((width, height), Image.Resampling.LANCZOS))


@lru_cache(maxsize=1)
def warm_tones() -> np.ndarray:
    """The print's colour for each grey, (256, 3) uint8."""
    grey = np.arange(256) / 255.0
    lean = np.sin(np.pi * grey)  # black and white stay neutral
    tones = np.stack([grey + 0.004 * lean, grey - 0.012 * lean, grey - 0.042 * lean], -1)
    return np.floor(255.0 * np.clip(tones, 0, 1) + 0.5).astype(np.uint8)


def square_root_planes(frames: Sequence[np.ndarray]) -> tuple[np.ndarray, float]:
    """Frames as 8-bit codes for a browser, and the light of code 255. [lx]

    light = scale * (code / 255)**2: the square root keeps dark steps as fine as the eye needs.
    """
    stack = np.stack([frame.astype(np.float32) for frame in frames])
    scale = float(stack.max())
    if scale <= 0:
        return np.zeros(stack.shape, np.uint8), 1.0
    codes = np.floor(np.sqrt(np.maximum(stack, 0) / scale) * 255.0 + 0.5)
    return codes.astype(np.uint8), scale
