"""The plant driven by a log: what the probes would have read on a car of given numbers.

One call compiles one car; up to eight starting states of the loop ride along as lanes at no cost.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace
from functools import cache
from pathlib import Path
from threading import Lock
from typing import Any

import numpy as np
from numpy.typing import NDArray

from arena.contest import run
from arena.garage import replayed_duty
from arena.garage.inputs import LogInputs, log_inputs
from arena.garage.read_log import GarageLog
from arena.plant import layout as at
from arena.plant.car_tables import tables
from arena.plant.compile import (
    LOOP_OVER_AMBIENT_K,
    CompiledOuting,
    air_path,
    core_columns,
    front_and_hose_columns,
    parameters,
    sense_columns,
)
from arena.plant.numbers import CarNumbers, Goals, Loop, Pump
from arena.strategies.base import from_module

Floats = NDArray[np.float64]

KEPT = 6
_COLUMN = {
    "iat": at.T_READING, "core_metal": at.T_CORE_METAL, "loop_coolant": at.T_CORE_IN,
    "coolant_out_of_core": at.T_CORE_OUT, "flow": at.T_FLOW,
}  # fmt: skip


@dataclass(frozen=True)
class Start:
    """The loop when the log begins, K: coolant, core, front, and what the probe reads."""

    loop_k: float
    core_k: float
    front_k: float
    probe_k: float


@cache
def _lanes(count: int) -> run.Lanes:
    """The logged duty played again, `count` times. The law is ours: not told of as a file that somebody named."""
    law = from_module(replayed_duty, Path(__file__).with_name("replayed_duty.py"))
    return run.lay_out([run.Contestant("log", law)] * count)


def compiled_log(
    inputs: LogInputs, car: CarNumbers, flow_share: float = 1.0, kept: Kept | None = None
) -> CompiledOuting:
    """The log's own ticks compiled for a car; `flow_share` scales what the pump moves, `kept` saves work."""
    exact = replace(car, probe=replace(car.probe, noise_k=0.0, step_k=0.0))
    made = (kept or Kept()).outing(inputs, _air_side(exact))
    expected = float(np.mean(inputs.ambient_k)) + LOOP_OVER_AMBIENT_K
    p, volume_heat = parameters(exact, Goals(), expected, float(np.mean(inputs.ambient_pa)))
    duty, flow, exchangers = tables(_same_tank(exact), volume_heat)
    if flow_share != 1.0:
        flow = flow.copy()
        flow[0::2] *= flow_share
    return replace(made, P=p, duty_table=duty, flow_table=flow, exchanger_table=exchangers, volume_heat=volume_heat)


class Kept:
    """The input columns of the last few cars and inputs: numbers of the coolant side do not change them."""

    def __init__(self) -> None:
        self._lock = Lock()
        self._made: dict[tuple[int, CarNumbers], tuple[LogInputs, CompiledOuting]] = {}
        self._sensed: tuple[LogInputs, Floats] | None = None

    def outing(self, inputs: LogInputs, car: CarNumbers) -> CompiledOuting:
        """The log's own ticks on this car's air side, with the duty in the pedal column."""
        key = (id(inputs), car)
        with self._lock:
            found = self._made.get(key)
        if found is not None:
            return found[1]
        x = self._senses(inputs, car).copy()
        path = air_path(inputs, car)
        core_columns(x, inputs, car, path)
        front_and_hose_columns(x, inputs, car, path)
        x = np.ascontiguousarray(x[inputs.lead_in :])
        none = np.zeros(0)
        made = CompiledOuting(len(x), 0, x, none, none, none, none, 0, none, 0.0, path, 0.0)
        with self._lock:
            while len(self._made) >= KEPT:
                self._made.pop(next(iter(self._made)))
            self._made[key] = (inputs, made)  # the inputs stay alive, so that their id stays theirs
        return made

    def _senses(self, inputs: LogInputs, car: CarNumbers) -> Floats:
        """Columns of supply, key and clock, which no number of a fit changes; nothing is scored, duty as pedal."""
        with self._lock:
            if self._sensed is not None and self._sensed[0] is inputs:
                return self._sensed[1]
        x = np.zeros((inputs.ticks, at.X_COLUMNS))
        sense_columns(x, inputs, car, air_path(inputs, car), 0)
        x[:, at.X_PEDAL] = 100.0 * inputs.pedal
        x[:, at.X_BOOST_ROW] = -1.0
        with self._lock:
            self._sensed = (inputs, x)
        return x


def _air_side(car: CarNumbers) -> CarNumbers:
    """The car with every number that input columns do not depend on set to a fixed value."""
    core = replace(car.core, coolant_ha_w_k=1.0, metal_kg=1.0)
    front = replace(car.front, coolant_ha_w_k=1.0, metal_kg=1.0, coolant_m3=1e-3)
    loop = replace(car.loop, hose_ua_w_m_k=1.0)
    return replace(car, core=core, front=front, loop=loop if loop.tank != "in-flow" else _fixed_tank(loop), pump=Pump())


def _same_tank(car: CarNumbers) -> CarNumbers:
    """The car with a tank of a fixed size: the flow table does not depend on it and need not be built again."""
    return replace(car, loop=_fixed_tank(replace(car.loop, hose_ua_w_m_k=1.0)))


def _fixed_tank(loop: Loop) -> Loop:
    return replace(loop, tank_m3=2e-3, extra_m3=0.0) if loop.tank == "in-flow" else loop


def play_log(made: CompiledOuting, starts: Sequence[Start]) -> list[dict[str, Floats]]:
    """Readings (K) and coolant flow (m3/s) by channel, each (ticks,), for each starting state; at most LANES."""
    from arena.plant import kernel

    count = len(starts)
    lanes = _lanes(count)
    state = run.start_state(made, lanes)
    table = state.reshape(at.ROWS, at.LANES)
    core = slice(at.CORE_AT, at.CORE_AT + 2 * at.CORE_CELLS)
    front = slice(at.FRONT_AT, at.FRONT_AT + 2 * at.FRONT_CELLS)
    for n, start in enumerate(starts):
        for row in (at.LINK, at.LINK_OLD, at.SIDE, at.COOLANT_READING):
            table[row, n] = start.loop_k
        table[at.CORE_AT :, n] = start.loop_k
        table[core, n] = start.core_k
        table[front, n] = start.front_k
        table[at.PROBE, n] = table[at.READING, n] = start.probe_k
    columns = 13
    trace = np.zeros(made.ticks * count * at.TRACE_COLUMNS)
    on_boost = run.aligned(at.LANES, np.float32)
    arguments: tuple[Any, ...] = (
        state, made.X.reshape(-1), made.P, made.duty_table, made.flow_table, made.exchanger_table, lanes.cells,
        on_boost, trace, count, at.TRACE_COLUMNS, lanes.laws, lanes.lows, lanes.highs, count,
    )  # fmt: skip
    ticks = kernel.run
    if lanes.interpreted:
        for tick in range(made.ticks):
            table[at.DUTY, :count] = 0.01 * made.X[tick, at.X_PEDAL]
            ticks(*arguments, tick, tick + 1)
    else:
        ticks(*arguments, 0, made.ticks)
    shaped = trace.reshape(made.ticks, count, at.TRACE_COLUMNS)[:, :, :columns]
    return [{name: shaped[:, n, column].copy() for name, column in _COLUMN.items()} for n in range(count)]


def predict(log: GarageLog, car: CarNumbers, start: Start | None = None) -> dict[str, Floats]:
    """What the probes would read over the whole log on this car, by channel, (ticks,), K."""
    made = compiled_log(log_inputs(log, car), car)
    return play_log(made, [start or first_guess(log)])[0]


def first_guess(log: GarageLog) -> Start:
    """The loop as the first readings have it, or some way over the outside air."""
    from arena.garage.inputs import starts_cold

    ambient, first = float(log.ambient_k[0]), float(log.observed["iat"].value_k[0])
    if "loop_coolant" in log.observed:
        loop = float(log.observed["loop_coolant"].value_k[0])
    else:
        loop = ambient + (1.0 if starts_cold(log) else 8.0)
    core = 0.5 * (loop + min(max(first, ambient - 5.0), ambient + 60.0))
    return Start(loop, core, loop, first)
