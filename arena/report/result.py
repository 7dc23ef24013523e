"""A finished result folder read back: everything a page needs stands in it, nothing is run again."""

from __future__ import annotations

import csv
import json
import re
from collections.abc import Iterator
from dataclasses import dataclass
from pathlib import Path
from typing import Any

from arena.contest.figures import NAMES
from arena.contest.standings import YARDSTICK
from arena.contest.views import VIEWS_SCHEMA
from arena.errors import BadInput
from arena.report.views_file import check_manifest, check_views
from arena.scenario import loading

MANIFEST_SCHEMA = 1
JSON_LIMIT_BYTES = 50_000_000
CSV_LIMIT_BYTES = 400_000_000  # runs.csv of a million runs
_REMEDY = "Give the folder that `arena tournament --out DIR` wrote, whole."


@dataclass(frozen=True)
class Line:
    """One contestant's line of standings.csv; None where nothing applies."""

    place: int | None
    contestant: str
    ranked: bool
    tuned: bool
    tied_with: tuple[str, ...]
    score: float | None
    low: float | None
    high: float | None
    gap: float | None
    failed_runs: int
    over_limit_k: float
    figures: dict[str, float | None]


@dataclass(frozen=True)
class Result:
    """A result folder. `runs[outing][contestant][figure]` is the mean over the replicates, None where none applies."""

    path: Path
    manifest: dict[str, Any]
    lines: tuple[Line, ...]
    runs: dict[str, dict[str, dict[str, float | None]]]
    views: dict[str, Any]
    tables: tuple[str, ...]

    @property
    def ranked(self) -> tuple[Line, ...]:
        """The ranked contestants, best first."""
        return tuple(line for line in self.lines if line.ranked)


def read_result(folder: str | Path) -> Result:
    """Read a result folder. Raises BadInput naming every file that is missing or cannot be read."""
    path = Path(folder)
    if not path.is_dir():
        raise BadInput(f"{loading.shown(path)}: no such folder", _REMEDY)
    names = ("manifest.json", "standings.csv", "runs.csv", "views.json")
    missing = [f"{loading.shown(path)}: {name} is missing" for name in names if not (path / name).is_file()]
    if missing:
        unfinished = path.name.endswith(".partial")
        raise BadInput(missing, f"It is unfinished: go on with --resume {path}." if unfinished else _REMEDY)
    manifest, views = _json(path / "manifest.json", MANIFEST_SCHEMA), _json(path / "views.json", VIEWS_SCHEMA)
    check_manifest(path / "manifest.json", manifest, _REMEDY)
    check_views(path / "views.json", views, _REMEDY)
    lines = tuple(_line(path / "standings.csv", number, row) for number, row in _rows(path / "standings.csv"))
    where = loading.shown(path / "standings.csv")
    if not lines:
        raise BadInput(f"{where}: has no contestant", _REMEDY)
    known = {c["name"] for c in views["contestants"]}
    strange = sorted({line.contestant for line in lines} ^ known)
    if strange:
        names_said = loading.one_line(", ".join(strange), 200)
        raise BadInput(f"{where}: this and views.json differ over {names_said}", _REMEDY)
    if len(lines) > len(known):
        raise BadInput(f"{where}: names a contestant twice", _REMEDY)
    if YARDSTICK not in known:
        raise BadInput(f"{where}: has no {YARDSTICK}, which all are measured by", _REMEDY)
    tables = tuple(sorted(p.stem for p in (path / "tables").glob("*.csv")))
    return Result(path, manifest, lines, _runs(path / "runs.csv", known), views, tables)


def _json(path: Path, schema: int) -> dict[str, Any]:
    where = loading.shown(path)
    raw = loading.read_bytes(path, JSON_LIMIT_BYTES)
    try:
        content = json.loads(raw.decode("utf-8-sig"))
    except (ValueError, RecursionError) as error:
        raise BadInput(f"{where}: damaged: {loading.one_line(str(error), 200)}", _REMEDY) from error
    if not isinstance(content, dict) or content.get("schema") != schema:
        given = loading.one_line(repr(content.get("schema"))) if isinstance(content, dict) else "none"
        raise BadInput(f"{where}: schema {given}, this version reads {schema}", "Run the tournament again.")
    return content


def _rows(path: Path) -> Iterator[tuple[int, dict[str, str]]]:
    """Line number and cells by column, of rows that have a cell for every column."""
    where = loading.shown(path)
    try:
        if path.stat().st_size > CSV_LIMIT_BYTES:
            raise BadInput(f"{where}: is over the limit of {CSV_LIMIT_BYTES / 1e6:g} MB", _REMEDY)
        with path.open(encoding="utf-8-sig", newline="") as handle:
            reader = csv.reader(handle)
            head = next(reader, [])
            for row in reader:
                if len(row) != len(head):
                    fault = f"{where}:{reader.line_num}: has {len(row)} fields where the header has {len(head)}"
                    raise BadInput(fault, _REMEDY)
                yield reader.line_num, dict(zip(head, row, strict=True))
    except (OSError, UnicodeDecodeError, csv.Error) as error:
        raise BadInput(f"{where}: cannot be read: {loading.one_line(str(error), 200)}", _REMEDY) from error


def _line(path: Path, number: int, row: dict[str, str]) -> Line:
    cells = _Cells(path, number, row)
    return Line(
        cells.whole("place", 1) if cells.text("place") else None,
        cells.text("contestant"),
        cells.whole("ranked", 0, 1) == 1,
        cells.whole("tuned", 0, 1) == 1,
        tuple(cells.text("tied_with").split()),
        cells.number("score"),
        cells.number("score_low"),
        cells.number("score_high"),
        cells.number("tuning_gap"),
        cells.whole("failed_runs", 0),
        cells.number("over_limit_k") or 0.0,
        {name: cells.number(name) for name in NAMES},
    )


def _runs(path: Path, known: set[str]) -> dict[str, dict[str, dict[str, float | None]]]:
    """Means over the replicates by outing, contestant and figure."""
    sums: dict[tuple[str, str], dict[str, list[float]]] = {}
    for number, row in _rows(path):
        cells = _Cells(path, number, row)
        outing, contestant = cells.text("outing"), cells.text("contestant")
        if contestant not in known:
            raise cells.fault("contestant", "is not in the standings")
        found = sums.setdefault((outing, contestant), {name: [] for name in NAMES})
        for name in NAMES:
            value = cells.number(name)
            if value is not None:
                found[name].append(value)
    out: dict[str, dict[str, dict[str, float | None]]] = {}
    for (outing, contestant), values in sums.items():
        out.setdefault(outing, {})[contestant] = {n: sum(v) / len(v) if v else None for n, v in values.items()}
    return out


@dataclass(frozen=True)
class _Cells:
    """One row, read column by column; every fault names file, line and column."""

    path: Path
    line: int
    row: dict[str, str]

    def fault(self, column: str, said: str) -> BadInput:
        cell = loading.one_line(self.row.get(column, ""))
        return BadInput(f'{loading.shown(self.path)}:{self.line}: column "{column}": "{cell}" {said}', _REMEDY)

    def text(self, column: str) -> str:
        if column not in self.row:
            raise BadInput(f'{loading.shown(self.path)}:1: has no column "{column}"', _REMEDY)
        return self.row[column]

    def number(self, column: str) -> float | None:
        """A number, None for an empty cell."""
        text = self.text(column)
        try:
            value = float(text or "nan")
        except ValueError:
            raise self.fault(column, "is not a number") from None
        if text and not abs(value) < 1e15:
            raise self.fault(column, "is not a number within 1e15")
        return value if text else None

    def whole(self, column: str, low: int, high: int = 1_000_000) -> int:
        text = self.text(column)
        if not re.fullmatch(r"[0-9]{1,7}", text) or not low <= int(text) <= high:
            raise self.fault(column, f"is not a whole number within {low} to {high}")
        return int(text)
