"""Steady heat exchangers: textbook effectiveness, the liquid-coupled pair, and what the plant's cells settle to.

Symbols: NTU = UA / C_min, capacity ratio = C_min / C_max (0 when one side stands still or boils), C = m cp in W/K.
"""

from __future__ import annotations

from typing import Literal, NamedTuple

import numpy as np
from numpy.typing import NDArray

from arena.errors import BadInput
from arena.plant.values import Out, Value, out, require

Profile = Literal["mixed", "box", "exact"]


class LiquidCoupledPair(NamedTuple):
    """Steady state of two exchangers joined by a coolant loop; W and K."""

    heat_w: Out
    coolant_cold_k: Out  # into the hot-side exchanger
    coolant_hot_k: Out  # out of it
    hot_out_k: Out
    cold_out_k: Out


def effectiveness(ntu: Value, capacity_ratio: Value, arrangement: str) -> Out:
    """Effectiveness q / (C_min (T_hot,in - T_cold,in)) of an exchanger, dimensionless, floats or arrays.

    Arrangements: `counterflow`, `parallel`, `crossflow-unmixed` (both, exact series), `crossflow-cmax-mixed`,
    `crossflow-cmin-mixed`, `crossflow-mixed` (both; falls again at high NTU), `shell-and-tube` (one shell, 2n tubes).
    Valid for ntu >= 0 and 0 <= capacity_ratio <= 1; ratio 0 (pump off) returns 1 - exp(-ntu). BadInput otherwise.
    Source: Kays and London, Compact Heat Exchangers; checked against the library `ht`.
    """
    form = _FORMS.get(arrangement)
    if form is None:
        raise BadInput(f"arrangement {arrangement!r} is unknown", f"use one of {', '.join(_FORMS)}")
    n, c = np.broadcast_arrays(require("ntu", ntu, 0.0), require("capacity_ratio", capacity_ratio, 0.0, 1.0))
    value = -np.expm1(-n)
    work = (n > 0.0) & (n * c > 1e-14) & (c > 1e-12)  # below this the limit is exact to rounding
    if work.any():
        value = np.array(value)
        value[work] = form(n[work], c[work])
    return out(np.clip(value, 0.0, 1.0))


def ntu_for(effectiveness_wanted: Value, capacity_ratio: Value, arrangement: str) -> Out:
    """The NTU that gives an effectiveness (inverse of `effectiveness`), dimensionless; floats or arrays.

    Where the effectiveness falls again at high NTU (`crossflow-mixed`) the smaller NTU is given.
    Raises BadInput when no NTU reaches the effectiveness asked for.
    """
    wanted, ratio = np.broadcast_arrays(
        require("effectiveness", effectiveness_wanted, 0.0, 1.0), require("capacity_ratio", capacity_ratio, 0.0, 1.0)
    )
    found = [_one_ntu(float(e), float(c), arrangement) for e, c in zip(wanted.flat, ratio.flat, strict=True)]
    return out(np.reshape(found, wanted.shape))


def liquid_coupled_pair(
    e1: Value, c1: Value, t_hot: Value, e2: Value, c2: Value, t_cold: Value, c_coolant: Value
) -> LiquidCoupledPair:
    """Two exchangers and the coolant between them at steady state, nothing lost on the way.

    1/K = 1/(e1 min(C1, CL)) + 1/(e2 min(C2, CL)) - 1/CL,  q = K (t_hot - t_cold).
    e1, c1, t_hot: the charge cooler (effectiveness, gas W/K, gas inlet K); e2, c2, t_cold: the front exchanger and
    outside air; c_coolant: W/K of coolant, 0 allowed (no heat passes). Source: Kays and London, liquid-coupled pair.
    """
    c_gas, cl = require("c1", c1, 0.0, above=True), require("c_coolant", c_coolant, 0.0)
    c_air = require("c2", c2, 0.0, above=True)
    th, tc = require("t_hot", t_hot), require("t_cold", t_cold)
    a1 = require("e1", e1, 0.0, 1.0, above=True) * _share(c_gas, cl)  # heat per kelvin and per unit of coolant capacity
    a2 = require("e2", e2, 0.0, 1.0, above=True) * _share(c_air, cl)
    k_per_cl = 1.0 / (1.0 / a1 + 1.0 / a2 - 1.0)
    drop = k_per_cl * (th - tc)  # = q / CL
    heat = drop * cl
    cold = th - drop / a1
    return LiquidCoupledPair(out(heat), out(cold), out(cold + drop), out(th - heat / c_gas), out(tc + heat / c_air))


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


def cell_effectiveness(ntu_air: Value) -> Out:
    """Share of the way to the metal temperature the air goes while crossing a cell: 1 - exp(-NTU_air)."""
    return out(-np.expm1(-np.asarray(ntu_air, dtype=np.float64)))


def flow_conductance(ha_ref_w_k: Value, ref_m3_s: Value, exponent: Value, still_w_k: Value, flow_m3_s: Value) -> Out:
    """Coolant-side hA in W/K: hA_ref (Q / Q_ref)^exponent, never below the still-coolant floor."""
    flow = require("flow_m3_s", flow_m3_s, 0.0)
    return out(np.maximum(still_w_k, np.asarray(ha_ref_w_k) * (flow / np.asarray(ref_m3_s)) ** np.asarray(exponent)))


def cell_model_conductance(air_w_k: Value, ha_air_w_k: Value, ha_coolant_w_k: Value) -> Out:
    """Steady W/K from entering air to coolant in the cell model: 1 / (1/(C_air (1 - exp(-hA/C_air))) + 1/hA_coolant).

    The metal of a cell is one temperature along the air's way, so this is a little less than a textbook core with the
    same two hA gives, C_air (1 - exp(-UA/C_air)) with 1/UA = 1/hA_air + 1/hA_coolant: see `cell_model_ntu`.
    """
    air = require("air_w_k", air_w_k, 0.0, above=True)
    grip = air * -np.expm1(-require("ha_air_w_k", ha_air_w_k, 0.0, above=True) / air)
    return out(1.0 / (1.0 / grip + 1.0 / require("ha_coolant_w_k", ha_coolant_w_k, 0.0, above=True)))


def cell_model_ntu(air_w_k: Value, ha_air_w_k: Value, ha_coolant_w_k: Value) -> Out:
    """Air-side UA / C_air at which a textbook crossflow core (coolant mixed, air unmixed) equals the cell model.

    Equal to hA_air / C_air when the coolant side has no resistance, else a little under 1/(C_air (1/hA_air + 1/hA_w)).
    """
    share = cell_model_conductance(air_w_k, ha_air_w_k, ha_coolant_w_k) / np.asarray(air_w_k)
    return out(-np.log1p(-share))


def cell_model_effectiveness(
    air_w_k: Value,
    coolant_w_k: Value,
    ha_air_w_k: Value,
    ha_coolant_w_k: Value,
    cells: float = np.inf,
    profile: Profile = "exact",
) -> Out:
    """Steady effectiveness, q / (C_min dT), of `cells` cells along the coolant, all crossed by the same air.

    profile: coolant temperature inside a cell that the metal meets; `mixed` (outlet), `box` (mean of in and out) or
    `exact` (exponential; same for any number of cells). With endless cells all three are the textbook single-pass
    crossflow with coolant mixed across its passage and air unmixed, at the NTU of `cell_model_ntu`:
    `crossflow-cmax-mixed` where coolant is C_max, `crossflow-cmin-mixed` where it is C_min.
    C in W/K, both above 0 (still coolant passes no steady heat, so it has no steady effectiveness on this side).
    """
    air = require("air_w_k", air_w_k, 0.0, above=True)
    coolant = require("coolant_w_k", coolant_w_k, 0.0, above=True)
    if not cells >= 1.0:
        raise BadInput(f"cells is {cells:g}", "give one cell or more")
    ntu_coolant = cell_model_conductance(air_w_k, ha_air_w_k, ha_coolant_w_k) / coolant
    if profile == "exact" or np.isinf(cells):
        share = -np.expm1(-ntu_coolant)
    elif profile == "mixed":
        share = -np.expm1(-cells * np.log1p(ntu_coolant / cells))
    else:
        half = 0.5 * ntu_coolant / cells
        share = 1.0 - ((1.0 - half) / (1.0 + half)) ** cells
    return out(share * coolant / np.minimum(air, coolant))


def air_ha_for(
    effectiveness_rated: float,
    air_w_k: float,
    coolant_w_k: float,
    ha_coolant_w_k: float,
    cells: float = np.inf,
    profile: Profile = "exact",
) -> float:
    """Air-side hA in W/K that makes the cell model reach a rated effectiveness at rated flows.

    Raises BadInput when the coolant side as given cannot pass that much heat, whatever the air side.
    """
    from scipy.optimize import brentq

    wanted = float(require("effectiveness_rated", effectiveness_rated, 0.0, 1.0, above=True))

    def miss(ln_ha: float) -> float:
        return (
            float(cell_model_effectiveness(air_w_k, coolant_w_k, np.exp(ln_ha), ha_coolant_w_k, cells, profile))
            - wanted
        )

    low, high = np.log(air_w_k * 1e-6), np.log(air_w_k * 50.0)
    if miss(high) < 0.0:
        best = miss(high) + wanted
        raise BadInput(
            f"effectiveness {wanted:.3f} is out of reach: the coolant side allows {best:.3f} at the most",
            "give a lower effectiveness, more coolant flow or a better coolant side",
        )
    return float(np.exp(brentq(miss, low, high, xtol=1e-12)))


def _share(c: NDArray[np.float64], cl: NDArray[np.float64]) -> NDArray[np.float64]:
    """min(C, CL) / CL, 1 in the limit of no coolant flow."""
    safe = np.where(cl > 0.0, cl, 1.0)
    return np.where(cl > 0.0, np.minimum(c, cl) / safe, 1.0)


def _one_ntu(wanted: float, ratio: float, arrangement: str) -> float:
    from scipy.optimize import brentq, minimize_scalar

    if wanted == 0.0:
        effectiveness(0.0, ratio, arrangement)  # refuses an unknown arrangement
        return 0.0
    high = 1e4
    if arrangement == "crossflow-mixed":
        top = minimize_scalar(
            lambda x: -float(effectiveness(np.exp(x), ratio, arrangement)),
            bounds=(-5.0, np.log(high)),
            method="bounded",
        )
        high = float(np.exp(top.x))
    reach = float(effectiveness(high, ratio, arrangement))
    if reach < wanted or wanted >= 1.0:
        raise BadInput(
            f"effectiveness {wanted:.4f} is out of reach: {arrangement} at capacity ratio {ratio:g} "
            f"allows {reach:.4f} at the most",
            "give a lower effectiveness or another arrangement",
        )
    return float(
        brentq(lambda n: float(effectiveness(n, ratio, arrangement)) - wanted, 0.0, high, xtol=1e-13, rtol=1e-14)
    )


def _counterflow(n: NDArray[np.float64], c: NDArray[np.float64]) -> NDArray[np.float64]:
    d = 1.0 - c
    x = -np.expm1(-n * d)
    equal = d < 1e-9
    return np.where(equal, n / (1.0 + n), x / np.where(equal, 1.0, d + c * x))


def _parallel(n: NDArray[np.float64], c: NDArray[np.float64]) -> NDArray[np.float64]:
    return -np.expm1(-n * (1.0 + c)) / (1.0 + c)


def _cmax_mixed(n: NDArray[np.float64], c: NDArray[np.float64]) -> NDArray[np.float64]:
    return -np.expm1(c * np.expm1(-n)) / c


def _cmin_mixed(n: NDArray[np.float64], c: NDArray[np.float64]) -> NDArray[np.float64]:
    return -np.expm1(np.expm1(-c * n) / c)


def _both_mixed(n: NDArray[np.float64], c: NDArray[np.float64]) -> NDArray[np.float64]:
    return np.where(
        n < 1e-4, n * (1.0 - 0.5 * n * (1.0 + c)), 1.0 / (-1.0 / np.expm1(-n) - c / np.expm1(-c * n) - 1.0 / n)
    )


def _shell_and_tube(n: NDArray[np.float64], c: NDArray[np.float64]) -> NDArray[np.float64]:
    root = np.sqrt(1.0 + c * c)
    gone = -np.expm1(-n * root)
    return 2.0 * gone / ((1.0 + c) * gone + root * (2.0 - gone))


def _both_unmixed(n: NDArray[np.float64], c: NDArray[np.float64]) -> NDArray[np.float64]:
    return np.array([_unmixed_series(float(a), float(b)) for a, b in zip(n, c, strict=True)])


def _unmixed_series(n: float, c: float) -> float:
    """Exact series sum_k P(k+1, n) P(k+1, c n) / (c n), P the regularised gamma function; leading ones are counted."""
    from scipy.special import gammainc

    x = c * n
    spread = 10.0 * np.sqrt(x) + 50.0
    first = max(0, int(x - spread))
    k = np.arange(first + 1, int(x + spread) + 2, dtype=np.float64)
    return float((first + np.sum(gammainc(k, n) * gammainc(k, x))) / x)


_FORMS = {
    "counterflow": _counterflow,
    "crossflow-unmixed": _both_unmixed,
    "crossflow-cmax-mixed": _cmax_mixed,
    "crossflow-cmin-mixed": _cmin_mixed,
    "crossflow-mixed": _both_mixed,
    "parallel": _parallel,
    "shell-and-tube": _shell_and_tube,
}
