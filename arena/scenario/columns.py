"""The mapping of a log's columns as the user gives it: a TOML file with [columns], or NAME=HEADER words.

`read_columns` reads it; `columns_toml` writes one from what was guessed, for confirmation.
"""

from __future__ import annotations

from pathlib import Path

from pydantic import BaseModel, ConfigDict, Field

from arena.errors import BadInput
from arena.scenario import loading
from arena.scenario.log_columns import Columns, ColumnSpec
from arena.scenario.log_csv import Log
from arena.scenario.quantities import OUR_COLUMNS, QUANTITIES


class ColumnsFile(BaseModel):
    """A whole mapping file."""

    model_config = ConfigDict(extra="forbid", frozen=True)

    columns: dict[str, str | ColumnSpec] = Field(min_length=1)


def read_columns(given: str | Path | None) -> Columns:
    """Our column name -> header (or header, unit, from, to); empty for nothing. Raises BadInput, one line a fault."""
    if not given:
        return {}
    text = str(given)
    if "=" not in text:
        path = Path(text)
        return _known(loading.read_toml(path, ColumnsFile).columns, f"{loading.shown(path)}: columns.")
    found: dict[str, str | ColumnSpec] = {}
    faults = []
    for word in text.split(","):
        name, equals, header = word.partition("=")
        if not name.strip() or not equals or not header.strip():
            faults.append(f'--columns: "{loading.one_line(word)}" is not of the form NAME=HEADER')
        found[name.strip()] = header.strip()
    if faults:
        raise BadInput(faults, 'Write for example --columns "speed_kmh=GPS Speed [mph],rpm=Engine". A file also does.')
    return _known(found, "--columns: ")


def columns_toml(log: Log) -> str:
    """The columns of a log as a mapping file: what was guessed, with the unit each was taken in and any rescaling."""
    lines = ["[columns]"]
    for key in ("time", *log.values):
        if key not in log.headers:
            continue
        unit = log.units.get(key, "")
        said = "" if unit in ("", "clock") else f", unit = {loading.toml_text(unit)}"
        if key in log.ranges:
            given, to = log.ranges[key]
            said += f", from = [{given[0]}, {given[1]}], to = [{to[0]}, {to[1]}]"
        lines.append(f"{QUANTITIES[key].column} = {{ header = {loading.toml_text(log.headers[key])}{said} }}")
    return "\n".join(lines) + "\n"


def _known(columns: Columns, where: str) -> Columns:
    faults = []
    for name in columns:
        if name not in OUR_COLUMNS:
            near = loading.nearest(name, OUR_COLUMNS)
            hint = f', did you mean "{near}"?' if near else ""
            faults.append(f"{where}{loading.one_line(name)} is not a column of ours{hint}")
    if faults:
        raise BadInput(faults, f"Known: {', '.join(OUR_COLUMNS)}.")
    return columns
