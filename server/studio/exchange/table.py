"""Tables as text: comma-separated values that a spreadsheet opens without running anything.

Written after RFC 4180 (commas, CRLF, quotes doubled), in UTF-8 with the mark that tells
spreadsheets so (common practice). A text cell that a spreadsheet would take for a formula gets an
apostrophe, and loses it on the way in (OWASP, "CSV Injection").
"""

import csv
import io
import re
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass

from server.errors import OutOfRange

Cell = str | float | None
MARK = "\ufeff"
FORMULA = re.compile(r"'*[=+\-@\t\r]")
GUARDED = re.compile(r"'+[=+\-@\t\r]")
NUMBER = re.compile(r"[+-]?(\d+\.?\d*|\.\d+)(e[+-]?\d+)?", re.IGNORECASE | re.ASCII)
MOST_ROWS = 5000


@dataclass(frozen=True)
class Row:
    """One line below the head of a table; cells by the names of their columns."""

    line: int
    cells: Mapping[str, str]

    def text(self, column: str) -> str:
        """A cell as text; empty where the table has no such column."""
        cell = self.cells.get(column, "")
        return cell[1:] if GUARDED.match(cell) else cell

    def number(self, column: str) -> float | None:
        """A cell as a number, None when it is empty."""
        text = self.text(column).strip()
        if not text:
            return None
        if not NUMBER.fullmatch(text):
            hint = ", with a point and no comma" if "," in text else ""
            raise self.wrong(column, f"must be a number{hint}, got {text!r:.40}")
        return float(text)

    def wrong(self, column: str, sentence: object) -> OutOfRange:
        """An error that names line and column."""
        return OutOfRange(f"line {self.line}, {column}: {sentence}")


def written(columns: Sequence[str], rows: Iterable[Sequence[Cell]]) -> str:
    """A table as text, its columns' names first."""
    out = io.StringIO()
    out.write(MARK)
    writer = csv.writer(out, lineterminator="\r\n")
    writer.writerow(columns)
    for row in rows:
        writer.writerow([_cell(cell) for cell in row])
    return out.getvalue()


def _cell(cell: Cell) -> str:
    if cell is None:
        return ""
    if isinstance(cell, str):
        return f"'{cell}" if FORMULA.match(cell) else cell
    return repr(cell)


def read(data: bytes, columns: Sequence[str], needed: Sequence[str]) -> list[Row]:
    """The rows of a table. Columns may stand in any order and, but for the needed, be left out.

    Raises OutOfRange with line and column for what is no such table.
    """
    try:
        text = data.decode("utf-8-sig")
    except UnicodeDecodeError as error:
        line = data.count(b"\n", 0, error.start) + 1
        raise OutOfRange(f"line {line}: this is no UTF-8 text; save it as CSV, UTF-8") from None
    lines = csv.reader(io.StringIO(text, newline=""), strict=True)
    head: list[str] | None = None
    rows: list[Row] = []
    before = 0
    try:
        for cells in lines:
            line, before = before + 1, lines.line_num
            if not any(cell.strip() for cell in cells):
                continue
            if head is None:
                head = _head(line, [cell.strip().lower() for cell in cells], columns, needed)
            elif len(cells) != len(head):
                raise OutOfRange(
                    f"line {line}: {len(cells)} cells, and the first line has {len(head)} columns"
                )
            else:
                rows.append(Row(line, dict(zip(head, cells, strict=True))))
            if len(rows) > MOST_ROWS:
                raise OutOfRange(f"line {line}: at most {MOST_ROWS} rows are taken")
    except csv.Error as error:
        raise OutOfRange(f"line {before + 1}: this is no table with commas: {error}") from None
    if not rows:
        raise OutOfRange("this table has no rows below its column names")
    return rows


def _head(line: int, names: list[str], columns: Sequence[str], needed: Sequence[str]) -> list[str]:
    if len(names) == 1 and (";" in names[0] or "\t" in names[0]):
        raise OutOfRange(f"line {line}: the columns must be parted by commas: save it as CSV so")
    for name in names:
        if name not in columns:
            raise OutOfRange(
                f"line {line}: no column is called {name!r:.40}; there may be {', '.join(columns)}"
            )
        if names.count(name) > 1:
            raise OutOfRange(f"line {line}: the column {name} stands there twice")
    for name in needed:
        if name not in names:
            raise OutOfRange(f"line {line}: the column {name} is missing")
    return names
