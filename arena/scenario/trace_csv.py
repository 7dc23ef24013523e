"""Reading recorded CSV files: drive traces and logs of the real car, whatever the logger called its columns.

Units are taken from the header, else guessed and said so in the notes. Tolerated: clock time, forward-filled
and repeated samples, empty fields at the start, headers with a damaged degree sign. Refused, with row and
column: time running backwards, things that are no number, units that cannot be right.
"""

from __future__ import annotations

import csv
import io
import re
from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass, field
from pathlib import Path
from typing import Any, Final

import numpy as np
from numpy.typing import NDArray
from pydantic import BaseModel, ConfigDict, Field

from arena import units
from arena.errors import BadInput
from arena.scenario import loading

Floats = NDArray[np.float64]
GAP_S: Final = 5.0
ATMOSPHERE_PA: Final = 101325.0


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


@dataclass(frozen=True)
class Quantity:
    """Something a log can hold: our column name, SI key, kind of unit, and words its header may carry."""

    column: str  # our name, unit included
    kind: str
    words: str  # regular expression on the header's cleaned words
    low: float = -np.inf  # SI; outside: refused
    high: float = np.inf


QUANTITIES: Final[dict[str, Quantity]] = {
    "time": Quantity("time_s", "time", r"time( of day| stamp)?|timestamp|clock( time)?|elapsed( time)?|t"),
    "speed": Quantity(
        "speed_kmh",
        "speed",
        r"(vehicle |car |road |gps |wheel )?speed( sensor| gps)?|vss|vehicle speed sensor|velocity",
        -1.0,
        140.0,
    ),
    "grade": Quantity("grade_pct", "share", r"(road )?(grade|slope|gradient)", -0.4, 0.4),
    "altitude": Quantity("altitude_m", "length", r"(gps )?(altitude|elevation)( gps)?|height", -500.0, 9000.0),
    "rpm": Quantity("rpm", "rpm", r"(engine )?rpm|engine speed|revs|engine revs", 0.0, 20000.0),
    "map": Quantity(
        "map_kpa",
        "pressure",
        r"map|(intake )?manifold (absolute )?pressure|intake pressure|boost( pressure)?",
        0.0,
        600e3,
    ),
    "throttle": Quantity(
        "throttle_pct", "share", r"(absolute )?throttle( position| plate)?( sensor)?|tps", -0.05, 1.05
    ),
    "pedal": Quantity(
        "pedal_pct", "share", r"(accelerator )?pedal( position)?( [a-f])?|accelerator( position)?|app", -0.05, 1.05
    ),
    "iat": Quantity(
        "iat_c",
        "temperature",
        r"iat|probe|(intake|charge|inlet manifold|intake manifold) (air )?temp(erature)?|act",
        200.0,
        520.0,
    ),
    "ambient": Quantity("ambient_c", "temperature", r"(ambient|outside)( air)?( temp(erature)?)?|oat", 200.0, 340.0),
    "engine_coolant": Quantity(
        "engine_coolant_c",
        "temperature",
        r"engine coolant( temp(erature)?)?|coolant temp(erature)?|ect|clt",
        200.0,
        420.0,
    ),
    "air_flow": Quantity(
        "air_flow_g_s",
        "mass_flow",
        r"maf|air flow( rate)?( from mass flow sensor)?|mass air flow|air mass flow",
        0.0,
        2.0,
    ),
    "charger_out": Quantity(
        "charger_out_c",
        "temperature",
        r"charger out( temp(erature)?)?|compressor out(let)?( temp(erature)?)?",
        200.0,
        600.0,
    ),
    "loop_coolant": Quantity(
        "coolant_into_core_c",
        "temperature",
        r"(charge )?cooler (coolant|water)( temp(erature)?)?|coolant into core|loop (coolant|water)( temp(erature)?)?",
        200.0,
        420.0,
    ),
    "coolant_out_of_core": Quantity("coolant_out_of_core_c", "temperature", r"coolant out of core", 200.0, 420.0),
    "core_metal": Quantity("core_metal_c", "temperature", r"core metal", 200.0, 520.0),
    "bay": Quantity(
        "bay_c", "temperature", r"(engine )?bay( temp(erature)?)?|under ?hood( temp(erature)?)?", 200.0, 450.0
    ),
    "duty": Quantity("duty_pct", "share", r"(pump )?duty( cycle)?|pump (output|pwm)", -0.01, 1.01),
    "pump_voltage": Quantity("pump_v", "voltage", r"pump( volt(age|s)?)?", -1.0, 60.0),
    "pump_current": Quantity("pump_a", "current", r"pump (current|amp(ere)?s)", -50.0, 200.0),
    "supply": Quantity(
        "supply_v", "voltage", r"supply|battery( volt(age|s)?)?|vbat|system voltage|control module voltage", 0.0, 60.0
    ),
    "flow": Quantity("flow_l_min", "volume_flow", r"(coolant |pump )?flow", -1e-3, 1e-2),
}


def _scaled(factor: float) -> Callable[[Any], Any]:
    return lambda value: value * factor


def _gauge(factor: float) -> Callable[[Any], Any]:
    return lambda value: value * factor + ATMOSPHERE_PA


_PRESSURES: Final[dict[str, float]] = {
    "kpa": 1e3,
    "pa": 1.0,
    "hpa": 100.0,
    "mbar": 100.0,
    "bar": 1e5,
    "psi": units.PSI_PA,
    "inhg": 3386.389,
    "mmhg": 133.3224,
}
UNITS: Final[dict[str, dict[str, Callable[[Any], Any]]]] = {
    "time": {
        **dict.fromkeys(("s", "sec", "second", "seconds"), _scaled(1.0)),
        "ms": _scaled(1e-3),
        "min": _scaled(60.0),
        "h": _scaled(3600.0),
    },
    "speed": {
        **dict.fromkeys(("kmh", "km/h", "kph"), _scaled(1.0 / 3.6)),
        "mph": units.mph_to_m_s,
        "m/s": _scaled(1.0),
    },
    "share": {
        **dict.fromkeys(("%", "pct", "percent"), _scaled(0.01)),
        **dict.fromkeys(("0-1", "share"), _scaled(1.0)),
    },
    "length": {"m": _scaled(1.0), "ft": _scaled(units.FOOT_M), "km": _scaled(1e3)},
    "rpm": {**dict.fromkeys(("rpm", "1/min", "rev/min", "r/min"), _scaled(1.0)), "hz": _scaled(60.0)},
    "pressure": {
        **{unit: _scaled(factor) for unit, factor in _PRESSURES.items()},
        **{f"{unit} abs": _scaled(factor) for unit, factor in _PRESSURES.items()},
        **{f"{unit} gauge": _gauge(factor) for unit, factor in _PRESSURES.items()},
    },
    "temperature": {
        **dict.fromkeys(("c", "degc", "deg c", "°c", "celsius"), units.c_to_k),
        **dict.fromkeys(("f", "degf", "deg f", "°f", "fahrenheit"), units.f_to_k),
        "k": _scaled(1.0),
    },
    "mass_flow": {
        "g/s": _scaled(1e-3),
        "kg/h": _scaled(1.0 / 3600.0),
        "kg/s": _scaled(1.0),
        "lb/min": _scaled(units.POUND_KG / 60.0),
    },
    "volume_flow": {**dict.fromkeys(("l/min", "lpm"), units.l_min_to_m3_s), "gpm": units.gpm_to_m3_s},
    "voltage": {"v": _scaled(1.0), "mv": _scaled(1e-3)},
    "current": {"a": _scaled(1.0), "ma": _scaled(1e-3)},
}
_DEFAULT_UNIT: Final = {
    "time": "s",
    "speed": "kmh",
    "share": "%",
    "length": "m",
    "rpm": "rpm",
    "pressure": "kpa",
    "temperature": "c",
    "mass_flow": "g/s",
    "volume_flow": "l/min",
    "voltage": "v",
    "current": "a",
}
OUR_COLUMNS: Final = {quantity.column: key for key, quantity in QUANTITIES.items()}


@dataclass
class _Table:
    """The file as texts: headers (mended), cells by column, and each row's line number."""

    path: Path
    headers: list[str]
    rows: list[list[str]]
    lines: list[int]
    decimal_comma: bool
    notes: list[str] = field(default_factory=list)


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
    trace = TraceData(log.time_s, speed, grade, rpm, map_pa, log.values.get("throttle"), log.values.get("pedal"))
    return trace, notes


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
    table = _read_table(path)
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
    for key, pick in picks.items():
        if key != "time":
            values[key] = _values(table, key, pick, start)[keep]
    _check_plausible(table, picks, values)
    gaps = np.flatnonzero(np.diff(time_s) > GAP_S)
    kept_lines = np.asarray(lines)[keep]
    for gap in gaps[:5]:
        length = f"a gap of {time_s[gap + 1] - time_s[gap]:.1f} s before this row, bridged in a straight line"
        table.notes.append(f"{loading.shown(path)}:{kept_lines[gap + 1]}: {length}")
    if len(gaps) > 5:
        table.notes.append(f"{loading.shown(path)}: {len(gaps) - 5} more gaps over {GAP_S:g} s")
    headers = {key: table.headers[pick.index] for key, pick in picks.items()}
    return Log(path, time_s, values, headers, tuple(table.notes), int(kept_lines[0]))


def mend(header: str) -> str:
    """A header with doubly encoded letters put right ("Â°C" -> "°C") and blanks trimmed."""
    text = header.strip().strip("\ufeff")
    for _ in range(2):
        if not re.search(r"[\u00c2\u00c3]", text):
            break
        try:
            text = text.encode("cp1252").decode("utf-8")
        except (UnicodeEncodeError, UnicodeDecodeError):
            text = text.replace("\u00c2", "")
    return text


def split_header(header: str) -> tuple[str, str]:
    """A header's cleaned words and its unit: "Vehicle Speed [km/h]" -> ("vehicle speed", "km/h"); no unit: ""."""
    text = mend(header)
    bracket = re.search(r"[\[(]\s*([^\])]*?)\s*[\])]\s*$", text)
    unit = ""
    if bracket:
        unit, text = bracket[1].lower(), text[: bracket.start()]
    words = re.sub(r"[\s_\-.:]+", " ", text).strip().lower()
    if not unit:
        known = sorted({name for group in UNITS.values() for name in group}, key=len, reverse=True)
        for name in known:
            suffix = re.sub(r"[_/]", " ", name)
            for ending in {name, suffix}:
                if words.endswith(f" {ending}"):
                    return words[: -len(ending) - 1].strip(), name
    return words, unit


def _read_table(path: Path) -> _Table:
    raw = loading.read_bytes(path, loading.TABLE_LIMIT_BYTES)
    notes: list[str] = []
    if raw.startswith((b"\xff\xfe", b"\xfe\xff")):
        raise BadInput(
            f"{loading.shown(path)}: the text is UTF-16, not UTF-8", "Save the file as UTF-8 text and try again."
        )
    try:
        text = raw.decode("utf-8-sig")
    except UnicodeDecodeError:
        text = raw.decode("cp1252", errors="replace")
        notes.append(f"{loading.shown(path)}: is not UTF-8, read as Windows-1252")
    if "\0" in text:
        line = text[: text.index("\0")].count("\n") + 1
        raise BadInput(f"{loading.shown(path)}:{line}: holds zero bytes, so it is not a text file", "Give a CSV file.")
    if not text.strip():
        raise BadInput(
            f"{loading.shown(path)}: the file is empty", "Give a CSV with a header row, e.g. time_s,speed_kmh."
        )
    head = next(line for line in text.splitlines() if line.strip())
    delimiter = max(",;\t", key=head.count)
    headers: list[str] = []
    rows: list[list[str]] = []
    lines: list[int] = []
    reader = csv.reader(io.StringIO(text, newline=""), delimiter=delimiter)
    try:
        for row in reader:
            if not row or not any(cell.strip() for cell in row) or (row[0].startswith("#")):
                continue
            if not headers:
                headers = [mend(cell) for cell in row]
                continue
            rows.append(row)
            lines.append(reader.line_num)
    except csv.Error as error:
        raise BadInput(
            f"{loading.shown(path)}:{reader.line_num}: is not a readable CSV row ({error})", "Give a plain CSV file."
        ) from None
    if headers and all(_is_number(cell) for cell in headers if cell):
        if len(headers) != 2:
            raise BadInput(f"{loading.shown(path)}:1: there is no header row, so the columns have no names",
                           "Put a header row on top, e.g. time_s,speed_kmh.")  # fmt: skip
        notes.append(
            f"{loading.shown(path)}: has no header row; its two columns are taken as time in s and speed in km/h"
        )
        rows.insert(0, headers)
        lines.insert(0, 1)
        headers = ["time_s", "speed_kmh"]
    if len(rows) < 2:
        raise BadInput(
            f"{loading.shown(path)}: has {len(rows)} rows of data; at least 2 are needed", "Give a longer recording."
        )
    _check_widths(path, headers, rows, lines)
    return _Table(path, headers, rows, lines, delimiter != ",", notes)


def _check_widths(path: Path, headers: list[str], rows: list[list[str]], lines: list[int]) -> None:
    """Every row must have the header's columns; only the last may be cut short (a logger that lost power)."""
    width = len(headers)
    for position, row in enumerate(rows):
        if len(row) != width:
            extra = row[width:]
            if len(row) > width and not any(cell.strip() for cell in extra):
                del row[width:]
            elif position == len(rows) - 1 and len(rows) > 2 and len(row) < width:
                rows.pop()
                lines.pop()
                return
            else:
                fault = f"{loading.shown(path)}:{lines[position]}: has {len(row)} fields where the header has {width}"
                raise BadInput(fault, "Correct that row, or take it out.")


def _pick_columns(
    table: _Table, columns: Columns, keys: Sequence[str], place: Callable[[str], str]
) -> dict[str, _Pick]:
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
    return {key: pick for key, pick in picks.items() if key == "time" or key in keys}


def _by_header(table: _Table, text: str, spec: ColumnSpec | None) -> _Pick | str:
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
        return f'names the header "{wanted}", which is not in the file' + (f', did you mean "{near}"?' if near else "")
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


def _guess(table: _Table, key: str, taken: set[int]) -> _Pick | None:
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
        table.notes.append(f"{loading.shown(table.path)}: {names} could all be {quantity.column}; the first is taken")
    return found[0] if found else None


def _first_full_row(table: _Table, indices: Sequence[int]) -> int:
    missing = set(indices)
    for position, row in enumerate(table.rows):
        missing -= {index for index in missing if row[index].strip()}
        if not missing:
            return position
    names = ", ".join(f'"{table.headers[index]}"' for index in sorted(missing))
    raise BadInput(
        f"{loading.shown(table.path)}: the column {names} is empty all the way down", "Leave the column out, or log it."
    )


def _time(table: _Table, pick: _Pick, start: int) -> tuple[Floats, NDArray[np.intp]]:
    """Seconds from 0 and the positions of the samples kept (the last of several at one time)."""
    path = loading.shown(table.path)
    cells = [row[pick.index].strip() for row in table.rows]
    clock = any(":" in cell for cell in cells[start : start + 20])
    if clock:
        seconds = np.array([_clock_s(table, pick.index, row, cells[row]) for row in range(start, len(cells))])
        wraps = np.diff(seconds) < -43200.0
        seconds[1:] += 86400.0 * np.cumsum(wraps)
    else:
        seconds = np.asarray(
            UNITS["time"][pick.unit or "s"](_numbers(table, pick.index, start, fill=False)), dtype=np.float64
        )
    back = np.flatnonzero(np.diff(seconds) < 0.0)
    if len(back):
        row = int(back[0]) + 1
        fault = (
            f'{path}:{table.lines[start + row]}: time runs backwards in column "{table.headers[pick.index]}" '
            f'("{cells[start + row]}" after "{cells[start + row - 1]}")'
        )
        more = [f"{path}: {len(back) - 1} more rows run backwards"] if len(back) > 1 else []
        raise BadInput([fault, *more], "Sort the rows by time, or cut the file where the logger restarted.")
    keep = np.flatnonzero(np.append(np.diff(seconds) > 0.0, True))
    if len(keep) < len(seconds):
        table.notes.append(f"{path}: {len(seconds) - len(keep)} rows repeat a time; the last of each is kept")
    if len(keep) < 2:
        raise BadInput(f"{path}: the time column does not advance", "Give a recording with a rising time column.")
    return seconds[keep] - seconds[keep[0]], keep


def _clock_s(table: _Table, index: int, row: int, cell: str) -> float:
    """Time of day in seconds; a date before it is left out."""
    found = re.search(r"(\d{1,3}):(\d{2})(?::(\d{2}(?:[.,]\d+)?))?\s*$", cell)
    if not found or int(found[2]) > 59 or (found[3] and float(found[3].replace(",", ".")) >= 61):
        raise _cell_fault(table, index, row, "is no time of day (hh:mm:ss)")
    if found[3] is None:
        return 60.0 * int(found[1]) + int(found[2])
    return 3600.0 * int(found[1]) + 60.0 * int(found[2]) + float(found[3].replace(",", "."))


def _values(table: _Table, key: str, pick: _Pick, start: int) -> Floats:
    """One column in SI, filled forward, rescaled if asked, and within what can be."""
    quantity = QUANTITIES[key]
    raw = _numbers(table, pick.index, start, fill=True)
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
        table.notes.append(
            f'{loading.shown(table.path)}: "{table.headers[pick.index]}" never passes 1, so it is a share of 0 to 1'
        )
    values = np.asarray(UNITS[quantity.kind][unit or _DEFAULT_UNIT[quantity.kind]](raw), dtype=np.float64)
    if not unit and quantity.kind not in ("rpm",) and table.headers[pick.index].strip().lower() != quantity.column:
        default = _DEFAULT_UNIT[quantity.kind]
        table.notes.append(
            f'{loading.shown(table.path)}: "{table.headers[pick.index]}" names no unit; taken as {default}'
        )
    wrong = np.flatnonzero((values < quantity.low) | (values > quantity.high))
    if len(wrong):
        message = f"cannot be right for {quantity.column} in {unit or _DEFAULT_UNIT[quantity.kind]}"
        raise _cell_fault(table, pick.index, start + int(wrong[0]), message, len(wrong))
    return values


def _check_plausible(table: _Table, picks: Mapping[str, _Pick], values: Mapping[str, Floats]) -> None:
    """Units that nobody named and that cannot be what was assumed."""
    faults = []
    if "map" in values and not picks["map"].unit:
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
            [
                f'{loading.shown(table.path)}: column "{table.headers[p.index]}" {message}'
                for p, _, message, _ in faults
            ],
            f'Put the unit into the header, e.g. "{head} [{unit}]", or into columns: {column} = "{head} [{unit}]".',
        )


def _numbers(table: _Table, index: int, start: int, fill: bool) -> Floats:
    """A column from row `start` on; empty fields take the last value before them."""
    cells = [row[index] for row in table.rows]
    if table.decimal_comma:
        cells = [cell.replace(",", ".") for cell in cells]
    last = ""
    if fill:
        for row in range(start + 1):
            last = cells[row].strip() or last
    out = []
    for row in range(start, len(cells)):
        cell = cells[row].strip()
        if not cell and fill:
            cell = last
        last = cell
        out.append(cell)
    try:
        numbers = np.array(out, dtype=np.float64)
    except ValueError:
        bad = next(row for row, cell in enumerate(out) if not _is_number(cell))
        raise _cell_fault(table, index, start + bad, "is not a number" if out[bad] else "is empty") from None
    wrong = np.flatnonzero(~np.isfinite(numbers))
    if len(wrong):
        raise _cell_fault(table, index, start + int(wrong[0]), "is not a finite number", len(wrong))
    return numbers


def _cell_fault(table: _Table, index: int, row: int, message: str, count: int = 1) -> BadInput:
    cell = table.rows[row][index].strip()
    more = f" ({count} rows in all)" if count > 1 else ""
    fault = f'{loading.shown(table.path)}:{table.lines[row]}: column "{table.headers[index]}": "{cell}" {message}{more}'
    return BadInput(fault, "Correct or take out the row, or say the column's unit in its header or in columns.")


def _is_number(cell: str) -> bool:
    try:
        float(cell)
    except ValueError:
        return False
    return True


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
