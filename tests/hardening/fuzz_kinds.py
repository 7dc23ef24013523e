"""Every kind of file that is read: whole ones to damage, what has to lie beside them, and the reader; and the promise.

The promise (`keeps_its_word`): a damaged file either loads, with nothing in it that is not finite, or is refused with
one line a fault that names the file, and one line that says what to do. Nothing else is raised, nothing is written, and
it is over in seconds.
"""

# ruff: noqa: E501  (rows of odd values read best as they are)
from __future__ import annotations

import dataclasses
import math
import re
import signal
import threading
import warnings
from collections.abc import Callable, Iterator, Mapping, Sequence
from contextlib import contextmanager
from dataclasses import dataclass, field
from pathlib import Path
from typing import Any

import numpy as np
from pydantic import BaseModel

from arena.contest import duty_table
from arena.contest.axes import axes_starter, load_axes
from arena.errors import BadInput
from arena.garage.checking import examine
from arena.garage.read_log import read_garage_log
from arena.scenario.car import load_car
from arena.scenario.check import check_file
from arena.scenario.climate import load_climate
from arena.scenario.columns import read_columns
from arena.scenario.csv_table import read_table as read_texts
from arena.scenario.drive import expanded_phases, load_drive, longest_s
from arena.scenario.fault import fault_starter, load_fault
from arena.scenario.loading import shipped_root
from arena.scenario.log_csv import read_log
from arena.scenario.season import load_season
from arena.scenario.sense import sense_notes
from arena.scenario.starters import MAKERS
from arena.scenario.trace_csv import read_trace
from arena.scenario.weather import read_weather

LONGEST_S = 30.0  # far above what any example takes, on a machine with other things to do


@dataclass(frozen=True)
class Kind:
    """One kind of file: its name in the folder, files of that kind that are whole, its reader, and its companions."""

    name: str
    file: str
    seeds: tuple[bytes, ...]
    read: Callable[[Path], Any]
    beside: Mapping[str, bytes] = field(default_factory=dict)
    may_write: tuple[str, ...] = ()  # files that reading is meant to make: the page of a report


class Took(Exception):
    """A reader that is not done in time."""


@contextmanager
def _in_time(name: str) -> Iterator[None]:
    """Ends what takes too long by an exception, where signals can be had (the main thread)."""
    if threading.current_thread() is not threading.main_thread() or not hasattr(signal, "setitimer"):
        yield
        return

    def over(*_: Any) -> None:
        raise Took(f"{name}: not done within {LONGEST_S:g} s")

    before = signal.signal(signal.SIGALRM, over)
    signal.setitimer(signal.ITIMER_REAL, LONGEST_S)
    try:
        yield
    finally:
        signal.setitimer(signal.ITIMER_REAL, 0.0)
        signal.signal(signal.SIGALRM, before)


def lay_out(kind: Kind, folder: Path) -> None:
    """The companions of a kind, into an empty folder."""
    for name, data in kind.beside.items():
        place = folder / name
        place.parent.mkdir(parents=True, exist_ok=True)
        place.write_bytes(data)
    (folder / kind.file).parent.mkdir(parents=True, exist_ok=True)


def keeps_its_word(kind: Kind, data: bytes, folder: Path) -> str:
    """What became of a damaged file: "loaded", or the first fault told. Raises AssertionError for a broken promise."""
    path = folder / kind.file
    path.write_bytes(data)
    before = listing(folder)
    try:
        with _in_time(kind.name), warnings.catch_warnings():
            warnings.simplefilter("error")
            loaded = kind.read(path)
    except BadInput as error:
        told = _well_told(kind, error)
    except BaseException as error:
        if isinstance(error, KeyboardInterrupt):
            raise
        raise AssertionError(f"{kind.name}: {type(error).__name__}: {str(error)[:300]}") from error
    else:
        strange = next(not_finite(loaded, kind.name), None)
        assert strange is None, f"{strange} is not finite"
        told = "loaded"
    after = {name: size for name, size in listing(folder).items() if name not in kind.may_write}
    assert after == {name: size for name, size in before.items() if name not in kind.may_write}, "files were written"
    assert path.read_bytes() == data, "the input was written to"
    return told


def listing(folder: Path) -> dict[str, tuple[int, int]]:
    """Every file below a folder with its size and time of change."""
    return {str(f.relative_to(folder)): (f.stat().st_size, f.stat().st_mtime_ns) for f in sorted(folder.rglob("*"))}


def _well_told(kind: Kind, error: BadInput) -> str:
    """The first fault, if all of them are as they should be."""
    assert error.faults, "no fault is told"
    assert error.remedy and "\n" not in error.remedy, f"no remedy, or not one line: {error.remedy!r}"
    names = {Path(kind.file).name, *(Path(name).name for name in kind.beside)}
    for line in error.faults:
        assert line.isprintable(), f"not one printable line: {line!r}"
        assert len(line) < 2000, f"a line of {len(line)} letters"
        assert any(name in line for name in names), f"names no file: {line!r}"
    return str(error.faults[0])


def not_finite(value: Any, where: str) -> Iterator[str]:
    """Every number that is not finite in something loaded, by its way there."""
    if isinstance(value, bool | int | str | bytes | type(None) | Path):
        return
    if isinstance(value, float):
        if not math.isfinite(value):
            yield where
    elif isinstance(value, np.ndarray):
        if value.dtype.kind == "f" and not np.isfinite(value).all():
            yield where
    elif isinstance(value, BaseModel):
        yield from not_finite({name: getattr(value, name) for name in type(value).model_fields}, where)
    elif dataclasses.is_dataclass(value) and not isinstance(value, type):
        for one in dataclasses.fields(value):
            yield from not_finite(getattr(value, one.name), f"{where}.{one.name}")
    elif isinstance(value, Mapping):
        for key, inside in value.items():
            yield from not_finite(inside, f"{where}.{key}")
    elif isinstance(value, Sequence):
        for k, inside in enumerate(value):
            yield from not_finite(inside, f"{where}[{k}]")


def _shipped(kind: str, *names: str) -> tuple[bytes, ...]:
    folder = shipped_root() / kind
    return tuple((folder / name).read_bytes() for name in names)


def _starter(kind: str) -> bytes:
    return MAKERS[kind]("some-name").encode()


def _drive(path: Path) -> Any:
    """A drive as `arena check` and the timetable take it."""
    drive = load_drive(path)
    count = sum(1 for _ in expanded_phases(drive.file.phase))
    return drive, count, longest_s(drive.file.phase, drive.traces), sense_notes(drive.file, drive.traces)


def _climate(path: Path) -> Any:
    climate = load_climate(path)
    return climate, climate.at(np.array([0.0, 100.0, 1e5]))


def _duty_table(path: Path) -> Any:
    duty_table.strategy_of(path)
    return duty_table.read_table(path)


def _log(path: Path) -> Any:
    """A log as every command takes it: what is in it, as a drive, and as the fit takes it."""
    log = read_log(path)
    refused = []
    for read in (load_drive, read_garage_log):
        try:
            read(path)
        except BadInput as error:  # a log without a column that this one needs
            refused.append(error)
    for error in refused:
        _well_told(Kind("log", path.name, (), read_log), error)
    return log


def _rows(header: str, rows: Sequence[Sequence[float]]) -> bytes:
    return "\n".join([header, *(",".join(f"{v:g}" for v in row) for row in rows), ""]).encode()


def _log_seeds() -> tuple[bytes, ...]:
    t = np.arange(0.0, 150.0, 1.0)
    speed = 40.0 + 20.0 * np.sin(t / 9.0)
    rpm, kpa, iat = 30.0 * speed + 700.0, 100.0 + 50.0 * np.sin(t / 4.0), 35.0 + 5.0 * np.sin(t / 20.0)
    metric = _rows(
        "time_s,speed_kmh,rpm,map_kpa,throttle_pct,iat_c,ambient_c,duty_pct",
        np.round(
            np.column_stack([t, speed, rpm, kpa, 0.4 * kpa, iat, 20.0 + 0.0 * t, 100.0 * (t % 40 < 20)]), 2
        ).tolist(),
    )
    clock = "\n".join(
        ["Time;Vehicle Speed (km/h);Engine RPM;MAP (kPa);Intake Air Temp (°C);Ambient (°C);Pedal (%)"]
        + [
            f"12:{int(a) // 60:02d}:{a % 60:04.1f};{b:.1f};{c:.0f};{d:.1f};{e:.1f};21,5;{15 + b / 2:.1f}".replace(
                ".", ","
            )
            for a, b, c, d, e in zip(t, speed, rpm, kpa, iat, strict=True)
        ]
    ).encode()
    us = "\n".join(
        ["Time [ms],GPS Speed [mph],RPM,Boost [psi],Altitude [ft],IAT [Â°F],Pump Volts"]
        + [
            f"{1.6e12 + 1e3 * a:.0f},{b / 1.6:.2f},{c:.0f},{(d - 101) / 7:.2f},{1000 + a:.0f},{e * 1.8 + 32:.1f},12.1"
            for a, b, c, d, e in zip(t, speed, rpm, kpa, iat, strict=True)
        ]
    ).encode()
    return metric, clock, us


def _epw() -> bytes:
    head = ["LOCATION,Nowhere,-,-,invented,000000,50.0,10.0,1.0,100.0", *["COMMENTS"] * 6, "DATA PERIODS,1,1,Data"]
    rows = []
    for n in range(96):
        cells = ["0"] * 35
        cells[0:5] = ["2001", "7", str(1 + n // 24), str(n % 24 + 1), "60"]
        cells[6], cells[8], cells[9], cells[21] = f"{15 + n % 24 * 0.5:.1f}", "60", "100200", "2.5"
        rows.append(",".join(cells))
    return "\n".join([*head, *rows, ""]).encode()


def _typical_year() -> bytes:
    rows = [f"200107{1 + n // 24:02d}:{n % 24:02d}10,{12 + n % 24 * 0.5:.2f},71.0,2.1,98800.0" for n in range(72)]
    return "\n".join(["Latitude (decimal degrees): 50.0", "time(UTC),T2m,RH,WS10m,SP", *rows, "remarks", ""]).encode()


_SPEEDS = _rows("time_s,speed_kmh", [(float(k), float(10 + k % 30)) for k in range(40)])
_WEATHER = b'[climate]\nname = "w"\nsun_bay_k = 3\n[weather]\nfile = "w.epw"\nmonth = 7\nhour = 14\n'
_TRACED = (
    b'[drive]\nname = "t"\nstart = "cold"\n[traffic]\nslowdowns_per_hour = 4\n[[phase]]\ndo = "trace"\nfile = "t.csv"\n'
    b'columns = { time_s = "time_s", speed_kmh = { header = "speed_kmh", unit = "mph", from = [0, 60], to = [0, 50] } }\n'
    b'[[phase]]\ndo = "repeat"\ntimes = 3\n  [[phase.steps]]\n  do = "lap"\n  straights_m = [300, 200]\n'
    b'  corner_kmh = [60, 80]\n  [[phase.steps]]\n  do = "traffic"\n  seconds = [30, 60]\n[[phase]]\ndo = "park"\nminutes = 5\n'
)
_OWN_SEASON = (
    b'[season]\nname = "s"\n[prices]\ntracking_per_k_h = 0.1\nwear_per_h = 0.04\nenergy_per_kwh = 0.9\n[wear]\nexponent = 2\n'
    b'[[outing]]\ndrive = "d.toml"\nclimate = "w.toml"\nper_year = 9\nfault = "pump-stalled"\n'
    b'[[outing]]\ndrive = "t.csv"\nclimate = "hot"\nper_year = 0.5\n'
)
_TABLE = b"iat_c \\ throttle_pct,0,20,50,100\n20,0,0,10,30\n30,0,20,60,100\n45,60,100,100,100\n"
_US_TABLE = b"map_psi \\ iat_f;60;90,5;120\n10;0;20%;60\n14,7;0;30;90\n25;20;80;100\n"
_SETTINGS = b'# as found\nstrategy = "proportional"\n\n[settings]\nstart_c = 33.0 # degC\nfull_c = 50\n'
_COLUMNS = (
    b'[columns]\ntime_s = "Time"\nspeed_kmh = { header = "GPS Speed", unit = "mph" }\n'
    b'pedal_pct = { header = "Pedal", from = [14.1, 100], to = [0, 100] }\n'
)
_CAR = (
    b'[car]\nname = "mine"\n[engine]\npower_kw = 200\nboost_kpa = 100\nkind = "supercharger"\n[core]\nlength_mm = 120\nwidth_mm = 110\n'
    b"height_mm = 230\nfins_per_inch = 14\n[front]\nrated_effectiveness = 0.5\nrated_air_kg_s = 1\nrated_coolant_l_min = 15\n"
    b'[loop]\nglycol = "propylene"\nglycol_pct = 30\ntotal_fill_l = 5\n[pump]\nmax_head_m = 8\nmax_flow_l_min = 30\nbucket_l_min = 14\n'
    b'bucket_v = 12.5\nbucket_a = 5\n[probe]\ntype = "open"\n'
)
_SIGNAL_CAR = (
    b'[car]\nname = "m"\n[core]\nsize = "small"\n[pump]\nsignal_duty_pct = [10, 50, 90]\nsignal_speed_pct = [0, 40, 100]\n'
    b"curve = [\n{ flow_l_min = 0, head_kpa = 90 },\n{ flow_l_min = 20, head_m = 5 },\n{ flow_l_min = 35, head_kpa = 0 },\n]\n"
    b'system_kpa = 30\nsystem_l_min = 15\n[loop]\ntank = "none"\n'
)


def kinds() -> dict[str, Kind]:
    """All kinds of file that a person gives, by name; result folders are in `fuzz_results`."""
    epw = _epw()
    season_beside = {"d.toml": _TRACED, "t.csv": _SPEEDS, "w.toml": _WEATHER, "w.epw": epw}
    listed = (
        Kind("car", "x.toml", (*_shipped("cars", "invented-2200.toml"), _starter("car"), _CAR, _SIGNAL_CAR), load_car),
        Kind("climate", "x.toml", (*_shipped("climates", "hot.toml", "summer-day.toml"), _WEATHER), _climate, {"w.epw": epw}),
        Kind("drive", "x.toml", (*_shipped("drives", "hill-pulls.toml", "commute.toml"), _starter("drive"), _TRACED), _drive,
             {"t.csv": _SPEEDS}),
        Kind("season", "x.toml", (*_shipped("seasons", "faults.toml"), _starter("season"), _OWN_SEASON), load_season, season_beside),
        Kind("axes", "x.toml", (axes_starter().encode(), axes_starter().replace("metric", "us").encode()), load_axes),
        Kind("fault", "x.toml", (*_shipped("faults", "pump-stalled.toml", "weak-pump.toml"), fault_starter().encode()), load_fault),
        Kind("columns", "x.toml", (_COLUMNS,), read_columns),
        Kind("settings", "x.toml", (_SETTINGS, b'strategy = "gated-table"\n[settings]\nclosed_start_c = 33.5\n'), lambda p: examine(p, quick=True)),
        Kind("any toml", "x.toml", (_SETTINGS, _COLUMNS, _WEATHER, _TRACED, fault_starter().encode()), lambda p: examine(p, quick=True),
             {"w.epw": epw, "t.csv": _SPEEDS}),
        Kind("duty table", "x.csv", (_TABLE, _US_TABLE), _duty_table),
        Kind("trace", "x.csv", (_SPEEDS, _rows("time_s,speed_kmh,grade_pct", [(k, 20 + k, 1.5) for k in range(30)]),
                                b"0;0\n1;5,5\n2;11\n3;16,5\n"), read_trace),
        Kind("trace in a drive", "t.csv", (_SPEEDS,), lambda p: _drive(p.parent / "x.toml"), {"x.toml": _TRACED}),
        Kind("log", "x.csv", _log_seeds(), _log),
        Kind("epw", "w.epw", (epw,), read_weather),
        Kind("typical year", "w.csv", (_typical_year(),), read_weather),
        Kind("weather in a climate", "w.epw", (epw,), lambda p: _climate(p.parent / "x.toml"), {"x.toml": _WEATHER}),
        Kind("any csv", "x.csv", (_TABLE, _SPEEDS, _typical_year(), _log_seeds()[1]), lambda p: examine(p, quick=True)),
    )  # fmt: skip
    return {kind.name: kind for kind in listed}


def texts_of(path: Path) -> Any:
    """The cells of a CSV, before anyone knows what they mean."""
    return read_texts(path)


def check(path: Path) -> Any:
    """What `arena check` stands on."""
    return check_file(path)


_PLACE = re.compile(r":\d+:|row \d+|column|\bkey\b|\[|\.[a-z_]+ ")


def names_a_place(line: str) -> bool:
    """Whether a fault says where in the file it is."""
    return _PLACE.search(line) is not None
