"""The charge temperature probe: how it lags, what its boss adds, and what the engine computer's input makes of it.

Also lags and thermistor formulas that logs and fits need.
"""

from __future__ import annotations

import numpy as np

from arena.plant.values import Out, Value, out, require

IDLE_KG_S = 0.005  # air flow at which a car file's boss share is understood
LEAST_KG_S = 0.001  # below this the lag is that of still air: free convection, assumed


def update_factor(step_s: Value, tau_s: Value) -> Out:
    """Exact share of a first-order lag's way gone in a step of constant input: 1 - exp(-step / tau); tau 0 gives 1."""
    step, tau = require("step_s", step_s, 0.0), require("tau_s", tau_s, 0.0)
    with np.errstate(divide="ignore", invalid="ignore"):
        return out(np.where(tau > 0.0, -np.expm1(-step / tau), 1.0))


def lag_s(tau_s: Value, tau_ref_kg_s: Value, flow_kg_s: Value) -> Out:
    """Time constant of the probe in an air flow: tau_ref (m_ref / m)^0.5, no longer than at 1 g/s.

    The exponent is that of heat passed to a small cylinder across a flow (handbook range 0.4 to 0.6, from memory).
    """
    flow = np.maximum(require("flow_kg_s", flow_kg_s, 0.0), LEAST_KG_S)
    return out(np.asarray(tau_s) * np.sqrt(require("tau_ref_kg_s", tau_ref_kg_s, 0.0, above=True) / flow))


def boss_share(share_at_idle: Value, flow_kg_s: Value) -> Out:
    """Share of boss temperature in the reading, given the share at idle (5 g/s): s / (s + (1 - s) m / m_idle).

    Fades as 1 / flow when small; with no flow the probe reads its boss.
    """
    idle = require("share_at_idle", share_at_idle, 0.0, 0.999)
    flow = require("flow_kg_s", flow_kg_s, 0.0) / IDLE_KG_S
    return out(np.where(idle > 0.0, idle / np.where(idle > 0.0, idle + (1.0 - idle) * flow, 1.0), 0.0))


def steady_reading_k(air_k: Value, boss_k: Value, share: Value) -> Out:
    """What the probe settles to between air and boss, in K."""
    return out(np.asarray(air_k) + np.asarray(share) * (np.asarray(boss_k) - air_k))


def digitised_k(value_k: Value, noise_k: Value, step_k: float) -> Out:
    """The reading as the engine computer has it: noise added, then the nearest step of `step_k` degC; 0 is no steps.

    noise_k: drawn by the caller, so that the same seed gives the same reading.
    """
    noisy = np.asarray(value_k, dtype=np.float64) + noise_k
    if float(require("step_k", step_k, 0.0)) == 0.0:
        return out(noisy)
    return out(273.15 + step_k * np.floor((noisy - 273.15) / step_k + 0.5))


def steinhart_hart_k(resistance_ohm: Value, a: float, b: float, c: float) -> Out:
    """Thermistor temperature in K: 1 / (A + B ln R + C (ln R)^3), R in ohm."""
    log = np.log(require("resistance_ohm", resistance_ohm, 0.0, above=True))
    return out(1.0 / (a + log * (b + c * log**2)))


def thermistor_ohm(temperature_k: Value, a: float, b: float, c: float) -> Out:
    """Resistance in ohm at a temperature (inverse of `steinhart_hart_k`, closed form); c above 0."""
    x = (a - 1.0 / require("temperature_k", temperature_k, 0.0, above=True)) / float(require("c", c, 0.0, above=True))
    y = np.sqrt((b / (3.0 * c)) ** 3 + 0.25 * x**2)
    return out(np.exp(np.cbrt(y - 0.5 * x) - np.cbrt(y + 0.5 * x)))


def thermistor_beta_ohm(temperature_k: Value, ohm_at_25c: float, beta_k: float) -> Out:
    """Resistance by the one-constant law R25 exp(beta (1/T - 1/298.15)); up to about 1 K wrong away from its points."""
    return out(
        ohm_at_25c * np.exp(beta_k * (1.0 / require("temperature_k", temperature_k, 0.0, above=True) - 1 / 298.15))
    )


def divider_v(resistance_ohm: Value, pull_up_ohm: Value, supply_v: Value = 5.0) -> Out:
    """Voltage over a thermistor to ground under a pull-up resistor."""
    probe = require("resistance_ohm", resistance_ohm, 0.0)
    return out(np.asarray(supply_v) * probe / (probe + require("pull_up_ohm", pull_up_ohm, 0.0, above=True)))
