"""Outings, cars and contestants for the plant's tests and the scripts of tests/bench."""

from __future__ import annotations

from dataclasses import replace
from functools import cache
from pathlib import Path
from types import SimpleNamespace
from typing import Any

import numpy as np
from numpy.typing import NDArray

from arena.contest import run
from arena.contest.run import Contestant, lay_out
from arena.plant import layout as at
from arena.plant.compile import CompiledOuting, compile_outing
from arena.plant.jit import compiled
from arena.plant.kernel import AT_ONCE
from arena.plant.numbers import CarNumbers, Goals
from arena.plant.rows import swept
from arena.scenario.car import load_car
from arena.scenario.climate import Climate, load_climate
from arena.scenario.drive import Drive, DriveFile, load_drive
from arena.strategies import load_strategy, shipped
from arena.timetable.outing import Played, outing_seed, play

Floats = NDArray[np.float64]
COLUMNS = at.TRACE_COLUMNS
IAT_C, READING_C, CORE_METAL_C, CORE_IN_C = at.T_IAT, at.T_READING, at.T_CORE_METAL, at.T_CORE_IN
CORE_OUT_C, FRONT_IN_C, FRONT_OUT_C, APPLIED_C = at.T_CORE_OUT, at.T_FRONT_IN, at.T_FRONT_OUT, at.T_DUTY
MOTOR_V_C, AMPS_C, SPEED_C, FLOW_C = at.T_PUMP_V, at.T_PUMP_A, at.T_PUMP_SPEED, at.T_FLOW
HEAT_AIR_C, HEAT_OUT_C = at.T_HEAT_AIR, at.T_HEAT_OUT
TANKS = ("in-flow", "side", "none")


def for_all_lanes(body: Any) -> Any:
    """A body of the kernel as a function (S, X, o, P, used) of the first `used` lanes that Python can call."""
    some = swept((body, AT_ONCE))

    def everywhere(S: Any, X: Any, o: int, P: Any, used: int) -> None:
        some(S, X, o, P, used)

    return compiled(everywhere)


@cache
def shipped_car() -> CarNumbers:
    """The invented car as its file gives it."""
    return load_car("invented-2200").numbers()


def with_tank(car: CarNumbers, tank: Any) -> CarNumbers:
    """The same car with its tank in the flow, on a side branch, or none."""
    return replace(car, loop=replace(car.loop, tank=tank, tank_m3=0.0 if tank == "none" else car.loop.tank_m3))


@cache
def played(drive: str, climate: str) -> Played:
    """A shipped drive in a shipped climate by the shipped car, replicate 0."""
    return play(load_drive(drive), load_climate(climate), shipped_car(), outing_seed(1, f"{drive}/{climate}", 0))


@cache
def outing(drive: str, climate: str, tank: str = "in-flow") -> CompiledOuting:
    """The same, compiled."""
    return compile_outing(played(drive, climate), with_tank(shipped_car(), tank), Goals(), 1)


@cache
def half_minutes() -> Any:
    """The test law that switches every 30 s."""
    return load_strategy(Path(__file__).with_name("every_half_minute.py"))


@cache
def switching() -> run.Lanes:
    """Lanes whose pump switches: every 30 s, two-speed, proportional; and the two references that never do."""
    law = shipped()
    return lay_out(
        [
            Contestant("every 30 s", half_minutes()),
            Contestant("two-speed", law["two-speed"]),
            Contestant("proportional", law["proportional"]),
            Contestant("always-on", law["always-on"]),
            Contestant("always-off", law["always-off"]),
        ]
    )


def traced(made: CompiledOuting, lanes: run.Lanes) -> run.Accumulated:
    """Play with a full trace of every lane."""
    return run.play(made, lanes, len(lanes.contestants), COLUMNS)


def trace_of(made: run.Accumulated) -> Floats:
    """The trace, (ticks, lanes, columns); there must be one."""
    assert made.trace is not None
    return made.trace


def shortened(made: CompiledOuting, first: int, last: int) -> CompiledOuting:
    """Ticks first..last-1 alone, all figures scored; everything starts at the outing's start temperature."""
    x = made.X[first:last].copy()
    x[:, at.X_BOOST_ROW] = -1
    return replace(made, ticks=last - first, X=x, boost_rows=0, boost_weight=np.zeros(0), score_from=0)


def heat_balance(made: CompiledOuting, result: run.Accumulated) -> tuple[Floats, Floats]:
    """Heat in less out less stored, and heat moved in all (J); shape (lanes,). Capacities from P, cells from S."""
    lanes = result.rows.shape[1]
    state = result.state.reshape(at.ROWS, -1)[:, :lanes]
    half, p = 0.5 * at.TICK_S, made.P
    stored = np.zeros(lanes)
    for first, count, capacity in (
        (at.CORE_AT, at.CORE_CELLS, at.P_CORE_M), (at.CORE_AT + at.CORE_CELLS, at.CORE_CELLS, at.P_CORE_W),
        (at.FRONT_AT, at.FRONT_CELLS, at.P_FRONT_M), (at.FRONT_AT + at.FRONT_CELLS, at.FRONT_CELLS, at.P_FRONT_W),
        (at.HOSE_1_AT, at.HOSE_1, at.P_HOSE_1_W), (at.HOSE_2_AT, at.HOSE_2, at.P_HOSE_2_W),
        (at.HOSE_3_AT, at.HOSE_3, at.P_HOSE_3_W), (at.LINK, 1, at.P_LINK_W), (at.SIDE, 1, at.P_SIDE_W),
    ):  # fmt: skip
        stored += half * p[capacity] * (state[first : first + count] - made.start_k).sum(axis=0)
    # the link's outflow is extrapolated over the tick and used on both sides, so nothing is under way between them
    air, bay, out = result.row(at.HEAT_AIR), result.row(at.HEAT_BAY), result.row(at.HEAT_OUT)
    return air + bay - out - stored, np.abs(air) + np.abs(bay) + np.abs(out)


def held(ticks: int, **given: Any) -> Any:
    """What `compile_outing` needs of a drive, with every signal held; SI names of `compile.Inputs`, each a number or
    an array. Defaults: 80 km/h, warm engine, 25 degC."""
    usual: dict[str, Any] = {
        "speed_m_s": 80.0 / 3.6, "pedal": 0.2, "throttle": 0.2, "rpm": 2000.0, "map_pa": 60e3, "air_flow_kg_s": 0.018,
        "engine_on": 1.0, "key_on": 1.0, "cranking": 0.0, "fan_on": 0.0, "engine_k": 363.15, "ambient_k": 298.15,
        "ambient_pa": 101325.0, "humidity": 0.5, "wind_m_s": 0.0, "bay_extra_k": 0.0,
    }  # fmt: skip
    start = given.pop("start", "warm")
    unknown = set(given) - set(usual)
    assert not unknown, unknown
    rows = {name: np.ascontiguousarray(np.broadcast_to(given.get(name, v), ticks), float) for name, v in usual.items()}
    return SimpleNamespace(ticks=ticks, score_from=0, start=start, **rows)


def with_flow(made: CompiledOuting, flow_m3_s: float) -> CompiledOuting:
    """The same outing with this coolant flow whatever the pump does."""
    table = made.flow_table.reshape(-1, 2).copy()
    table[:, 0] = flow_m3_s
    return replace(made, flow_table=table.ravel())


def no_parasites(car: CarNumbers) -> CarNumbers:
    """The same car with nothing exchanging heat but core and front."""
    return replace(
        car,
        core=replace(car.core, bay_ua_w_k=0.0, pipe_ua_w_k=0.0),
        loop=replace(car.loop, hose_ua_w_m_k=0.0, tank_ua_w_k=0.0),
    )


def one(name: str, **settings: float) -> run.Lanes:
    """A single lane of a shipped strategy."""
    return lay_out([Contestant(name, shipped()[name], settings)])


def cells_of(result: run.Accumulated, lane: int = 0) -> Floats:
    """Every temperature of the loop at the end of a run: link, and all metal and coolant cells; K."""
    state = result.state.reshape(at.ROWS, -1)
    return np.concatenate([[state[at.LINK, lane]], state[at.CORE_AT :, lane]])


def called_for() -> Any:
    """The test law that holds the pump off until boost calls for it."""
    return load_strategy(Path(__file__).with_name("when_boost_calls.py"))


def even_climate(celsius: float, sun_bay_k: float = 0.0) -> Climate:
    """The same still air all day, at sea level."""
    values = (celsius + 273.15, 101325.0, 0.5, 0.0, sun_bay_k)
    hours = np.array([12.0])
    return Climate("even air", "", "", hours, *(np.array([v]) for v in values))


def drive_of(*phases: dict[str, Any], start: str = "warm") -> Drive:
    """A drive of these phases without traffic."""
    file = DriveFile.model_validate(
        {"drive": {"name": "made up", "start": start}, "traffic": {"slowdowns_per_hour": 0.0}, "phase": list(phases)}
    )
    return Drive(file.drive.name, "", file.drive.start, file, {}, "")


def ticks_labelled(drive: Played, word: str) -> NDArray[np.int64]:
    """Numbers of the ticks of phases whose label holds this word."""
    numbers = [k for k, label in enumerate(drive.phases) if word in label]
    return np.flatnonzero(np.isin(drive.phase, numbers))


def fill_m3(car: CarNumbers) -> float:
    """All coolant of a car, m3."""
    hose = 0.25 * np.pi * car.loop.hose_bore_m**2 * car.loop.hose_total_m
    return float(hose + car.core.coolant_m3 + car.front.coolant_m3 + car.loop.tank_m3 + car.loop.extra_m3)
