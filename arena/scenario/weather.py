"""Hourly weather files: EPW, and typical years as CSV with a header that names temperature, humidity, pressure, wind.

Layouts after their public descriptions, from memory: EPW (eight head lines, 35 fields), TMY3 (a line on the place, then
a header with units), and CSV as satellite weather services give it (head lines, then `time(UTC),T2m,RH,...`).
"""

from __future__ import annotations

import csv
import math
import re
from collections.abc import Callable
from pathlib import Path
from typing import Any, Final

import numpy as np
from numpy.typing import NDArray

from arena import units
from arena.errors import BadInput
from arena.scenario import loading

Floats = NDArray[np.float64]
SEA_LEVEL_PA: Final = 101325.0
LEAST_HOURS: Final = 24


def read_weather(path: Path) -> dict[str, Floats]:
    """Hourly weather of an .epw or a typical year's .csv: arrays as `read_epw` gives. Raises BadInput."""
    return read_epw(path) if path.suffix.lower() == ".epw" else read_typical_year(path)


def read_epw(path: Path) -> dict[str, Floats]:
    """Hourly weather: month, day, hour (0..23 for the hour that ends), ambient_k, humidity, pressure_pa, wind_m_s.

    The open EPW format: eight head lines, then one row an hour. Missing values (99.9, 999, 999999) take the hour
    before. Raises BadInput naming row and column.
    """
    lines = _lines(path, "latin-1")
    if not lines or not lines[0].upper().startswith("LOCATION"):
        raise BadInput(
            f"{loading.shown(path)}:1: an EPW file starts with LOCATION", "Give an hourly weather file in EPW format."
        )
    columns = {"month": 1, "day": 2, "hour": 3, "air": 6, "humidity": 8, "pressure": 9, "wind": 21}
    missing = {"air": 99.9, "humidity": 999.0, "pressure": 999999.0, "wind": 999.0}
    found: dict[str, list[float]] = {name: [] for name in columns}
    for number, line in enumerate(lines[8:], start=9):
        if not line.strip():
            continue
        cells = line.split(",")
        for name, column in columns.items():
            value = _epw_number(path, number, cells, column, name, missing.get(name, math.inf))
            if value >= missing.get(name, math.inf):
                value = found[name][-1] if found[name] else _EPW_FALLBACK[name]
            found[name].append(value)
    if len(found["air"]) < 24:
        raise BadInput(
            f"{loading.shown(path)}: holds {len(found['air'])} hours; at least 24 are needed", "Give a whole EPW file."
        )
    arrays = {name: np.array(values) for name, values in found.items()}
    return {
        "month": arrays["month"],
        "day": arrays["day"],
        "hour": np.mod(arrays["hour"], 24.0),
        "ambient_k": units.c_to_k(arrays["air"]),
        "humidity": np.clip(arrays["humidity"] / 100.0, 0.0, 1.0),
        "pressure_pa": arrays["pressure"],
        "wind_m_s": arrays["wind"],
    }


_EPW_FALLBACK: Final = {"air": 15.0, "humidity": 50.0, "pressure": SEA_LEVEL_PA, "wind": 1.5}
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
    """The lines of a weather file, whatever their ends and a byte order mark. Raises BadInput."""
    raw = loading.read_bytes(path, loading.TABLE_LIMIT_BYTES)
    loading.check_rows(path, raw)
    text = raw.removeprefix(b"\xef\xbb\xbf").decode(encoding, "replace")
    return text.replace("\r\n", "\n").replace("\r", "\n").split("\n")


def _epw_number(path: Path, number: int, cells: list[str], column: int, name: str, missing: float) -> float:
    """One field; from `missing` on it stands for a value that is not there."""
    cell = cells[column].strip() if column < len(cells) else ""
    try:
        value = float(cell)
    except ValueError:
        value = math.nan
    low, high = _EPW_RANGE[name]
    if not (low <= value <= high or missing <= value <= 10 * missing):
        cell = loading.one_line(cell)
        message = f'field {column + 1} ({name}) is "{cell}", not a number within {low:g} to {high:g}'
        fault = f"{loading.shown(path)}:{number}: {message}"
        raise BadInput(fault, "Correct the row, or give another EPW file.")
    return value


_WORDS: Final[dict[str, tuple[str, ...]]] = {  # header, lower case, without its unit
    "time": ("time", "time(utc)", "time (hh:mm)", "timestamp", "datetime"),
    "date": ("date", "date (mm/dd/yyyy)"),
    "air": ("dry-bulb", "t2m", "temp_air", "air temperature", "temperature", "temp"),
    "humidity": ("rhum", "rh", "relative_humidity", "relative humidity", "humidity"),
    "pressure": ("pressure", "sp", "surface pressure"),
    "wind": ("wspd", "ws10m", "wind_speed", "wind speed"),
}
_DECODE: Final[dict[str, Callable[[Any], Any]]] = {
    "mbar": lambda v: 100.0 * v,
    "hpa": lambda v: 100.0 * v,
    "kpa": lambda v: 1e3 * v,
    "pa": lambda v: v,
}


def read_typical_year(path: Path) -> dict[str, Floats]:
    """A typical year as CSV: date and hour, air in degC, humidity in per cent, pressure (mbar or Pa), wind in m/s.

    Pressure and wind may be missing (sea level, 1.5 m/s). Raises BadInput naming row and column.
    """
    rows = [next(csv.reader([line]), []) for line in _lines(path, "utf-8")]  # a row never goes over two lines
    name = loading.shown(path)
    head, columns, marks = _weather_header(path, rows)
    found: dict[str, list[float]] = {key: [] for key in ("month", "day", "hour", *_EPW_FALLBACK)}
    for number, row in enumerate(rows[head + 1 :], start=head + 2):
        if len(row) <= max(columns.values()):
            if found["air"] and all(len(other) <= max(columns.values()) for other in rows[number:]):
                break  # remarks below the table
            raise BadInput(f"{name}:{number}: has {len(row)} fields, too few for the header", "Correct the row.")
        month, day, hour = _moment(path, number, row, columns)
        for key, value in (("month", month), ("day", day), ("hour", hour)):
            found[key].append(value)
        for key, fallback in _EPW_FALLBACK.items():
            value = _cell(path, number, row, columns[key], key) if key in columns else fallback
            found[key].append(_DECODE[marks[key]](value) if key == "pressure" and key in columns else value)
    if len(found["air"]) < LEAST_HOURS:
        fault = f"{name}: holds {len(found['air'])} hours; at least {LEAST_HOURS} are needed"
        raise BadInput(fault, "Give a whole year's file.")
    arrays = {key: np.array(values) for key, values in found.items()}
    for key, low, high in (
        ("air", -90.0, 70.0),
        ("pressure", 31e3, 110e3),
        ("humidity", 0.0, 110.0),
        ("wind", 0.0, 120.0),
    ):
        wrong = np.flatnonzero((arrays[key] < low) | (arrays[key] > high))
        if len(wrong):
            fault = f"{name}:{head + 2 + int(wrong[0])}: {key} {arrays[key][wrong[0]]:g} cannot be right"
            raise BadInput(fault, "Correct the row, or give another weather file.")
    return {
        "month": arrays["month"],
        "day": arrays["day"],
        "hour": np.mod(arrays["hour"], 24.0),
        "ambient_k": units.c_to_k(arrays["air"]),
        "humidity": np.clip(arrays["humidity"] / 100.0, 0.0, 1.0),
        "pressure_pa": arrays["pressure"],
        "wind_m_s": arrays["wind"],
    }


def _weather_header(path: Path, rows: list[list[str]]) -> tuple[int, dict[str, int], dict[str, str]]:
    """Row number of the header, columns by key, and the pressure's unit."""
    for number, row in enumerate(rows[:40]):
        columns: dict[str, int] = {}
        marks = {"pressure": "pa"}
        for index, cell in enumerate(row):
            text = cell.strip().lower()
            unit = re.search(r"\(([^()]*)\)$", text)
            bare = re.sub(r"\s*\([^()]*\)$", "", text).strip()
            key = next((k for k, words in _WORDS.items() if text in words or bare in words), "")
            if key and key not in columns:
                columns[key] = index
                if key == "pressure" and unit and unit[1] in _DECODE:
                    marks["pressure"] = unit[1]
        if "air" in columns and "time" in columns:
            return number, columns, marks
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
