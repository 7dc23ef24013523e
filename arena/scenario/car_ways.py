"""The several ways of saying the same thing in a car file, turned into the numbers the physics needs.

A core by conductances, by a maker's rating, by its dimensions or by size; a pump by its curve or by one bucket test;
an engine by power, boost or pressure. Two ways for one thing are refused. The scalings are rules of thumb from
memory, no published source; each number says what it was estimated from.
"""

from __future__ import annotations

import math
from dataclasses import dataclass, field
from itertools import pairwise
from typing import Any, Final

import numpy as np
from pydantic import BaseModel

from arena.plant.numbers import CarNumbers, Core, Front
from arena.scenario.car_keys import SECTIONS, CarFile, extra_of

WATER_PA_M: Final = 1000.0 * 9.80665  # makers give heads in metres of water
INLET_PA: Final = 101325.0
SIZES: Final = {"small": 0.6, "medium": 1.0, "large": 1.6}  # of the default exchanger's volume; from memory
# The project's default core and front exchanger have these outside measures; others are scaled from them.
CORE_MM: Final = (125.0, 115.0, 240.0)
FRONT_DEPTH_M: Final = 0.032
FINS_PER_M: Final = 14 / 0.0254
FIN_HEIGHT_M: Final = 0.008  # height of an air passage between two plates
PROBE_TAU_S: Final = {"open": 4.0, "closed": 15.0}


@dataclass
class Found:
    """What a file comes to: numbers by section, where each came from, faults (key path, message) and notes."""

    values: dict[str, dict[str, Any]] = field(default_factory=lambda: {section: {} for section in SECTIONS})
    why: dict[str, str] = field(default_factory=dict)  # "core.coolant_m3" -> "given" or "estimated from ..."
    faults: list[tuple[tuple[str | int, ...], str]] = field(default_factory=list)
    notes: list[str] = field(default_factory=list)

    def put(self, section: str, number: str, value: Any, why: str = "given") -> None:
        """Set a number, unless the file gives it itself."""
        if isinstance(value, float):
            value = float(f"{value:.14g}")  # unit conversions leave no crumbs
        elif isinstance(value, tuple):
            value = tuple(float(f"{item:.14g}") for item in value)
        if self.why.get(f"{section}.{number}") != "given":
            self.values[section][number] = value
            self.why[f"{section}.{number}"] = why

    def has(self, number: str) -> bool:
        """Whether the file gives or settles the number ("core.metal_kg")."""
        return number in self.why

    def get(self, base: CarNumbers, section: str, number: str) -> Any:
        """The number as it stands now."""
        return self.values[section].get(number, getattr(getattr(base, section), number))


def work_out(file: CarFile, base: CarNumbers) -> Found:
    """Every number the file gives or lets be estimated, over a base car. Faults are collected, not raised."""
    found = Found()
    for section in SECTIONS:
        _plain(found, section, getattr(file, section))
    for step in (_engine, _core, _front, _loop, _pump, _probe, _control):
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


def _given(table: BaseModel, *keys: str) -> list[str]:
    return [key for key in keys if getattr(table, key) is not None]


def _one_way(found: Found, section: str, table: BaseModel, ways: dict[str, tuple[str, ...]], thing: str) -> str:
    """The one way a thing is given ("" for none); two ways are a fault that names both."""
    used = {way: _given(table, *keys) for way, keys in ways.items()}
    used = {way: keys for way, keys in used.items() if keys}
    if len(used) > 1:
        first, second = list(used.values())[:2]
        message = f"and {section}.{first[0]} are two ways of giving {thing}; keep one of them"
        found.faults.append(((section, second[0]), message))
        return ""
    return next(iter(used), "")


def _all_of(found: Found, section: str, table: BaseModel, keys: tuple[str, ...], thing: str) -> bool:
    """Whether every key of a way is there; each missing one is a fault."""
    missing = [key for key in keys if getattr(table, key) is None]
    have = _given(table, *keys)
    for key in missing:
        found.faults.append(((section, key), f"is missing: {section}.{have[0]} needs it to give {thing}"))
    return not missing


def _engine(found: Found, file: CarFile, base: CarNumbers) -> None:
    e, b = file.engine, base.engine
    way = _one_way(
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
            "engine", "displacement_m3", kw / (specific * p), _from(e, "engine", "power_kw", "boost_kpa", "map_max_kpa")
        )
    elif power and swept and not pressure:
        estimate = min(max(kw / (specific * vd), 1.2e5), 3.5e5)
        found.put("engine", "map_max_pa", estimate, "estimated from engine.power_kw and engine.displacement_l")
    elif not power and (swept or pressure):
        why = _from(e, "engine", "displacement_l", "boost_kpa", "map_max_kpa")
        found.put("engine", "peak_power_w", specific * vd * p, why)
    if power or swept or pressure:
        flow = b.peak_air_flow_kg_s * float(found.get(base, "engine", "peak_power_w")) / b.peak_power_w
        keys = ("power_kw",) if power else ("displacement_l", "boost_kpa", "map_max_kpa")
        found.put("engine", "peak_air_flow_kg_s", flow, _from(e, "engine", *keys))
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


def _from(table: BaseModel, section: str, *keys: str) -> str:
    names = [f"{section}.{key}" for key in _given(table, *keys)]
    return "estimated from " + (f"{', '.join(names[:-1])} and {names[-1]}" if len(names) > 1 else names[0])


def _fins_per_m(found: Found, section: str, table: Any) -> float:
    _one_way(found, section, table, {"inch": ("fins_per_inch",), "cm": ("fins_per_cm",)}, "the fin density")
    if table.fins_per_inch is not None:
        return float(table.fins_per_inch) / 0.0254
    return float(table.fins_per_cm) * 100.0 if table.fins_per_cm is not None else FINS_PER_M


def _fin_gain(fins_per_m: float) -> float:
    """Conductance of a volume of fins over the default's: area in m2/m3 over the passage's hydraulic diameter."""

    def worth(fins: float) -> float:
        pitch = 1.0 / fins
        area = 2.0 / pitch + 2.0 / FIN_HEIGHT_M
        diameter = 2.0 * pitch * FIN_HEIGHT_M / (pitch + FIN_HEIGHT_M)
        return float(area / diameter**0.35)  # turbulent to transitional flow: h goes as diameter^-0.35 at a held speed

    return worth(fins_per_m) / worth(FINS_PER_M)


_WAYS: Final = {
    "conductances": ("air_ha_w_k", "coolant_ha_w_k"),
    "rating": ("rated_effectiveness", "rated_air_g_s", "rated_air_kg_s", "rated_coolant_l_min"),
    "dimensions": ("length_mm", "width_mm", "height_mm", "depth_mm", "fins_per_inch", "fins_per_cm"),
    "size": ("size",),
}


def _ways_of(table: BaseModel) -> dict[str, tuple[str, ...]]:
    known = type(table).model_fields
    return {way: tuple(key for key in keys if key in known) for way, keys in _WAYS.items()}


def _core(found: Found, file: CarFile, base: CarNumbers) -> None:
    c, b = file.core, base.core
    way = _one_way(found, "core", c, _ways_of(c), "the core")
    if way == "rating" and _all_of(
        found, "core", c, ("rated_effectiveness", "rated_air_g_s", "rated_coolant_l_min"), "the core"
    ):
        flows = (float(c.rated_air_g_s or 0) / 1e3, float(c.rated_coolant_l_min or 0) / 60000.0)
        _rated(found, base, "core", float(c.rated_effectiveness or 0), flows)
    if way == "dimensions" and _all_of(found, "core", c, ("length_mm", "width_mm", "height_mm"), "the core"):
        length, width, height = float(c.length_mm or 0), float(c.width_mm or 0), float(c.height_mm or 0)
        volume = length * width * height / (CORE_MM[0] * CORE_MM[1] * CORE_MM[2])
        frontal = width * height / (CORE_MM[1] * CORE_MM[2])
        gain = volume * _fin_gain(_fins_per_m(found, "core", c)) * frontal ** (-b.air_exponent)
        why = _from(c, "core", "length_mm", "width_mm", "height_mm", "fins_per_inch", "fins_per_cm")
        _scale(found, "core", b, volume, gain, why)
    if way == "size":
        factor = SIZES[str(c.size)]
        _scale(found, "core", b, factor, factor, f'estimated from core.size = "{c.size}"')


def _front(found: Found, file: CarFile, base: CarNumbers) -> None:
    f, b = file.front, base.front
    way = _one_way(found, "front", f, _ways_of(f), "the front exchanger")
    if way in ("dimensions", "size") and f.face_m2 is not None and (way == "size" or f.width_mm is not None):
        other = "size" if way == "size" else "width_mm"
        found.faults.append((("front", other), "and front.face_m2 are two ways of giving the face; keep one of them"))
        return
    if way == "rating" and _all_of(
        found, "front", f, ("rated_effectiveness", "rated_air_kg_s", "rated_coolant_l_min"), "the front exchanger"
    ):
        flows = (float(f.rated_air_kg_s or 0), float(f.rated_coolant_l_min or 0) / 60000.0)
        _rated(found, base, "front", float(f.rated_effectiveness or 0), flows)
    if way == "dimensions" and _all_of(found, "front", f, ("width_mm", "height_mm", "depth_mm"), "the front exchanger"):
        face = float(f.width_mm or 0) * float(f.height_mm or 0) * 1e-6
        volume = face * float(f.depth_mm or 0) * 1e-3 / (b.face_m2 * FRONT_DEPTH_M)
        why = _from(f, "front", "width_mm", "height_mm", "depth_mm", "fins_per_inch", "fins_per_cm")
        found.put("front", "face_m2", face, "given")
        _front_face(found, base, face, why)
        _scale(found, "front", b, volume, volume * _fin_gain(_fins_per_m(found, "front", f)), why)
    if way == "size":
        factor, why = SIZES[str(f.size)], f'estimated from front.size = "{f.size}"'
        found.put("front", "face_m2", b.face_m2 * factor, why)
        _front_face(found, base, b.face_m2 * factor, why)
        _scale(found, "front", b, factor, factor, why)
    if not way and f.face_m2 is not None:
        factor, why = f.face_m2 / b.face_m2, "estimated from front.face_m2"
        _front_face(found, base, f.face_m2, why)
        _scale(found, "front", b, factor, factor, why)


def _front_face(found: Found, base: CarNumbers, face_m2: float, why: str) -> None:
    """The same air speed through another face is another air flow."""
    found.put("front", "air_ref_kg_s", base.front.air_ref_kg_s * face_m2 / base.front.face_m2, why)


def _scale(found: Found, section: str, default: Core | Front, volume: float, air_gain: float, why: str) -> None:
    """An exchanger of another volume: its air side by `air_gain`, all else by volume."""
    found.put(section, "air_ha_w_k", default.air_ha_w_k * air_gain, why)
    for name in ("coolant_ha_w_k", "still_ha_w_k", "metal_kg", "coolant_m3"):
        found.put(section, name, getattr(default, name) * volume, why)


def _rated(found: Found, base: CarNumbers, section: str, wanted: float, flows: tuple[float, float]) -> None:
    """Both conductances of the default exchanger by one factor, so that it reaches the maker's effectiveness.

    Effectiveness is that of the air in the core, of the fluid that changes more in the front exchanger. The relation
    is that of the cells the physics has (crossflow, coolant mixed), so that the rating is met again in a run.
    """
    from scipy.optimize import brentq

    from arena.plant import air, exchanger, fluids

    default: Core | Front = getattr(base, section)
    loop = {name: found.get(base, "loop", name) for name in ("glycol", "glycol_volume_fraction")}
    coolant = fluids.coolant(loop["glycol"], float(loop["glycol_volume_fraction"]), 313.15)
    c_air = flows[0] * float(air.heat_capacity(340.0))
    c_coolant = flows[1] * float(coolant.density) * float(coolant.heat_capacity)
    ha_air = default.air_ha_w_k * (flows[0] / default.air_ref_kg_s) ** default.air_exponent
    ha_coolant = default.coolant_ha_w_k * (flows[1] / default.coolant_ref_m3_s) ** default.coolant_exponent
    of_air = min(c_air, c_coolant) / c_air if section == "core" else 1.0

    def miss(factor: float) -> float:
        reached = exchanger.cell_model_effectiveness(c_air, c_coolant, factor * ha_air, factor * ha_coolant)
        return float(reached) * of_air - wanted

    key = "rated_air_g_s" if section == "core" else "rated_air_kg_s"
    if miss(1e3) < 0.0:
        best = miss(1e3) + wanted
        message = f"cannot be reached at the rated flows by any exchanger: at most {best:.3f} (given {wanted:g})"
        found.faults.append(((section, "rated_effectiveness"), message))
        return
    factor = float(brentq(miss, 1e-6, 1e3, xtol=1e-12))
    why = f"estimated from {section}.rated_effectiveness at {section}.{key} and {section}.rated_coolant_l_min"
    found.put(section, "air_ha_w_k", default.air_ha_w_k * factor, why)
    found.put(section, "coolant_ha_w_k", default.coolant_ha_w_k * factor, why)
    if not 0.2 <= factor <= 5.0:
        found.notes.append(
            f"{section}.rated_effectiveness = {wanted:g} makes it {factor:.2g} times the default: check the rated flows"
        )


def _loop(found: Found, file: CarFile, base: CarNumbers) -> None:
    lo = file.loop
    if found.has("loop.hose_total_m") and not found.has("loop.hose_in_bay_m"):
        share = base.loop.hose_in_bay_m / base.loop.hose_total_m
        found.put("loop", "hose_in_bay_m", share * float(lo.hose_total_m or 0), "estimated from loop.hose_total_m")
    if lo.glycol == "none" and lo.glycol_pct is None:
        found.put("loop", "glycol_volume_fraction", 0.0, 'estimated from loop.glycol = "none"')
    if lo.glycol_pct == 0 and lo.glycol is None:
        found.put("loop", "glycol", "none", "estimated from loop.glycol_pct = 0")
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
    rest = max(rest, 0.0)
    if tank_known:
        found.put("loop", "extra_m3", rest * 1e-3, "estimated from loop.total_fill_l less the parts")
    elif rest >= 0.05:
        found.put("loop", "tank_m3", rest * 1e-3, "estimated from loop.total_fill_l less the other parts")
    else:
        found.put("loop", "tank_m3", 0.0, "estimated from loop.total_fill_l: nothing is left for a tank")
        found.put("loop", "tank", "none", "estimated from loop.total_fill_l: nothing is left for a tank")


def _pump(found: Found, file: CarFile, base: CarNumbers) -> None:
    p = file.pump
    _one_way(found, "pump", p, {"kpa": ("max_head_kpa",), "m": ("max_head_m",)}, "the highest head")
    way = _one_way(
        found,
        "pump",
        p,
        {"curve": ("curve",), "two": ("max_head_kpa", "max_head_m", "max_flow_l_min")},
        "the pump's head and flow",
    )
    tested = _one_way(
        found,
        "pump",
        p,
        {"system": ("system_kpa", "system_l_min"), "bucket": ("bucket_l_min", "bucket_v", "bucket_a")},
        "the loop's resistance",
    )
    points = _curve(found, file) if way == "curve" else _two_points(found, file) if way == "two" else None
    if tested == "bucket" and not way:
        found.faults.append(
            (
                ("pump", "max_head_kpa"),
                "is missing: pump.bucket_l_min needs the maker's max_head_kpa and max_flow_l_min, or a curve",
            )
        )
    _signal(found, file)
    if found.faults:
        return
    if points is not None:
        key = "pump.curve" if way == "curve" else "pump.max_flow_l_min"
        volts = float(p.curve_v or found.get(base, "pump", "rated_v"))
        ratio = _speed(found, base, float(found.get(base, "pump", "rated_v"))) / _speed(found, base, volts)
        why = "given" if way == "curve" else f"estimated from {key} and the maker's highest head"
        found.put("pump", "head_flow_m3_s", tuple(q * ratio for q, _ in points), why)
        found.put("pump", "head_pa", tuple(h * ratio**2 for _, h in points), why)
    elif p.curve_v is not None:
        found.faults.append(
            (("pump", "curve_v"), "has no curve to stand for; give pump.curve, or max_head_kpa and max_flow_l_min")
        )
    if tested == "system":
        _all_of(found, "pump", p, ("system_kpa", "system_l_min"), "the loop's resistance")
    if tested == "bucket" and _all_of(found, "pump", p, ("bucket_l_min", "bucket_v", "bucket_a"), "a bucket test"):
        _bucket(found, file, base)


def _curve(found: Found, file: CarFile) -> list[tuple[float, float]]:
    """The points of a curve, m3/s and Pa; flows must increase, heads must fall."""
    points: list[tuple[float, float]] = []
    loc: tuple[str | int, ...]
    rows = file.pump.curve or ()
    for row, point in enumerate(rows):
        loc = ("pump", "curve", row)
        if (point.head_kpa is None) == (point.head_m is None):
            found.faults.append(((*loc, "head_kpa"), "or head_m must be given, one of the two"))
            continue
        head = point.head_kpa * 1e3 if point.head_kpa is not None else float(point.head_m or 0.0) * WATER_PA_M
        if row and rows[row - 1].flow_l_min >= point.flow_l_min:
            message = f"must increase ({point.flow_l_min:g} after {rows[row - 1].flow_l_min:g})"
            found.faults.append(((*loc, "flow_l_min"), message))
        if points and head >= points[-1][1]:
            shown = "head_kpa" if point.head_kpa is not None else "head_m"
            message = f"must fall as flow increases ({head / 1e3:g} kPa after {points[-1][1] / 1e3:g} kPa)"
            found.faults.append(((*loc, shown), message))
        points.append((point.flow_l_min / 60000.0, head))
    if len(points) >= 2 and not found.faults and points[0][0] > 0.0:
        (q0, h0), (q1, h1) = points[:2]
        top = h0 + (h0 - h1) * q0**2 / (q1**2 - q0**2)
        found.notes.append(f"pump.curve does not start at 0 L/min: carried on to {top / 1e3:.1f} kPa there")
        points.insert(0, (0.0, top))
    return points


def _two_points(found: Found, file: CarFile) -> list[tuple[float, float]] | None:
    """Maker's highest head and flow: a parabola between them, head = H (1 - (Q/Qmax)^2)."""
    p = file.pump
    if p.max_head_kpa is None and p.max_head_m is None:
        found.faults.append((("pump", "max_head_kpa"), "is missing: pump.max_flow_l_min needs it (or max_head_m)"))
        return None
    if p.max_flow_l_min is None:
        key = "max_head_kpa" if p.max_head_kpa is not None else "max_head_m"
        found.faults.append((("pump", "max_flow_l_min"), f"is missing: pump.{key} needs it to give the pump"))
        return None
    head = p.max_head_kpa * 1e3 if p.max_head_kpa is not None else float(p.max_head_m or 0.0) * WATER_PA_M
    flow = p.max_flow_l_min / 60000.0
    return [(flow * x, head * (1.0 - x * x)) for x in (0.0, 0.25, 0.5, 0.75, 1.0)]


def _speed(found: Found, base: CarNumbers, volts: float) -> float:
    """Pump speed in the car at a voltage, rad/s: the load's current goes with the square of the speed."""
    rated_v, rated_a, resistance, brush, ke = (
        float(found.get(base, "pump", name))
        for name in ("rated_v", "rated_current_a", "resistance_ohm", "brush_v", "ke_v_s")
    )
    full = (rated_v - brush - rated_a * resistance) / ke
    k = resistance * rated_a / max(full, 1.0) ** 2
    # ke w + k w^2 = volts - brush
    drive = max(volts - brush, 0.05)
    return float(2.0 * drive / (ke + (ke * ke + 4.0 * k * drive) ** 0.5))


def _bucket(found: Found, file: CarFile, base: CarNumbers) -> None:
    """One bucket test: speed from voltage and current, head from the curve at that speed, and so the loop's resistance.

    The current also gives the pump's hydraulic efficiency and its current at rated voltage.
    """
    from arena.plant import hydraulics

    p = file.pump
    flow, volts, amps = float(p.bucket_l_min or 0) / 60000.0, float(p.bucket_v or 0), float(p.bucket_a or 0)
    resistance, brush, ke, friction, rated_v = (
        float(found.get(base, "pump", name))
        for name in ("resistance_ohm", "brush_v", "ke_v_s", "friction_nm", "rated_v")
    )
    speed = (volts - brush - amps * resistance) / ke
    if speed <= 0.0:
        message = f"is more than a motor of {resistance:g} ohm takes at {volts:g} V while turning (given {amps:g})"
        found.faults.append((("pump", "bucket_a"), message))
        return
    squared = amps / speed**2
    low, high = speed * 0.1, (rated_v - brush) / ke
    for _ in range(200):  # speed at rated voltage, current with the square of speed
        middle = 0.5 * (low + high)
        low, high = (
            (middle, high) if ke * middle + resistance * squared * middle**2 < rated_v - brush else (low, middle)
        )
    rated = 0.5 * (low + high)
    why = "estimated from pump.bucket_l_min, pump.bucket_v and pump.bucket_a"
    found.put("pump", "rated_rad_s", rated, why)
    found.put("pump", "rated_current_a", squared * rated**2, why)
    ratio = speed / rated
    flows, heads = found.get(base, "pump", "head_flow_m3_s"), found.get(base, "pump", "head_pa")
    if flow >= ratio * flows[-1]:
        free = ratio * flows[-1] * 60000.0
        message = (
            f"is more than the pump can move at {volts:g} V with nothing connected, {free:.1f} L/min "
            f"(given {float(p.bucket_l_min or 0):g})"
        )
        found.faults.append((("pump", "bucket_l_min"), message))
        return
    import dataclasses

    pump = dataclasses.replace(base.pump, head_flow_m3_s=flows, head_pa=heads, head_factor=1.0)
    head = ratio**2 * float(hydraulics.pump_head_pa(pump)(flow / ratio))
    found.put("pump", "system_pa", head, why)
    found.put("pump", "system_ref_m3_s", flow, why)
    torque = ke * amps - friction
    best = hydraulics.BEST_FLOW_SHARE * flows[-1]
    shape = max(0.2, (flow / ratio / best) * (2.0 - flow / ratio / best))
    if torque <= 0.0:
        found.notes.append(
            "pump.bucket_a is less than the assumed friction takes; check the clamp meter, or give pump.friction_nm"
        )
        return
    efficiency = head * flow / (torque * speed) / shape
    if not 0.05 <= efficiency <= 0.7:
        found.notes.append(
            f"pump.bucket_a would mean a hydraulic efficiency of {efficiency:.2f}, held within 0.05 to 0.7: "
            "check flow and current"
        )
    found.put("pump", "peak_hydraulic_efficiency", min(max(efficiency, 0.05), 0.7), why)


def _signal(found: Found, file: CarFile) -> None:
    """A pump with its own controller: as many speeds as duties, duties rising."""
    p = file.pump
    if p.signal_duty_pct is None and p.signal_speed_pct is None:
        return
    if not _all_of(found, "pump", p, ("signal_duty_pct", "signal_speed_pct"), "a signal pump"):
        return
    duty, speed = p.signal_duty_pct or (), p.signal_speed_pct or ()
    if len(duty) != len(speed):
        found.faults.append(
            (
                ("pump", "signal_speed_pct"),
                f"must have as many entries as pump.signal_duty_pct ({len(speed)} against {len(duty)})",
            )
        )
    for before, after in pairwise(duty):
        if after <= before:
            found.faults.append((("pump", "signal_duty_pct"), f"must increase ({after:g} after {before:g})"))
    if p.kind == "brushed":
        found.faults.append(
            (("pump", "kind"), 'is "brushed", but pump.signal_duty_pct belongs to a "signal" pump; keep one of them')
        )
    found.put("pump", "signal_duty", tuple(v / 100.0 for v in duty))
    found.put("pump", "signal_speed", tuple(v / 100.0 for v in speed))
    found.put("pump", "kind", "signal", "estimated from pump.signal_duty_pct")


def _probe(found: Found, file: CarFile, base: CarNumbers) -> None:
    way = _one_way(found, "probe", file.probe, {"type": ("type",), "tau": ("tau_s",)}, "the probe's lag")
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
