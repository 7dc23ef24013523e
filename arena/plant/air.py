"""Air: standard atmosphere, moisture, what the charger does to it, and what its temperature is worth.

Temperatures in K, pressures in Pa absolute, mass flows in kg/s. Everything takes floats or arrays.
"""

from __future__ import annotations

import numpy as np

from arena.plant.values import Out, Value, out, require

GAS_CONSTANT = 287.055  # J/(kg K), dry air
VAPOUR_GAS_CONSTANT = 461.52  # J/(kg K)
GAMMA = 1.4


def charger_outlet_k(inlet_k: Value, pressure_ratio: Value, efficiency: Value) -> Out:
    """Compressor outlet temperature in K: T1 (1 + (PR^((g-1)/g) - 1) / eta), g = 1.4.

    Against real-gas values for inlets of -20 to 45 degC and pressure ratios 1.1 to 2.5: -0.04 to +1.05 K at efficiency
    0.7, up to +2.25 K at 0.5; within 1.2 % of the rise throughout. A ratio below one leaves the air as it came (a
    freewheeling charger; its slight expansion cooling is left out). efficiency: isentropic, above 0 up to 1.
    """
    t1 = require("inlet_k", inlet_k, 0.0, above=True)
    ratio = np.maximum(require("pressure_ratio", pressure_ratio, 0.0, above=True), 1.0)
    eta = require("efficiency", efficiency, 0.0, 1.0, above=True)
    return out(t1 * (1.0 + np.expm1((GAMMA - 1.0) / GAMMA * np.log(ratio)) / eta))


def charger_efficiency(
    pressure_ratio: Value, efficiency: Value, low_ratio_efficiency: Value, blend_to: float = 1.2
) -> Out:
    """Isentropic efficiency: the low-ratio value at PR 1, the full one from PR `blend_to`, linear between. Assumed."""
    share = np.clip((require("pressure_ratio", pressure_ratio, 0.0) - 1.0) / (blend_to - 1.0), 0.0, 1.0)
    return out(np.asarray(low_ratio_efficiency) + share * (np.asarray(efficiency) - low_ratio_efficiency))


def heated_along_wall_k(inlet_k: Value, wall_k: Value, ua_w_k: Value, flow_kg_s: Value, cp_j_kg_k: Value) -> Out:
    """Air run along a wall of one temperature: T_wall + (T_in - T_wall) exp(-UA / (m cp)); still air takes T_wall.

    Used for the charger's hot side (UA (T_turbine - T2) / (m cp) in the limit of much flow) and for pipes.
    """
    flow = require("flow_kg_s", flow_kg_s, 0.0)
    with np.errstate(divide="ignore", invalid="ignore", over="ignore"):
        left = np.where(
            flow > 0.0, np.exp(-np.asarray(ua_w_k) / (flow * cp_j_kg_k)), np.where(np.asarray(ua_w_k) > 0, 0.0, 1.0)
        )
    return out(np.asarray(wall_k) + (np.asarray(inlet_k) - wall_k) * left)


def heat_capacity(temperature_k: Value) -> Out:
    """cp of dry air in J/(kg K): fit to real-gas values at 101 kPa, within 0.02 from -45 to 300 degC.

    0.2 % low at 250 kPa. Outside the range the nearest end is taken.
    """
    t = np.clip(require("temperature_k", temperature_k, 0.0) - 273.15, -45.0, 300.0)
    return out(1005.6883 + t * (1.46777908e-2 + t * (3.88201075e-4 + t * (2.97941948e-7 - t * 9.84631760e-10))))


def density(pressure_pa: Value, temperature_k: Value, vapour_pa: Value = 0.0) -> Out:
    """Density of moist air in kg/m3 as a mixture of ideal gases."""
    p, pv = require("pressure_pa", pressure_pa, 0.0), require("vapour_pa", vapour_pa, 0.0)
    t = require("temperature_k", temperature_k, 0.0, above=True)
    return out((p - pv) / (GAS_CONSTANT * t) + pv / (VAPOUR_GAS_CONSTANT * t))


def standard_pressure_pa(altitude_m: Value) -> Out:
    """Pressure of the standard atmosphere in Pa at a geometric altitude, -2000 to 11000 m (ISO 2533)."""
    return out(101325.0 * (1.0 - 0.0065 / 288.15 * _geopotential(altitude_m)) ** 5.255880)


def saturation_pressure_pa(temperature_k: Value) -> Out:
    """Saturation pressure of water vapour in Pa, over ice below 0.01 degC, -100 to 200 degC.

    Hyland and Wexler (1983) as given in the ASHRAE Handbook of Fundamentals.
    """
    t = require("temperature_k", temperature_k, 173.15, 473.15)
    ice = -5.6745359e3 / t + 6.3925247 + t * (-9.677843e-3 + t * (6.2215701e-7 + t * (2.0747825e-9 - t * 9.484024e-13)))
    water = -5.8002206e3 / t + 1.3914993 + t * (-4.8640239e-2 + t * (4.1764768e-5 - t * 1.4452093e-8))
    log = np.log(t)
    return out(np.exp(np.where(t <= 273.16, ice + 4.1635019 * log, water + 6.5459673 * log)))


def saturation_temperature_k(pressure_pa: Value) -> Out:
    """Temperature in K at which water vapour of a pressure condenses (inverse of `saturation_pressure_pa`).

    For 0.01 Pa to 1.5 MPa; raises BadInput outside.
    """
    wanted = np.log(require("pressure_pa", pressure_pa, 0.01, 1.5e6))
    low, high = np.full(wanted.shape, 173.15), np.full(wanted.shape, 473.15)
    for _ in range(55):
        middle = 0.5 * (low + high)
        over = np.log(saturation_pressure_pa(middle)) > wanted
        low, high = np.where(over, low, middle), np.where(over, middle, high)
    return out(0.5 * (low + high))


def vapour_pressure_pa(temperature_k: Value, relative_humidity: Value) -> Out:
    """Vapour pressure in Pa from temperature and relative humidity (0 to 1)."""
    return out(require("relative_humidity", relative_humidity, 0.0, 1.0) * saturation_pressure_pa(temperature_k))


def dew_point_k(vapour_pa: Value) -> Out:
    """Dew point (frost point below 0 degC) in K of air with a vapour pressure; dry air gives 173.15 K."""
    pv = require("vapour_pa", vapour_pa, 0.0)
    return saturation_temperature_k(out(np.maximum(pv, 0.01)))


def _geopotential(altitude_m: Value) -> Out:
    z = require("altitude_m", altitude_m, -2000.0, 11000.0)
    return 6356766.0 * z / (6356766.0 + z)
