"""Synthetic logs for the garage's tests and scripts: cars drawn at random, driven, and logged as a logger would.

The thermal part comes from the independent reference (differential equations handed to scipy), never from the kernel
that the fit uses; pump flow is replayed. Noise, 1 Hz polling and the reading's step are added here.
"""

from __future__ import annotations

import sys
from dataclasses import dataclass, replace
from functools import cache
from pathlib import Path
from typing import Any

import numpy as np
from numpy.typing import NDArray

sys.path.insert(0, str(Path(__file__).parents[1] / "plant"))

import reference

from arena.contest.run import Contestant, lay_out, play
from arena.garage.parameters import bounds, moved, parameters_for
from arena.plant import layout as at
from arena.plant.compile import CompiledOuting, compile_outing
from arena.plant.numbers import CarNumbers, Goals
from arena.scenario.car import load_car
from arena.scenario.climate import load_climate
from arena.scenario.drive import load_drive
from arena.strategies import load_strategy, shipped
from arena.timetable.outing import Played, outing_seed
from arena.timetable.outing import play as play_drive

Floats = NDArray[np.float64]
SURGE_S = 7.0
IAT, CORE_IN, CORE_OUT, APPLIED, FLOW = 0, 3, 4, 8, 12


@dataclass(frozen=True)
class Truth:
    """One run of a car of known numbers; arrays of shape (ticks,) over the scored drive, temperatures in degC."""

    played: Played
    first: int
    last: int
    iat_c: Floats
    probe_c: Floats
    duty: Floats
    duty_before: Floats  # of the ticks before `first`
    pump_a: Floats | None = None


@cache
def base_car() -> CarNumbers:
    """The car every fit starts from."""
    return load_car("invented-2200").numbers()


def drawn_car(seed: int, scale: float = 1.0) -> tuple[CarNumbers, dict[str, float]]:
    """A car with all numbers of the fit, companions too, drawn within 1.6 spreads of the base car; and headline z."""
    car = base_car()
    items = parameters_for(car)
    rng = np.random.default_rng(seed)
    z = scale * np.clip(rng.standard_normal(len(items)), -1.6, 1.6)
    low, high = bounds(car, items)
    z = np.clip(z, low + 0.3, high - 0.3)
    return moved(car, items, z), {item.key: float(v) for item, v in zip(items, z, strict=True) if item.headline}


@cache
def law(name: str) -> Contestant:
    """A shipped strategy, or a law of the tests by file name."""
    if name.endswith(".py"):
        return Contestant(name, load_strategy(Path(__file__).parents[1] / "plant" / name))
    return Contestant(name, shipped()[name])


def driven(
    car: CarNumbers,
    drive: str,
    climate: str,
    strategy: str | Contestant,
    seed: int,
    *,
    exact: bool = True,
    seconds: float = 1e9,
) -> Truth:
    """Drive a car. `exact`: the loop by scipy's DOP853, else by the kernel; at most so many seconds of the drive."""
    played = play_drive(load_drive(drive), load_climate(climate), car, outing_seed(seed, f"{drive}/{climate}", 0))
    made = compile_outing(played, car, Goals(), seed)
    contestant = strategy if isinstance(strategy, Contestant) else law(strategy)
    run = play(made, lay_out([contestant]), 1, at.TRACE_COLUMNS)
    assert run.trace is not None
    trace = run.trace[:, 0]
    first = played.score_from
    last = min(played.drive_until, first + round(10.0 * seconds))
    iat, asked = trace[:, IAT], _asked(trace[:, APPLIED])
    if exact:
        iat = iat.copy()
        iat[:last] = reference.integrate(made, trace[:, FLOW : FLOW + 1], last).iat_mean_k[:, 0]
    probe = _probe(made, iat)
    cut = slice(first, last)
    return Truth(played, first, last, iat[cut] - 273.15, probe[cut] - 273.15, asked[cut], asked[:first])


def _asked(applied: Floats) -> Floats:
    """The duty asked for behind the one applied: while the soft start ramps up, what it ramps up to."""
    ahead = np.concatenate([applied[5:], np.full(5, applied[-1])])
    ramping = np.diff(applied, prepend=applied[0]) > 0.15
    return np.where(ramping, np.maximum(ahead, applied), applied)


def _probe(made: CompiledOuting, iat_k: Floats) -> Floats:
    """The probe's element behind a charge temperature: the plant's own first-order lag."""
    x = made.X
    metal = (iat_k - x[:, at.X_IAT0]) / np.maximum(x[:, at.X_IAT1], 1e-12)
    goal = x[:, at.X_PROBE0] + x[:, at.X_PROBE1] * metal
    out, value = np.empty(made.ticks), made.start_k
    for tick in range(made.ticks):
        value += x[tick, at.X_PROBE_K] * (goal[tick] - value)
        out[tick] = value
    return out


def write_log(
    path: Path, truth: Truth, seed: int, *, poll_s: float = 1.0, noise_k: float = 0.15, step_k: float = 0.5,
    shift_k: float = 0.0, duty: bool = True,
) -> Path:  # fmt: skip
    """A CSV as a logger writes it: every `poll_s`, charge temperature with noise and step, ambient in whole degrees."""
    rng = np.random.default_rng(seed)
    every = round(10.0 * poll_s)
    take = np.arange(int(rng.integers(0, every)), len(truth.iat_c), every)
    p, f = truth.played, truth.first
    reading = truth.probe_c[take] + shift_k + noise_k * rng.standard_normal(len(take))
    columns: dict[str, Any] = {
        "time_s": 0.1 * take,
        "speed_kmh": np.round(3.6 * p.speed_m_s[f + take]),
        "throttle_pct": np.round(100.0 * p.throttle[f + take], 1),
        "rpm": np.round(p.rpm[f + take]),
        "map_kpa": np.round(1e-3 * p.map_pa[f + take]),
        "ambient_c": np.round(p.ambient_k[f + take] - 273.15),
        "iat_c": step_k * np.floor(reading / step_k + 0.5),
        "engine_coolant_c": np.round(p.engine_k[f + take] - 273.15),
    }
    if truth.pump_a is not None:
        columns["pump_current_a"] = np.round(truth.pump_a[take], 1)
    if duty:
        columns["duty_pct"] = np.round(100.0 * truth.duty[take], 1)
    lines = [",".join(columns)]
    lines += [",".join(f"{v:.6g}" for v in row) for row in zip(*columns.values(), strict=True)]
    path.write_text("\n".join(lines) + "\n", encoding="utf-8")
    return path


def base_with(**sections: dict[str, float]) -> CarNumbers:
    """The base car with some numbers changed: base_with(core={"air_ha_w_k": 300})."""
    car = base_car()
    return replace(car, **{s: replace(getattr(car, s), **values) for s, values in sections.items()})


def number_of(car: CarNumbers, key: str) -> float:
    """A number by its key of a car file, in the file's unit."""
    from arena.scenario.car_keys import KEY_OF_NUMBER, extra_of

    number = next(n for n, k in KEY_OF_NUMBER.items() if k == key)
    section, field = number.split(".")
    extra = extra_of(*key.split("."))
    return (float(getattr(getattr(car, section), field)) - float(extra.get("offset") or 0.0)) / float(extra["factor"])


def error_k(truth: Truth, car: CarNumbers) -> float:
    """RMS error of the probe's charge temperature predicted by another car, same drive and pump duty, K.

    The first minute, in which both start from the same assumed state, is left out.
    """
    made = compile_outing(truth.played, car, Goals(), 1)
    made.X[:, at.X_PEDAL] = 0.0
    made.X[: truth.first, at.X_PEDAL] = 100.0 * truth.duty_before
    made.X[truth.first : truth.last, at.X_PEDAL] = 100.0 * truth.duty
    run = play(made, lay_out([replayed()]), 1, at.TRACE_COLUMNS)
    assert run.trace is not None
    read = _probe(made, run.trace[:, 0, IAT])[truth.first : truth.last] - 273.15
    return float(np.sqrt(np.mean((read - truth.probe_c)[600:] ** 2)))


@cache
def replayed() -> Contestant:
    """The garage's own law that plays a duty again."""
    import arena.garage

    return Contestant("again", load_strategy(Path(arena.garage.__file__).with_name("replayed_duty.py")))


def on_boost_k(truth: Truth, car: CarNumbers) -> float:
    """Mean charge temperature on boost of another car on the same drive and day, K over the outside air."""
    p = truth.played
    made = compile_outing(p, car, Goals(), 1)
    run = play(made, lay_out([law("always-on")]), 1, at.TRACE_COLUMNS)
    assert run.trace is not None
    cut = slice(truth.first + 900, truth.last)
    boost = p.map_pa[cut] > p.ambient_pa[cut] + 15e3
    return float(np.mean(run.trace[cut, 0, IAT][boost] - p.ambient_k[cut][boost]))


def changed_core(car: CarNumbers, truth: Truth, wanted_k: float) -> tuple[CarNumbers, float]:
    """The car with core and front scaled so that the charge on boost moves by about `wanted_k`; and by how much."""
    if wanted_k == 0.0:
        return car, 0.0
    before = on_boost_k(truth, car)
    low, high = -3.0, 3.0
    for _ in range(12):
        middle = 0.5 * (low + high)
        low, high = (middle, high) if on_boost_k(truth, _scaled(car, middle)) - before > wanted_k else (low, middle)
    changed = _scaled(car, 0.5 * (low + high))
    return changed, on_boost_k(truth, changed) - before


def _scaled(car: CarNumbers, log_factor: float) -> CarNumbers:
    factor = float(np.exp(log_factor))
    core = replace(car.core, air_ha_w_k=car.core.air_ha_w_k * factor, coolant_ha_w_k=car.core.coolant_ha_w_k * factor)
    front = replace(car.front, air_ha_w_k=car.front.air_ha_w_k * factor)
    return replace(car, core=core, front=front)


def stepped(piece: Any, flow_share: float, seed: int = 3) -> Truth:
    """A piece of a plan with its pump states, by the kernel, on a car near the base car whose flow is scaled."""
    car = replace(drawn_car(seed, 0.4)[0], pump=base_car().pump)
    return planned(car, piece, Ill(flow_share), exact=False)


@dataclass(frozen=True)
class Ill:
    """What is wrong with a loop or its probe, from before the log on."""

    flow_share: float = 1.0  # of what the pump should move
    surge: float = 0.0  # flow goes up and down by so much of itself every few seconds
    current_share: float | None = None  # of its rated current; None: not logged
    current_surge: float = 0.0
    reads: str = "charge"  # or "before the core"
    metal_share: float = 0.0  # of the reading comes from the bay, whatever the air flow


def ill_log(path: Path, ill: Ill, piece: Any, seed: int, *, exact: bool = True) -> Path:
    """A log of a piece of a plan, on a car near the base car whose loop or probe is ill."""
    car = replace(drawn_car(seed, 0.4)[0], pump=base_car().pump)
    return write_log(path, planned(car, piece, ill=ill, exact=exact), seed)


def planned(car: CarNumbers, piece: Any, ill: Ill = Ill(), *, exact: bool = True) -> Truth:
    """A car driven through a piece of a plan with its pump states; `exact`: the loop by scipy's DOP853."""
    from arena.garage.plan import played_piece

    played, duty = played_piece(car, piece)
    made = compile_outing(played, car, Goals(), 1)
    first, last = played.score_from, played.drive_until
    made.X[:, at.X_PEDAL] = 100.0
    made.X[first:last, at.X_PEDAL] = 100.0 * duty
    flow = made.flow_table.copy()
    flow[0::2] *= ill.flow_share
    run = play(replace(made, flow_table=flow), lay_out([replayed()]), 1, at.TRACE_COLUMNS)
    assert run.trace is not None
    iat = run.trace[:, 0, IAT].copy()
    swing = np.sin(2.0 * np.pi * 0.1 * np.arange(made.ticks) / SURGE_S)
    if exact:
        moved_m3_s = run.trace[:, 0, FLOW : FLOW + 1] * np.maximum(1.0 + ill.surge * swing, 0.0)[:, None]
        iat[:last] = reference.integrate(made, moved_m3_s, last).iat_mean_k[:, 0]
    cut = slice(first, last)
    read, current = _ill_probe(made, iat, ill), None
    if ill.current_share is not None:
        current = car.pump.rated_current_a * ill.current_share * (1.0 + ill.current_surge * swing[cut]) * duty
    return Truth(played, first, last, iat[cut] - 273.15, read[cut] - 273.15, duty, np.ones(first), current)


def _ill_probe(made: CompiledOuting, iat_k: Floats, ill: Ill) -> Floats:
    """What a probe in the wrong place reads: with its own lag, the air before the core, or bay metal in part."""
    if ill.reads == "charge" and not ill.metal_share:
        return _probe(made, iat_k)
    air = iat_k if ill.reads == "charge" else made.air.charger_out_k
    goal = (1.0 - ill.metal_share) * air + ill.metal_share * made.X[:, at.X_BAY]
    out, value = np.empty(made.ticks), float(goal[0])
    for tick in range(made.ticks):
        value += made.X[tick, at.X_PROBE_K] * (goal[tick] - value)
        out[tick] = value
    return out
