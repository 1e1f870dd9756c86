"""Small photometric files for tests: written out by hand, or by a small writer."""

HEADER = (
    "IESNA:LM-63-2002",
    "[TEST] 17",
    "[TESTLAB] our own bench",
    "[ISSUEDATE] 2026-05-01",
    "[MANUFAC] nobody",
    "[LUMINAIRE] a bench lamp",
    "[MORE] with a lens",
)
ROUND = "\n".join(
    (
        *HEADER,
        "TILT=NONE",
        "1 -1 2 4 1 1 2 0.25 0.25 0",
        "0.9 1 575",
        "0 10 20 90",
        "0",
        "5000 2500 500 0",
    )
)
"""Absolute, metres, type C, one plane. Candela: x 2 x 0.9 = 9000, 4500, 900, 0.

Half of 9000 is at 10 degrees, a tenth at 20 degrees: beam 20, field 40 degrees.
"""


def written(
    rows: list[list[float]],
    vertical: list[float],
    horizontal: list[float],
    *,
    edition: str = "IESNA:LM-63-2002",
    kind: int = 1,
    units: int = 2,
    multiplier: float = 1.0,
    ballast: float = 1.0,
    watts: float = 100.0,
    opening: tuple[float, float, float] = (0.0, 0.0, 0.0),
    a_line: int = 10,
) -> str:
    """A file with this table; numbers as Python writes them, so many a line."""

    def record(values: list[float]) -> list[str]:
        words = [repr(v) for v in values]
        return [" ".join(words[i : i + a_line]) for i in range(0, len(words), a_line)]

    counts = f"1 -1 {multiplier!r} {len(vertical)} {len(horizontal)} {kind} {units}"
    size = " ".join(map(repr, opening))
    lines = [edition, *HEADER[1:], "TILT=NONE", f"{counts} {size}", f"{ballast!r} 1 {watts!r}"]
    for values in (vertical, horizontal, *rows):
        lines += record(values)
    return "\r\n".join(lines) + "\r\n"
