"""What a car's numbers come to: how much coolant, where it freezes and boils, what the pump moves in the car.

For people to hold against what they can measure; nothing here feeds the simulation.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from arena.plant.numbers import CarNumbers

WARM_K = 313.15  # coolant temperature at which these hold


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
    stall_a: float
    circulation_s: float
    core_effectiveness: float  # of the air, at peak air flow and that coolant flow


def derive(car: CarNumbers) -> Derived:
    """The derived values of a car. Raises BadInput for a pump that no curve can be drawn for."""
    from arena.plant import fluids

    loop = car.loop
    hose = 0.25 * np.pi * loop.hose_bore_m**2 * loop.hose_total_m
    coolant = float(hose + car.core.coolant_m3 + car.front.coolant_m3 + loop.tank_m3 + loop.extra_m3)
    flow, speed, amps = _pump_in_car(car)
    stall = max(0.0, car.supply.running_v - car.pump.brush_v) / (car.pump.resistance_ohm + car.supply.lead_ohm)
    return Derived(
        float(hose),
        coolant,
        fluids.freezing_k(loop.glycol, loop.glycol_volume_fraction),
        fluids.boiling_k(loop.glycol, loop.glycol_volume_fraction, 101325.0 + loop.cap_gauge_pa),
        flow,
        amps,
        speed,
        stall,
        coolant / flow if flow > 0.0 else float("inf"),
        _core_effectiveness(car, flow),
    )


def _pump_in_car(car: CarNumbers) -> tuple[float, float, float]:
    """Flow, speed and current of the pump at running voltage."""
    from arena.plant import electrics, fluids, hydraulics

    pump = car.pump
    coolant = fluids.table(car.loop.glycol, car.loop.glycol_volume_fraction)
    ratios = np.linspace(0.0, 1.6, 65)
    made = hydraulics.build_flow_table(pump, car.loop, coolant, ratios, np.array([WARM_K]))
    speeds, torques = ratios * pump.rated_rad_s, made.torque_nm[:, 0]
    point = electrics.motor_point(
        pump.resistance_ohm + car.supply.lead_ohm,
        pump.ke_v_s,
        lambda w: pump.friction_nm + float(np.interp(w, speeds, torques)),
        car.supply.running_v,
        brush_v=pump.brush_v,
    )
    speed = float(point.speed_rad_s)
    return float(np.interp(speed, speeds, made.flow_m3_s[:, 0])), speed, float(point.current_a)


def _core_effectiveness(car: CarNumbers, flow_m3_s: float) -> float:
    """(air in - air out) / (air in - coolant in) at peak air flow; 0 without coolant flow."""
    from arena.plant import air, exchanger, fluids

    if flow_m3_s <= 0.0:
        return 0.0
    core, m = car.core, car.engine.peak_air_flow_kg_s
    coolant = fluids.coolant(car.loop.glycol, car.loop.glycol_volume_fraction, WARM_K)
    c_air = m * float(air.heat_capacity(340.0))
    c_coolant = flow_m3_s * float(coolant.density) * float(coolant.heat_capacity)
    ha_air = core.air_ha_w_k * (m / core.air_ref_kg_s) ** core.air_exponent
    ha_coolant = exchanger.flow_conductance(
        core.coolant_ha_w_k, core.coolant_ref_m3_s, core.coolant_exponent, core.still_ha_w_k, flow_m3_s
    )
    share = exchanger.cell_model_effectiveness(c_air, c_coolant, ha_air, ha_coolant)
    return float(share) * min(c_air, c_coolant) / c_air
