"""What a hand meter shows, as it is typed on a page: lux, EV, or an f-number and tenths."""

from dataclasses import dataclass, replace
from math import log2
from typing import Annotated

from fastapi import Depends, Form

from server.errors import OutOfRange
from server.studio.readings import KINDS, lux_of_meter
from server.studio.room import Meter
from server.web.forms import number
from server.web.meter_kept import Kept, KeptDep
from server.web.words import seconds_of

Word = Annotated[str, Form(max_length=60)]
UNITS = {"lux": "lux", "ev": "EV", "f": "an f-number"}
FITS_STOPS = 0.75
"""A number that comes so near what is expected in another unit was likely typed in the wrong one.
[stop]"""


@dataclass(frozen=True)
class Shown:
    """The number on the meter and the way the meter is set."""

    value: str
    kind: str
    iso: str
    shutter: str
    tenths: str
    dark: bool = False
    """The meter shows nothing: it is too dark for it."""

    def lux(self, meter: Meter, receptor: str) -> float:
        """The illuminance that it stands for, 0 where it is too dark. [lx]"""
        if self.dark:
            return 0.0
        told = {"value": self.value, "iso": self.iso, "tenths": self.tenths or "0"}
        return lux_of_meter(
            self.kind, number(told, "value"), meter=meter, receptor=receptor,
            iso=number(told, "iso"), shutter_s=seconds_of(self.shutter),
            tenths=number(told, "tenths"),
        )  # fmt: skip

    def kept(self, before: Kept) -> Kept:
        """How the meter is set: what the device keeps from one reading to the next."""
        return before.as_set(self.kind, self.iso, self.shutter)

    def unit_that_fits(self, meter: Meter, receptor: str, expected_lux: float) -> str:
        """The unit, other than the one chosen, in which this number is what is expected."""
        for kind in KINDS:
            other = replace(self, kind=kind)
            try:
                lux = other.lux(meter, receptor)
            except OutOfRange:
                continue
            if kind != self.kind and expected_lux > 0 and lux > 0:
                off = abs(log2(lux / expected_lux))
                if off <= FITS_STOPS:
                    return UNITS[kind]
        return ""


async def shown_of(
    kept: KeptDep, value: Word = "", kind: Word = "", iso: Word = "", shutter: Word = "",
    tenths: Word = "0", dark: Annotated[bool, Form()] = False,
) -> Shown:  # fmt: skip
    """The fields of a form that takes a reading; what it leaves out is as the device keeps it."""
    way = kind or kept.kind, iso or kept.iso, shutter or kept.shutter
    return Shown(value, *way, tenths, dark)


ShownDep = Annotated[Shown, Depends(shown_of)]
