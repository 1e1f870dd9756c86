"""Lengths as they are read off a tape measure and typed: metres, or feet and inches."""

import re
from fractions import Fraction

from server.errors import OutOfRange

UNITS = ("m", "ft")
"""What a room's tape measure shows: metres, or feet and inches."""
FOOT_M = 0.3048
INCH_M = 0.0254
"""International yard and pound agreement, 1959: exact."""
LONGEST_M = 100.0
QUARTERS = ("", "¼", "½", "¾")
VULGAR = {"¼": "1/4", "½": "1/2", "¾": "3/4", "⅛": "1/8", "⅜": "3/8", "⅝": "5/8", "⅞": "7/8"}
SAME_MARK = str.maketrans({"−": "-", "’": "'", "′": "'", "”": '"', "″": '"', ",": "."})
NUMBER = r"\d{1,6}(?:\.\d{1,6})?"
METRIC = re.compile(rf"([+-]?) ?({NUMBER}) ?(mm|cm|m|)", re.ASCII)
FEET = re.compile(
    rf"([+-]?) ?(?:({NUMBER}) ?(?:'|ft\.?|feet|foot))? ?"
    rf"({NUMBER})?(?:[ -]?(?<!\d)(\d{{1,2}})/(\d{{1,2}}))? ?(\"|''|in\.?|inch|inches)?",
    re.ASCII,
)
IN_METRES = {"mm": 0.001, "cm": 0.01, "m": 1.0, "in": INCH_M, "ft": FOOT_M}


def length_words(metres: float, units: str) -> str:
    """`2.20 m`, or `7 ft 2½ in` to the quarter of an inch, as on a tape."""
    sign = "−" if metres < 0 else ""
    if units == "m":
        return f"{sign}{abs(metres):.2f} m".replace("−0.00", "0.00")
    quarters = round(abs(metres) / INCH_M * 4)
    feet, rest = divmod(quarters, 48)
    inches = f"{rest // 4 or ''}{QUARTERS[rest % 4]}" or "0"
    sign = sign if quarters else ""
    return f"{sign}{feet} ft {inches} in" if feet else f"{sign}{inches} in"


def short_words(metres: float, units: str) -> str:
    """A length on a face: `7 cm`, or `2¾ in`."""
    return f"{100 * metres:.0f} cm" if units == "m" else length_words(metres, units)


def metres_of(name: str, text: str, units: str, bare: str = "") -> float:
    """A length as it is typed, `2.24 m`, `224 cm`, `7' 4 1/2"`, `7ft 4in`. [m]

    A bare number is in the room's own unit, or in what `bare` says. Raises OutOfRange with what is
    wrong and how to write it.
    """
    plain = " ".join(text.split()).lower().translate(SAME_MARK)
    for glyph, written in VULGAR.items():
        plain = plain.replace(glyph, f" {written}")
    plain = " ".join(plain.split())
    found = METRIC.fullmatch(plain)
    if found:
        sign, metres = found[1], float(found[2]) * IN_METRES[found[3] or bare or units]
    else:
        sign, metres = _feet_and_inches(name, text, plain)
    if metres > LONGEST_M:
        raise OutOfRange(f"{name} must be at most {LONGEST_M:g} m, got {text.strip()!r:.40}")
    return -metres if sign == "-" else metres


def _feet_and_inches(name: str, text: str, plain: str) -> tuple[str, float]:
    found = FEET.fullmatch(plain)
    feet, inches, above, below, mark = found.groups()[1:] if found else (None,) * 5
    if not found or (feet is None and mark is None) or (mark and not inches and not above):
        raise OutOfRange(
            f"{name} must be like 2.24 m, 224 cm, 7' 4 1/2\" or 7 ft 4 in, got {text.strip()!r:.40}"
        )
    if feet and "." in feet and (inches or above):
        raise OutOfRange(
            f"{name}: feet must be whole where inches follow, got {text.strip()!r:.40}"
        )
    if above and (below not in ("2", "4", "8", "16", "32") or int(above) >= int(below)):
        raise OutOfRange(
            f"{name}: {above}/{below} is no mark of a tape; halves to thirty-seconds are"
        )
    if above and inches and "." in inches:
        raise OutOfRange(f"{name}: inches take a point or a fraction, not both")
    whole = float(inches or 0) + (float(Fraction(f"{above}/{below}")) if above else 0.0)
    if feet and whole >= 12:
        raise OutOfRange(f"{name}: 12 inches are a foot, so {whole:g} after feet cannot be right")
    return found[1], float(feet or 0) * FOOT_M + whole * INCH_M
