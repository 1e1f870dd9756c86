"""A cue list as plain text, one instruction a line: read into words and numbers, and written.

The subset that is used of USITT, "ASCII Text Representation for Lighting Console Data", Version
3.0 (March 1992). From its contents page and an annotated example: plain ASCII, one instruction a
line, at most 80 characters; words and numbers parted by any of space , ; > < = @ /; capitals do not
matter; `!` begins a remark; `IDENT 3:0` may come first; CUE, GROUP and SUB open a block to which
the secondary words after them belong (CHAN, UP, DOWN, FOLLOWON, LINK, PART); PATCH; CLEAR; ENDDATA
ends; words of one maker begin with $. From memory, not checked against the full text: TEXT as a
secondary word; $$ for secondary words of one maker; the order channel, dimmer, level in PATCH after
its page; levels 00 to 99 and FL, or H00 to HFF. No conformance is claimed.
"""

import re
from collections.abc import Iterator
from dataclasses import dataclass
from unicodedata import combining, normalize

from server.errors import OutOfRange

IDENT = "3:0"
WIDTH = 80
DELIMITING = "\t ,;<>=@/"
DELIMITERS = re.compile(f"[{DELIMITING}]+")
PLAIN = str.maketrans("·–—−×“”‘’!", "----x\"\"''.")
PERCENT = re.compile(r"\d{1,3}", re.ASCII)
HEX = re.compile(r"H([0-9A-F]{2})", re.IGNORECASE)
WHOLE = re.compile(r"\d{1,9}", re.ASCII)
FULL = "FL"


@dataclass(frozen=True)
class Record:
    """One instruction: its line, its word in capitals, the parts after it, and all of it as it
    stands."""

    line: int
    word: str
    parts: tuple[str, ...]
    rest: str

    def wrong(self, sentence: str) -> OutOfRange:
        """An error that names the line."""
        return OutOfRange(f"line {self.line}, {self.word}: {sentence}")

    def whole(self, part: str, what: str, low: int, high: int) -> int:
        """A part as a whole number."""
        if not WHOLE.fullmatch(part) or not low <= int(part) <= high:
            raise self.wrong(f"{what} must be a whole number {low} to {high}, got {part!r:.30}")
        return int(part)

    def level(self, part: str) -> float:
        """A part as a level: percent, FL, or hexadecimal after an H. [1], 0..1"""
        if part.upper() == FULL:
            return 1.0
        if found := HEX.fullmatch(part):
            return int(found[1], 16) / 255
        if PERCENT.fullmatch(part) and int(part) <= 100:
            return int(part) / 100
        raise self.wrong(f"a level must be 0 to 100, FL, or H00 to HFF, got {part!r:.30}")


def records(data: bytes) -> Iterator[Record]:
    """The instructions of a file up to ENDDATA, which is the last one told.

    Raises OutOfRange for what is no text at all. Letters beyond ASCII are shown as a question mark.
    """
    lines = re.split(r"\r\n|\r|\n", data.decode("ascii", errors="replace").replace("\ufffd", "?"))
    for number, line in enumerate(lines, start=1):
        if not line.replace("\t", " ").isprintable():
            raise OutOfRange(f"line {number}: this is no plain text")
        text = line.partition("!")[0].strip()
        parts = tuple(part for part in DELIMITERS.split(text) if part)
        if not parts:
            continue
        rest = text[text.index(parts[0]) + len(parts[0]) :]
        record = Record(number, parts[0].upper(), parts[1:], rest.strip(DELIMITING))
        yield record
        if record.word == "ENDDATA":
            return


def percent_text(level: float) -> str:
    """A level in whole percent, FL at full."""
    percent = int(100 * level + 0.5)
    return FULL if percent >= 100 else f"{percent:02d}"


def hex_text(byte: int) -> str:
    """A level as the byte that is sent."""
    return f"H{byte:02X}"


def plain(text: str) -> str:
    """A name in letters that the standard has; `!` would begin a remark."""
    bare = "".join(c for c in normalize("NFKD", text.translate(PLAIN)) if not combining(c))
    letters = bare.encode("ascii", errors="replace").decode("ascii")
    return " ".join(letters.split()).strip(DELIMITING)


def wrapped(begin: str, parts: list[str]) -> list[str]:
    """Parts in as many lines as they need, each of which begins anew."""
    lines: list[str] = []
    for part in parts:
        if lines and len(lines[-1]) + 1 + len(part) <= WIDTH:
            lines[-1] += f" {part}"
        else:
            lines.append(f"{begin} {part}")
    return lines
