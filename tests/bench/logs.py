"""Plays measured logs through the plant and sets the model's charge probe beside the logged one.

`python tests/bench/logs.py [LOG.csv ...]`; without arguments the shipped log. Logs of the Automotive OBD-II Dataset
(Weber 2023, Karlsruhe Institute of Technology, https://doi.org/10.35097/1130, CC BY 4.0). The logged car's cooler,
displacement and coolant loop are unknown: this is set side by side, not asserted.
"""

from __future__ import annotations

import csv
import shutil
import sys
import tempfile
from pathlib import Path
from typing import NamedTuple

ROOT = Path(__file__).parents[2]
sys.path[:0] = [str(ROOT), str(ROOT / "tests" / "plant")]

import numpy as np  # noqa: E402
import plant_builders as make  # noqa: E402
from numpy.typing import NDArray  # noqa: E402

from arena.contest.run import Contestant, lay_out  # noqa: E402
from arena.plant.compile import Goals, compile_outing  # noqa: E402
from arena.scenario.drive import Drive, load_drive  # noqa: E402
from arena.strategies import shipped  # noqa: E402
from arena.timetable.outing import play  # noqa: E402

Floats = NDArray[np.float64]
DRIVES = ROOT / "scenarios" / "drives"
MASK_S = 120.0  # after an engine stop the logged IAT runs away, as the data set's own notes say
BAND_K = (3.0, 11.0)  # IAT less ambient at MAP above 180 kPa and rpm above 1500, 5-95 % of 76 trips of the data set
NAMES = ("always-on", "proportional", "always-off")


class Log(NamedTuple):
    """What a log holds, at the times of its rows; SI but degC and kPa."""

    time_s: Floats
    iat_c: Floats
    ambient_c: Floats
    map_kpa: Floats
    rpm: Floats
    coolant_c: Floats


def read(path: Path) -> Log:
    """The columns needed here, filled forward and, at the beginning, backward."""
    columns = ("Intake Air Temperature", "Ambient Air", "Intake Manifold Absolute", "Engine RPM", "Engine Coolant")
    with path.open(newline="", encoding="utf-8", errors="replace") as file:
        rows = list(csv.reader(file))
    places = [next(k for k, head in enumerate(rows[0]) if head.startswith(name)) for name in columns]
    clock = [row[0].split(":") for row in rows[1:]]
    time = np.array([3600.0 * float(h) + 60.0 * float(m) + float(s) for h, m, s in clock])
    found = []
    for place in places:
        raw = np.array([float(row[place]) if row[place] else np.nan for row in rows[1:]])
        known = np.flatnonzero(np.isfinite(raw))
        last = known[np.maximum(np.searchsorted(known, np.arange(len(raw)), side="right") - 1, 0)]
        found.append(raw[last])
    return Log(time - time[0], *found)


def as_drive(path: Path, start: str) -> Drive:
    """The shipped recorded trip with this log in place of its own."""
    text = (DRIVES / "recorded-trip.toml").read_text(encoding="utf-8")
    with tempfile.TemporaryDirectory() as name:
        folder = Path(name)
        shutil.copy(path, folder / path.name)
        text = text.replace("kit-2017-07-14.csv", path.name).replace('start = "cold"', f'start = "{start}"')
        (folder / "trip.toml").write_text(text, encoding="utf-8")
        return load_drive(str(folder / "trip.toml"))


def usable(log: Log) -> NDArray[np.bool_]:
    """Rows later than MASK_S after the engine last stood still or was being started."""
    stopped = np.where(log.rpm < 500.0, log.time_s, -np.inf)
    return np.asarray(log.time_s - np.maximum.accumulate(stopped) > MASK_S)


def beside(path: Path) -> str:
    """One log's rows of the table."""
    log = read(path)
    start = "warm" if log.coolant_c[0] > 70.0 else "cold"
    played = play(as_drive(path, start), make.even_climate(float(log.ambient_c.mean())), make.shipped_car(), 1)
    made = compile_outing(played, make.shipped_car(), Goals(), 1)
    lanes = lay_out([Contestant(name, shipped()[name]) for name in NAMES])
    trace = make.trace_of(make.traced(made, lanes))
    ticks = make.ticks_labelled(played, "trace")
    late = float(log.time_s[-1]) - 0.1 * len(ticks)  # the trace starts where all its channels have begun
    at = late + (np.arange(len(ticks)) + 0.5) * 0.1
    keep = usable(log)
    use = np.interp(at, log.time_s, keep.astype(float)) > 0.999
    logged = np.interp(at, log.time_s, log.iat_c) - float(log.ambient_c.mean())
    strong = use & (np.interp(at, log.time_s, log.map_kpa) > 180.0) & (np.interp(at, log.time_s, log.rpm) > 1500.0)
    lines = [
        f"{path.stem}: {len(ticks) / 10:.0f} s, ambient {log.ambient_c.mean():.1f} degC, {start} start, "
        f"{use.mean():.0%} usable, {strong.sum() / 10:.0f} s above 180 kPa; IAT less ambient, K",
        f"{'':14s}{'mean':>8s}{'5 %':>8s}{'95 %':>8s}{'on boost':>10s}{'RMS to log':>12s}{'correlation':>13s}",
    ]
    for name, over in [("logged", logged), *((n, trace[ticks, k, make.READING_C] - played.ambient_k[0])
                                              for k, n in enumerate(NAMES))]:  # fmt: skip
        low, high = np.percentile(over[use], (5, 95))
        boost = f"{np.median(over[strong]):10.1f}" if strong.any() else f"{'-':>10s}"
        rms = np.sqrt(np.mean((over[use] - logged[use]) ** 2))
        like = np.corrcoef(over[use], logged[use])[0, 1]
        lines.append(f"{name:14s}{over[use].mean():8.1f}{low:8.1f}{high:8.1f}{boost}{rms:12.1f}{like:13.2f}")
    return "\n".join(lines)


if __name__ == "__main__":
    for given in sys.argv[1:] or [str(DRIVES / "kit-2017-07-14.csv")]:
        print(beside(Path(given)))
    print(f"published: {BAND_K[0]:g} to {BAND_K[1]:g} K, median 6 K, on boost (76 trips of the same data set)")
