"""Hourly weather files: EPW, and typical years as CSV with a header that names temperature, humidity, pressure, wind.

Layouts after their public descriptions, from memory: EPW (eight head lines, 35 fields), TMY3 (a line on the place, then
a header with units), and CSV as satellite weather services give it (head lines, then `time(UTC),T2m,RH,...`).
"""

from __future__ import annotations

import csv
import math
import re
from dataclasses import dataclass, replace
from pathlib import Path
from typing import Final

import numpy as np
from numpy.typing import NDArray

from arena import units
from arena.errors import BadInput
from arena.scenario import loading
from arena.scenario.quantities import UNITS, split_header

Floats = NDArray[np.float64]
SEA_LEVEL_PA: Final = 101325.0
LEAST_HOURS: Final = 24


@dataclass(frozen=True)
class HourlyWeather:
    """Hourly weather, shape (n,) each: month, day, hour (0..23 for the hour that ends), ambient_k, humidity (0..1),
    pressure_pa, wind_m_s; those in `lacks` are not in the file and hold what is assumed.
    """

    values: dict[str, Floats]
    lacks: tuple[str, ...] = ()
    utc: bool = False  # the file says its hours are UTC


def read_weather(path: Path) -> HourlyWeather:
    """Hourly weather of an .epw or a typical year's .csv. Raises BadInput naming row and column."""
    return read_epw(path) if path.suffix.lower() == ".epw" else read_typical_year(path)


def read_epw(path: Path) -> HourlyWeather:
    """The open EPW format: eight head lines, then one row an hour, on the place's own clock.

    Missing values (99.9, 999, 999999) take the hour before. Raises BadInput naming row and column.
    """
    lines = _lines(path, "latin-1")
    if not lines or not lines[0].upper().startswith("LOCATION"):
        raise BadInput(
            f"{loading.shown(path)}:1: an EPW file starts with LOCATION", "Give an hourly weather file in EPW format."
        )
    columns = {"month": 1, "day": 2, "hour": 3, "air": 6, "humidity": 8, "pressure": 9, "wind": 21}
    missing = {"air": 99.9, "humidity": 999.0, "pressure": 999999.0, "wind": 999.0}
    found: dict[str, list[float]] = {name: [] for name in columns}
    there = set()
    for number, line in enumerate(lines[8:], start=9):
        if not line.strip():
            continue
        cells = line.split(",")
        for name, column in columns.items():
            value = _epw_number(path, number, cells, column, name, missing.get(name, math.inf))
            if value >= missing.get(name, math.inf):
                value = found[name][-1] if found[name] else _FALLBACK[name]
            else:
                there.add(name)
            found[name].append(value)
    if len(found["air"]) < 24:
        raise BadInput(
            f"{loading.shown(path)}: holds {len(found['air'])} hours; at least 24 are needed", "Give a whole EPW file."
        )
    arrays = {name: np.array(values) for name, values in found.items()}
    arrays["air"], arrays["humidity"] = units.c_to_k(arrays["air"]), arrays["humidity"] / 100.0
    return _whole(arrays, there)


def _whole(arrays: dict[str, Floats], there: set[str]) -> HourlyWeather:
    """From columns in SI by our short names; `there` are those the file has."""
    values = {
        "month": arrays["month"],
        "day": arrays["day"],
        "hour": np.mod(arrays["hour"], 24.0),
        "ambient_k": arrays["air"],
        "humidity": np.clip(arrays["humidity"], 0.0, 1.0),
        "pressure_pa": arrays["pressure"],
        "wind_m_s": arrays["wind"],
    }
    names = {"humidity": "humidity", "pressure": "pressure_pa", "wind": "wind_m_s"}
    return HourlyWeather(values, tuple(name for key, name in names.items() if key not in there))


_FALLBACK: Final = {"air": 15.0, "humidity": 50.0, "pressure": SEA_LEVEL_PA, "wind": 1.5}
_EPW_RANGE: Final = {
    "month": (1, 12),
    "day": (1, 31),
    "hour": (0, 24),
    "air": (-90, 70),
    "humidity": (0, 110),
    "pressure": (31000, 120000),
    "wind": (0, 120),
}


def _lines(path: Path, encoding: str) -> list[str]:
    """The lines of a weather file, whatever their ends and a byte order mark; not UTF-8: Windows-1252."""
    raw = loading.read_bytes(path, loading.TABLE_LIMIT_BYTES)
    loading.check_rows(path, raw)
    raw = raw.removeprefix(b"\xef\xbb\xbf")
    try:
        text = raw.decode(encoding)
    except UnicodeDecodeError:
        text = raw.decode("cp1252", "replace")
    return text.replace("\r\n", "\n").replace("\r", "\n").split("\n")


def _epw_number(path: Path, number: int, cells: list[str], column: int, name: str, missing: float) -> float:
    """One field; from `missing` on it stands for a value that is not there."""
    cell = cells[column].strip() if column < len(cells) else ""
    try:
        value = float(cell)
    except ValueError:
        value = math.nan
    low, high = _EPW_RANGE[name]
    if not (low <= value <= high or missing <= value <= 10 * missing < math.inf):
        cell = loading.one_line(cell)
        message = f'field {column + 1} ({name}) is "{cell}", not a number within {low:g} to {high:g}'
        fault = f"{loading.shown(path)}:{number}: {message}"
        raise BadInput(fault, "Correct the row, or give another EPW file.")
    return value


_WORDS: Final[dict[str, tuple[str, ...]]] = {  # a header's cleaned words, without its unit
    "time": ("time", "timestamp", "datetime"),
    "date": ("date",),
    "air": ("dry bulb", "t2m", "temp air", "air temperature", "temperature", "temp"),
    "humidity": ("rhum", "rh", "relative humidity", "humidity"),
    "pressure": ("pressure", "sp", "surface pressure"),
    "wind": ("wspd", "ws10m", "wind speed"),
}
_KIND: Final = {"air": "temperature", "humidity": "share", "pressure": "pressure", "wind": "speed"}
_DEFAULT_UNIT: Final = {"air": "degc", "humidity": "%", "pressure": "pa", "wind": "m/s"}  # of a header that names none
_RANGE: Final = {"air": (183.15, 343.15), "pressure": (31e3, 110e3), "humidity": (0.0, 1.1), "wind": (0.0, 120.0)}  # SI


@dataclass(frozen=True)
class _Header:
    """The header of a typical year: its row from 0, columns and units by our short names, and whether it says UTC."""

    row: int
    columns: dict[str, int]
    units: dict[str, str]
    utc: bool


def read_typical_year(path: Path) -> HourlyWeather:
    """A typical year as CSV: date and hour, air, humidity, pressure and wind, each in the unit its header names.

    Headers without a unit: degC, per cent, Pa, m/s. Humidity, pressure and wind may be missing (50 %, sea level, 1.5
    m/s). Raises BadInput naming row and column, or a unit that is none for the column.
    """
    rows = [next(csv.reader([line]), []) for line in _lines(path, "utf-8")]  # a row never goes over two lines
    name, head = loading.shown(path), _weather_header(path, rows)
    columns, first = head.columns, head.row + 1
    held = [key for key in _FALLBACK if key in columns]
    found: dict[str, list[float]] = {key: [] for key in ("month", "day", "hour", *held)}
    for number, row in enumerate(rows[first:], start=first + 1):
        if len(row) <= max(columns.values()):
            if found["air"] and all(len(other) <= max(columns.values()) for other in rows[number:]):
                break  # remarks below the table
            raise BadInput(f"{name}:{number}: has {len(row)} fields, too few for the header", "Correct the row.")
        for key, value in zip(("month", "day", "hour"), _moment(path, number, row, columns), strict=True):
            found[key].append(value)
        for key in held:
            found[key].append(_cell(path, number, row, columns[key], key))
    hours = len(found["air"])
    if hours < LEAST_HOURS:
        fault = f"{name}: holds {hours} hours; at least {LEAST_HOURS} are needed"
        raise BadInput(fault, "Give a whole year's file.")
    arrays = {key: np.array(values) for key, values in found.items()}
    for key, (low, high) in _RANGE.items():
        unit = head.units.get(key, _DEFAULT_UNIT[key])
        raw = arrays[key] if key in arrays else np.full(hours, _FALLBACK[key])
        arrays[key] = np.asarray(UNITS[_KIND[key]][unit](raw), dtype=np.float64)
        wrong = np.flatnonzero((arrays[key] < low - 1e-9) | (arrays[key] > high + 1e-9))
        if len(wrong):
            fault = f"{name}:{first + 1 + int(wrong[0])}: {key} {raw[wrong[0]]:g} cannot be right in {unit}"
            raise BadInput(fault, "Correct the row or the unit in the header, or give another weather file.")
    utc = head.utc or rows[first][columns["time"]].strip().lower().endswith("z")
    return replace(_whole(arrays, set(columns)), utc=utc)


def _weather_header(path: Path, rows: list[list[str]]) -> _Header:
    """The first row that names a time and an air temperature. Raises BadInput for none, and for a strange unit."""
    for number, row in enumerate(rows[:40]):
        columns: dict[str, int] = {}
        marks: dict[str, str] = {}
        utc = False
        for index, cell in enumerate(row):
            words, unit = split_header(cell)
            bare = re.sub(r"\s*\b(utc|gmt)$", "", words)
            key = next((k for k, known in _WORDS.items() if bare in known), "")
            if not key or key in columns:
                continue
            columns[key] = index
            if key in _KIND and unit:
                marks[key] = unit
            utc = utc or (key == "time" and (bare != words or unit in ("utc", "gmt")))
        if "air" in columns and "time" in columns:
            faults = [
                f'{loading.shown(path)}:{number + 1}: the column "{loading.one_line(row[columns[key]].strip())}" has '
                f'the unit "{loading.one_line(unit)}", which is none for this (known: {", ".join(UNITS[_KIND[key]])})'
                for key, unit in marks.items()
                if unit not in UNITS[_KIND[key]]
            ]
            if faults:
                raise BadInput(faults, "Convert the column to one of these units, and name it in the header.")
            return _Header(number, columns, marks, utc)
    fault = f"{loading.shown(path)}: no header names both a time and an air temperature"
    raise BadInput(fault, "Give an .epw file, or a typical year as CSV with columns such as time(UTC), T2m, RH.")


def _moment(path: Path, number: int, row: list[str], columns: dict[str, int]) -> tuple[float, float, float]:
    """Month, day and hour from "20070101:0010", "2007-01-01 00:10", or a date and a time column."""
    text = (f"{row[columns['date']]} " if "date" in columns else "") + row[columns["time"]]
    compact = re.match(r"^\s*\d{4}(\d{2})(\d{2}):(\d{2})\d{2}", text)
    dashed = re.match(r"^\s*\d{4}-(\d{2})-(\d{2})[ T]+(\d{1,2}):\d{2}", text)
    slashed = re.match(r"^\s*(\d{1,2})/(\d{1,2})/\d{4}\s+(\d{1,2}):\d{2}", text)
    moment = compact or dashed or slashed
    if moment is None or not (1 <= int(moment[1]) <= 12 and 1 <= int(moment[2]) <= 31 and int(moment[3]) <= 24):
        fault = f'{loading.shown(path)}:{number}: "{loading.one_line(text.strip())}" is no date and hour'
        raise BadInput(fault, "Write 2007-01-31 13:00, or give another weather file.")
    return float(moment[1]), float(moment[2]), float(moment[3])


def _cell(path: Path, number: int, row: list[str], column: int, key: str) -> float:
    try:
        value = float(row[column])
    except ValueError:
        value = math.nan
    if not math.isfinite(value):
        fault = f'field {column + 1} ({key}) is "{loading.one_line(row[column])}", not a number'
        raise BadInput(f"{loading.shown(path)}:{number}: {fault}", "Correct the row, or give another weather file.")
    return value
