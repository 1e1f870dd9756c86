"""Where the words of a lighting plan stand: beside their heads, clear of heads and other words.

Lengths are centimetres of the drawing. The size of the words follows the sheet, so that they are
read alike in a large room and a small one.
"""

from dataclasses import dataclass, field
from math import ceil

LETTER = 0.55
"""Mean width of a letter, as a share of the line."""
LONGEST = 18
"""Letters of a name on the drawing; a longer one is cut, the words beside the drawing tell all."""
LOOK_ABOUT = 8
"""How many lines up and down a free place is looked for."""
HALF_HEAD_CM = 16.0


@dataclass(frozen=True)
class Words:
    """What stands beside a head, or no lines when no place was free."""

    x: float
    y: float
    anchor: str
    lines: tuple[str, ...]


@dataclass(frozen=True)
class _Box:
    left: float
    upper: float
    right: float
    lower: float

    def meets(self, other: "_Box") -> bool:
        return (
            self.left < other.right
            and other.left < self.right
            and self.upper < other.lower
            and other.upper < self.lower
        )


@dataclass
class Labels:
    """The free room of one sheet."""

    line_cm: float
    left: float
    upper: float
    right: float
    lower: float
    taken: list[_Box] = field(default_factory=list)

    def keep_off(self, x: float, y: float, half_wide: float, half_high: float) -> None:
        """No words here."""
        self.taken.append(_Box(x - half_wide, y - half_high, x + half_wide, y + half_high))

    def beside(self, x: float, y: float, half: float, lines: tuple[str, ...]) -> Words:
        """Outward of the head first, then on the other side, a line lower or higher, and so on."""
        lines = tuple(short(line) for line in lines)
        outward = -1 if x < 0 else 1
        away = half + 0.4 * self.line_cm
        for shift in sorted(range(-2 * LOOK_ABOUT, 2 * LOOK_ABOUT + 1), key=lambda n: (abs(n), -n)):
            for side in (outward, 0, -outward):
                if side == 0 and abs(shift) < 2 * len(lines):
                    continue  # it would lie on its own head
                box = self._box(x + away * side, y + shift * self.line_cm / 2, side, lines)
                inside = self.left < box.left and box.right < self.right
                inside = inside and self.upper < box.upper and box.lower < self.lower
                if inside and not any(box.meets(other) for other in self.taken):
                    self.taken.append(box)
                    anchor = {1: "start", 0: "middle", -1: "end"}[side]
                    first = box.upper + 0.8 * self.line_cm
                    return Words(x + away * side, first, anchor, lines)
        return Words(x, y, "start", ())

    def _box(self, x: float, y: float, side: int, lines: tuple[str, ...]) -> _Box:
        wide = width(lines, self.line_cm)
        left = x - wide * {1: 0.0, 0: 0.5, -1: 1.0}[side]
        half = self.line_cm * len(lines) / 2
        return _Box(left, y - half, left + wide, y + half)


def short(line: str) -> str:
    """As much of it as the drawing has room for."""
    return line if len(line) <= LONGEST else line[: LONGEST - 1] + "…"


def width(lines: tuple[str, ...], line_cm: float) -> float:
    """How wide some lines are. [cm]"""
    return LETTER * line_cm * max((len(short(line)) for line in lines), default=0)


def line_and_margin(
    span_cm: float, lines: list[tuple[str, ...]], share: float
) -> tuple[float, float]:
    """The height of a line and the room beside the outermost heads, for heads that lie within a
    span: words are a share of the sheet, and the sheet has room for the words. [cm]"""
    line = share * span_cm
    margin = 0.0
    for _ in range(4):
        margin = max((width(each, line) for each in lines), default=0.0) + HALF_HEAD_CM + line
        line = share * (span_cm + 2 * margin)
    return ceil(line), margin
