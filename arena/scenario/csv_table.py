"""A CSV file as texts, before anyone knows what the columns mean: decoding, delimiter, header, row numbers.

Every fault names the file, the row's line number and, where there is one, the column.
"""

from __future__ import annotations

import csv
import io
import re
from collections.abc import Iterator
from dataclasses import dataclass, field
from pathlib import Path
from typing import Final

import numpy as np
from numpy.typing import NDArray

from arena.errors import BadInput
from arena.scenario import loading
from arena.scenario.quantities import UNITS, mend

Floats = NDArray[np.float64]
LARGEST: Final = 1e30  # no reading is as large; beyond it sums of squares would not be finite
COMMA_NUMBER: Final = re.compile(r"[-+]?\d+,\d+")


@dataclass
class Table:
    """The file as texts: headers (mended), rows of cells, and each row's line number; notes grow as it is read."""

    path: Path
    headers: list[str]
    rows: list[list[str]]
    lines: list[int]
    decimal_comma: bool
    notes: list[str] = field(default_factory=list)

    @property
    def shown(self) -> str:
        """The file's path as people should see it."""
        return loading.shown(self.path)

    def cell_fault(self, index: int, row: int, message: str, count: int = 1) -> BadInput:
        """What is wrong with one cell, to be raised; `count` cells of the column share the fault."""
        cell = loading.one_line(self.rows[row][index].strip())
        more = f" ({count} rows in all)" if count > 1 else ""
        fault = f'{self.shown}:{self.lines[row]}: column "{self.headers[index]}": "{cell}" {message}{more}'
        return BadInput(fault, "Correct or take out the row, or say the column's unit in its header or in columns.")

    def is_numeric(self, index: int) -> bool:
        """Whether every field of a column that is not empty is a number."""
        return all(is_number(cell.replace(",", ".")) for row in self.rows if (cell := row[index].strip()))

    def numbers(self, index: int, start: int, fill: bool) -> Floats:
        """A column from row `start` on; with `fill` an empty field takes the last value before it."""
        last, out = "", []
        for row in range(0 if fill else start, len(self.rows)):
            cell = self.rows[row][index].strip() or (last if fill else "")
            last = cell
            if row >= start:
                out.append(cell.replace(",", ".") if self.decimal_comma else cell)
        try:
            values = np.array(out, dtype=np.float64)
        except ValueError:
            bad = next(row for row, cell in enumerate(out) if not is_number(cell))
            comma = (
                " (a decimal comma? then part the columns by semicolons)" if COMMA_NUMBER.fullmatch(out[bad]) else ""
            )
            raise self.cell_fault(index, start + bad, f"is not a number{comma}" if out[bad] else "is empty") from None
        wrong = np.flatnonzero(~(np.abs(values) < LARGEST))
        if len(wrong):
            raise self.cell_fault(index, start + int(wrong[0]), "is not a finite number", len(wrong))
        return values


def read_table(path: Path) -> Table:
    """The whole file. Raises BadInput for what is no CSV, has no header, too few rows, or ragged rows."""
    notes: list[str] = []
    raw = loading.read_bytes(path, loading.TABLE_LIMIT_BYTES)
    loading.check_rows(path, raw)
    text = loading.decoded(path, raw, notes, "CSV", "Give a CSV with a header row, e.g. time_s,speed_kmh.")
    delimiter = delimiter_of(text)
    rows: list[list[str]] = []
    lines: list[int] = []
    for number, row in rows_of(path, text, delimiter):
        rows.append(row)
        lines.append(number)
    headers = _take_headers(path, rows, lines, notes)
    _check_widths(path, headers, rows, lines, notes)
    if delimiter != "," and any(COMMA_NUMBER.fullmatch(cell.strip()) for cell in (rows[-1] if rows else ())):
        notes.append(commas_note(path))
    if len(rows) < 2:
        held = "one row" if rows else "no row"
        fault = f"{loading.shown(path)}: holds {held} of data; at least 2 are needed"
        raise BadInput(fault, "Give a longer recording.")
    return Table(path, headers, rows, lines, delimiter != ",", notes)


def delimiter_of(text: str) -> str:
    """What parts the cells: semicolon, tab or comma, whichever the first row has most of."""
    return max(";\t,", key=head_of(text).count)


def head_of(text: str) -> str:
    """The first row that is neither empty nor a remark."""
    return next((line for line in text.splitlines() if line.strip() and not line.startswith("#")), "")


def commas_note(path: Path) -> str:
    """What is said where decimal commas were met."""
    return f"{loading.shown(path)}: decimal commas are read as decimal points"


def is_number(cell: str) -> bool:
    """Whether a cell reads as a number (infinity and not-a-number do too)."""
    try:
        float(cell)
    except ValueError:
        return False
    return True


def rows_of(path: Path, text: str, delimiter: str) -> Iterator[tuple[int, list[str]]]:
    """Line number and cells of every row but blank ones and remarks; a quoted cell must end on its line."""
    reader = csv.reader(io.StringIO(text, newline=""), delimiter=delimiter)
    same: dict[str, str] = {}  # a log repeats itself: one copy of each text is enough
    before = 0
    try:
        for row in reader:
            if reader.line_num > before + 1:
                fault = f"{loading.shown(path)}:{before + 1}: a quotation mark is opened and not closed on this row"
                raise BadInput(fault, "Close the quotation mark, or take it out.")
            before = reader.line_num
            if any(cell.strip() for cell in row) and not row[0].startswith("#"):
                yield before, [same.setdefault(cell, cell) for cell in row]
    except csv.Error as error:
        fault = f"{loading.shown(path)}:{reader.line_num}: is not a readable CSV row ({error})"
        raise BadInput(fault, "Give a plain CSV file.") from None


def _take_headers(path: Path, rows: list[list[str]], lines: list[int], notes: list[str]) -> list[str]:
    """The header row, taken off the rows; a row of units below it goes into the headers."""
    first = [loading.one_line(mend(cell)) for cell in rows[0]] if rows else []
    if first and all(is_number(cell) for cell in first if cell):
        if len(first) != 2:
            fault = f"{loading.shown(path)}:{lines[0]}: there is no header row, so the columns have no names"
            raise BadInput(fault, "Put a header row on top, e.g. time_s,speed_kmh.")
        notes.append(f"{loading.shown(path)}: has no header row; taken as time in s and speed in km/h")
        return ["time_s", "speed_kmh"]
    del rows[:1], lines[:1]
    known = {unit for group in UNITS.values() for unit in group}
    marks = [mend(cell).strip("[]() ") for cell in rows[0]] if rows else []
    if len(marks) == len(first) and any(marks) and all(mark.lower() in known or not mark for mark in marks):
        del rows[:1], lines[:1]
        return [f"{name} [{mark}]" if mark else name for name, mark in zip(first, marks, strict=True)]
    return first


def _check_widths(path: Path, headers: list[str], rows: list[list[str]], lines: list[int], notes: list[str]) -> None:
    """Every row must have the header's columns; only the last may be cut short (a logger that lost power)."""
    width = len(headers)
    for position, row in enumerate(rows):
        if len(row) > width and not any(cell.strip() for cell in row[width:]):
            del row[width:]
        elif len(row) < width and position == len(rows) - 1 and len(rows) > 2:
            notes.append(f"{loading.shown(path)}:{lines[-1]}: the last row is cut short and left out")
            rows.pop()
            lines.pop()
            return
        elif len(row) != width:
            fault = f"{loading.shown(path)}:{lines[position]}: has {len(row)} fields where the header has {width}"
            remedy = "Correct that row, or take it out."
            if len(row) == 2 * width:
                remedy = "If these are decimal commas, part the columns by semicolons, or write decimal points."
            raise BadInput(fault, remedy)
