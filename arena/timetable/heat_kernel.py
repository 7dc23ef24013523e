"""Temperature of the engine block and the radiator fan's hysteresis, tick by tick.

One heat capacity warmed by a share of the fuel's heat, cooled by the air round it and, once the thermostat
opens, by the radiator. Numbers are judgement from memory, no published source.
"""

from __future__ import annotations

import functools
import math
from collections.abc import Callable
from typing import Any, NamedTuple

import numpy as np
from numpy.typing import NDArray

from arena.timetable.compiling import compile_together
from arena.timetable.standard import FAN_OFF_K, FAN_ON_K, THERMOSTAT_OPEN_K, THERMOSTAT_OPENS_K
from arena.timetable.vehicle_kernel import (
    AIR_ROW,
    AMBIENT_K_ROW,
    CRANK_ROW,
    ENGINE_K_ROW,
    ENGINE_ON_ROW,
    FAN_ROW,
    KEY_ROW,
    SPEED_ROW,
    TICK,
)

Floats = NDArray[np.float64]

FUEL_J_KG_AIR = 43e6 / 14.7
COOLANT_SHARE_IDLE = 0.36  # of the fuel's heat, at idle and at peak air flow
COOLANT_SHARE_FULL = 0.22
JACKET_W_K = 40.0  # block to the air round it
RADIATOR_W_K = 1800.0  # at RADIATOR_M_S through its face, thermostat open
RADIATOR_M_S = 8.0
RADIATOR_EXPONENT = 0.6
RADIATOR_STILL_W_K = 25.0
WARM_UP_AIR_KG_S = 0.016  # the cruise for which warm_up_tau_s holds, from 20 to 90 degC: 63 % of the way
FAN_GIVES_UP = 2.0  # the fan stops when the car's own wind is so many times the fan's


class HeatCar(NamedTuple):
    """One car as this kernel needs it: floats only, SI."""

    capacity_j_k: float
    peak_air_kg_s: float
    face_velocity_ratio: float
    fan_m_s: float
    parked_tau_s: float


def coolant_share(air_kg_s: float, peak_kg_s: float) -> float:
    """Share of the fuel's heat that reaches the coolant: falls from idle to full load."""
    load = min(1.0, max(0.0, air_kg_s / peak_kg_s))
    return COOLANT_SHARE_IDLE + (COOLANT_SHARE_FULL - COOLANT_SHARE_IDLE) * math.sqrt(load)


def heat_capacity_j_k(warm_up_tau_s: float, peak_kg_s: float) -> float:
    """Block capacity for which a cruise at WARM_UP_AIR_KG_S covers 63 % of 20 -> 90 degC in `warm_up_tau_s`."""
    rise = 70.0 * (1.0 - math.exp(-1.0))
    heat = WARM_UP_AIR_KG_S * FUEL_J_KG_AIR * coolant_share(WARM_UP_AIR_KG_S, peak_kg_s)
    return warm_up_tau_s * (heat - JACKET_W_K * 0.5 * rise) / rise


def warm(rec: Floats, start: int, end: int, state: Floats, car: HeatCar) -> None:
    """Fill engine_k and fan_on of ticks start..end-1; `state` = (block temperature K, fan 0/1)."""
    block_k, fan = state[0], state[1]
    for row in range(start, end):
        ambient_k = rec[AMBIENT_K_ROW, row]
        ram = car.face_velocity_ratio * rec[SPEED_ROW, row]
        if rec[KEY_ROW, row] == 0.0 or rec[CRANK_ROW, row] > 0.0:
            fan = 0.0
        elif fan > 0.0:
            if block_k < FAN_OFF_K or ram > FAN_GIVES_UP * car.fan_m_s:
                fan = 0.0
        elif block_k > FAN_ON_K and ram < car.fan_m_s:
            fan = 1.0
        rec[ENGINE_K_ROW, row] = block_k
        rec[FAN_ROW, row] = fan
        if rec[ENGINE_ON_ROW, row] > 0.0:
            air = rec[AIR_ROW, row]
            heat = air * FUEL_J_KG_AIR * coolant_share(air, car.peak_air_kg_s)
            face = max(ram, car.fan_m_s * fan)
            radiator = max(RADIATOR_STILL_W_K, RADIATOR_W_K * (face / RADIATOR_M_S) ** RADIATOR_EXPONENT)
            opening = (block_k - THERMOSTAT_OPENS_K) / (THERMOSTAT_OPEN_K - THERMOSTAT_OPENS_K)
            loss = JACKET_W_K + radiator * min(1.0, max(0.0, opening))
            block_k += TICK * (heat - loss * (block_k - ambient_k)) / car.capacity_j_k
        else:
            block_k += TICK * (ambient_k - block_k) / car.parked_tau_s
    state[0], state[1] = block_k, fan


@functools.cache
def compiled() -> Callable[..., Any]:
    """The compiled `warm`; built on first use."""
    from numba import float64, int64, typeof, void

    car = typeof(HeatCar(*[0.0] * len(HeatCar._fields)))
    return compile_together([coolant_share, warm], void(float64[:, ::1], int64, int64, float64[::1], car))
