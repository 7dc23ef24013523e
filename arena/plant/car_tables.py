"""One car's tables for the kernel: pump duty, coolant flow, coolant-side conductances. Flat; worked out once a car.

Equations and their sources: docs/model.md.
"""

from __future__ import annotations

from functools import lru_cache

import numpy as np
from numpy.typing import NDArray

from arena.plant import electrics, film, fluids, hydraulics
from arena.plant import layout as at
from arena.plant.numbers import CarNumbers, Core, Front, Loop, Pump, Supply

Floats = NDArray[np.float64]

REFERENCE_V = 13.8  # supply at which the pulse-width tables are worked out
COLDEST_K, HOTTEST_K = 233.15, 393.15  # span of the flow table


def top_speed(pump: Pump) -> float:
    """Speed in rad/s the tables reach: no load at 16 V."""
    return (16.0 - pump.brush_v) / pump.ke_v_s


def top_flow(pump: Pump) -> float:
    """Flow in m3/s the tables reach: free flow at top speed."""
    return max(pump.head_flow_m3_s[-1] * top_speed(pump) / pump.rated_rad_s, 1e-6)


def tables(car: CarNumbers, volume_heat: float) -> tuple[Floats, Floats, Floats]:
    """Duty, flow and exchanger tables of one car, flat."""
    flow = flow_table(car.pump, car.loop)
    duty = duty_table(car.pump, car.loop, car.supply)
    return duty, flow, exchanger_table(car, volume_heat)


@lru_cache(maxsize=256)
def flow_table(pump: Pump, loop: Loop) -> Floats:
    """Flow (m3/s) and hydraulic torque per speed squared (N m s2) over speed and coolant temperature, flat.

    Below the freezing point it is that of supercooled coolant, so that nothing is mixed into the numbers just above it;
    the kernel stops the flow there. A thermosiphon's small flow stands where the pump does not turn.
    """
    speeds = np.linspace(0.0, top_speed(pump), at.SPEED_ROWS)
    temperatures = np.linspace(COLDEST_K, HOTTEST_K, at.TEMP_COLUMNS)
    coolant = fluids.table(loop.glycol, loop.glycol_volume_fraction)
    built = hydraulics.build_flow_table(pump, loop, coolant, speeds / pump.rated_rad_s, temperatures)
    out = np.zeros((at.SPEED_ROWS, at.TEMP_COLUMNS, 2))
    out[:, :, 0] = np.maximum(built.flow_m3_s, loop.thermosiphon_m3_s)
    out[1:, :, 1] = built.torque_nm[1:] / speeds[1:, None] ** 2
    out[0, :, 1] = out[1, :, 1]
    return out.ravel()


@lru_cache(maxsize=256)
def duty_table(pump: Pump, loop: Loop, supply: Supply) -> Floats:
    """What pulse-width modulation makes of a duty at the reference supply, turning and at rest, and what speed share a
    signal pump's controller does, flat.
    """
    speeds = np.linspace(0.0, top_speed(pump), at.SPEED_ROWS)
    middle = int((hydraulics.REFERENCE_K - COLDEST_K) / (HOTTEST_K - COLDEST_K) * (at.TEMP_COLUMNS - 1))
    c = flow_table(pump, loop).reshape(at.SPEED_ROWS, at.TEMP_COLUMNS, 2)[:, middle, 1]
    out = np.ones((at.DUTY_ROWS, 4))
    made = electrics.pwm_tables(
        pump, REFERENCE_V, lambda w: pump.friction_nm + np.interp(w, speeds, c) * w**2, at.DUTY_ROWS
    )
    out[:, 0], out[:, 1] = np.nan_to_num(made.voltage_factor, nan=1.0), np.nan_to_num(made.supply_share, nan=0.0)
    with np.errstate(divide="ignore", invalid="ignore"):
        out[:, 1] = np.where(made.duty > 0.0, out[:, 1] / np.where(made.duty > 0.0, made.duty, 1.0), 1.0)
    out[:, 2] = electrics.signal_speed_share(made.duty, pump.signal_duty, pump.signal_speed)
    # At rest: such that the kernel, which takes the leads for the duty's share of the time, finds the current there is.
    duty = np.maximum(made.duty, made.duty[1])
    amps = np.asarray(electrics.at_rest_a(pump, REFERENCE_V, duty, supply.lead_ohm))
    needed = pump.brush_v + amps * (pump.resistance_ohm + supply.lead_ohm * duty)
    out[:, 3] = needed / (duty * REFERENCE_V)
    return out.ravel()


def exchanger_table(car: CarNumbers, volume_heat: float) -> Floats:
    """Coolant-side conductance G and carry-over E = G / (exp(G/F) - 1) per cell of core and front over flow, flat."""
    flow = np.linspace(0.0, top_flow(car.pump), at.FLOW_ROWS)
    out = np.zeros((at.FLOW_ROWS, 4))
    parts: tuple[tuple[Core | Front, int], ...] = ((car.core, at.CORE_CELLS), (car.front, at.FRONT_CELLS))
    for k, (part, cells) in enumerate(parts):
        g = np.asarray(film.coolant_conductance(part, car.loop, flow)) / cells
        n = np.minimum(g / np.maximum(flow * volume_heat, 1e-12), 700.0)
        out[:, 2 * k] = g
        out[:, 2 * k + 1] = np.where(n < 40.0, g / np.expm1(n), 0.0)  # below rounding; and no denormal numbers
    return out.ravel()
