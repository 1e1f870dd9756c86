"""Which reading a form means, whatever was taken or taken back since it was shown."""

from dataclasses import replace
from zlib import crc32

from server.errors import OutOfRange, Refused
from server.studio.metering import SOONEST_S
from server.studio.readings import Reading
from server.studio.rig import Rig


def told_as(number: int, reading: Reading) -> str:
    """How a form names a reading, so that another one never takes its number: `3.1f2e3d4c`."""
    return f"{number}.{_mark(reading)}"


def number_told(rig: Rig, told: str) -> int:
    """The number that a reading has by now, as a form names it, or as it is typed.

    Refused when it is gone, OutOfRange when it is no number.
    """
    number, _, mark = told.partition(".")
    if not mark:
        if not (number.isascii() and number.isdecimal() and len(number) < 10):
            raise OutOfRange(f"number must be that of a reading, like 3, got {told!r:.20}")
        return int(number)
    for now, reading in enumerate(rig.readings, start=1):
        if _mark(reading) == mark:
            return now
    raise Refused("that reading was taken back already, or is of another room")


def _mark(reading: Reading) -> str:
    told = reading.pair, reading.at.isoformat(), reading.lux, reading.output
    return f"{crc32(repr(told).encode()):08x}"


def is_same_tap(rig: Rig, reading: Reading) -> bool:
    """Whether a reading is one that was just taken: told twice by one hand, not read again."""
    last = rig.readings[-1] if rig.readings else None
    if last is None or (reading.at - last.at).total_seconds() >= SOONEST_S:
        return False
    return last == replace(reading, at=last.at, minutes_on=last.minutes_on)
