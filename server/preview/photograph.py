"""A photograph as linear light: read, decoded, made as large as a face, and its exposure known."""

import io
import warnings
from dataclasses import dataclass

import numpy as np
from PIL import ExifTags, Image, ImageOps, UnidentifiedImageError

from server.errors import OutOfRange, Refused
from server.physics.exposure import exact_f_number, lux_for

WIDTH, HEIGHT = 320, 400
LARGEST_PIXELS = 80_000_000
STRIP = 256
FORMATS = ("JPEG", "TIFF", "PNG")
RAW = (".dng", ".nef", ".cr2", ".cr3", ".arw", ".raf", ".rw2", ".orf", ".pef")
CLIPPED_SHARE, CLIPPED_AT = 0.005, 0.98
DARK_AT = 0.004
"""The brightest twentieth of a frame must lie above this, of 1 for white."""
LUMINANCE = np.array([0.2126, 0.7152, 0.0722], np.float32)  # IEC 61966-2-1 primaries (BT.709)


@dataclass(frozen=True)
class Exposure:
    """What the camera was set to."""

    f_number: float
    shutter_s: float
    iso: float


@dataclass(frozen=True, eq=False)
class Photograph:
    """Linear luminance, 1 for white, float32 (400, 320); exposure where the file tells it."""

    name: str
    linear: np.ndarray
    exposure: Exposure | None
    original: tuple[int, int]


def read_photograph(name: str, data: bytes, *, finished: bool = False) -> Photograph:
    """Read a frame: JPEG, TIFF, PNG, or a camera's raw file where `rawpy` is installed.

    A finished picture may hold paper white and deep black; in a frame that light is measured by
    they are refused.

    Raises
    ------
    OutOfRange
        Not such a file, broken, or absurdly large; the message names the frame.

    References
    ----------
    IEC 61966-2-1 (sRGB decoding); Exif 2.32 (ExposureTime, FNumber, PhotographicSensitivity).
    """
    reader = _read_raw if name.lower().endswith(RAW) else _read_picture
    light, clipped, exposure = reader(name, data)
    height, width = light.shape
    if min(width, height) < 200:
        raise OutOfRange(f"{name}: {width} x {height} pixels are too few; at least 200 each way")
    if not finished:
        _refuse_clipped(name, clipped)
    linear = _as_large_as_a_face(light)
    if not finished and float(np.percentile(linear, 95)) < DARK_AT:
        raise OutOfRange(f"{name}: too dark to be used; expose longer, or bring the head up")
    return Photograph(name, linear, exposure, (width, height))


Read = tuple[np.ndarray, float, Exposure | None]
"""Linear luminance (height, width), the share of it that is clipped, the exposure."""


def _read_picture(name: str, data: bytes) -> Read:
    try:
        with warnings.catch_warnings():
            warnings.simplefilter("error", Image.DecompressionBombWarning)
            picture = Image.open(io.BytesIO(data), formats=FORMATS)
            if picture.width * picture.height > LARGEST_PIXELS:
                raise OutOfRange(f"{name}: more than {LARGEST_PIXELS // 10**6} million pixels")
            exposure = _exposure(picture)
            return *_luminance(ImageOps.exif_transpose(picture)), exposure
    except (UnidentifiedImageError, Image.DecompressionBombError, Image.DecompressionBombWarning,
            OSError, SyntaxError, ValueError) as error:  # fmt: skip
        raise OutOfRange(f"{name}: no JPEG, TIFF or PNG that can be read ({error})") from None


def _luminance(picture: Image.Image) -> tuple[np.ndarray, float]:
    """Linear luminance, and the share of it that is clipped. Strip by strip: a large picture in
    floats, three colours at once, would take gigabytes."""
    width, height = picture.size
    light, clipped = np.empty((height, width), np.float32), 0
    for top in range(0, height, STRIP):
        strip = _linear(picture.crop((0, top, width, min(height, top + STRIP))))
        light[top : top + len(strip)] = strip @ LUMINANCE
        clipped += int((strip.max(axis=2) >= CLIPPED_AT).sum())
    return light, clipped / light.size


def _linear(picture: Image.Image) -> np.ndarray:
    """Linear light 0..1, float32 (height, width, 3)."""
    if picture.mode.startswith("I"):
        coded = np.asarray(picture, np.float32) / 65535.0
        coded = np.repeat(coded[:, :, None], 3, axis=2)
    else:
        coded = np.asarray(picture.convert("RGB"), np.float32) / 255.0
    return srgb_decoded(coded)


def srgb_decoded(coded: np.ndarray) -> np.ndarray:
    """sRGB 0..1 to linear light 0..1; no unit.

    References
    ----------
    IEC 61966-2-1: C / 12.92 up to 0.04045, else ((C + 0.055) / 1.055)**2.4.
    """
    coded = np.clip(coded, 0.0, 1.0)
    bright = ((coded + 0.055) / 1.055) ** 2.4
    return np.where(coded <= 0.04045, coded / 12.92, bright).astype(np.float32)


def _read_raw(name: str, data: bytes) -> Read:
    try:
        import rawpy
    except ImportError:
        raise Refused(
            f"{name}: raw files need the package rawpy: install it with"
            " .venv/bin/pip install -e '.[raw]', or use JPEG"
        ) from None
    try:
        with rawpy.imread(io.BytesIO(data)) as raw:
            rgb = raw.postprocess(gamma=(1, 1), no_auto_bright=True, output_bps=16)
    except Exception as error:  # of its own kinds, some of them not of Exception's usual family
        raise OutOfRange(f"{name}: this raw file cannot be read ({error})") from None
    exposure = None
    try:
        exposure = _exposure(Image.open(io.BytesIO(data)))
    except (UnidentifiedImageError, OSError):
        exposure = None  # then it is asked for
    linear = rgb.astype(np.float32) / 65535.0
    return linear @ LUMINANCE, float((linear.max(axis=2) >= CLIPPED_AT).mean()), exposure


def _exposure(picture: Image.Image) -> Exposure | None:
    tags = dict(picture.getexif())
    tags |= picture.getexif().get_ifd(ExifTags.IFD.Exif)
    try:
        iso = tags[ExifTags.Base.ISOSpeedRatings]
        found = Exposure(
            float(tags[ExifTags.Base.FNumber]),
            float(tags[ExifTags.Base.ExposureTime]),
            float(iso[0] if isinstance(iso, tuple) else iso),
        )
    except (KeyError, TypeError, ValueError, ZeroDivisionError, IndexError):
        return None
    return found if min(found.f_number, found.shutter_s, found.iso) > 0 else None


def _refuse_clipped(name: str, share: float) -> None:
    if share > CLIPPED_SHARE:
        raise OutOfRange(
            f"{name}: {share:.0%} of it is clipped white, so its light is not known; expose less"
        )


def _as_large_as_a_face(light: np.ndarray) -> np.ndarray:
    """The middle of the frame, four by five, averaged down."""
    height, width = light.shape
    across = min(width, round(height * WIDTH / HEIGHT))
    down = min(height, round(width * HEIGHT / WIDTH))
    left, top = (width - across) // 2, (height - down) // 2
    middle = Image.fromarray(np.ascontiguousarray(light[top : top + down, left : left + across]))
    return np.asarray(middle.resize((WIDTH, HEIGHT), Image.Resampling.BOX), np.float32)


def scene_light(photograph: Photograph, exposure: Exposure, constant: float) -> np.ndarray:
    """Reflectance times illuminance that made the frame. [lx]

    A middle grey exposed as the incident meter says comes out at 0.18:
    light = linear * C N**2 / (S t)
    """
    marked = exact_f_number(exposure.f_number)
    lux = lux_for(marked, exposure.iso, exposure.shutter_s, constant)
    return photograph.linear * np.float32(lux)
