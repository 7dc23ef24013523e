"""What a car's numbers come to: how much coolant, where it freezes and boils, what the pump moves in the car.

For people to hold against what they can measure; nothing here feeds the simulation.
"""

from __future__ import annotations

import dataclasses
import math
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from arena.plant.numbers import CarNumbers

Floats = NDArray[np.float64]

WARM_K = 313.15  # coolant temperature at which these hold
CRUISE_M_S = 80.0 / 3.6  # road speed at which the loop's time constant holds
OUTSIDE_K = 293.15
MARGIN = 1.15  # of the duty at which the car's own pump just starts: pumps differ (judgement, no source)


@dataclass(frozen=True)
class Derived:
    """SI; flow, current and the rest at running voltage with coolant at 40 degC, pump flat out."""

    hose_m3: float
    coolant_m3: float
    freezing_k: float
    boiling_k: float  # at the cap's pressure, sea level
    flow_m3_s: float
    pump_a: float
    pump_rad_s: float
    rated_a: float  # at rated_v at the pump's plug
    stall_a: float
    circulation_s: float
    core_effectiveness: float  # of the air, at peak air flow and that coolant flow
    half_flow_m3_s: float  # at half duty
    half_a: float  # mean motor current at half duty; nan for a pump with its own controller
    start_duty: float  # smallest duty that starts it from rest; 1 if none does
    stall_duty: float  # smallest duty that keeps it turning; 1 if none does
    loop_tau_s: float  # heat capacity of coolant and metal over what the front exchanger passes at 80 km/h, full flow


def derive(car: CarNumbers) -> Derived:
    """The derived values of a car. Raises BadInput for a pump that no curve can be drawn for."""
    from arena.plant import fluids
    from arena.scenario.pump_current import plug_a

    loop = car.loop
    hose = 0.25 * np.pi * loop.hose_bore_m**2 * loop.hose_total_m
    coolant = float(hose + car.core.coolant_m3 + car.front.coolant_m3 + loop.tank_m3 + loop.extra_m3)
    flow, speed, amps, torques = _pump_in_car(car)
    half_flow, half_a, stalls = _part_duty(car, speed, torques)
    stall = max(0.0, car.supply.running_v - car.pump.brush_v) / (car.pump.resistance_ohm + car.supply.lead_ohm)
    return Derived(
        float(hose),
        coolant,
        fluids.freezing_k(loop.glycol, loop.glycol_volume_fraction),
        fluids.boiling_k(loop.glycol, loop.glycol_volume_fraction, 101325.0 + loop.cap_gauge_pa),
        flow,
        amps,
        speed,
        plug_a(car.pump, loop, car.pump.rated_v),
        stall,
        coolant / flow if flow > 0.0 else float("inf"),
        _core_effectiveness(car, flow),
        half_flow,
        half_a,
        first_duty(car, car.supply.running_v),
        stalls,
        _loop_tau_s(car, flow),
    )


@dataclass(frozen=True)
class _Load:
    """Hydraulic torque (N m) and flow (m3/s) over pump speed (rad/s) in the car, coolant at 40 degC."""

    speed_rad_s: Floats
    torque_nm: Floats
    flow_m3_s: Floats

    def torque(self, speed: float | Floats) -> float | Floats:
        return np.interp(speed, self.speed_rad_s, self.torque_nm)

    def flow(self, speed: float) -> float:
        return float(np.interp(speed, self.speed_rad_s, self.flow_m3_s))


def _pump_in_car(car: CarNumbers) -> tuple[float, float, float, _Load]:
    """Flow, speed and current of the pump at running voltage, and its load."""
    from arena.plant import electrics, fluids, hydraulics

    pump = car.pump
    coolant = fluids.table(car.loop.glycol, car.loop.glycol_volume_fraction)
    ratios = np.linspace(0.0, 1.6, 65)
    made = hydraulics.build_flow_table(pump, car.loop, coolant, ratios, np.array([WARM_K]))
    load = _Load(ratios * pump.rated_rad_s, made.torque_nm[:, 0], made.flow_m3_s[:, 0])
    point = electrics.motor_point(
        pump.resistance_ohm + car.supply.lead_ohm,
        pump.ke_v_s,
        lambda w: pump.friction_nm + load.torque(w),
        car.supply.running_v,
        brush_v=pump.brush_v,
    )
    speed = float(point.speed_rad_s)
    return load.flow(speed), speed, float(point.current_a), load


def sure_duty(car: CarNumbers) -> float:
    """The duty a table should not go below while the pump runs, 0..1: what surely starts it.

    `first_duty` at the lowest voltage while driving (idle, fan on), MARGIN more for pumps that differ, rounded up to
    5 %.
    """
    return min(max(math.ceil(first_duty(car, low_v(car)) * MARGIN / 0.05 - 1e-9), 1) * 0.05, 1.0)


def sure_words(car: CarNumbers) -> str:
    """Where `sure_duty` comes from, for people."""
    at_v = "" if car.pump.kind == "signal" else f" at {low_v(car):g} V"
    return (
        f"{100 * first_duty(car, low_v(car)):.0f} %, which starts this car's pump from rest{at_v}, and "
        f"{100 * (MARGIN - 1.0):.0f} % of it more since pumps differ, rounded up to a multiple of 5 %"
    )


def first_duty(car: CarNumbers, supply_v: float) -> float:
    """Lowest duty that starts the pump from rest at a supply voltage, 0..1; 1 if none does.

    For a pump with its own controller: where its speed leaves zero.
    """
    from arena.plant import electrics

    pump = car.pump
    if pump.kind == "signal":
        return min((d for d, v in zip(pump.signal_duty, pump.signal_speed, strict=True) if v > 0.0), default=1.0)
    return electrics.start_duty(pump, supply_v, car.supply.lead_ohm) or 1.0


def low_v(car: CarNumbers) -> float:
    """Lowest supply voltage while driving: idling with the fan on."""
    return car.supply.running_v - car.supply.sag_v


def _part_duty(car: CarNumbers, full_rad_s: float, load: _Load) -> tuple[float, float, float]:
    """Flow and current at half duty; smallest duty that keeps the pump turning."""
    from arena.plant import electrics

    pump, duty = car.pump, np.linspace(0.0, 1.0, 201)
    if pump.kind == "signal":
        share = np.asarray(electrics.signal_speed_share(duty, pump.signal_duty, pump.signal_speed))
        least = _first(duty, share > 0.0)
        return load.flow(full_rad_s * float(np.interp(0.5, duty, share))), float("nan"), least
    fed = dataclasses.replace(pump, resistance_ohm=pump.resistance_ohm + car.supply.lead_ohm)  # as `arena wiring` does
    made = electrics.pwm_tables(fed, car.supply.running_v, lambda w: pump.friction_nm + load.torque(w), len(duty))
    half = int(np.argmin(np.abs(duty - 0.5)))
    turns = electrics.turning_duty(pump, car.supply.running_v, car.supply.lead_ohm) or 1.0
    return load.flow(float(made.speed_rad_s[half])), float(made.current_a[half]), turns


def _first(duty: Floats, holds: NDArray[np.bool_]) -> float:
    return float(duty[np.argmax(holds)]) if holds.any() else 1.0


def _loop_tau_s(car: CarNumbers, flow_m3_s: float) -> float:
    """How long the loop takes to lose 63 % of its heat at 80 km/h; endless without coolant flow."""
    from arena.plant import air, exchanger, film, fluids

    if flow_m3_s <= 0.0:
        return float("inf")
    front, core, loop = car.front, car.core, car.loop
    coolant = fluids.coolant(loop.glycol, loop.glycol_volume_fraction, WARM_K)
    volume_heat = float(coolant.density) * float(coolant.heat_capacity)
    hose = 0.25 * np.pi * loop.hose_bore_m**2 * loop.hose_total_m
    litres = float(hose + core.coolant_m3 + front.coolant_m3 + loop.tank_m3 + loop.extra_m3)
    heat = litres * volume_heat + core.metal_kg * core.metal_j_kg_k + front.metal_kg * front.metal_j_kg_k
    m = float(air.density(101325.0, OUTSIDE_K)) * front.face_m2 * front.face_velocity_ratio * CRUISE_M_S
    c_air, c_coolant = m * float(air.heat_capacity(OUTSIDE_K)), flow_m3_s * volume_heat
    share = exchanger.cell_model_effectiveness(
        c_air,
        c_coolant,
        front.air_ha_w_k * (m / front.air_ref_kg_s) ** front.air_exponent,
        film.coolant_conductance(front, loop, flow_m3_s),
    )
    return heat / (float(share) * min(c_air, c_coolant))


def _core_effectiveness(car: CarNumbers, flow_m3_s: float) -> float:
    """(air in - air out) / (air in - coolant in) at peak air flow; 0 without coolant flow."""
    from arena.plant import air, exchanger, film, fluids

    if flow_m3_s <= 0.0:
        return 0.0
    core, m = car.core, car.engine.peak_air_flow_kg_s
    coolant = fluids.coolant(car.loop.glycol, car.loop.glycol_volume_fraction, WARM_K)
    c_air = m * float(air.heat_capacity(340.0))
    c_coolant = flow_m3_s * float(coolant.density) * float(coolant.heat_capacity)
    ha_air = core.air_ha_w_k * (m / core.air_ref_kg_s) ** core.air_exponent
    ha_coolant = film.coolant_conductance(core, car.loop, flow_m3_s)
    share = exchanger.cell_model_effectiveness(c_air, c_coolant, ha_air, ha_coolant)
    return float(share) * min(c_air, c_coolant) / c_air
