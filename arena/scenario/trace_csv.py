"""Reading recorded CSV files: drive traces and logs of the real car, whatever the logger called its columns.

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
from pydantic import BaseModel, ConfigDict, Field

from arena import units
from arena.errors import BadInput
from arena.scenario import loading
from arena.scenario.csv_table import Table, is_number, read_table
from arena.scenario.quantities import DEFAULT_UNIT, OUR_COLUMNS, QUANTITIES, UNITS, mend, split_header

Floats = NDArray[np.float64]
GAP_S: Final = 5.0
EPOCH_MS: Final = 1e11  # no clock counts that many seconds: milliseconds of 1970
RESTS_AT: Final = (0.03, 0.4)  # pedal sensors that rest above zero rest within this; from memory
RESTS_FOR: Final = 0.03  # share of a drive a pedal is off at least; from memory
OPEN_AT_IDLE: Final = 0.4  # a throttled engine idles far below this; common practice, no source


class ColumnSpec(BaseModel):
    """One column of a mapping: which header, in which unit, and how its range is rescaled.

    `from = [14.1, 100]`, `to = [0, 100]` maps the first range on the second in a straight line and holds the
    ends; both are in `unit`.
    """

    model_config = ConfigDict(extra="forbid", frozen=True, allow_inf_nan=False, populate_by_name=True)

    header: str = Field(min_length=1, description="the column's header, or a beginning of it that fits only one")
    unit: str = Field("", description="unit of the column when the header does not say it")
    from_range: tuple[float, float] | None = Field(None, alias="from")
    to: tuple[float, float] | None = None


Columns = Mapping[str, "str | ColumnSpec"]


@dataclass(frozen=True)
class TraceData:
    """A recorded trace in SI, times from 0; `speed_m_s` always there, the others when the file has them.

    With `rpm` and `map_pa` the vehicle model is skipped; with `grade` the road's slope is followed.
    """

    time_s: Floats
    speed_m_s: Floats
    grade: Floats | None = None
    rpm: Floats | None = None
    map_pa: Floats | None = None
    throttle: Floats | None = None
    pedal: Floats | None = None


@dataclass(frozen=True)
class Log:
    """A log in SI: `time_s` from 0, shape (n,), strictly rising; `values` by quantity, each of shape (n,).

    `values` keys are those of `QUANTITIES`; `headers` says which column each came from; `first_row` is the
    file's line number of the first sample kept.
    """

    path: Path
    time_s: Floats
    values: dict[str, Floats]
    headers: dict[str, str]
    notes: tuple[str, ...]
    first_row: int = 2
    units: dict[str, str] = field(default_factory=dict)  # unit each column was taken in, as the files write it
    said: dict[str, str] = field(default_factory=dict)  # how it is known: "given", "in the header" or "guessed"


@dataclass(frozen=True)
class _Pick:
    index: int
    unit: str  # "" when nobody said
    spec: ColumnSpec | None = None


def read_trace(
    path: Path, columns: Columns | None = None, place: Callable[[str], str] | None = None
) -> tuple[TraceData, list[str]]:
    """A drive trace and notes on what was tolerated. Raises BadInput when time or speed cannot be had."""
    wanted = ("speed", "grade", "altitude", "rpm", "map", "throttle", "pedal")
    log = read_log(path, columns, need=("speed",), want=wanted, place=place)
    notes = list(log.notes)
    speed = np.maximum(log.values["speed"], 0.0)
    grade = log.values.get("grade")
    if grade is None and "altitude" in log.values:
        grade = _grade_from_altitude(log.time_s, speed, log.values["altitude"])
        notes.append(f"{loading.shown(path)}: the slope is worked out from altitude over 100 m of road")
    rpm, map_pa = log.values.get("rpm"), log.values.get("map")
    if (rpm is None) != (map_pa is None):
        have, lack = ("rpm", "MAP") if map_pa is None else ("MAP", "rpm")
        notes.append(f"{loading.shown(path)}: {have} is there without {lack}, so both are worked out from the speed")
        rpm = map_pa = None
    pedal = _from_rest(log.values.get("pedal"), loading.shown(path), notes)
    throttle = _plate_of_load(log, speed, pedal, notes)
    return TraceData(log.time_s, speed, grade, rpm, map_pa, throttle, pedal), notes


def _from_rest(pedal: Floats | None, name: str, notes: list[str]) -> Floats | None:
    """A pedal sensor that rests above zero (and is at rest for a good part of the drive) is taken from its rest."""
    if pedal is None:
        return None
    rest = float(np.min(pedal))
    if not RESTS_AT[0] < rest < RESTS_AT[1] or np.mean(pedal < rest + 0.01) < RESTS_FOR:
        return pedal
    notes.append(f"{name}: the pedal rests at {100 * rest:.1f} %; {100 * rest:.1f} to 100 % is taken as 0 to 100 %")
    return np.asarray(np.clip((pedal - rest) / (1.0 - rest), 0.0, 1.0))


def _plate_of_load(log: Log, speed: Floats, pedal: Floats | None, notes: list[str]) -> Floats | None:
    """A throttle plate that stands open at idle says nothing of the load: the pedal is taken for it."""
    throttle, rpm = log.values.get("throttle"), log.values.get("rpm")
    if throttle is None:
        return None
    idle = speed < 0.3 if rpm is None else (speed < 0.3) & (rpm > 400.0) & (rpm < 1300.0)
    if idle.sum() < 5 or float(np.median(throttle[idle])) < OPEN_AT_IDLE:
        return throttle
    stands = f"{loading.shown(log.path)}: the throttle stands at {100 * np.median(throttle[idle]):.0f} % at idle"
    instead = "the pedal is taken for it" if pedal is not None else "it is worked out from the pressure"
    notes.append(f"{stands}, so it says nothing of the load; {instead}")
    return pedal


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
    picks = _pick_columns(table, columns or {}, keys, place or (lambda name: f"{loading.shown(path)}: columns.{name}"))
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
    said = {key: _how(table, columns or {}, key, pick) for key, pick in picks.items()}
    return Log(path, time_s, values, headers, tuple(table.notes), int(kept_lines[0]), taken, said)


def _how(table: Table, columns: Columns, key: str, pick: _Pick) -> str:
    """How a column's unit is known."""
    if pick.spec is not None and pick.spec.unit:
        return "given"
    ours = table.headers[pick.index].strip().lower() == QUANTITIES[key].column
    if QUANTITIES[key].column in columns and pick.unit:
        return "given"
    return "in the header" if pick.unit or ours else "guessed"


def _pick_columns(table: Table, columns: Columns, keys: Sequence[str], place: Callable[[str], str]) -> dict[str, _Pick]:
    """Which column holds which quantity: the mapping first, then what headers say."""
    faults: list[str] = []
    picks: dict[str, _Pick] = {}
    for name, wanted in columns.items():
        key = OUR_COLUMNS.get(name)
        if key is None:
            near = loading.nearest(name, OUR_COLUMNS)
            hint = f', did you mean "{near}"?' if near else f" (known: {', '.join(OUR_COLUMNS)})"
            faults.append(f"{place(name)} is not a column of ours{hint}")
            continue
        spec = wanted if isinstance(wanted, ColumnSpec) else None
        pick = _by_header(table, spec.header if spec else str(wanted), spec)
        if isinstance(pick, str):
            faults.append(f"{place(name)} {pick}")
            continue
        fault = _bad_spec(key, pick)
        if fault:
            faults.append(f"{place(name)} {fault}")
        picks[key] = pick
    if faults:
        raise BadInput(
            faults, "Correct the columns; each names a header of the file or a beginning that fits only one."
        )
    taken = {pick.index for pick in picks.values()}
    for key in ("time", *keys):
        if key not in picks:
            found = _guess(table, key, taken)
            if found is not None:
                picks[key] = found
                taken.add(found.index)
    if len(table.headers) == 2 and "speed" in keys:
        _of_two(table, picks, taken)
    return {key: pick for key, pick in picks.items() if key == "time" or key in keys}


def _of_two(table: Table, picks: dict[str, _Pick], taken: set[int]) -> None:
    """Two columns of which one at least has a name nobody knows: time, then speed, and said so."""
    for key in ("time", "speed"):
        left = [index for index in (0, 1) if index not in taken and not _is_known(table.headers[index])]
        if key in picks or not left or (key == "speed" and "time" not in picks):
            continue
        header = table.headers[left[0]]
        found = re.search(_ENDS_IN_UNIT[key], header.strip().lower())
        unit = "" if found is None else _SAME_UNIT.get(found[1].replace(" ", ""), found[1].replace(" ", ""))
        picks[key] = _Pick(left[0], unit)
        taken.add(left[0])
        table.notes.append(f'{table.shown}: "{header}" is taken as {QUANTITIES[key].column}, one of only two columns')


def _is_known(header: str) -> bool:
    """Whether a header is one of ours or in the words of some quantity."""
    words = split_header(header)[0]
    return any(header.strip().lower() == q.column or re.fullmatch(q.words, words) for q in QUANTITIES.values())


_ENDS_IN_UNIT: Final = {
    "time": r"(?:^|[^a-z])(ms|min|minutes|s|secs?|seconds)[\])]?$",
    "speed": r"(mph|kph|km ?/ ?h|kmh|m ?/ ?s|mps)[\])]?$",
}
_SAME_UNIT: Final = {"mps": "m/s", "secs": "s", "minutes": "min"}


def _by_header(table: Table, text: str, spec: ColumnSpec | None) -> _Pick | str:
    """The column that a mapping names, or what is wrong with the name."""
    wanted = mend(text)
    asked_unit = spec.unit.lower() if spec else ""
    exact = [index for index, head in enumerate(table.headers) if head == wanted]
    fits = exact or [index for index, head in enumerate(table.headers) if head.lower().startswith(wanted.lower())]
    if not fits:
        words, unit = split_header(wanted)
        fits = [index for index, head in enumerate(table.headers) if split_header(head)[0] == words]
        asked_unit = asked_unit or unit
    if not fits:
        near = loading.nearest(wanted, table.headers)
        return f'names the header "{loading.one_line(wanted)}", which is not in the file' + (
            f', did you mean "{near}"?' if near else ""
        )
    if len(fits) > 1:
        return f'"{wanted}" fits {len(fits)} headers: {", ".join(table.headers[index] for index in fits)}'
    return _Pick(fits[0], asked_unit or split_header(table.headers[fits[0]])[1], spec)


def _bad_spec(key: str, pick: _Pick) -> str:
    kind = QUANTITIES[key].kind
    if pick.unit and pick.unit not in UNITS[kind]:
        return f'has the unit "{pick.unit}", which is none for this (known: {", ".join(UNITS[kind])})'
    if pick.spec is not None and (pick.spec.from_range is None) != (pick.spec.to is None):
        return "has only one of from and to; give both ranges or none"
    if (
        pick.spec is not None
        and pick.spec.from_range is not None
        and pick.spec.from_range[0] == pick.spec.from_range[1]
    ):
        return "has a from range of no width"
    return ""


def _guess(table: Table, key: str, taken: set[int]) -> _Pick | None:
    quantity = QUANTITIES[key]
    found: list[_Pick] = []
    for index, header in enumerate(table.headers):
        words, unit = split_header(header)
        full = re.fullmatch(quantity.words, words)
        whole = header.strip().lower() == quantity.column
        if index in taken or not (full or whole) or (unit and unit not in UNITS[quantity.kind] and not whole):
            continue
        if key == "map" and "boost" in words and unit and "gauge" not in unit and "abs" not in unit:
            unit = f"{unit} gauge"
        found.append(_Pick(index, unit if unit in UNITS[quantity.kind] else ""))
    if len(found) > 1:
        names = ", ".join(f'"{table.headers[pick.index]}"' for pick in found)
        table.notes.append(f"{table.shown}: {names} could all be {quantity.column}; the first is taken")
    return found[0] if found else None


def _first_full_row(table: Table, indices: Sequence[int]) -> int:
    missing = set(indices)
    for position, row in enumerate(table.rows):
        missing -= {index for index in missing if row[index].strip()}
        if not missing:
            return position
    names = ", ".join(f'"{table.headers[index]}"' for index in sorted(missing))
    raise BadInput(f"{table.shown}: the column {names} is empty all the way down", "Leave the column out, or log it.")


def _time(table: Table, pick: _Pick, start: int) -> tuple[Floats, NDArray[np.intp]]:
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


def _time_unit(table: Table, pick: _Pick, start: int) -> str:
    """ "clock" for times of day, else the unit of the numbers."""
    if any(":" in row[pick.index] for row in table.rows[start : start + 20]):
        return "clock"
    first = next((row[pick.index].strip() for row in table.rows[start:] if row[pick.index].strip()), "0")
    return pick.unit or ("ms" if is_number(first) and float(first) > EPOCH_MS else "s")


def _values(table: Table, key: str, pick: _Pick, start: int) -> tuple[Floats, str]:
    """One column in SI, filled forward, rescaled if asked, and within what can be; and the unit it was taken in."""
    quantity = QUANTITIES[key]
    raw = table.numbers(pick.index, start, fill=True)
    unit = pick.unit
    if pick.spec is not None and pick.spec.from_range is not None and pick.spec.to is not None:
        (from_low, from_high), (to_low, to_high) = pick.spec.from_range, pick.spec.to
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
    if not unit and quantity.kind not in ("rpm",) and table.headers[pick.index].strip().lower() != quantity.column:
        default = DEFAULT_UNIT[quantity.kind]
        table.notes.append(f'{table.shown}: "{table.headers[pick.index]}" names no unit; taken as {default}')
    wrong = np.flatnonzero(~((values >= quantity.low) & (values <= quantity.high)))
    if len(wrong):
        message = f"cannot be right for {quantity.column} in {unit or DEFAULT_UNIT[quantity.kind]}"
        raise table.cell_fault(pick.index, start + int(wrong[0]), message, len(wrong))
    return values, unit or DEFAULT_UNIT[quantity.kind]


def _check_plausible(table: Table, picks: Mapping[str, _Pick], values: Mapping[str, Floats]) -> None:
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


def _grade_from_altitude(time_s: Floats, speed_m_s: Floats, altitude_m: Floats) -> Floats:
    """Rise over run across 50 m before and after each sample, held within 30 %."""
    steps = 0.5 * (speed_m_s[1:] + speed_m_s[:-1]) * np.diff(time_s)
    road = np.concatenate([[0.0], np.cumsum(steps)])
    moving = np.concatenate([[True], np.diff(road) > 1e-6])
    if moving.sum() < 2:
        return np.zeros_like(time_s)
    ahead = np.interp(road + 50.0, road[moving], altitude_m[moving])
    behind = np.interp(road - 50.0, road[moving], altitude_m[moving])
    width = np.minimum(road + 50.0, road[-1]) - np.maximum(road - 50.0, 0.0)
    return np.asarray(np.clip((ahead - behind) / np.maximum(width, 1.0), -0.3, 0.3))
