"""Recognise any of the project's own files, or a log, and validate it: what `arena check` stands on."""

from __future__ import annotations

from dataclasses import dataclass
from pathlib import Path
from typing import Any, Final

import numpy as np

from arena.errors import BadInput
from arena.scenario import loading
from arena.scenario.car import Car, load_car, written
from arena.scenario.car_keys import KEY_OF_NUMBER, SECTIONS
from arena.scenario.climate import Climate, load_climate
from arena.scenario.derived import derive
from arena.scenario.drive import Drive, load_drive, longest_s
from arena.scenario.season import Season, load_season
from arena.scenario.trace_csv import read_log

KIND_OF_TABLE: Final = {
    "car": "car",
    "climate": "climate",
    "drive": "drive",
    "season": "season",
    "strategy": "strategy",
    "settings": "settings",
    "axes": "axes",
    "fault": "fault",
}


@dataclass(frozen=True)
class Checked:
    """A file that passed. `rows` are (what, value, how it is known) for printing; `loaded` is the loaded thing.

    `kind`: car, climate, drive, season, log, table, or one that only its own reader can check (strategy, settings,
    axes, fault), for which `loaded` is the plain data of the file.
    """

    kind: str
    notes: tuple[str, ...]
    rows: tuple[tuple[str, str, str], ...]
    loaded: Any = None


def check_file(path: str | Path) -> Checked:
    """What kind of file it is, checked in full. Raises BadInput with every fault, one line each."""
    path = Path(path)
    suffix = path.suffix.lower()
    if suffix == ".toml":
        return _toml(path)
    if suffix == ".py":
        loading.read_text(path)
        return Checked("strategy", (), ())
    if suffix == ".epw":
        return _epw(path)
    if suffix in (".csv", ".tsv", ".txt", ".log"):
        return _csv(path)
    loading.read_bytes(path, loading.TABLE_LIMIT_BYTES)
    fault = f'{loading.shown(path)}: the ending "{suffix}" is none of ours'
    raise BadInput(
        fault,
        "Known: .toml (car, climate, drive, season, axes, fault), .csv (trace, log, duty table), .epw, .py (strategy).",
    )


def _toml(path: Path) -> Checked:
    data = loading.parse(path, loading.read_text(path))
    kinds = [kind for table, kind in KIND_OF_TABLE.items() if table in data]
    if not kinds:
        known = ", ".join(f"[{table}]" for table in KIND_OF_TABLE)
        near = next((loading.nearest(name, KIND_OF_TABLE) for name in data if loading.nearest(name, KIND_OF_TABLE)), "")
        hint = f", did you mean [{near}]?" if near else ""
        raise BadInput(
            f"{loading.shown(path)}: has none of the tables {known}, so its kind cannot be told{hint}",
            "Add its head table.",
        )
    match kinds[0]:
        case "car":
            return _car(load_car(path))
        case "climate":
            return _climate(load_climate(path))
        case "drive":
            return _drive(load_drive(path))
        case "season":
            return _season(load_season(path))
        case kind:
            return Checked(kind, (), (), data)


def _car(car: Car) -> Checked:
    """Every number as the file would give it, and how it is known."""
    rows = []
    number_of = {key: number for number, key in KEY_OF_NUMBER.items()}
    for key in (f"{section}.{name}" for section, model in SECTIONS.items() for name in model.model_fields):
        section, name = key.split(".")
        text = written(section, name, getattr(car.numbers(), section))
        if text is not None and key in number_of:
            why = car.origin[number_of[key]]
            rows.append((key, " ".join(text.split()), "measured (given)" if why == "given" else f"assumed: {why}"))
    _fits_the_solver(car)
    return Checked("car", car.notes, (*rows, *_derived(car)), car)


def _fits_the_solver(car: Car) -> None:
    """What only the physics can refuse: a loop too small to be closed."""
    from arena.plant.compile import volumes

    try:
        volumes(car.numbers().loop)
    except BadInput as error:
        name = loading.shown(car.path) if car.path is not None else car.name
        raise BadInput([f"{name}: loop: {fault}" for fault in error.faults], error.remedy) from None


def _derived(car: Car) -> list[tuple[str, str, str]]:
    """What the numbers come to, for comparing with what can be measured."""
    d = derive(car.numbers())
    pump = f"at {car.numbers().supply.running_v:g} V, coolant at 40 degC"
    values = {
        "coolant in all": f"{1e3 * d.coolant_m3:.2f} L, of it {1e3 * d.hose_m3:.2f} L in the hoses",
        "coolant freezes": f"{d.freezing_k - 273.15:.1f} degC",
        "coolant boils": f"{d.boiling_k - 273.15:.1f} degC at the cap's pressure",
        "pump in the car": f"{6e4 * d.flow_m3_s:.1f} L/min, {d.pump_a:.2f} A, {d.pump_rad_s * 9.5493:.0f} rpm {pump}",
        "pump stalled": f"{d.stall_a:.1f} A",
        "once round the loop": f"{d.circulation_s:.0f} s at that flow",
        "core effectiveness": f"{d.core_effectiveness:.2f} at peak air flow and that coolant flow",
    }
    return [(what, value, "derived") for what, value in values.items()]


def _climate(climate: Climate) -> Checked:
    rows = [("hours", str(len(climate.hours)), "")]
    for what, values, unit in (
        ("air", climate.ambient_k - 273.15, "degC"),
        ("pressure", climate.pressure_pa / 1e3, "kPa"),
        ("humidity", climate.humidity * 100.0, "%"),
        ("wind", climate.wind_m_s * 3.6, "km/h"),
    ):
        low, high = float(np.min(values)), float(np.max(values))
        rows.append((what, f"{low:.4g} {unit}" if low == high else f"{low:.4g} to {high:.4g} {unit}", ""))
    return Checked("climate", (), tuple(rows), climate)


def _drive(drive: Drive) -> Checked:
    rows = [
        ("start", drive.start, ""),
        ("lasts at most", f"{longest_s(drive.file.phase, drive.traces) / 60.0:.1f} min", ""),
    ]
    for name, trace in drive.traces.items():
        distance = float(np.trapezoid(trace.speed_m_s, trace.time_s)) / 1e3
        rows.append((f"trace {name}", f"{trace.time_s[-1]:.0f} s, {distance:.3f} km, {len(trace.time_s)} samples", ""))
    return Checked("drive", drive.notes, tuple(rows), drive)


def _season(season: Season) -> Checked:
    total = sum(entry.outings_per_year for entry in season.entries)
    rows = [
        ("target, limit", f"{season.target_c:g}, {season.limit_c:g} degC", ""),
        ("outings a year", f"{total:g}", ""),
    ]
    rows += [
        (f"{entry.drive} in {entry.climate}", f"{entry.outings_per_year:g} a year", "") for entry in season.entries
    ]
    return Checked("season", (), tuple(rows), season)


def _csv(path: Path) -> Checked:
    """A duty table is left to its own reader; anything else is read as a log."""
    head = loading.read_text(path, loading.TABLE_LIMIT_BYTES).split("\n", 1)[0].lower()
    if "\\" in head and ("iat" in head or "throttle" in head):
        return Checked("table", (), ())
    log = read_log(path)
    rows = [("lasts", f"{log.time_s[-1]:.1f} s, {len(log.time_s)} samples", "")]
    rows += [
        (key, log.headers[key], f"{float(np.min(v)):.5g} to {float(np.max(v)):.5g} SI") for key, v in log.values.items()
    ]
    return Checked("log", log.notes, tuple(rows), log)


def _epw(path: Path) -> Checked:
    from arena.scenario.climate import read_epw

    data = read_epw(path)
    air = data["ambient_k"] - 273.15
    rows = (("hours", str(len(air)), ""), ("air", f"{air.min():.1f} to {air.max():.1f} degC", ""))
    return Checked("weather", (), rows, data)
