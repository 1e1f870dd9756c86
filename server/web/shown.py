"""What a hand meter shows, as it is typed on a page: lux, EV, or an f-number and tenths."""

from collections.abc import Mapping
from dataclasses import dataclass
from math import log2
from typing import Annotated

from fastapi import Depends, Form

from server.errors import OutOfRange
from server.studio.readings import KINDS, lux_of_meter
from server.studio.room import Meter
from server.web.forms import number
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

    def lux(self, meter: Meter, receptor: str) -> float:
        """The illuminance that it stands for. [lx]"""
        told = {"value": self.value, "iso": self.iso, "tenths": self.tenths or "0"}
        return lux_of_meter(
            self.kind, number(told, "value"), meter=meter, receptor=receptor,
            iso=number(told, "iso"), shutter_s=seconds_of(self.shutter),
            tenths=number(told, "tenths"),
        )  # fmt: skip

    @property
    def way(self) -> Mapping[str, str]:
        """How the meter is set: what stays from one reading to the next."""
        return {"kind": self.kind, "iso": self.iso, "shutter": self.shutter}

    def unit_that_fits(self, meter: Meter, receptor: str, expected_lux: float) -> str:
        """The unit, other than the one chosen, in which this number is what is expected."""
        for kind in KINDS:
            other = Shown(self.value, kind, self.iso, self.shutter, self.tenths)
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
    value: Word, kind: Word = "lux", iso: Word = "100", shutter: Word = "1/125", tenths: Word = "0"
) -> Shown:
    """The fields of a form that takes a reading."""
    return Shown(value, kind, iso, shutter, tenths)


ShownDep = Annotated[Shown, Depends(shown_of)]
