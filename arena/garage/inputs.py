"""From a log to what the plant needs of a played drive: air flow, engine temperature, fan, and a lead-in before it.

The lead-in holds the log's mean driving, so that bay, hot side and pipes start near where they would have been; how
warm the bay was then is left to the fit.
"""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray

from arena.garage.read_log import TICK_S, GarageLog
from arena.plant.numbers import CarNumbers

Floats = NDArray[np.float64]

LEAD_IN_S = 400.0  # two of the bay's time constants
COLD_BELOW_K = 323.15  # an engine below 50 degC at the start has not been driven
WARM_ENGINE_K = 363.15
LIFT_TICKS = 3
HUMIDITY = 0.6  # enters only what is not fitted


@dataclass(frozen=True)
class Day:
    """What a log does not say of its day: how warm the bay was before it, K, which it then forgets; the sun on the bay
    throughout, K; and how hard the engine was driven before it, as a factor on the log's mean air flow.
    """

    bay_before_k: float = 0.0
    sun_k: float = 0.0
    load_before: float = 1.0


@dataclass(frozen=True)
class LogInputs:
    """The plant's `Inputs` from a log; arrays of shape (ticks,), of which the first `lead_in` come before the log."""

    lead_in: int
    ticks: int
    score_from: int
    start: str
    speed_m_s: Floats
    pedal: Floats
    throttle: Floats
    rpm: Floats
    map_pa: Floats
    air_flow_kg_s: Floats
    engine_on: Floats
    key_on: Floats
    cranking: Floats
    fan_on: Floats
    engine_k: Floats
    ambient_k: Floats
    ambient_pa: Floats
    humidity: Floats
    wind_m_s: Floats
    bay_extra_k: Floats


def starts_cold(log: GarageLog) -> bool:
    """Whether the engine was cold when the log began; without its temperature a warm one is assumed."""
    return log.engine_k is not None and float(log.engine_k[0]) < COLD_BELOW_K


def log_inputs(log: GarageLog, car: CarNumbers, day: Day = Day()) -> LogInputs:
    """The log as inputs of the plant.

    Air flow is the logged one, else worked out from engine speed and MAP with the car's displacement and filling.
    """
    on = (log.rpm > 0.0).astype(np.float64)
    engine = car.engine
    if log.air_flow_kg_s is not None:
        flow = log.air_flow_kg_s * on
    else:
        density = log.map_pa / (287.05 * engine.manifold_reference_k)
        flow = engine.volumetric_efficiency * engine.displacement_m3 * density * log.rpm / 120.0
    duty = np.ones(log.ticks) if log.duty is None else log.duty
    block, fan = engine_temperature(log, car, flow, on)
    cold = starts_cold(log)
    lead = 0 if cold else round(LEAD_IN_S / TICK_S)
    driven = on > 0.5

    def led(values: Floats, before: float | None = None) -> Floats:
        mean = float(values[driven].mean()) if before is None else before
        return np.concatenate([np.full(lead, mean), values])

    ticks = lead + log.ticks
    return LogInputs(
        lead_in=lead,
        ticks=ticks,
        score_from=lead,
        start="cold" if cold else "warm",
        speed_m_s=led(log.speed_m_s),
        pedal=led(duty, float(duty[0])),
        throttle=led(np.zeros(log.ticks) if log.throttle is None else np.clip(log.throttle, 0.0, 1.0)),
        rpm=led(log.rpm),
        map_pa=led(log.map_pa),
        air_flow_kg_s=led(flow, day.load_before * float(flow[driven].mean())),
        engine_on=led(on, 1.0),
        key_on=np.ones(ticks),
        cranking=np.zeros(ticks),
        fan_on=led(fan, 0.0),
        engine_k=led(block, float(block[0])),
        ambient_k=led(log.ambient_k, float(log.ambient_k[0])),
        ambient_pa=np.full(ticks, log.ambient_pa),
        humidity=np.full(ticks, HUMIDITY),
        wind_m_s=np.zeros(ticks),
        bay_extra_k=np.where(np.arange(ticks) < lead, day.bay_before_k, 0.0) + day.sun_k,
    )


def between_polls(inputs: LogInputs, log: GarageLog, first: int, last: int, what: str) -> LogInputs:
    """The inputs with ticks first..last-1 of the log at the higher of the neighbouring readings.

    `what` is "boost" or "pump"; or "lift": the foot off for 0.3 s in the middle, as at a gear shift that no poll saw.
    How far this moves a prediction is how far the moments between polls can move it.
    """
    here = slice(inputs.lead_in + first, inputs.lead_in + last)

    def changed(old: Floats, new: Floats) -> Floats:
        out = old.copy()
        out[here] = np.maximum(new, old[here])
        return out

    if what == "pump":
        return replace(inputs, pedal=changed(inputs.pedal, log.upper["duty"][first:last]))
    if what == "lift":
        middle = inputs.lead_in + (first + last) // 2
        here = slice(middle, middle + LIFT_TICKS)
        pressure = inputs.map_pa.copy()
        pressure[here] = 0.5 * log.ambient_pa
        return replace(inputs, map_pa=pressure, air_flow_kg_s=inputs.air_flow_kg_s * pressure / inputs.map_pa)
    pressure = changed(inputs.map_pa, log.upper["map"][first:last])
    if "air_flow" in log.upper:
        flow = changed(inputs.air_flow_kg_s, log.upper["air_flow"][first:last])
    else:
        flow = inputs.air_flow_kg_s * pressure / inputs.map_pa
    return replace(inputs, map_pa=pressure, air_flow_kg_s=flow)


def engine_temperature(log: GarageLog, car: CarNumbers, flow: Floats, on: Floats) -> tuple[Floats, Floats]:
    """Block temperature (K) and fan (0/1): as logged, with the fan's hysteresis; else by the timetable's model."""
    from arena.timetable import heat_kernel
    from arena.timetable import vehicle_kernel as rows
    from arena.timetable.standard import FAN_OFF_K, FAN_ON_K

    if log.engine_k is not None:
        slow = car.front.face_velocity_ratio * log.speed_m_s < car.front.fan_m_s
        asked = np.where(log.engine_k > FAN_ON_K, 1.0, np.where(log.engine_k < FAN_OFF_K, 0.0, np.nan))
        known = np.maximum.accumulate(np.where(np.isnan(asked), -1, np.arange(log.ticks)))
        fan = np.where(known < 0, 0.0, asked[np.maximum(known, 0)])
        return log.engine_k, np.nan_to_num(fan) * slow * on
    record = np.zeros((rows.ROWS, log.ticks))
    record[rows.AIR_ROW], record[rows.SPEED_ROW] = flow, log.speed_m_s
    record[rows.ENGINE_ON_ROW] = record[rows.KEY_ROW] = on
    record[rows.AMBIENT_K_ROW], record[rows.AMBIENT_PA_ROW] = log.ambient_k, log.ambient_pa
    heat = heat_kernel.HeatCar(
        heat_kernel.heat_capacity_j_k(car.engine.warm_up_tau_s, car.engine.peak_air_flow_kg_s),
        car.engine.peak_air_flow_kg_s, car.front.face_velocity_ratio, car.front.fan_m_s, car.body.parked_tau_s,
    )  # fmt: skip
    heat_kernel.compiled()(record, 0, log.ticks, np.array([WARM_ENGINE_K, 0.0]), heat)
    return record[rows.ENGINE_K_ROW].copy(), record[rows.FAN_ROW].copy()
