"""The text of a photometric file: lines with their numbers, and records of numbers over lines."""

import re
from math import isfinite
from typing import NoReturn

from server.errors import OutOfRange

MOST_CHARACTERS = 1_000_000
NUMBER = re.compile(r"[+-]?(\d+\.?\d*|\.\d+)([eE][+-]?\d{1,3})?", re.ASCII)
LONGEST_NUMBER = 32
BETWEEN = re.compile(r"\s*,\s*|\s+")
"""A comma, spaces or a line's end stand between values (LM-63-02, definition of delimiter)."""


class Lines:
    """Reads on through a file; every complaint names the line."""

    def __init__(self, lines: list[str]) -> None:
        self._lines = lines
        self._at = 0

    @property
    def next_number(self) -> int:
        """Number of the next line that is not blank, from 1; of the last line at the end."""
        at = self._at
        while at < len(self._lines) and not self._lines[at].strip():
            at += 1
        return min(at + 1, len(self._lines))

    def ahead(self) -> str:
        """The next line, unread; empty at the end."""
        return self._lines[self._at] if self._at < len(self._lines) else ""

    def line(self, what: str) -> tuple[int, str]:
        """The next line and its number."""
        if self._at >= len(self._lines):
            self.fail(len(self._lines), "end", "the end of the file", what)
        self._at += 1
        return self._at, self._lines[self._at - 1]

    def record(self, count: int, what: str) -> list[float]:
        """So many numbers, from a line of their own to the end of a line."""
        values: list[float] = []
        while len(values) < count:
            if self._at >= len(self._lines):
                found = f"{len(values)} values before the end of the file"
                self.fail(len(self._lines), what, found, str(count))
            number, line = self.line(what)
            if line.strip():
                values += [self._value(number, what, word) for word in _words(line)]
        if len(values) > count:
            self.fail(self._at, what, f"{len(values)} values up to the end of this line",
                      f"{count}; the next record begins on a line of its own")  # fmt: skip
        return values

    def _value(self, number: int, what: str, word: str) -> float:
        if len(word) > LONGEST_NUMBER or not NUMBER.fullmatch(word):
            self.fail(number, what, repr(word[:40]), "numbers between commas or spaces")
        value = float(word)
        if not isfinite(value):
            self.fail(number, what, repr(word[:40]), "finite numbers")
        return value

    def nothing_more(self) -> None:
        """Only blank lines may follow."""
        while self._at < len(self._lines):
            number, line = self.line("nothing")
            if line.strip():
                self.fail(number, "after the last candela value", repr(line[:40]), "nothing more")

    def whole(self, number: int, what: str, value: float, low: int, high: int) -> None:
        """A whole number from low to high."""
        if value != int(value) or not low <= value <= high:
            self.fail(number, what, f"{value:g}", f"a whole number from {low} to {high}")

    def within(
        self, number: int, what: str, value: float, low: float, high: float, *, above: bool = False
    ) -> None:
        """A number from low to high, or above low."""
        if not low <= value <= high or (above and value == low):
            self.fail(number, what, f"{value:g}",
                      f"{'above' if above else 'from'} {low:g} to {high:g}")  # fmt: skip

    def fail(self, number: int, what: str, found: str, allowed: str) -> NoReturn:
        """Say the line, what was found there and what is allowed."""
        raise OutOfRange(f"line {number}: {what}: found {found}; allowed: {allowed}")


def opened(text: str) -> Lines:
    """The lines of a file that may be read at all. [lines]

    Parameters
    ----------
    text : str
        The whole file.

    Returns
    -------
    Lines
        From its first line on.

    Raises
    ------
    OutOfRange
        It is too long, or holds characters that no text file has.

    References
    ----------
    ANSI/IESNA LM-63-02: text in lines. The largest size is ours.
    """
    lines = re.split(r"\r\n|\n|\r", text.removeprefix("\ufeff"))
    if len(text) > MOST_CHARACTERS:
        raise OutOfRange(
            f"line {len(lines)}: size: found {len(text)} characters; allowed: {MOST_CHARACTERS}"
        )
    for number, line in enumerate(lines, start=1):
        if not line.replace("\t", " ").isprintable():
            raise OutOfRange(
                f"line {number}: characters: found {line[:40]!r}; allowed: plain text, no control"
                " characters"
            )
    return Lines(lines)


def _words(line: str) -> list[str]:
    """The values of a line. A comma at its end or twice in a row leaves an empty one."""
    words = BETWEEN.split(line.strip())
    if words and not words[-1] and line.rstrip().endswith(","):
        words.pop()  # a record that goes on in the next line
    return words
