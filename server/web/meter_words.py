"""What stands on a hand meter, and what is asked about a reading, in words."""

from math import ceil, log2

from server.physics.exposure import F_MARKS, f_number_for
from server.studio.metering import far_stops
from server.studio.readings import DARKEST_LUX, FAR_ROOM_STOPS, FAR_STOPS, Reading
from server.studio.room import Meter
from server.studio.touched import Pair
from server.web.forms import number
from server.web.meter_kept import Kept
from server.web.words import lux_words, point_words, seconds_of

THIRDS, TENTHS = 3, 10
"""Of a stop."""
TOO_DARK = "too dark to read"
FACES_CAMERA_DEG = 0.5


def meter_words(lux: float, kept: Kept, meter: Meter, receptor: str) -> str:
    """What the meter shows as it is set: lux, EV, or the f-number as hand meters count it, tenths
    of a stop up from the whole stop below. `f/5.6 and 4 tenths at ISO 400, 1/125`

    Lux where it is darker or brighter than whole stops are marked for.
    """
    if lux <= 0:
        return TOO_DARK
    constant = meter.c_flat if receptor == "flat" else meter.c_dome
    iso = number({"iso": kept.iso}, "iso")
    if kept.kind == "ev":
        return f"EV {log2(lux * iso / constant):.1f} at ISO {iso:g}".replace("-", "−")
    if kept.kind == "f":
        stops = 2 * log2(f_number_for(lux, iso, seconds_of(kept.shutter), constant))
        whole, tenths = divmod(round(TENTHS * stops), TENTHS)
        if 0 <= THIRDS * whole < len(F_MARKS):
            mark = f_and_tenths(F_MARKS[THIRDS * whole], tenths)
            return f"{mark} at ISO {iso:g}, {kept.shutter}"
    return lux_words(lux)


def f_and_tenths(mark: str, tenths: int) -> str:
    """`f/5.6 and 1 tenth`, `f/8`."""
    return f"f/{mark}" + (f" and {tenths} tenth{'s' if tenths > 1 else ''}" if tenths else "")


def expected_words(lux: float, kept: Kept, meter: Meter, receptor: str) -> str:
    """What the meter should show; empty where nothing tells."""
    if lux <= 0:
        return ""
    if lux < DARKEST_LUX:
        return f"hardly anything, {lux_words(lux)}"
    return f"about {meter_words(lux, kept, meter, receptor)}"


def typed_words(kept: Kept, value: str, tenths: str, dark: bool) -> str:
    """What was typed, as the key says that keeps it."""
    if dark:
        return f"“{TOO_DARK}”"
    if kept.kind == "f":
        return f_and_tenths(value, int(tenths) if tenths.isdecimal() else 0)
    return f"EV {value}" if kept.kind == "ev" else f"{value} lux"


def pair_name(pair: Pair) -> str:
    """`Key at cheek camera right, shaded`; `The room’s own light at hair`."""
    point, head, shaded = pair
    return f"{head or 'The room’s own light'} at {point_words(point)}{', shaded' if shaded else ''}"


def far_words(reading: Reading, expected_lux: float, unit: str = "", most_lux: float = 0.0) -> str:
    """What is asked when a reading is far from what was expected, or more than can well be; empty
    when it is near.

    `unit` is another unit in which the number typed would have been near.
    """
    off = far_stops(reading.lux, expected_lux)
    far = FAR_STOPS if reading.head else FAR_ROOM_STOPS
    name = pair_name((reading.point, reading.head, False))
    if reading.shaded or abs(off) <= far:
        return _more_words(reading, name, most_lux)
    way = "over" if off > 0 else "under"
    if unit:
        return (
            f"{name} would be {abs(off):.1f} stops {way} what is expected; typed as {unit} it would"
            " fit. Is the unit right?"
        )
    told = "nothing, though it is bright enough to read" if reading.lux <= 0 else (
        f"{abs(off):.1f} stops {way} what is expected"
    )  # fmt: skip
    ask = (
        "Is the right head lit, the number right, the meter where it should be?"
        if reading.head else "Are all heads dark, the number and its unit right?"
    )  # fmt: skip
    return f"{name} reads {told}. {ask} If so, keep it: the meter is right, not the figures."


def _more_words(reading: Reading, name: str, most_lux: float) -> str:
    if not most_lux or reading.lux <= most_lux:
        return ""
    if reading.head:
        return (
            f"{name} reads more in its shade than {reading.head} itself gives there. Is the meter"
            " shaded from it, the number right?"
        )
    return (
        f"{name} reads more than half of the heads give there. Are all heads dark, the number and"
        " its unit right?"
    )


def stand_in_words(yaw_deg: float) -> str:
    """Which way the stand-in must face for this pass."""
    if abs(yaw_deg) < FACES_CAMERA_DEG:
        return "The stand-in faces the camera."
    side = "right" if yaw_deg > 0 else "left"
    return f"The stand-in’s nose is turned {abs(yaw_deg):.0f}° to camera {side}."


def left_words(left: int, seconds_each: float) -> str:
    """`14 left, about 3 minutes`."""
    minutes = max(1, ceil(left * seconds_each / 60 - 0.25))
    return f"{left} left, about {minutes} minute{'s' if minutes > 1 else ''}"
