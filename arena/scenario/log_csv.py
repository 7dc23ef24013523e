"""Reading a log's CSV into SI, whatever the logger called its columns.

Units are taken from the header, else guessed and said so in the notes. Tolerated: clock time, forward-filled
and repeated samples, empty fields at the start, headers with a damaged degree sign. Refused, with row and
column: time running backwards, things that are no number, units that cannot be right.
"""

from __future__ import annotations

import re
from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass, field
from pathlib import Path
from typing import Final

import numpy as np
from numpy.typing import NDArray

from arena import units
from arena.errors import BadInput
from arena.scenario import loading
from arena.scenario.csv_table import Table, is_number, read_table
from arena.scenario.log_columns import Columns, Pick, how_known, pick_columns
from arena.scenario.quantities import DEFAULT_UNIT, QUANTITIES, UNITS, split_header

Floats = NDArray[np.float64]
Range = tuple[float, float]
GAP_S: Final = 5.0
EPOCH_MS: Final = 1e11  # no clock counts that many seconds: milliseconds of 1970


@dataclass(frozen=True)
class Log:
    """A log in SI: `time_s` from 0, shape (n,), strictly rising; `values` by quantity, each of shape (n,).

    `values` keys are those of `QUANTITIES`; `headers` says which column each came from.
    """

    path: Path
    time_s: Floats
    values: dict[str, Floats]
    headers: dict[str, str]
    notes: tuple[str, ...]
    units: dict[str, str] = field(default_factory=dict)  # unit each column was taken in, as the files write it
    every_header: tuple[str, ...] = ()
    said: dict[str, str] = field(default_factory=dict)  # how it is known: "given", "in the header" or "guessed"
    ranges: dict[str, tuple[Range, Range]] = field(default_factory=dict)  # from and to of those that were rescaled


def read_log(
    path: Path,
    columns: Columns | None = None,
    need: Sequence[str] = (),
    want: Sequence[str] | None = None,
    place: Callable[[str], str] | None = None,
) -> Log:
    """A log in SI. `columns` maps our column names to headers and goes before guessing.

    `need` and `want` are keys of `QUANTITIES`; without `want` everything recognised is read. Samples before
    the first row that has every needed and wanted value are left out. Raises BadInput.
    """
    table = read_table(path)
    keys = list(want) if want is not None else [key for key in QUANTITIES if key != "time"]
    picks = pick_columns(table, columns or {}, keys, place or (lambda name: f"{loading.shown(path)}: columns.{name}"))
    missing = [QUANTITIES[key].column for key in ("time", *need) if key not in picks]
    if missing:
        heads = ", ".join(f'"{head}"' for head in table.headers[:12])
        remedy = f'Name the columns so, or map them with columns, e.g. columns = {{ {missing[0]} = "your header" }}.'
        raise BadInput(
            [f"{loading.shown(path)}:1: no column for {name} (the file has {heads})" for name in missing], remedy
        )
    start = _first_full_row(table, [pick.index for pick in picks.values()])
    lines = table.lines[start:]
    time_s, keep = _time(table, picks["time"], start)
    values: dict[str, Floats] = {}
    taken: dict[str, str] = {"time": _time_unit(table, picks["time"], start)}
    for key, pick in picks.items():
        if key != "time":
            read, taken[key] = _values(table, key, pick, start)
            values[key] = read[keep]
    _check_plausible(table, picks, values)
    gaps = np.flatnonzero(np.diff(time_s) > GAP_S)
    kept_lines = np.asarray(lines)[keep]
    for gap in gaps[:5]:
        length = f"a gap of {time_s[gap + 1] - time_s[gap]:.1f} s before this row, bridged in a straight line"
        table.notes.append(f"{loading.shown(path)}:{kept_lines[gap + 1]}: {length}")
    if len(gaps) > 5:
        table.notes.append(f"{loading.shown(path)}: {len(gaps) - 5} more gaps over {GAP_S:g} s")
    headers = {key: table.headers[pick.index] for key, pick in picks.items()}
    said = {key: how_known(table, columns or {}, key, pick) for key, pick in picks.items()}
    ranges = {key: found for key in values if (found := picks[key].ranges) is not None}
    return Log(path, time_s, values, headers, tuple(table.notes), taken, tuple(table.headers), said, ranges)


def _first_full_row(table: Table, indices: Sequence[int]) -> int:
    missing = set(indices)
    for position, row in enumerate(table.rows):
        missing -= {index for index in missing if row[index].strip()}
        if not missing:
            return position
    names = ", ".join(f'"{table.headers[index]}"' for index in sorted(missing))
    raise BadInput(f"{table.shown}: the column {names} is empty all the way down", "Leave the column out, or log it.")


def _time(table: Table, pick: Pick, start: int) -> tuple[Floats, NDArray[np.intp]]:
    """Seconds from 0 and the positions of the samples kept (the last of several at one time)."""
    path = table.shown
    cells = [row[pick.index].strip() for row in table.rows]
    clock = any(":" in cell for cell in cells[start : start + 20])
    if clock:
        seconds = np.array([_clock_s(table, pick.index, row, cells[row]) for row in range(start, len(cells))])
        wraps = np.diff(seconds) < -43200.0
        seconds[1:] += 86400.0 * np.cumsum(wraps)
    else:
        raw = table.numbers(pick.index, start, fill=False)
        unit = pick.unit or ("ms" if raw[0] > EPOCH_MS else "s")
        seconds = np.asarray(UNITS["time"][unit](raw), dtype=np.float64)
    back = np.flatnonzero(np.diff(seconds) < 0.0)
    if len(back):
        row = int(back[0]) + 1
        now, before = (loading.one_line(cells[start + row - k]) for k in (0, 1))
        fault = (
            f'{path}:{table.lines[start + row]}: time runs backwards in column "{table.headers[pick.index]}" '
            f'("{now}" after "{before}")'
        )
        more = [f"{path}: {len(back) - 1} more rows run backwards"] if len(back) > 1 else []
        raise BadInput([fault, *more], "Sort the rows by time, or cut the file where the logger restarted.")
    keep = np.flatnonzero(np.append(np.diff(seconds) > 0.0, True))
    if len(keep) < len(seconds):
        table.notes.append(f"{path}: {len(seconds) - len(keep)} rows repeat a time; the last of each is kept")
    if len(keep) < 2:
        raise BadInput(f"{path}: the time column does not advance", "Give a recording with a rising time column.")
    return seconds[keep] - seconds[keep[0]], keep


def _clock_s(table: Table, index: int, row: int, cell: str) -> float:
    """Time of day in seconds from hh:mm:ss or mm:ss with decimals; a date before and a zone behind are left out."""
    found = re.search(
        r"(?:(\d{1,3}):)?(\d{1,3}):(\d{2}(?:[.,]\d+)?)\s*(am|pm)?\s*(?:z|[+-]\d{2}:?\d{2})?$", cell.lower()
    )
    if not found or float(found[3].replace(",", ".")) >= 61.0 or (found[1] and int(found[2]) > 59):
        raise table.cell_fault(index, row, "is no time of day (hh:mm:ss)")
    hours = int(found[1] or 0)
    if found[4]:
        hours = hours % 12 + (12 if found[4] == "pm" else 0)
    return 3600.0 * hours + 60.0 * int(found[2]) + float(found[3].replace(",", "."))


def _time_unit(table: Table, pick: Pick, start: int) -> str:
    """ "clock" for times of day, else the unit of the numbers."""
    if any(":" in row[pick.index] for row in table.rows[start : start + 20]):
        return "clock"
    first = next((row[pick.index].strip() for row in table.rows[start:] if row[pick.index].strip()), "0")
    return pick.unit or ("ms" if is_number(first) and float(first) > EPOCH_MS else "s")


def _values(table: Table, key: str, pick: Pick, start: int) -> tuple[Floats, str]:
    """One column in SI, filled forward, rescaled if asked, and within what can be; and the unit it was taken in."""
    quantity = QUANTITIES[key]
    raw = table.numbers(pick.index, start, fill=True)
    unit = pick.unit
    if pick.ranges is not None:
        (from_low, from_high), (to_low, to_high) = pick.ranges
        share = np.clip((raw - from_low) / (from_high - from_low), 0.0, 1.0)
        raw = to_low + share * (to_high - to_low)
    if (
        not unit
        and quantity.kind == "share"
        and key != "grade"
        and float(np.max(raw)) <= 1.05
        and float(np.max(raw)) > 0.0
    ):
        unit = "share"
        table.notes.append(f'{table.shown}: "{table.headers[pick.index]}" never passes 1, so it is a share of 0 to 1')
    values = np.asarray(UNITS[quantity.kind][unit or DEFAULT_UNIT[quantity.kind]](raw), dtype=np.float64)
    if (
        not unit
        and quantity.kind not in ("rpm", "gear")
        and table.headers[pick.index].strip().lower() != quantity.column
    ):
        default = DEFAULT_UNIT[quantity.kind]
        table.notes.append(f'{table.shown}: "{table.headers[pick.index]}" names no unit; taken as {default}')
    wrong = np.flatnonzero(~((values >= quantity.low) & (values <= quantity.high)))
    if len(wrong):
        message = f"cannot be right for {quantity.column} in {unit or DEFAULT_UNIT[quantity.kind]}"
        raise table.cell_fault(pick.index, start + int(wrong[0]), message, len(wrong))
    return values, unit or DEFAULT_UNIT[quantity.kind]


def _check_plausible(table: Table, picks: Mapping[str, Pick], values: Mapping[str, Floats]) -> None:
    """Units that nobody named and that cannot be what was assumed."""
    faults = []
    boost = "map" in values and not picks["map"].unit and "boost" in table.headers[picks["map"].index].lower()
    if boost:
        faults.append((picks["map"], "map_kpa", "names no unit, and boost may be gauge or absolute", "kPa gauge"))
    elif "map" in values and not picks["map"].unit:
        top = float(np.max(values["map"])) / 1e3
        if top < 60.0:
            guess = "bar" if top < 5.0 else "psi"
            faults.append(
                (
                    picks["map"],
                    "map_kpa",
                    f"never passes {top:g}, too low for kPa absolute; it looks like {guess}",
                    guess,
                )
            )
    for key in ("iat", "ambient", "engine_coolant"):
        if key in values and not picks[key].unit:
            middle = float(units.k_to_c(np.median(values[key])))
            if middle > {"iat": 95.0, "ambient": 48.0, "engine_coolant": 125.0}[key]:
                message = f"has a middle value of {middle:g}, too hot for degC; it looks like degF"
                faults.append((picks[key], QUANTITIES[key].column, message, "degF"))
    if faults:
        pick, column, _, unit = faults[0]
        head = split_header(table.headers[pick.index])[0]
        raise BadInput(
            [f'{table.shown}: column "{table.headers[p.index]}" {message}' for p, _, message, _ in faults],
            f'Put the unit into the header, e.g. "{head} [{unit}]", or into columns: {column} = "{head} [{unit}]".',
        )
