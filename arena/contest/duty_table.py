"""Duty tables as CSV: read with every fault named, and entered as a contestant that is not tuned.

First row: `iat_c \\ throttle_pct`, then column breakpoints; first column row breakpoints; cells duty in per cent.
"""

from __future__ import annotations

import math
import re
from collections import namedtuple
from collections.abc import Sequence
from dataclasses import dataclass
from itertools import pairwise
from pathlib import Path
from typing import Any

from arena.contest import axes
from arena.errors import BadInput
from arena.scenario import csv_table, loading
from arena.strategies import table_law
from arena.strategies.base import SENSES, Strategy

LOWEST, HYSTERESIS = "lowest_pct", "hysteresis_pct"  # what may be hung on a table argument, besides what any carries
LIMIT_BYTES = 1_000_000
MOST_BREAKPOINTS = 64
US_HEADINGS = {h: s.metric for h, s in axes.BY_HEADING.items() if h != s.metric}  # in US units, and what they become
LEAST_SENSES = ("iat_c", "coolant_c")  # a table that senses neither cannot know the charge is hot
_REMEDY = (
    r"Write a first row such as `iat_c \ throttle_pct,0,20,50,100`, then rows such as `30,0,20,60,100`: axes rising, "
    "duty in per cent."
)


@dataclass(frozen=True)
class DutyTable:
    """A duty table: the senses of its rows and columns, the breakpoints in their units, cells 0..1."""

    row_sense: str
    column_sense: str
    rows: tuple[float, ...]
    columns: tuple[float, ...]
    cells: tuple[tuple[float, ...], ...]
    notes: tuple[str, ...] = ()  # what was tolerated while reading


def read_table(path: str | Path) -> DutyTable:
    """A duty table from a CSV (comma, semicolon or tab). Raises BadInput with every fault, one line each."""
    path = Path(path)
    text = loading.read_text(path, LIMIT_BYTES)
    mark = csv_table.delimiter_of(text)
    raw = list(csv_table.rows_of(path, text, mark))
    lines = [(number, _cells(row, mark)) for number, row in raw]
    shown = loading.shown(path)
    if len(lines) < 3:
        raise BadInput(f"{shown}: {len(lines)} rows; a table has a first row and two rows or more", _REMEDY)
    first, head = lines[0]
    if max(len(lines), len(head)) - 1 > MOST_BREAKPOINTS:
        size = f"{len(lines) - 1} rows, {len(head) - 1} columns"
        raise BadInput(f"{shown}: {size}; the limit is {MOST_BREAKPOINTS} of each", _REMEDY)
    names = [word.strip().lower() for word in head[0].split("\\")]
    faults: list[str] = []
    if len(names) != 2 or any(name not in SENSES and name not in US_HEADINGS for name in names) or names[0] == names[1]:
        known = ", ".join([*SENSES, *US_HEADINGS])
        fault = f"the corner says {_brief(head[0])}, not two senses parted by a backslash; known: {known}"
        raise BadInput(f"{shown}:{first}: {fault}", _REMEDY)
    top = f"{shown}:{first}: {names[1]}"
    columns = _axis(top, [(top, word) for word in head[1:]], faults)
    rows: list[tuple[str, str]] = []
    cells = []
    for number, row in lines[1:]:
        rows.append((f"{shown}:{number}: {names[0]}", row[0]))
        if len(row) != len(head):
            faults.append(f"{shown}:{number}: {len(row) - 1} cells, {len(head) - 1} columns in row {first}")
            continue
        cells.append(_duties(f"{shown}:{number}", row[1:], head[1:], faults))
    axis = _axis(f"{shown}: {names[0]}", rows, faults)
    if faults:
        raise BadInput(faults, _REMEDY)
    commas = mark != "," and any("," in cell for _, row in raw for cell in row)
    notes = (csv_table.commas_note(path),) if commas else ()
    return _in_metric(path, DutyTable(names[0], names[1], axis, columns, tuple(cells), notes))


def strategy_of(path: str | Path, lowest_pct: float = 0.0, hysteresis_pct: float = 0.0) -> Strategy:
    """The strategy that reads this table: no settings, so nothing to tune; named `table-` and the file's name.

    Between a cell of 0 and one above it the table passes through duties at which no pump starts. Where the engine
    computer cuts them off, `lowest_pct` says so: below it the output is off, and once on it holds the lowest duty
    until the table has fallen `hysteresis_pct` under it.
    """
    shown = loading.shown(Path(path))
    if not 0.0 <= lowest_pct <= 100.0:
        raise BadInput(
            f"{shown}: {LOWEST}={lowest_pct:g} is outside 0..100 %",
            "Give the output's lowest duty, e.g. 30.",
        )
    if not 0.0 <= hysteresis_pct <= lowest_pct:
        raise BadInput(
            f"{shown}: {HYSTERESIS}={hysteresis_pct:g} is outside 0..{lowest_pct:g} %",
            f"It goes with {LOWEST}, below it.",
        )
    table = read_table(path)
    if not {table.row_sense, table.column_sense} & set(LEAST_SENSES):
        raise BadInput(f"{shown}: neither axis is a temperature ({', '.join(LEAST_SENSES)})", _REMEDY)
    stem = re.sub(r"[^a-z0-9._-]+", "-", Path(path).stem.lower())[:34]
    senses = [table.row_sense, table.column_sense]
    sensed: Any = namedtuple("Sensed", senses)  # type: ignore[misc]
    return Strategy(
        name=f"table-{stem}",
        summary=f"the table of {Path(path).name[:60]} as it stands, {len(table.rows)} by {len(table.columns)}, untuned"
        + ", decimal commas" * bool(table.notes),
        sensed=sensed,
        settings_type=table_law.Settings,
        memory=table_law.Memory(0.01 * lowest_pct, 0.01 * hysteresis_pct, 0.0),
        law=table_law.duty,
        table=lambda _: (table.rows, table.columns, table.cells),
        path=table_law.__file__,
        data=(str(path),),
    )


def _cells(row: Sequence[str], mark: str) -> list[str]:
    """The cells of a row, empty ones at its end left out; where commas do not part them, decimal commas are taken."""
    cells = [cell.strip() for cell in row]
    while len(cells) > 1 and not cells[-1]:
        cells.pop()
    return cells if mark == "," else [_decimal(cell) for cell in cells]


def _decimal(cell: str) -> str:
    """A decimal comma as a point; 1,000 stays as it is, since it may be a thousand."""
    return cell.replace(",", ".") if re.fullmatch(r"[-+]?\d+,(\d{1,2}|\d{4,})%?", cell) else cell


def _number(text: str) -> float:
    try:
        value = float(text.removesuffix("%").replace("_", "x"))
    except ValueError:
        return math.nan
    return value if abs(value) < csv_table.LARGEST else math.nan


def _brief(word: str) -> str:
    """A cell as it may stand in a message."""
    return f'"{loading.one_line(word, 40)}"'


def _axis(where: str, words: list[tuple[str, str]], faults: list[str]) -> tuple[float, ...]:
    """Breakpoints, rising, from words each with its place; a NaN stands for a word that is no number."""
    values = tuple(_number(word) for _, word in words)
    before = len(faults)
    faults += [
        f"{place}: breakpoint {_brief(word)} is not a number{_unclear(word)}"
        for (place, word), v in zip(words, values, strict=True)
        if math.isnan(v)
    ]
    if len(faults) == before:
        faults += [
            f"{place}: breakpoints must rise ({b:g} after {a:g})"
            for (place, _), (a, b) in zip(words[1:], pairwise(values), strict=True)
            if b <= a
        ]
    if not 2 <= len(values) <= MOST_BREAKPOINTS:
        faults.append(
            f"{words[0][0] if words else where}: {len(values)} breakpoints, 2 to {MOST_BREAKPOINTS} are allowed"
        )
    return values


def _duties(where: str, words: list[str], head: list[str], faults: list[str]) -> tuple[float, ...]:
    out = []
    for word, column in zip(words, head, strict=True):
        value = _number(word)
        if math.isnan(value):
            faults.append(f"{where}: column {_brief(column)}: {_brief(word)} is not a number{_unclear(word)}")
        elif not 0.0 <= value <= 100.0:
            faults.append(f"{where}: column {_brief(column)}: duty {value:g} % is outside 0..100")
        out.append(0.01 * value)
    return tuple(out)


def _unclear(word: str) -> str:
    """What is unclear about a number such as 1,000."""
    return " (one, or a thousand? write 1.0 or 1000)" if re.fullmatch(r"[-+]?\d{1,3}(,\d{3})+%?", word) else ""


def _in_metric(path: Path, table: DutyTable) -> DutyTable:
    """Axes in US units turned to metric ones."""

    def turned(sense: str, axis: tuple[float, ...]) -> tuple[str, tuple[float, ...]]:
        if sense not in US_HEADINGS:
            return sense, axis
        return US_HEADINGS[sense], tuple(axes.metric(sense, v) for v in axis)

    row, rows = turned(table.row_sense, table.rows)
    column, columns = turned(table.column_sense, table.columns)
    if row == column:
        raise BadInput(f"{loading.shown(path)}: the axes must be two different senses, both are {row}", _REMEDY)
    return DutyTable(row, column, rows, columns, table.cells, table.notes)
