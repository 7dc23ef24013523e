"""The charge temperature probe: how it lags and what its boss adds. Steps and noise of the reading: the kernel."""

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
