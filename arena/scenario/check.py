"""Recognise any of the project's own files, or a log, and validate it: what `arena check` stands on."""

from __future__ import annotations

import re
from collections.abc import Callable, Sequence
from dataclasses import dataclass
from pathlib import Path
from typing import Any, Final

import numpy as np
from numpy.typing import NDArray

from arena.errors import BadInput
from arena.scenario import csv_table, loading
from arena.scenario.car import Car, load_car, written
from arena.scenario.car_keys import KEY_OF_NUMBER, SECTIONS
from arena.scenario.climate import Climate, load_climate
from arena.scenario.columns import columns_toml
from arena.scenario.derived import WARM_K, derive, sure_duty, sure_words
from arena.scenario.drive import Drive, load_drive, longest_s
from arena.scenario.fault import PARTS, Fault, load_fault
from arena.scenario.log_columns import Columns
from arena.scenario.log_csv import Log, read_log
from arena.scenario.quantities import QUANTITIES
from arena.scenario.season import Season, load_season
from arena.scenario.sense import sense_notes
from arena.scenario.weather import read_weather
from arena.units import ZERO_C_K, Units

Floats = NDArray[np.float64]


@dataclass(frozen=True)
class Checked:
    """A file that passed. `rows` are (what, value, how it is known) for printing; `loaded` is the loaded thing.

    `kind`: car, climate, drive, season, fault, log, weather, or one that only its own reader can check (strategy,
    settings, axes, table, columns), for which `loaded` is the plain data of the file. `text` is printed as it stands.
    """

    kind: str
    notes: tuple[str, ...]
    rows: tuple[tuple[str, str, str], ...]
    loaded: Any = None
    text: str = ""


def check_file(path: str | Path, columns: Columns | None = None, units: Units | None = None) -> Checked:
    """What kind of file it is, checked in full; `columns` is for logs. Raises BadInput with every fault."""
    path, units = Path(path), units or Units()
    suffix = path.suffix.lower()
    if suffix == ".toml":
        return _toml(path, units)
    if suffix == ".py":
        loading.read_text(path)
        return Checked("strategy", (), ())
    if suffix == ".epw":
        return _weather(path, units)
    if suffix in (".csv", ".tsv", ".txt", ".log"):
        return _csv(path, columns, units)
    loading.read_bytes(path, loading.TABLE_LIMIT_BYTES)
    fault = f'{loading.shown(path)}: the ending "{suffix}" is none of ours'
    raise BadInput(
        fault,
        "Known: .toml (car, climate, drive, season, axes, fault), .csv (trace, log, duty table), .epw, .py (strategy).",
    )


def _toml(path: Path, units: Units) -> Checked:
    data = loading.parse(path, loading.read_text(path))
    kinds = [kind for table, kind in loading.KIND_OF_TABLE.items() if table in data]
    if not kinds:
        known = ", ".join(f"[{table}]" for table in loading.KIND_OF_TABLE)
        near = next(
            (
                loading.nearest(name, loading.KIND_OF_TABLE)
                for name in data
                if loading.nearest(name, loading.KIND_OF_TABLE)
            ),
            "",
        )
        hint = f", did you mean [{near}]?" if near else ""
        raise BadInput(
            f"{loading.shown(path)}: has none of the tables {known}, so its kind cannot be told{hint}",
            "Add its head table.",
        )
    match kinds[0]:
        case "car":
            return _car(load_car(path), units)
        case "climate":
            return _climate(load_climate(path), units)
        case "drive":
            return _drive(load_drive(path), units)
        case "season":
            return _season(load_season(path), units)
        case "fault":
            return _fault(load_fault(path))
        case kind:
            return Checked(kind, (), (), data)


def _of(units: Units, value: float, unit: str, digits: str = ".4g") -> str:
    """A metric number with its unit, as it is to be printed."""
    number, label = units.labelled(value, unit)
    return f"{number:{digits}} {label}"


def _car(car: Car, units: Units) -> Checked:
    """Every number as the file would give it, and how it is known."""
    rows = [(key, str(value), "measured (given)") for key, value in car.typed.items()]
    number_of = {key: number for number, key in KEY_OF_NUMBER.items()}
    for key in (f"{section}.{name}" for section, model in SECTIONS.items() for name in model.model_fields):
        section, name = key.split(".")
        text = written(section, name, getattr(car.numbers(), section))
        if text is not None and key in number_of:
            why = car.origin[number_of[key]]
            value = _in_few_words(car, key) or _rounded(text)
            known = f"assumed: {why}"
            if car.measured(number_of[key]):
                known = "measured (given)" if why == "given" else f"measured: {why}"
            rows.append((key, value, known))
    _fits_the_solver(car)
    return Checked("car", car.notes, (*rows, *_derived(car, units)), car)


def _in_few_words(car: Car, key: str) -> str:
    """Rows of numbers shortened, in the file's own units; empty for single numbers."""
    if key == "pump.curve":
        pump = car.numbers().pump
        flow, head = 6e4 * pump.head_flow_m3_s[-1], 1e-3 * pump.head_pa[0]
        return f"{len(pump.head_pa)} points, to {flow:.3g} L/min, {head:.3g} kPa"
    if key == "engine.kmh_per_1000rpm":
        gears = [3600.0 * v for v in car.numbers().engine.gear_m_s_per_rpm]
        return f"{len(gears)} gears, {gears[0]:.3g} to {gears[-1]:.3g}"
    return ""


def _rounded(text: str) -> str:
    """A value as the file writes it, on one line, numbers to 4 digits."""
    return re.sub(r"\d+\.\d+", lambda found: f"{float(found[0]):.4g}", " ".join(text.split()))


def _fits_the_solver(car: Car) -> None:
    """What only the physics can refuse: a loop too small to be closed."""
    from arena.plant.compile import volumes

    try:
        volumes(car.numbers().loop)
    except BadInput as error:
        name = loading.shown(car.path) if car.path is not None else car.name
        raise BadInput([f"{name}: loop: {fault}" for fault in error.faults], error.remedy) from None


def _derived(car: Car, units: Units) -> list[tuple[str, str, str]]:
    """What the numbers come to, for comparing with what can be measured."""
    d = derive(car.numbers())
    volts = f"{car.numbers().supply.running_v:g} V, coolant at {_of(units, WARM_K - ZERO_C_K, 'degC')}"
    values = {
        "coolant in all": f"{_of(units, 1e3 * d.coolant_m3, 'L')}, {_of(units, 1e3 * d.hose_m3, 'L')} of it in hoses",
        "coolant freezes": _of(units, d.freezing_k - ZERO_C_K, "degC", ".1f"),
        "coolant boils": f"{_of(units, d.boiling_k - ZERO_C_K, 'degC', '.1f')} at the cap's pressure",
        "pump flat out": f"{_of(units, 6e4 * d.flow_m3_s, 'L/min', '.3g')}, {d.pump_a:.2f} A, "
        f"{d.pump_rad_s * 9.5493:.0f} rpm at {volts}",
        "pump at its rated voltage": f"{d.rated_a:.2f} A at {car.numbers().pump.rated_v:g} V at its plug",
        "pump at half duty": _of(units, 6e4 * d.half_flow_m3_s, "L/min", ".3g")
        + (f", {d.half_a:.2f} A" if np.isfinite(d.half_a) else ""),
        "pump starts from": f"{100 * d.start_duty:.0f} % duty{_at_volts(car)}, standing still",
        "pump stalls below": f"{100 * d.stall_duty:.0f} % duty, once it turns",
        "lowest duty of a table": f"{100 * sure_duty(car.numbers()):.0f} %: {sure_words(car.numbers())}",
        "pump held fast": f"{d.stall_a:.1f} A",
        "once round the loop": f"{d.circulation_s:.0f} s flat out",
        "core effectiveness": f"{d.core_effectiveness:.2f} at peak air flow and that coolant flow",
        "loop time constant": f"{d.loop_tau_s:.0f} s at {_of(units, 80.0, 'km/h', '.0f')}, flat out",
    }
    return [(what, value, "derived") for what, value in values.items()]


def _at_volts(car: Car) -> str:
    return "" if car.numbers().pump.kind == "signal" else f" at {car.numbers().supply.running_v:g} V"


def _climate(climate: Climate, units: Units) -> Checked:
    air = (climate.ambient_k, climate.pressure_pa, climate.humidity, climate.wind_m_s)
    return Checked("climate", climate.notes, (("hours", str(len(climate.hours)), ""), *_air(air, units)), climate)


def _air(si: Sequence[Floats | None], units: Units) -> list[tuple[str, str, str]]:
    """Lowest and highest of air temperature, pressure, humidity and wind, all in SI; None: not in the file."""
    rows = []
    kinds = (("air", 1.0, "degC"), ("pressure", 1e-3, "kPa"), ("humidity", 100.0, "%"), ("wind", 3.6, "km/h"))
    for (what, factor, unit), values in zip(kinds, si, strict=True):
        if values is None:
            rows.append((what, "not in the file", ""))
            continue
        printed = values - ZERO_C_K if unit == "degC" else values * factor
        low, high = float(np.min(printed)), float(np.max(printed))
        text = _of(units, high, unit)
        rows.append((what, text if low == high else f"{units.labelled(low, unit)[0]:.4g} to {text}", ""))
    return rows


def _drive(drive: Drive, units: Units) -> Checked:
    rows = [
        ("start", drive.start, ""),
        ("lasts at most", f"{longest_s(drive.file.phase, drive.traces) / 60.0:.1f} min", ""),
    ]
    for name, trace in drive.traces.items():
        distance = "speed by engine speed and gear"
        if trace.speed_m_s is not None:
            distance = _of(units, float(np.trapezoid(trace.speed_m_s, trace.time_s)) / 1e3, "km", ".3f")
        rows.append((f"trace {name}", f"{trace.time_s[-1]:.0f} s, {distance}, {len(trace.time_s)} samples", ""))
    return Checked("drive", (*drive.notes, *sense_notes(drive.file, drive.traces)), tuple(rows), drive)


def _season(season: Season, units: Units) -> Checked:
    total = sum(entry.outings_per_year for entry in season.entries)
    target, limit = (units.labelled(value, "degC") for value in (season.target_c, season.limit_c))
    rows = [
        ("target, limit", f"{target[0]:g}, {limit[0]:g} {limit[1]}", ""),
        ("outings a year", f"{total:g}", ""),
    ]
    notes = []
    load: dict[str, Callable[[str], object]] = {"drive": load_drive, "climate": load_climate, "fault": load_fault}
    for kind, name in {(k, n) for e in season.entries for k in load if (n := getattr(e, k))}:
        try:
            load[kind](name)
        except BadInput as fault:
            notes += fault.faults
    if notes:
        raise BadInput(sorted(notes), "Correct the files the season names.")
    rows += [
        (f"{e.drive} in {e.climate}" + f" with {e.fault}" * bool(e.fault), f"{e.outings_per_year:g} a year", "")
        for e in season.entries
    ]
    return Checked("season", (), tuple(rows), season)


def _fault(fault: Fault) -> Checked:
    rows = []
    for part in PARTS:
        table = getattr(fault.file, part)
        for key in sorted(table.model_fields_set):
            rows.append((f"{part}.{key}", str(getattr(table, key)), ""))
    return Checked("fault", (), tuple(rows), fault)


def _csv(path: Path, columns: Columns | None, units: Units) -> Checked:
    """A duty table is left to its own reader; weather of a typical year is known by its header; the rest are logs."""
    text = loading.read_bytes(path, loading.TABLE_LIMIT_BYTES)[:6000].decode("utf-8", "replace").lower()
    if "\\" in csv_table.head_of(text):
        return Checked("table", (), ())
    if path.suffix.lower() == ".csv" and re.search(r"(?m)^[^\n]{0,300}(\bt2m\b|dry-bulb)", text):
        return _weather(path, units)
    return _log(read_log(path, columns), units)


def _log(log: Log, units: Units) -> Checked:
    """Which column is taken for what, in which unit, and how that is known: for confirmation."""
    rows = [("lasts", f"{log.time_s[-1]:.1f} s, {len(log.time_s)} samples", "")]
    rows.append(("time_s", f'"{log.headers["time"]}"', log.units["time"]))
    for key, values in log.values.items():
        low, high = _shown_range(key, values, units)
        quantity = f'"{log.headers[key]}" in {log.units[key]} ({log.said[key]})'
        rows.append((QUANTITIES[key].column, quantity, f"{low} to {high}"))
    mapping = (
        "If that is right, nothing needs doing. If not, save what follows as columns.toml, correct it, and give\n"
        f"--columns columns.toml with this log:\n\n{columns_toml(log)}"
    )
    return Checked("log", log.notes, tuple(rows), log, mapping)


_PRINTED: Final[dict[str, tuple[float, float, str]]] = {  # SI to the printed metric unit, by kind of quantity
    "temperature": (1.0, -ZERO_C_K, "degC"),
    "pressure": (1e-3, 0.0, "kPa"),
    "speed": (3.6, 0.0, "km/h"),
    "share": (100.0, 0.0, "%"),
    "length": (1.0, 0.0, "m"),
    "mass_flow": (1e3, 0.0, "g/s"),
    "volume_flow": (6e4, 0.0, "L/min"),
    "voltage": (1.0, 0.0, "V"),
    "current": (1.0, 0.0, "A"),
    "rpm": (1.0, 0.0, "rpm"),
    "gear": (1.0, 0.0, ""),
    "time": (1.0, 0.0, "s"),
}


def _shown_range(key: str, values: Floats, units: Units) -> tuple[str, str]:
    """Lowest value bare, highest with its unit."""
    factor, offset, unit = _PRINTED[QUANTITIES[key].kind]
    low, high = (float(v) * factor + offset for v in (np.min(values), np.max(values)))
    return f"{units.labelled(low, unit)[0]:.4g}", _of(units, high, unit)


def _weather(path: Path, units: Units) -> Checked:
    hourly = read_weather(path)
    names = ("ambient_k", "pressure_pa", "humidity", "wind_m_s")
    found = [None if name in hourly.lacks else hourly.values[name] for name in names]
    rows = (("hours", str(len(hourly.values["hour"])), ""), *_air(found, units))
    note = f'a climate uses it with [weather] file = "{path.name}" and month = 7 or period = "hottest week"'
    clock = ("its hours are UTC: the climate's [weather] takes utc_offset_h, the hours the local clock is ahead",)
    return Checked("weather", (note, *(clock if hourly.utc else ())), rows, hourly)
