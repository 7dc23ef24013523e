"""The coolant loop's hydraulics: pump curves by the affinity laws, hose friction, system curve, operating points.

Pressures in Pa, flows in m3/s, but for `operating_point`, which takes the trade's metres and litres per minute.
Left out: what viscosity does to the pump's own curve, and the inertia of the coolant.
"""

from __future__ import annotations

from collections.abc import Callable
from typing import NamedTuple

import numpy as np
from numpy.typing import NDArray

from arena.errors import BadInput
from arena.plant.fluids import CoolantTable
from arena.plant.numbers import Loop, Pump
from arena.plant.values import Out, Value, falling_root, out, require

Array = NDArray[np.float64]

REFERENCE_K = 313.15  # the pump and system curves of a car are understood at this coolant temperature
HOSE_ROUGHNESS_M = 1.5e-6  # drawn tube and smooth rubber, handbook figure from memory
LAMINAR_SHARE = 0.25  # of the loss outside the hoses, at the reference flow and temperature; assumed
BEST_FLOW_SHARE = 0.6  # flow of best hydraulic efficiency over free flow; assumed
MOST_HOSE_SHARE = 0.6  # of the whole loss; more than this and the curve given does not fit the hoses given
_LAMINAR_TO, _TURBULENT_FROM = 2040.0, 4000.0


class OperatingPoint(NamedTuple):
    """Where pump and system meet."""

    flow_l_min: Out
    head_m: Out


class FlowTable(NamedTuple):
    """Steady flow over pump speed and coolant temperature; the last three are [speed, temperature]."""

    speed_ratio: Array
    temperature_k: Array
    flow_m3_s: Array
    head_pa: Array
    torque_nm: Array  # hydraulic only, without the motor's friction


def operating_point(
    head_m: Callable[[float], float], system_m: Callable[[float], float], speed_ratio: Value
) -> OperatingPoint:
    """Flow (L/min) and head (m) where pump and system curves meet, at speed_ratio of the rated speed (float or array).

    head_m, system_m: metres at a flow in L/min, the pump's at rated speed; the pump's is carried to other speeds by
    the affinity laws H(Q, n) = n^2 H(Q / n). A pump that cannot lift what the system asks at no flow gives 0 flow and
    its own shut-off head. Raises BadInput if the curves never meet. Curves with one crossing are assumed.
    """
    ratios = require("speed_ratio", speed_ratio, 0.0)
    found = np.array([_one_point(head_m, system_m, float(n)) for n in ratios.flat], dtype=np.float64).reshape(-1, 2)
    return OperatingPoint(out(found[:, 0].reshape(ratios.shape)), out(found[:, 1].reshape(ratios.shape)))


def reynolds(flow_m3_s: Value, bore_m: Value, density_kg_m3: Value, viscosity_pa_s: Value) -> Out:
    """Reynolds number of a flow in a round bore: 4 rho Q / (pi d mu)."""
    bore = require("bore_m", bore_m, 0.0, above=True)
    return out(4.0 * np.asarray(density_kg_m3) * flow_m3_s / (np.pi * bore * viscosity_pa_s))


def friction_factor(reynolds_number: Value, relative_roughness: Value = 0.0) -> Out:
    """Darcy friction factor: 64/Re up to Re 2040, Colebrook from Re 4000, a smooth blend between.

    The blend is ours: a step at Re 2040 (factor 1.57) would give loops two operating points. Pressure drop rises with
    flow everywhere. Re above 0; relative roughness (height over bore) 0 to 0.05.
    """
    re = require("reynolds_number", reynolds_number, 0.0, above=True)
    rough = require("relative_roughness", relative_roughness, 0.0, 0.05)
    t = np.clip(np.log(re / _LAMINAR_TO) / np.log(_TURBULENT_FROM / _LAMINAR_TO), 0.0, 1.0)
    turbulent = t * t * (3.0 - 2.0 * t)
    return out((1.0 - turbulent) * 64.0 / re + turbulent * _colebrook(np.maximum(re, 500.0), rough))


def hose_pressure_drop_pa(
    flow_m3_s: Value,
    bore_m: Value,
    length_m: Value,
    density_kg_m3: Value,
    viscosity_pa_s: Value,
    roughness_m: Value = HOSE_ROUGHNESS_M,
) -> Out:
    """Friction loss in Pa of a straight round hose (Darcy-Weisbach), flow m3/s >= 0."""
    flow, bore = require("flow_m3_s", flow_m3_s, 0.0), require("bore_m", bore_m, 0.0, above=True)
    length, density = require("length_m", length_m, 0.0), require("density_kg_m3", density_kg_m3, 0.0, above=True)
    viscosity = require("viscosity_pa_s", viscosity_pa_s, 0.0, above=True)
    re = np.maximum(reynolds(flow, bore, density, viscosity), 1e-9)
    velocity = flow / (0.25 * np.pi * bore**2)
    friction = friction_factor(re, np.asarray(roughness_m) / bore)
    return out(np.where(flow > 0.0, friction * length / bore * 0.5 * density * velocity**2, 0.0))


def pump_head_pa(pump: Pump) -> Callable[[Value], Out]:
    """The pump's head in Pa at rated speed over flow in m3/s, wear (`head_factor`) included.

    Monotone cubic (PCHIP) through the points given; beyond the last point its last slope goes on, below 0 too, which
    is where a flow from outside would have to push the pump. Raises BadInput for points no pump can have.
    """
    curve = _rated_head(pump)
    return lambda flow: out(pump.head_factor * curve(flow))


def pump_torque_nm(pump: Pump) -> Callable[[Value], Out]:
    """Hydraulic torque in N m at rated speed over flow in m3/s: dp Q / (eta w), not counting wear.

    eta = eta_peak x (2 - x), x = Q / Q_best, Q_best = 0.6 of free flow: a parabola that peaks at Q_best and is 0 at no
    flow, where dp Q / eta stays finite, so that a closed valve still costs torque. Torque never falls with flow (held
    at its highest beyond, where the parabola would say that free flow costs nothing). At speed ratio n: n^2 T(Q / n).
    """
    curve = _rated_head(pump)
    free = _free_flow(pump)
    best = BEST_FLOW_SHARE * free
    grid = np.linspace(0.0, free, 401)
    watts = np.maximum(curve(grid), 0.0) * best / (pump.peak_hydraulic_efficiency * (2.0 - grid / best))
    torque = np.maximum.accumulate(watts / pump.rated_rad_s)
    return lambda flow: out(np.interp(np.asarray(flow, dtype=np.float64), grid, torque))


def system_pressure_pa(pump: Pump, loop: Loop, coolant: CoolantTable) -> Callable[[Value, Value], Out]:
    """Loss round the loop in Pa over flow (m3/s) and coolant temperature (K), broadcast together.

    At 40 degC it is the curve of the car, system_pa (Q / Q_ref)^m, with the coolant of the car. The hoses' straight
    friction is worked out from bore and length and follows viscosity by itself. Of the rest (exchangers, fittings)
    a quarter at the reference flow is taken as laminar passages, in proportion to viscosity and flow, and what remains
    as inertial, in proportion to density; the laminar share grows as flow falls. The split is assumed, no source.
    """
    reference = coolant.at(REFERENCE_K)

    def hose(flow: Array, density: Value, viscosity: Value) -> Array:
        drop = hose_pressure_drop_pa(flow, loop.hose_bore_m, loop.hose_total_m, density, viscosity)
        return np.asarray(drop, dtype=np.float64)

    def loss(flow_m3_s: Value, temperature_k: Value) -> Out:
        flow = require("flow_m3_s", flow_m3_s, 0.0)
        now = coolant.at(temperature_k)
        x = flow / pump.system_ref_m3_s
        whole = pump.system_pa * x**pump.system_exponent
        at_reference = hose(np.maximum(flow, 1e-12), reference.density, reference.viscosity)
        of_hose = np.minimum(at_reference, MOST_HOSE_SHARE * whole)
        part = of_hose / np.where(whole > 0.0, at_reference, 1.0)
        laminar = LAMINAR_SHARE / (LAMINAR_SHARE + (1.0 - LAMINAR_SHARE) * x)
        change = laminar * now.viscosity / reference.viscosity + (1.0 - laminar) * now.density / reference.density
        return out((whole - of_hose) * change + part * hose(flow, now.density, now.viscosity))

    return loss


def build_flow_table(
    pump: Pump, loop: Loop, coolant: CoolantTable, speed_ratios: Array, temperatures_k: Array
) -> FlowTable:
    """Operating points of pump and loop over speed ratio (of rated) and coolant temperature.

    Head and torque by the affinity laws, pressure in proportion to density. All points at once, to a 1e15th of the
    free flow; at speed 0 nothing flows. Arrays of the result are [speed, temperature].
    """
    n = require("speed_ratios", speed_ratios, 0.0)[:, None]
    t = require("temperatures_k", temperatures_k, 0.0, above=True)[None, :]
    head, torque, system = pump_head_pa(pump), pump_torque_nm(pump), system_pressure_pa(pump, loop, coolant)
    thicker = coolant.at(t).density / coolant.at(REFERENCE_K).density
    running = n > 0.0
    safe = np.where(running, n, 1.0)
    free = _free_flow(pump)

    def spare(flow: Array) -> Array:
        return np.asarray(n**2 * thicker * head(flow / safe) - system(flow, t))

    flow = np.where(running, falling_root(spare, n * free + 0.0 * t, 1e-15 * free), 0.0)
    lift = n**2 * thicker * head(flow / safe)
    return FlowTable(n[:, 0], t[0], flow, lift, n**2 * thicker * torque(flow / safe))


def _one_point(head_m: Callable[[float], float], system_m: Callable[[float], float], n: float) -> tuple[float, float]:
    from scipy.optimize import brentq

    if n == 0.0:
        return 0.0, 0.0

    def surplus(flow: float) -> float:
        return float(n**2 * head_m(flow / n) - system_m(flow))

    at_rest = surplus(0.0)
    if not np.isfinite(at_rest):
        raise BadInput("pump or system curve is not a number at no flow", "give curves that hold from 0 L/min up")
    if at_rest <= 0.0:
        return 0.0, float(n**2 * head_m(0.0))
    high = 1.0
    while not surplus(high) < 0.0:
        high *= 2.0
        if high > 1e7 or not np.isfinite(surplus(high)):
            raise BadInput(
                f"pump and system curves do not meet up to {high:g} L/min at speed ratio {n:g}",
                "give a pump curve that falls and a system curve that rises",
            )
    flow = float(brentq(surplus, 0.0, high, xtol=1e-12, rtol=1e-14))
    return flow, float(n**2 * head_m(flow / n))


def _colebrook(re: Array, rough: Array) -> Array:
    """Colebrook's equation solved for 1/sqrt(f): Haaland's formula, within 2 %, then Newton steps (to rounding)."""
    a, b = rough / 3.7, 2.51 / re
    x = -1.8 * np.log10(a**1.11 + 6.9 / re)
    for _ in range(3):
        inner = a + b * x
        x = x - (x + 2.0 * np.log10(inner)) / (1.0 + 2.0 * b / (inner * np.log(10.0)))
    return np.asarray(x**-2.0)


def _rated_head(pump: Pump) -> Callable[[Value], Array]:
    from scipy.interpolate import PchipInterpolator

    flow, head = np.array(pump.head_flow_m3_s, dtype=np.float64), np.array(pump.head_pa, dtype=np.float64)
    faults = []
    if flow.size != head.size or flow.size < 2:
        faults.append(f"pump curve has {flow.size} flows and {head.size} heads")
    elif not (np.isfinite(flow).all() and np.isfinite(head).all()):
        faults.append("pump curve holds a value that is not a number")
    else:
        if flow[0] != 0.0 or (np.diff(flow) <= 0.0).any():
            faults.append("pump curve's flows must start at 0 and increase")
        if head[0] <= 0.0 or (head < 0.0).any() or (np.diff(head) > 0.0).any() or head[-1] >= head[-2]:
            faults.append("pump curve's heads must start above 0, never rise, and fall at the end")
    if faults:
        raise BadInput(faults, "give two points or more of flow and head at rated speed, head falling with flow")
    curve = PchipInterpolator(flow, head)
    slope = (head[-1] - head[-2]) / (flow[-1] - flow[-2])

    def at(q: Value) -> Array:
        inside = np.clip(np.asarray(q, dtype=np.float64), 0.0, flow[-1])
        return np.asarray(curve(inside) + slope * np.maximum(np.asarray(q) - flow[-1], 0.0), dtype=np.float64)

    return at


def _free_flow(pump: Pump) -> float:
    """Flow in m3/s at which the rated curve has no head left."""
    flow, head = pump.head_flow_m3_s, pump.head_pa
    for before, after, h in zip(flow, flow[1:], head[1:], strict=False):
        if h <= 0.0:
            return after if after > before else before
    return flow[-1] + head[-1] * (flow[-1] - flow[-2]) / (head[-2] - head[-1])
