"""Photometric files after ANSI/IES LM-63, read strictly: an error names line and what is allowed.

What is allowed follows LM-63-02; of LM-63-19 only the first line and the meaning of the second
number after the ballast factor are used (that meaning from memory).
"""

from dataclasses import dataclass
from itertools import pairwise

from server.physics.distribution import Distribution
from server.physics.lm63_text import Lines, opened

EDITIONS = ("IESNA:LM-63-2002", "IES:LM-63-2019")
OLDER = ("IESNA91", "IESNA86", "IESNA:LM-63-1991", "IESNA:LM-63-1995")
REQUIRED = ("TEST", "TESTLAB", "ISSUEDATE", "MANUFAC")
MOST_ANGLES = 4096
MOST_CANDELAS = 100_000
LARGEST_CD = 1e8
METRES = {1: 0.3048, 2: 1.0}
"""Units type 1 is feet (exactly 0.3048 m, the international foot), 2 is metres."""
FIRST_LAST = {
    ("C", "vertical"): ((0.0, 90.0), (90.0, 180.0)),
    ("C", "horizontal"): ((0.0,), (0.0, 90.0, 180.0, 360.0)),
    ("B", "vertical"): ((-90.0, 0.0), (90.0,)),
    ("B", "horizontal"): ((-90.0, 0.0), (90.0,)),
}
"""Allowed first and last angles, LM-63-02 (which no longer allows incomplete tables)."""


@dataclass(frozen=True)
class PhotometricFile:
    """What a file says. Candelas are multiplied out: candela multiplier x ballast factor.

    `lumens_per_lamp` is None for absolute photometry. A negative measure of the luminous opening
    tells of a round or other shape; the measure itself is its absolute value. `tilt` holds
    (angle [deg], factor) for lamps that lose light when tilted; it is not applied.
    """

    edition: str
    keywords: tuple[tuple[str, str], ...]
    tilt: tuple[tuple[float, float], ...]
    lamps: int
    lumens_per_lamp: float | None
    width_m: float
    length_m: float
    height_m: float
    watts: float
    table: Distribution

    def said(self, keyword: str) -> str:
        """The text of a keyword, its [MORE] lines joined; empty when it is not there."""
        return " ".join(text for name, text in self.keywords if name == keyword)


def parse_lm63(text: str) -> PhotometricFile:
    """Read a photometric file. [cd, deg, m, W]

    Parameters
    ----------
    text : str
        The whole file.

    Returns
    -------
    PhotometricFile
        Keywords, candela table, angles, luminous opening [m], input watts.

    Raises
    ------
    OutOfRange
        The file is not as the standard has it; the message names line, what was found and what
        is allowed.

    Notes
    -----
    Types C and B, TILT=NONE and TILT=INCLUDE, editions 2002 and 2019. Each record begins on a
    line of its own and ends with one. Refused with a sentence: older editions (their tables may
    be incomplete), type A, a tilt file, keywords missing.

    References
    ----------
    ANSI/IESNA LM-63-02, order of records, definitions, keywords; ANSI/IES LM-63-19, first line.
    """
    lines = opened(text)
    edition = _edition(lines)
    keywords = _keywords(lines)
    tilt = _tilt(lines)
    line = lines.next_number
    lamps, lumens, multiplier, n_vertical, n_horizontal, kind, units, *opening = lines.record(
        10, "lamps, lumens, multiplier, counts, types and opening"
    )
    names = ("width", "length", "height")
    lines.whole(line, "number of lamps", lamps, 1, 1000)
    if lumens != -1:
        lines.within(line, "lumens per lamp (or -1, absolute)", lumens, 0, 1e9, above=True)
    lines.within(line, "candela multiplier", multiplier, 0, 1e6, above=True)
    lines.whole(line, "number of vertical angles", n_vertical, 2, MOST_ANGLES)
    lines.whole(line, "number of horizontal angles", n_horizontal, 1, MOST_ANGLES)
    if n_vertical + n_horizontal > MOST_ANGLES or n_vertical * n_horizontal > MOST_CANDELAS:
        lines.fail(line, "angles", f"{n_vertical:g} x {n_horizontal:g}",
                   f"{MOST_ANGLES} in all, and {MOST_CANDELAS} candela values")  # fmt: skip
    if kind == 3:
        lines.fail(line, "photometric type", "3 (type A, vehicle lamps)", "1 (type C), 2 (type B)")
    if kind not in (1, 2):
        lines.fail(line, "photometric type", f"{kind:g}", "1 (type C) or 2 (type B)")
    if units not in METRES:
        lines.fail(line, "units type", f"{units:g}", "1 (feet) or 2 (metres)")
    metres = [METRES[int(units)] * value for value in opening]
    for name, value in zip(names, metres, strict=True):
        lines.within(line, f"{name} of the luminous opening, metres", value, -100, 100)
    line = lines.next_number
    ballast, third, watts = lines.record(3, "ballast factor, 1 or file type, input watts")
    lines.within(line, "ballast factor", ballast, 0, 10, above=True)
    if edition == EDITIONS[0] and third != 1:
        lines.fail(line, "number after the ballast factor", f"{third:g}", "1 (kept for the future)")
    lines.within(line, "file generation type", third, 1, 2)
    lines.within(line, "input watts", watts, 0, 100_000)
    letter = "C" if kind == 1 else "B"
    vertical = _angles(lines, letter, "vertical", int(n_vertical))
    horizontal = _angles(lines, letter, "horizontal", int(n_horizontal))
    factor = multiplier * ballast
    rows = tuple(_row(lines, h, len(vertical), factor) for h in horizontal)
    lines.nothing_more()
    return PhotometricFile(
        edition=edition, keywords=keywords, tilt=tilt, lamps=int(lamps),
        lumens_per_lamp=None if lumens == -1 else lumens,
        width_m=metres[0], length_m=metres[1], height_m=metres[2], watts=watts,
        table=Distribution(letter, vertical, horizontal, rows),
    )  # fmt: skip


def _edition(lines: Lines) -> str:
    number, line = lines.line("the first line")
    found = line.rstrip()
    if found not in EDITIONS:
        older = found in OLDER or found.startswith("[") or found.startswith("TILT=")
        why = ": an older edition, whose tables may be incomplete" if older else ""
        lines.fail(number, "first line", repr(found[:40]) + why, " or ".join(EDITIONS))
    return found


def _keywords(lines: Lines) -> tuple[tuple[str, str], ...]:
    """Keyword lines up to TILT=; [MORE] goes on with the keyword before it."""
    found: list[tuple[str, str]] = []
    while not lines.ahead().startswith("TILT="):
        number, line = lines.line("TILT= after the keywords")
        if not line.strip():
            continue
        name, closed, rest = line.lstrip()[1:].partition("]")
        plain = name.replace("_", "").isalnum() and name.isascii() and len(name) <= 40
        if not line.lstrip().startswith("[") or not closed or not plain:
            lines.fail(number, "keyword line", repr(line[:40]), "[KEYWORD] and its text, or TILT=")
        if name == "MORE" and not found:
            lines.fail(number, "keyword", "[MORE]", "a keyword first, which it goes on with")
        found.append((found[-1][0] if name == "MORE" else name, rest.strip()))
    there = {name for name, _ in found}
    missing = [name for name in REQUIRED if name not in there]
    if missing:
        lines.fail(
            lines.next_number, "keywords before TILT=", f"no [{missing[0]}]",
            "at least " + ", ".join(f"[{name}]" for name in REQUIRED),
        )  # fmt: skip
    return tuple(found)


def _tilt(lines: Lines) -> tuple[tuple[float, float], ...]:
    number, line = lines.line("TILT=")
    word = line.rstrip().removeprefix("TILT=")
    if word == "NONE":
        return ()
    if word != "INCLUDE":
        lines.fail(number, "TILT=", f"{word[:40]!r}, another file",
                   "NONE or INCLUDE: put the tilt records into this file")  # fmt: skip
    number = lines.next_number
    (geometry,) = lines.record(1, "lamp to luminaire geometry")
    lines.whole(number, "lamp to luminaire geometry", geometry, 1, 3)
    number = lines.next_number
    (count,) = lines.record(1, "number of tilt angles")
    lines.whole(number, "number of tilt angles", count, 1, MOST_ANGLES)
    number = lines.next_number
    angles = lines.record(int(count), "tilt angles")
    _rising(lines, number, "tilt angles", angles)
    for angle in angles:
        lines.within(number, "tilt angles", angle, 0, 180)
    number = lines.next_number
    factors = lines.record(int(count), "tilt factors")
    for factor in factors:
        lines.within(number, "tilt factors", factor, 0, 10)
    return tuple(zip(angles, factors, strict=True))


def _angles(lines: Lines, letter: str, which: str, count: int) -> tuple[float, ...]:
    number = lines.next_number
    angles = lines.record(count, f"{which} angles")
    first, last = FIRST_LAST[letter, which]
    for place, angle, allowed in (("first", angles[0], first), ("last", angles[-1], last)):
        if angle not in allowed:
            lines.fail(number, f"{place} {which} angle of type {letter}", f"{angle:g}",
                       " or ".join(f"{a:g}" for a in allowed))  # fmt: skip
    _rising(lines, number, f"{which} angles", angles)
    return tuple(angles)


def _rising(lines: Lines, number: int, what: str, angles: list[float]) -> None:
    for before, after in pairwise(angles):
        if not after > before:
            lines.fail(number, what, f"{after:g} after {before:g}", "angles that rise")


def _row(lines: Lines, plane: float, count: int, factor: float) -> tuple[float, ...]:
    number = lines.next_number
    values = lines.record(count, f"candela values at horizontal angle {plane:g}")
    row = tuple(factor * value for value in values)
    for value in row:
        lines.within(number, "candela, multiplied out", value, 0, LARGEST_CD)
    return row
