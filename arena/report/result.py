"""A finished result folder read back: everything a page needs stands in it, nothing is run again."""

from __future__ import annotations

import csv
import json
from dataclasses import dataclass
from pathlib import Path
from typing import Any

from arena.contest.figures import NAMES
from arena.errors import BadInput

SCHEMA = 1
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
        raise BadInput(f"{path}: no such folder", _REMEDY)
    names = ("manifest.json", "standings.csv", "runs.csv", "views.json")
    missing = [f"{path}: {name} is missing" for name in names if not (path / name).is_file()]
    if missing:
        unfinished = path.name.endswith(".partial")
        raise BadInput(missing, f"It is unfinished: go on with --resume {path}." if unfinished else _REMEDY)
    manifest, views = _json(path / "manifest.json"), _json(path / "views.json")
    lines = tuple(_line(path / "standings.csv", k, row) for k, row in _rows(path / "standings.csv"))
    if not lines:
        raise BadInput(f"{path / 'standings.csv'}: has no contestant", _REMEDY)
    known = {c["name"] for c in views["contestants"]}
    strange = sorted({line.contestant for line in lines} ^ known)
    if strange:
        raise BadInput(f"{path}: standings.csv and views.json differ over {', '.join(strange)}", _REMEDY)
    tables = tuple(sorted(p.stem for p in (path / "tables").glob("*.csv")))
    return Result(path, manifest, lines, _runs(path / "runs.csv"), views, tables)


def _json(path: Path) -> dict[str, Any]:
    try:
        content = json.loads(path.read_text(encoding="utf-8"))
    except (ValueError, OSError) as error:
        raise BadInput(f"{path}: damaged: {error}", _REMEDY) from error
    if not isinstance(content, dict) or content.get("schema") != SCHEMA:
        given = content.get("schema") if isinstance(content, dict) else None
        raise BadInput(f"{path}: schema {given!r}, this version reads {SCHEMA}", "Run the tournament again.")
    return content


def _rows(path: Path) -> list[tuple[int, dict[str, str]]]:
    try:
        with path.open(encoding="utf-8", newline="") as handle:
            return [(number, row) for number, row in enumerate(csv.DictReader(handle), start=2)]
    except (OSError, UnicodeDecodeError, csv.Error) as error:
        raise BadInput(f"{path}: cannot be read: {error}", _REMEDY) from error


def _line(path: Path, number: int, row: dict[str, str]) -> Line:
    try:
        return Line(
            int(row["place"]) if row["place"] else None,
            row["contestant"],
            row["ranked"] == "1",
            row["tuned"] == "1",
            tuple(row["tied_with"].split()),
            _number(row["score"]),
            _number(row["score_low"]),
            _number(row["score_high"]),
            _number(row["tuning_gap"]),
            int(row["failed_runs"]),
            float(row["mean_over_limit_k"]),
            {name: _number(row[name]) for name in NAMES},
        )
    except (KeyError, TypeError, ValueError, AttributeError) as error:
        raise BadInput(f"{path}: row {number}: {type(error).__name__}: {error}", _REMEDY) from error


def _runs(path: Path) -> dict[str, dict[str, dict[str, float | None]]]:
    """Means over the replicates by outing, contestant and figure."""
    sums: dict[tuple[str, str], dict[str, list[float]]] = {}
    for number, row in _rows(path):
        try:
            found = sums.setdefault((row["outing"], row["contestant"]), {name: [] for name in NAMES})
            for name in NAMES:
                value = _number(row[name])
                if value is not None:
                    found[name].append(value)
        except (KeyError, TypeError, ValueError, AttributeError) as error:
            raise BadInput(f"{path}: row {number}: {type(error).__name__}: {error}", _REMEDY) from error
    out: dict[str, dict[str, dict[str, float | None]]] = {}
    for (outing, contestant), values in sums.items():
        out.setdefault(outing, {})[contestant] = {n: sum(v) / len(v) if v else None for n, v in values.items()}
    return out


def _number(text: str) -> float | None:
    return float(text) if text else None
