"""A log of the real car made ready for the plant: real samples told from forward fill, engine stops and gaps masked.

Columns and units are guessed by `scenario.log_csv`; what is guessed or left out is said in the notes. All is SI.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass, replace
from itertools import pairwise
from pathlib import Path

import numpy as np
from numpy.typing import NDArray

from arena.errors import BadInput
from arena.scenario import loading
from arena.scenario.csv_table import read_table
from arena.scenario.log_columns import Columns
from arena.scenario.log_csv import Log, read_log
from arena.scenario.trace_csv import ENGINE_STOPPED_RPM
from arena.units import ZERO_C_K, k_to_c, k_to_f

Floats = NDArray[np.float64]
Mask = NDArray[np.bool_]

TICK_S = 0.1
AFTER_STOP_S = 120.0  # how long a probe that soaked over a stop goes on telling of the stop
CUT_GAP_S = 15.0  # a longer gap breaks the recording: the loop's state behind it is unknown
AFTER_GAP_S = 20.0
LEAST_S = 90.0  # of usable recording
MOST_S = 100_000.0  # 28 hours; a log is held in memory tick by tick
MOST_READINGS = 3_000_000  # of one channel, forward fill taken apart
OBSERVED = {"iat": "charge temperature", "loop_coolant": "coolant into the core", "coolant_out_of_core": "coolant out"}
_WANTED = (
    "speed", "rpm", "map", "throttle", "pedal", "iat", "ambient", "engine_coolant", "air_flow", "loop_coolant",
    "coolant_out_of_core", "duty", "pump_voltage", "pump_current", "supply",
)  # fmt: skip


@dataclass(frozen=True)
class Samples:
    """Readings as they were taken: times in s from the start of the kept recording, values in K; the sensor's step."""

    time_s: Floats
    value_k: Floats
    step_k: float


@dataclass(frozen=True)
class GarageLog:
    """A log on ticks of 0.1 s, arrays of shape (ticks,); `duty` 0..1 or None; `usable` where readings can be had."""

    name: str
    ticks: int
    speed_m_s: Floats
    rpm: Floats
    map_pa: Floats
    ambient_k: Floats
    throttle: Floats | None
    air_flow_kg_s: Floats | None
    engine_k: Floats | None
    duty: Floats | None
    duty_from: str  # "logged", "given", "pump voltage" or "not known, taken as always on"
    ambient_pa: float
    observed: dict[str, Samples]
    usable: Mask
    period_s: float  # how often a channel is polled
    upper: dict[str, Floats]  # "map", "air_flow", "duty": the higher of the readings on either side of each tick
    pump_a: Floats | None
    notes: tuple[str, ...]
    ambient_step_k: float = 0.1  # of the outside air as logged: of a whole degree, or a tenth

    @property
    def seconds(self) -> float:
        """Length of the kept recording."""
        return self.ticks * TICK_S

    @property
    def seconds_used(self) -> float:
        """Of that, where readings can be trusted."""
        return float(self.usable.sum()) * TICK_S

    @property
    def pump_changes(self) -> bool:
        """Whether the pump is known to have run in clearly different ways for ten seconds each at least."""
        if self.duty is None:
            return False
        settled = self.duty[self.usable]
        low, high = np.quantile(settled, [0.0, 1.0]) if len(settled) else (0.0, 0.0)
        middle = 0.5 * (low + high)
        both = min((settled < middle).sum(), (settled > middle).sum()) * TICK_S
        return bool(high - low > 0.15 and both >= 10.0)

    def part(self, first: int, last: int) -> GarageLog:
        """Ticks first..last-1 as a log of their own; only the mask and the readings are cut, the inputs stay whole."""
        inside = np.zeros(self.ticks, dtype=bool)
        inside[first:last] = True
        return replace(self, usable=self.usable & inside)


def read_garage_log(
    path: str | Path, columns: Columns | None = None, ambient_c: float | None = None, duty_pct: float | None = None
) -> GarageLog:
    """A log of the real car. `ambient_c` and `duty_pct` stand in for what was not logged.

    Needs time, speed, rpm, MAP and charge temperature. Raises BadInput, one line a fault.
    """
    path = Path(path)
    columns = dict(columns or {})
    if "iat_c" not in columns and "probe_c" in read_table(path).headers:
        columns["iat_c"] = "probe_c"  # a trace of ours: what the probe read goes before what was true
    need = ("speed", "rpm", "map", "iat") + (("ambient",) if ambient_c is None else ())
    try:
        log = read_log(path, columns, need=need, want=_WANTED)
    except BadInput as error:
        if any("ambient_c" in line for line in error.faults):
            raise BadInput(error.faults, f"{error.remedy} Or give the day's air with --ambient, in degC.") from None
        raise
    notes = [note for note in log.notes if "a gap of" not in note]
    log = _longest_piece(log, notes)
    if log.time_s[-1] > MOST_S:
        fault = f"{loading.shown(path)}: lasts {log.time_s[-1]:.0f} s, over the limit of {MOST_S:.0f} s for a log"
        raise BadInput(fault, "Cut the file into shorter logs.")
    period = poll_period_s(log)
    if log.time_s[-1] > MOST_READINGS * period:
        fault = f"{loading.shown(path)}: a reading every {period:g} s, over the limit of {MOST_READINGS} readings"
        raise BadInput(fault, "Cut the file into shorter logs, or log less often.")
    made = _on_ticks(log, period, ambient_c, duty_pct, notes)
    if made.seconds_used < LEAST_S:
        fault = (
            f"{loading.shown(path)}: only {made.seconds_used:.0f} s can be used, at least {LEAST_S:.0f} s are needed"
        )
        raise BadInput(fault, "Log a longer drive with the engine running, without gaps.")
    return made


def poll_period_s(log: Log) -> float:
    """How often one channel really is read: the usual time between changes of engine speed, MAP or air flow."""
    row = float(np.median(np.diff(log.time_s)))
    found = []
    for key in ("rpm", "map", "air_flow"):
        if key in log.values:
            moved = log.time_s[1:][np.diff(log.values[key]) != 0.0]
            if len(moved) > 20:
                found.append(float(np.median(np.diff(moved))))
    return max(row, min(found) if found else row)


def real_samples(time_s: Floats, value: Floats, period_s: float) -> tuple[Floats, Floats]:
    """Times and values of readings behind a forward-filled channel: where it changes, and every period in between."""
    if float(np.median(np.diff(time_s))) > 0.6 * period_s:
        return time_s, value
    starts = np.concatenate([[0], np.flatnonzero(np.diff(value) != 0.0) + 1])
    ends = np.append(time_s[starts[1:]], time_s[-1] + period_s)
    times, values = [], []
    for start, end in zip(starts, ends, strict=True):
        count = max(1, round((end - time_s[start]) / period_s))
        times.append(time_s[start] + period_s * np.arange(count))
        values.append(np.full(count, value[start]))
    joined = np.concatenate(times)
    keep = np.concatenate([[True], np.diff(joined) > 0.3 * period_s]) & (joined <= time_s[-1])
    return joined[keep], np.concatenate(values)[keep]


def step_of(value: Floats) -> float:
    """Resolution of a reading: the smallest usual difference between neighbours that differ."""
    moves = np.abs(np.diff(value))
    moves = moves[moves > 1e-6]
    return float(np.quantile(moves, 0.05)) if len(moves) else 1.0


def _longest_piece(log: Log, notes: list[str]) -> Log:
    """The longest stretch without a gap that loses the loop's state."""
    breaks = np.flatnonzero(np.diff(log.time_s) > CUT_GAP_S) + 1
    if not len(breaks):
        return log
    edges = np.concatenate([[0], breaks, [len(log.time_s)]])
    lengths = [log.time_s[b - 1] - log.time_s[a] for a, b in pairwise(edges)]
    k = int(np.argmax(lengths))
    piece = slice(int(edges[k]), int(edges[k + 1]))
    if edges[k + 1] - edges[k] < 2:
        raise BadInput(f"{loading.shown(log.path)}: is all gaps", "Log without pauses.")
    rest = float(log.time_s[-1] - log.time_s[0] - lengths[k])
    notes.append(
        f"{loading.shown(log.path)}: {len(breaks)} gaps over {CUT_GAP_S:g} s; the longest piece is used "
        f"({lengths[k]:.0f} s), {rest:.0f} s are left out"
    )
    time_s = log.time_s[piece] - log.time_s[piece.start]
    return replace(log, time_s=time_s, values={key: value[piece] for key, value in log.values.items()})


def _on_ticks(log: Log, period: float, ambient_c: float | None, duty_pct: float | None, notes: list[str]) -> GarageLog:
    name = loading.shown(log.path)
    ticks = max(2, int(log.time_s[-1] / TICK_S) + 1)
    at: Floats = TICK_S * np.arange(ticks, dtype=np.float64)

    def smooth(key: str) -> Floats | None:
        if key not in log.values:
            return None
        return np.asarray(np.interp(at, *real_samples(log.time_s, log.values[key], period)), dtype=np.float64)

    def sampled(key: str) -> Floats | None:  # straight lines would flatten peaks, and heat grows faster than boost
        """Each reading stands for its own period."""
        if key not in log.values:
            return None
        times, values = real_samples(log.time_s, log.values[key], period)
        return np.asarray(values[np.searchsorted(0.5 * (times[1:] + times[:-1]), at, side="right")])

    def held(values: Floats) -> Floats:
        return np.asarray(values[np.maximum(np.searchsorted(log.time_s, at, side="right") - 1, 0)])

    speed, rpm, pressure = smooth("speed"), sampled("rpm"), sampled("map")
    assert speed is not None and rpm is not None and pressure is not None
    running = held(log.values["rpm"]) >= ENGINE_STOPPED_RPM
    ambient = smooth("ambient") if ambient_c is None else ambient_c + ZERO_C_K + np.zeros_like(at)

    def nearest(values: Floats) -> Floats:  # a switch is seen at the next poll: half a period late on average
        return np.asarray(values[np.maximum(np.searchsorted(log.time_s - 0.5 * period, at, side="right") - 1, 0)])

    def higher(key: str) -> Floats | None:
        if key not in log.values:
            return None
        times, values = real_samples(log.time_s, log.values[key], period)
        after = np.minimum(np.searchsorted(times, at, side="right"), len(times) - 1)
        return np.asarray(np.maximum(values[after], values[np.maximum(after - 1, 0)]))

    upper = {key: values for key in ("map", "air_flow", "duty") if (values := higher(key)) is not None}
    duty, duty_from = _duty(log, nearest, duty_pct, ticks, notes)
    usable = _usable(log, at, running, notes, name)
    observed = {}
    for key in OBSERVED:
        if key in log.values:
            times, values = real_samples(log.time_s, log.values[key], period)
            observed[key] = Samples(times, values, step_of(log.values[key]))
    if period > 1.5 * float(np.median(np.diff(log.time_s))):
        notes.append(f"{name}: values are filled forward; each channel is really read every {period:.2f} s")
    still = log.values["map"][(log.values["rpm"] < 50.0) & (log.values["speed"] < 0.5)]
    highest = float(np.quantile(still, 0.9)) if len(still) >= 3 else 0.0  # a shut throttle holds MAP down for a moment
    ambient_pa = highest if 60e3 < highest < 107e3 else 101325.0
    if ambient_pa != 101325.0:
        notes.append(f"{name}: outside pressure {ambient_pa / 1e3:.0f} kPa, as MAP read with the engine standing")
    assert ambient is not None
    pump_a = held(log.values["pump_current"]) if "pump_current" in log.values else None
    return GarageLog(
        name, ticks, np.maximum(speed, 0.0), np.where(running, np.maximum(rpm, 0.0), 0.0), np.maximum(pressure, 5e3),
        ambient, sampled("throttle"), sampled("air_flow"), smooth("engine_coolant"), duty, duty_from, ambient_pa,
        observed, usable, period, upper, pump_a, tuple(notes), _ambient_step_k(log, ambient_c),
    )  # fmt: skip


def _ambient_step_k(log: Log, given_c: float | None) -> float:
    """A degree (Celsius, else Fahrenheit) in K where the outside air is logged or given in whole ones, else a tenth."""
    values_k = log.values["ambient"] if given_c is None else np.array([given_c + ZERO_C_K])
    for shown, step in ((k_to_c(values_k), 1.0), (k_to_f(values_k), 1.0 / 1.8)):
        if bool(np.all(np.abs(shown - np.round(shown)) < 1e-6)):
            return step
    return 0.1


def _duty(
    log: Log, held: Callable[[Floats], Floats], duty_pct: float | None, ticks: int, notes: list[str]
) -> tuple[Floats | None, str]:
    name = loading.shown(log.path)
    if duty_pct is not None:
        return np.full(ticks, duty_pct / 100.0), "given"
    if "duty" in log.values:
        return np.clip(held(log.values["duty"]), 0.0, 1.0), "logged"
    if "pump_voltage" in log.values:
        supply = log.values["supply"] if "supply" in log.values else np.full(len(log.time_s), 13.8)
        notes.append(f"{name}: pump duty is worked out as pump voltage over supply voltage")
        return np.clip(held(log.values["pump_voltage"] / np.maximum(supply, 6.0)), 0.0, 1.0), "pump voltage"
    notes.append(f"{name}: no pump duty is logged or given (--duty); the pump is taken as always on")
    return None, "not known, taken as always on"


def _usable(log: Log, at: Floats, running: Mask, notes: list[str], name: str) -> Mask:
    """False while the engine stands, for two minutes after a stop, and in and behind gaps."""
    usable = running.copy()
    edges = np.flatnonzero(np.diff(running.astype(np.int8)) != 0) + 1
    starts = [int(edge) for edge in edges if running[edge]]
    for start in starts:
        ran_before = bool(running[:start].any())
        wait = AFTER_STOP_S if ran_before else 5.0
        usable[start : start + round(wait / TICK_S)] = False
    stops = len([edge for edge in edges if not running[edge]])
    if stops:
        notes.append(f"{name}: {stops} engine stops; readings in them and for {AFTER_STOP_S:.0f} s after are left out")
    gaps = np.flatnonzero(np.diff(log.time_s) > 5.0)
    for gap in gaps:
        usable[(at > log.time_s[gap]) & (at < log.time_s[gap + 1] + AFTER_GAP_S)] = False
    if len(gaps):
        notes.append(
            f"{name}: {len(gaps)} gaps of 5 to {CUT_GAP_S:g} s; readings in and {AFTER_GAP_S:.0f} s after are left out"
        )
    return usable
