"""What a photometric file makes of a head: its curve at one focus, in place of beam rows."""

import itertools
from collections.abc import Sequence
from dataclasses import dataclass
from math import isfinite

from server.errors import OutOfRange
from server.physics.candela_curve import CandelaCurve, curve_between
from server.physics.distribution import MOST_ANGLES, axial_curve
from server.physics.lm63 import parse_lm63

MOST_FILES = 8
NAME_LENGTH = 80


@dataclass(frozen=True)
class MeasuredBeam:
    """A measured curve at one focus: 0 is spot, 1 is flood.

    `name` is what the file calls the head, `watts` its input, 0 where the file does not say.
    Light is taken as even round the axis: the mean over the planes that were measured.
    """

    focus: float
    curve: CandelaCurve
    name: str = ""
    watts: float = 0.0

    def __post_init__(self) -> None:
        if not 0 <= self.focus <= 1:
            raise OutOfRange(f"focus must lie in 0 (spot) .. 1 (flood), got {self.focus:g}")
        if len(self.curve.angles_deg) > MOST_ANGLES:
            raise OutOfRange(
                f"a curve keeps at most {MOST_ANGLES} angles, got {len(self.curve.angles_deg)}"
            )
        if len(self.name) > NAME_LENGTH or not self.name.isprintable():
            raise OutOfRange(f"name: at most {NAME_LENGTH} characters, got {self.name!r:.100}")
        if not (isfinite(self.watts) and 0 <= self.watts <= 100_000):
            raise OutOfRange(f"watts must lie in 0..100000, got {self.watts:g}")


def beam_of_file(text: str, focus: float = 0.5, file_name: str = "") -> MeasuredBeam:
    """The curve that a photometric file (ANSI/IES LM-63) gives, named as the file names it.

    Raises OutOfRange naming the line, what was found and what is allowed.
    """
    file = parse_lm63(text)
    words = file.said("LUMINAIRE") or file.said("LUMCAT") or file_name
    name = "".join(c for c in words if c.isprintable())[:NAME_LENGTH].strip()
    return MeasuredBeam(focus, axial_curve(file.table), name, file.watts)


def require_rising(beams: Sequence[MeasuredBeam]) -> None:
    """Each focus once, rising, and not too many."""
    if len(beams) > MOST_FILES:
        raise OutOfRange(f"photometry: at most {MOST_FILES} files a head, got {len(beams)}")
    if any(b.focus <= a.focus for a, b in itertools.pairwise(beams)):
        raise OutOfRange("photometry must rise in focus, each focus once")


def curve_at(beams: Sequence[MeasuredBeam], focus: float) -> CandelaCurve:
    """The curve at a focus between the measured ones; one alone holds at every focus."""
    if focus <= beams[0].focus:
        return beams[0].curve
    for low, high in itertools.pairwise(beams):
        if focus <= high.focus:
            part = (focus - low.focus) / (high.focus - low.focus)
            return curve_between(low.curve, high.curve, part)
    return beams[-1].curve


def with_beam(beams: Sequence[MeasuredBeam], new: MeasuredBeam) -> tuple[MeasuredBeam, ...]:
    """The same beams with a new one in its place; one at the same focus leaves."""
    kept = [b for b in beams if b.focus != new.focus]
    return tuple(sorted([*kept, new], key=lambda b: b.focus))
