"""The several ways of saying the same thing in a car file, turned into the numbers the physics needs.

An engine by power, boost or pressure, a loop by its fill; exchangers and pump stand in their own files. Two ways for
one thing are refused. The scalings are rules of thumb from memory, no published source; each number says what it was
estimated from.
"""

from __future__ import annotations

import math
from typing import Final

import numpy as np
from pydantic import BaseModel

from arena.plant.numbers import CarNumbers
from arena.scenario.car_found import Found, given_by, one_way
from arena.scenario.car_keys import SECTIONS, CarFile, extra_of
from arena.scenario.exchanger_ways import core, front
from arena.scenario.pump_ways import pump

__all__ = ["Found", "work_out"]

INLET_PA: Final = 101325.0
PROBE_TAU_S: Final = {"open": 4.0, "closed": 15.0}


def work_out(file: CarFile, base: CarNumbers) -> Found:
    """Every number the file gives or lets be estimated, over a base car. Faults are collected, not raised."""
    found = Found()
    for section in SECTIONS:
        _plain(found, section, getattr(file, section))
    for step in (_engine, _mixture, core, front, _loop, pump, _probe, _control):
        step(found, file, base)
    _snap(found, base)
    return found


def _snap(found: Found, base: CarNumbers) -> None:
    """A number that differs from the base car's by rounding alone becomes the base car's."""
    for section, values in found.values.items():
        for number, value in values.items():
            before = getattr(getattr(base, section), number)
            if isinstance(value, float) and math.isclose(value, before, rel_tol=1e-12):
                values[number] = before
            elif isinstance(value, tuple) and np.shape(value) == np.shape(before):
                values[number] = before if np.allclose(value, before, rtol=1e-12, atol=0.0) else value


def _plain(found: Found, section: str, table: BaseModel) -> None:
    """Keys that set one number each."""
    for key in type(table).model_fields:
        value, extra = getattr(table, key), extra_of(section, key)
        if value is None or "to" not in extra:
            continue
        if extra["factor"] is not None and not isinstance(value, int):
            value = float(value) * float(extra["factor"]) + float(extra.get("offset") or 0.0)
        found.put(section, str(extra["to"]), value)


def _engine(found: Found, file: CarFile, base: CarNumbers) -> None:
    e, b = file.engine, base.engine
    way = one_way(
        found, "engine", e, {"boost": ("boost_kpa",), "map": ("map_max_kpa",)}, "the highest manifold pressure"
    )
    if way == "boost":
        found.put("engine", "map_max_pa", INLET_PA + 1e3 * float(e.boost_kpa or 0.0), "given")
    if e.kind is not None:
        found.put("engine", "supercharged", e.kind == "supercharger")
        if e.kind == "supercharger":
            _supercharger(found)
    if e.kmh_per_1000rpm is not None:
        if list(e.kmh_per_1000rpm) != sorted(set(e.kmh_per_1000rpm)):
            found.faults.append(
                (("engine", "kmh_per_1000rpm"), f"must increase from gear to gear (given {list(e.kmh_per_1000rpm)})")
            )
        found.put("engine", "gear_m_s_per_rpm", tuple(v / 3600.0 for v in e.kmh_per_1000rpm))
    specific = b.peak_power_w / (b.displacement_m3 * b.map_max_pa)  # power goes with displacement and pressure
    power, swept, pressure = (found.has(f"engine.{name}") for name in ("peak_power_w", "displacement_m3", "map_max_pa"))
    kw, vd, p = (float(found.get(base, "engine", name)) for name in ("peak_power_w", "displacement_m3", "map_max_pa"))
    if power and not swept:
        found.put(
            "engine",
            "displacement_m3",
            kw / (specific * p),
            given_by(e, "engine", "power_kw", "boost_kpa", "map_max_kpa"),
        )
    elif power and swept and not pressure:
        estimate = min(max(kw / (specific * vd), 1.2e5), 3.5e5)
        found.put("engine", "map_max_pa", estimate, "estimated from engine.power_kw and engine.displacement_l")
    elif not power and (swept or pressure):
        why = given_by(e, "engine", "displacement_l", "boost_kpa", "map_max_kpa")
        found.put("engine", "peak_power_w", specific * vd * p, why)
    if power or swept or pressure:
        flow = b.peak_air_flow_kg_s * float(found.get(base, "engine", "peak_power_w")) / b.peak_power_w
        keys = ("power_kw",) if power else ("displacement_l", "boost_kpa", "map_max_kpa")
        found.put("engine", "peak_air_flow_kg_s", flow, given_by(e, "engine", *keys))
    if power and swept and pressure and not 0.5 <= kw / (specific * vd * p) <= 1.7:
        usual = f"{specific * vd * p / 1e3:.0f} kW are usual from its displacement and highest manifold pressure"
        found.notes.append(f"engine.power_kw = {kw / 1e3:g} does not fit well: {usual}")
    if found.has("engine.redline_rpm"):
        ratio = float(found.get(base, "engine", "redline_rpm")) / b.redline_rpm
        for name in ("boost_starts_rpm", "boost_full_rpm"):
            found.put("engine", name, getattr(b, name) * min(ratio, 1.0), "estimated from engine.redline_rpm")


def _supercharger(found: Found) -> None:
    """No turbine: no heat from it, no spool lag to speak of, boost from low speed; the bypass churns off boost."""
    why = 'estimated from engine.kind = "supercharger"'
    found.put("charger", "hot_side_ua_w_k", 0.0, why)
    found.put("charger", "bypass_churn_w", 600.0, why)
    found.put("charger", "efficiency", 0.60, why)
    found.put("engine", "spool_tau_s", 0.15, why)


def _mixture(found: Found, file: CarFile, base: CarNumbers) -> None:
    """The coolant: no antifreeze and a share of 0 say the same."""
    lo = file.loop
    if lo.glycol == "none" and lo.glycol_pct is None:
        found.put("loop", "glycol_volume_fraction", 0.0, 'estimated from loop.glycol = "none"')
    if lo.glycol_pct == 0 and lo.glycol is None:
        found.put("loop", "glycol", "none", "estimated from loop.glycol_pct = 0")


def _loop(found: Found, file: CarFile, base: CarNumbers) -> None:
    lo = file.loop
    if found.has("loop.hose_total_m") and not found.has("loop.hose_in_bay_m"):
        share = base.loop.hose_in_bay_m / base.loop.hose_total_m
        found.put("loop", "hose_in_bay_m", share * float(lo.hose_total_m or 0), "estimated from loop.hose_total_m")
    if lo.tank == "none" and (lo.tank_l or 0.0) > 0.0:
        found.faults.append((("loop", "tank_l"), 'is above 0, but loop.tank is "none"; keep one of them'))
        return
    if lo.tank == "none" or lo.tank_l == 0.0:
        found.put("loop", "tank_m3", 0.0, 'estimated from loop.tank = "none"')
        if lo.tank in ("in-flow", "side"):
            found.faults.append((("loop", "tank"), f'is "{lo.tank}", but loop.tank_l is 0; keep one of them'))
        found.put("loop", "tank", "none", "estimated from loop.tank_l = 0")
    if lo.total_fill_l is not None:
        _total_fill(found, file, base)


def _total_fill(found: Found, file: CarFile, base: CarNumbers) -> None:
    """The fill less the parts: into the tank if that is not given, else into `extra_m3`."""
    lo = file.loop
    if lo.extra_l is not None:
        found.faults.append(
            (("loop", "extra_l"), "and loop.total_fill_l are two ways of giving the coolant; keep one of them")
        )
        return
    fill = float(lo.total_fill_l or 0.0)
    bore, length = (float(found.get(base, "loop", name)) for name in ("hose_bore_m", "hose_total_m"))
    parts = {
        "core": 1e3 * float(found.get(base, "core", "coolant_m3")),
        "front exchanger": 1e3 * float(found.get(base, "front", "coolant_m3")),
        "hoses": 1e3 * 0.25 * 3.141592653589793 * bore**2 * length,
    }
    tank_known = found.has("loop.tank_m3")
    if tank_known:
        parts["tank"] = 1e3 * float(found.get(base, "loop", "tank_m3"))
    rest = fill - sum(parts.values())
    if rest < -0.03 * fill:
        sums = " + ".join(f"{name} {litres:.2f}" for name, litres in parts.items())
        total = sum(parts.values())
        message = f"is less than its parts: {sums} = {total:.2f} L (given {fill:g}); give the parts that are smaller"
        found.faults.append((("loop", "total_fill_l"), message))
        return
    if rest < 0.0:
        found.notes.append(
            f"loop.total_fill_l = {fill:g} is {-rest:.2f} L less than its parts come to; the parts are taken"
        )
    rest = max(rest, 0.0)
    if tank_known:
        found.put("loop", "extra_m3", rest * 1e-3, "estimated from loop.total_fill_l less the parts")
    elif rest >= 0.05:
        found.put("loop", "tank_m3", rest * 1e-3, "estimated from loop.total_fill_l less the other parts")
    else:
        found.put("loop", "tank_m3", 0.0, "estimated from loop.total_fill_l: nothing is left for a tank")
        found.put("loop", "tank", "none", "estimated from loop.total_fill_l: nothing is left for a tank")


def _probe(found: Found, file: CarFile, base: CarNumbers) -> None:
    way = one_way(found, "probe", file.probe, {"type": ("type",), "tau": ("tau_s",)}, "the probe's lag")
    if way == "type":
        found.put(
            "probe", "tau_s", PROBE_TAU_S[str(file.probe.type)], f'estimated from probe.type = "{file.probe.type}"'
        )


def _control(found: Found, file: CarFile, base: CarNumbers) -> None:
    period = file.control.period_s
    if period is not None:
        ticks = round(period * 10.0)
        if abs(period * 10.0 - ticks) > 1e-6:
            found.faults.append(
                (("control", "period_s"), f"must be a whole number of tenths of a second (given {period:g})")
            )
        found.put("control", "period_ticks", max(ticks, 1))
