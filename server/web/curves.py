"""The candela curves of a measured head as text for SVG, and each file in words."""

from collections.abc import Sequence
from dataclasses import dataclass
from hashlib import sha256
from math import ceil

from server.physics.candela_curve import CandelaCurve
from server.studio.head import Head, PastCurve
from server.studio.photometry import MeasuredBeam

WIDE, HIGH = 640.0, 260.0
"""The drawing's own units; the axis stands in the middle."""
MOST_POINTS = 120
TICKS = (5, 10, 15, 30, 45)
FOCUSES = {"spot": 0.0, "halfway": 0.5, "flood": 1.0}
"""What a file may have been measured at; a single one holds at every focus, whichever it was."""


@dataclass(frozen=True)
class FileView:
    """One file of the head, in words, and its curve."""

    focus: str
    name: str
    words: str
    watts: str
    path: str


@dataclass(frozen=True)
class Tick:
    """A mark of an axis."""

    at: str
    words: str


@dataclass(frozen=True)
class CurvesView:
    """What a head's files say, drawn: candela upward, degrees off the axis to both sides."""

    files: tuple[FileView, ...]
    now: str
    now_words: str
    ticks: tuple[Tick, ...]
    shares: tuple[Tick, ...]
    text: str


@dataclass(frozen=True)
class PastView:
    """The curve that may be taken back, in words."""

    now: str
    before: str
    seen: str
    """What the page was made from, so that a second tap takes nothing forward again."""


def past_view(head: Head) -> PastView | None:
    """The present curve and the one before; None where there was none."""
    if head.curve_before is None:
        return None
    now = head.past_curve
    seen = sha256(repr(now).encode()).hexdigest()[:12]
    return PastView(past_words(now), past_words(head.curve_before), seen)


def past_words(past: PastCurve) -> str:
    """`square`, `measured at 7 levels, steady from 5 %`."""
    levels = sum(1 for level, _ in past.curve_points if level > 0)
    steady = f", steady from {100 * past.steady_from:.3g} %" if past.steady_from else ""
    return f"{past.curve} at {levels} levels{steady}" if levels else f"{past.curve}{steady}"


def curves_view(head: Head) -> CurvesView | None:
    """The head's curves; None for a head that goes by its beam rows."""
    beam = head.beam_now
    if not isinstance(beam, CandelaCurve):
        return None
    curves = [b.curve for b in head.photometry]
    reach = _reach(curves)
    peak = max(c.candela for c in curves)
    step = next((t for t in TICKS if reach / t <= 6), TICKS[-1])
    marks = [a for a in range(0, int(reach) + 1, step)]
    angles = sorted({s * a for a in marks for s in (-1, 1)})
    words = curve_words(beam)
    return CurvesView(
        files=tuple(_file(b, head, reach, peak) for b in head.photometry),
        now=_path(beam, reach, peak),
        now_words=f"as the head is set: {words}",
        ticks=tuple(Tick(f"{_x(a, reach):.1f}", f"{abs(a)}°") for a in angles),
        shares=tuple(
            Tick(f"{_y(share * beam.candela, peak):.1f}", text)
            for share, text in ((0.5, "half"), (0.1, "a tenth"))
        ),
        text=f"Candela by the angle off the axis: {words}",
    )


def curve_words(curve: CandelaCurve) -> str:
    """Peak, beam and field angle. `9000 cd, beam 20°, field 40°`"""
    return f"{curve.candela:.0f} cd, beam {curve.beam_deg:.0f}°, field {curve.field_deg:.0f}°"


def focus_words(beam: MeasuredBeam, alone: bool) -> str:
    """Which focus a file is for."""
    if alone:
        return "every focus"
    known = {focus: word for word, focus in FOCUSES.items()}
    return known.get(beam.focus, f"{beam.focus:.0%} toward flood")


def _file(beam: MeasuredBeam, head: Head, reach: float, peak: float) -> FileView:
    differs = beam.watts and abs(beam.watts - head.watts) >= 1
    return FileView(
        focus=repr(beam.focus),
        name=f"{focus_words(beam, len(head.photometry) == 1)}: {beam.name or 'without a name'}",
        words=curve_words(beam.curve),
        watts=f"The file says {beam.watts:g} W, this head {head.watts:g} W." if differs else "",
        path=_path(beam.curve, reach, peak),
    )


def _reach(curves: Sequence[CandelaCurve]) -> float:
    """Degrees shown to each side: the widest field and a little more."""
    widest = max(c.field_deg for c in curves) / 2
    return min(180.0, max(10.0, 10.0 * ceil(1.25 * widest / 10)))


def _path(curve: CandelaCurve, reach: float, peak: float) -> str:
    """Both sides of the axis, from one edge of the drawing to the other."""
    own = [a for a in curve.angles_deg if a < reach]
    if len(own) > MOST_POINTS:
        own = [reach * i / MOST_POINTS for i in range(MOST_POINTS)]
    if curve.angles_deg[-1] < reach:
        own.append(curve.angles_deg[-1] + 1e-6)
    own.append(reach)
    points = [(-a, curve.intensity_cd(a)) for a in reversed(own)]
    points += [(a, curve.intensity_cd(a)) for a in own[1:]]
    return "M" + "L".join(f"{_x(a, reach):.1f} {_y(c, peak):.1f}" for a, c in points)


def _x(angle: float, reach: float) -> float:
    return WIDE / 2 * (1 + angle / reach)


def _y(candela: float, peak: float) -> float:
    return HIGH * (1 - candela / peak)
