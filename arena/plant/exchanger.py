"""Conductances of core and front exchanger, and what their cells settle to. C = m cp in W/K, NTU = hA / C."""

from __future__ import annotations

import numpy as np

from arena.plant.values import Out, Value, out, require


def air_ntu(ha_ref_w_k: Value, ref_kg_s: Value, exponent: Value, flow_kg_s: Value, cp_j_kg_k: Value) -> Out:
    """Air-side NTU at a flow: hA_ref (m / m_ref)^exponent / (m cp); infinite for still air.

    ha_ref_w_k W/K at ref_kg_s; flows kg/s >= 0; exponent below 1.
    """
    flow = require("flow_kg_s", flow_kg_s, 0.0)
    ref = require("ref_kg_s", ref_kg_s, 0.0, above=True)
    power = require("exponent", exponent, 0.0, 1.0)
    with np.errstate(divide="ignore"):
        return out(
            np.where(flow > 0.0, np.asarray(ha_ref_w_k) / (ref * cp_j_kg_k) * (flow / ref) ** (power - 1.0), np.inf)
        )


def flow_conductance(ha_ref_w_k: Value, ref_m3_s: Value, exponent: Value, still_w_k: Value, flow_m3_s: Value) -> Out:
    """Coolant-side hA in W/K: hA_ref (Q / Q_ref)^exponent, never below the still-coolant floor."""
    flow = require("flow_m3_s", flow_m3_s, 0.0)
    return out(np.maximum(still_w_k, np.asarray(ha_ref_w_k) * (flow / np.asarray(ref_m3_s)) ** np.asarray(exponent)))


def cell_model_conductance(air_w_k: Value, ha_air_w_k: Value, ha_coolant_w_k: Value) -> Out:
    """Steady W/K from entering air to coolant in the cell model: 1 / (1/(C_air (1 - exp(-hA/C_air))) + 1/hA_coolant).

    The metal of a cell is one temperature along the air's way, so this is a little less than a textbook core with the
    same two hA gives, C_air (1 - exp(-UA/C_air)) with 1/UA = 1/hA_air + 1/hA_coolant.
    """
    air = require("air_w_k", air_w_k, 0.0, above=True)
    grip = air * -np.expm1(-require("ha_air_w_k", ha_air_w_k, 0.0, above=True) / air)
    return out(1.0 / (1.0 / grip + 1.0 / require("ha_coolant_w_k", ha_coolant_w_k, 0.0, above=True)))


def cell_model_effectiveness(air_w_k: Value, coolant_w_k: Value, ha_air_w_k: Value, ha_coolant_w_k: Value) -> Out:
    """Steady effectiveness, q / (C_min dT), of cells along the coolant, all crossed by the same air.

    With the exponential profile inside each it is the same for any number of cells: the textbook single-pass crossflow
    with coolant mixed across its passage and air unmixed (Kays and London, Compact Heat Exchangers), at the air-side
    NTU -ln(1 - K / C_air) of `cell_model_conductance` K. Checked against the library `ht`. C in W/K, both above 0
    (still coolant passes no steady heat, so it has no steady effectiveness on this side).
    """
    air = require("air_w_k", air_w_k, 0.0, above=True)
    coolant = require("coolant_w_k", coolant_w_k, 0.0, above=True)
    share = -np.expm1(-cell_model_conductance(air_w_k, ha_air_w_k, ha_coolant_w_k) / coolant)
    return out(share * coolant / np.minimum(air, coolant))
