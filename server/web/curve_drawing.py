"""A measured curve drawn against the present one: level across, light in stops down. SVG text."""

from collections.abc import Callable, Sequence
from dataclasses import dataclass
from math import log2

from server.physics.curve import Curve, MeasuredCurve

WIDTH, HEIGHT = 600.0, 360.0
LEFT, TOP, RIGHT, BOTTOM = 62.0, 16.0, 34.0, 46.0
DEEPEST = 8
"""Stops below full at the foot of the drawing."""
SAMPLES = 120


@dataclass(frozen=True)
class Tick:
    """A line of the grid with its word."""

    place: str
    word: str


@dataclass(frozen=True)
class CurveDrawing:
    """Paths and words, all text."""

    box: str
    measured: str
    present: str
    dots: tuple[tuple[str, str], ...]
    across: tuple[Tick, ...]
    down: tuple[Tick, ...]
    left: str
    right: str
    top: str
    foot: str
    words_y: str
    text: str


def drawing_of(
    points: Sequence[tuple[float, float]], present: Curve, present_name: str
) -> CurveDrawing:
    """The curve through the points, the points, and the present curve dashed."""
    measured = MeasuredCurve(tuple(points))
    told = ", ".join(f"{100 * a:.3g} % gives {100 * b:.2g} %" for a, b in points if b > 1e-4)
    return CurveDrawing(
        box=f"0 0 {WIDTH:.0f} {HEIGHT:.0f}",
        measured=_path(measured.output),
        present=_path(present.output),
        dots=tuple((_x(a), _y(b)) for a, b in points if b > 0 and log2(b) >= -DEEPEST),
        across=tuple(Tick(_x(v / 100), f"{v} %") for v in range(0, 101, 20)),
        down=tuple(Tick(_y(2.0**-v), f"−{v}" if v else "full") for v in range(0, DEEPEST + 1, 2)),
        left=f"{LEFT:.0f}",
        right=f"{WIDTH - RIGHT:.0f}",
        top=f"{TOP:.0f}",
        foot=f"{HEIGHT - BOTTOM:.0f}",
        words_y=f"{HEIGHT - BOTTOM + 22:.0f}",
        text=f"Light in stops below full against level; measured: {told}; now: {present_name}",
    )


def _x(level: float) -> str:
    return f"{LEFT + level * (WIDTH - LEFT - RIGHT):.1f}"


def _y(output: float) -> str:
    return f"{TOP - log2(output) / DEEPEST * (HEIGHT - TOP - BOTTOM):.1f}"


def _path(output: Callable[[float], float]) -> str:
    """A line from full down, as far as the drawing goes."""
    found = []
    for i in range(SAMPLES, 0, -1):
        light = output(i / SAMPLES)
        if light <= 2.0**-DEEPEST:
            break
        found.append(f"{_x(i / SAMPLES)} {_y(light)}")
    return "M" + "L".join(found)
