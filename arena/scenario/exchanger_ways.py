"""Core and front exchanger of a car file: by conductances, by a maker's rating, by dimensions or by size.

The scalings are rules of thumb from memory, no published source; each number says what it was estimated from.
"""

from __future__ import annotations

from dataclasses import replace
from typing import Any, Final

from pydantic import BaseModel

from arena.plant.numbers import CarNumbers, Core, Front
from arena.scenario.car_found import Found, all_of, given_by, one_way
from arena.scenario.car_keys import CarFile

SIZES: Final = {"small": 0.6, "medium": 1.0, "large": 1.6}  # of the default exchanger's volume; from memory
# The project's default core and front exchanger have these outside measures; others are scaled from them.
CORE_MM: Final = (125.0, 115.0, 240.0)
FRONT_DEPTH_M: Final = 0.032
FINS_PER_M: Final = 14 / 0.0254
FIN_HEIGHT_M: Final = 0.008  # height of an air passage between two plates
_WAYS: Final = {
    "conductances": ("air_ha_w_k", "coolant_ha_w_k"),
    "rating": ("rated_effectiveness", "rated_air_g_s", "rated_air_kg_s", "rated_coolant_l_min"),
    "dimensions": ("length_mm", "width_mm", "height_mm", "depth_mm", "fins_per_inch", "fins_per_cm"),
    "size": ("size",),
}


def core(found: Found, file: CarFile, base: CarNumbers) -> None:
    """The core by the one way it is given, into `found`."""
    c, b = file.core, base.core
    way = one_way(found, "core", c, _ways_of(c), "the core")
    _rated_mixture(found, base, "core", c, way)
    if way == "rating" and all_of(
        found, "core", c, ("rated_effectiveness", "rated_air_g_s", "rated_coolant_l_min"), "the core"
    ):
        flows = (float(c.rated_air_g_s or 0) / 1e3, float(c.rated_coolant_l_min or 0) / 60000.0)
        _rated(found, base, "core", float(c.rated_effectiveness or 0), flows)
    if way == "dimensions" and all_of(found, "core", c, ("length_mm", "width_mm", "height_mm"), "the core"):
        length, width, height = float(c.length_mm or 0), float(c.width_mm or 0), float(c.height_mm or 0)
        volume = length * width * height / (CORE_MM[0] * CORE_MM[1] * CORE_MM[2])
        frontal = width * height / (CORE_MM[1] * CORE_MM[2])
        gain = volume * _fin_gain(_fins_per_m(found, "core", c)) * frontal ** (-b.air_exponent)
        why = given_by(c, "core", "length_mm", "width_mm", "height_mm", "fins_per_inch", "fins_per_cm")
        _scale(found, "core", b, volume, gain, why)
    if way == "size":
        factor = SIZES[str(c.size)]
        _scale(found, "core", b, factor, factor, f'estimated from core.size = "{c.size}"')


def front(found: Found, file: CarFile, base: CarNumbers) -> None:
    """The front exchanger by the one way it is given, into `found`."""
    f, b = file.front, base.front
    way = one_way(found, "front", f, _ways_of(f), "the front exchanger")
    _rated_mixture(found, base, "front", f, way)
    if way in ("dimensions", "size") and f.face_m2 is not None and (way == "size" or f.width_mm is not None):
        other = "size" if way == "size" else "width_mm"
        found.faults.append((("front", other), "and front.face_m2 are two ways of giving the face; keep one of them"))
        return
    if way == "rating" and all_of(
        found, "front", f, ("rated_effectiveness", "rated_air_kg_s", "rated_coolant_l_min"), "the front exchanger"
    ):
        flows = (float(f.rated_air_kg_s or 0), float(f.rated_coolant_l_min or 0) / 60000.0)
        _rated(found, base, "front", float(f.rated_effectiveness or 0), flows)
    if way == "dimensions" and all_of(found, "front", f, ("width_mm", "height_mm", "depth_mm"), "the front exchanger"):
        face = float(f.width_mm or 0) * float(f.height_mm or 0) * 1e-6
        volume = face * float(f.depth_mm or 0) * 1e-3 / (b.face_m2 * FRONT_DEPTH_M)
        why = given_by(f, "front", "width_mm", "height_mm", "depth_mm", "fins_per_inch", "fins_per_cm")
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


def _rated_mixture(found: Found, base: CarNumbers, section: str, table: Any, way: str) -> None:
    """The coolant a rating or a coolant-side conductance holds for: as given, else the loop's own.

    Where neither is given the conductance is scaled from the default exchanger's, and so is its coolant.
    """
    kind, share = table.rated_glycol, table.rated_glycol_pct
    rated = way == "rating" or table.coolant_ha_w_k is not None
    own = {name: found.get(base, "loop", name) for name in ("glycol", "glycol_volume_fraction")}
    if kind is None and share is None:
        if rated:
            for name, value in own.items():
                found.put(section, f"rated_{name}", value, f"taken as the loop's own, {section}.rated_glycol not given")
        return
    first = "rated_glycol" if kind is not None else "rated_glycol_pct"
    if not rated:
        message = f"has no rating to belong to; give {section}.rated_effectiveness or {section}.coolant_ha_w_k"
        found.faults.append(((section, first), message))
    elif kind == "none" and share:
        found.faults.append(((section, "rated_glycol_pct"), f'must be 0 where {section}.rated_glycol is "none"'))
    elif kind not in (None, "none") and share is None:
        found.faults.append(((section, "rated_glycol_pct"), f"is missing: {section}.rated_glycol needs it"))
    elif kind is None:
        named = "none" if not share else own["glycol"] if own["glycol"] != "none" else "ethylene"
        found.put(section, "rated_glycol", named, f"estimated from {section}.rated_glycol_pct")
    elif share is None:
        found.put(section, "rated_glycol_volume_fraction", 0.0, f'estimated from {section}.rated_glycol = "none"')


def _fins_per_m(found: Found, section: str, table: Any) -> float:
    one_way(found, section, table, {"inch": ("fins_per_inch",), "cm": ("fins_per_cm",)}, "the fin density")
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


def _ways_of(table: BaseModel) -> dict[str, tuple[str, ...]]:
    known = type(table).model_fields
    return {way: tuple(key for key in keys if key in known) for way, keys in _WAYS.items()}


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
    is that of the cells the physics has (crossflow, coolant mixed), so that the rating is met again in a run with the
    coolant it was made with.
    """
    from scipy.optimize import brentq

    from arena.plant import air, exchanger, film, fluids

    default: Core | Front = getattr(base, section)
    mixture = found.get(base, section, "rated_glycol"), found.get(base, section, "rated_glycol_volume_fraction")
    coolant = fluids.coolant(*mixture, film.FILM_K)
    c_air = flows[0] * float(air.heat_capacity(340.0))
    c_coolant = flows[1] * float(coolant.density) * float(coolant.heat_capacity)
    ha_air = default.air_ha_w_k * (flows[0] / default.air_ref_kg_s) ** default.air_exponent
    in_it = film.coolant_ha_w_k(default, replace(base.loop, glycol=mixture[0], glycol_volume_fraction=mixture[1]))
    ha_coolant = in_it * (flows[1] / default.coolant_ref_m3_s) ** default.coolant_exponent
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
    found.put(section, "coolant_ha_w_k", in_it * factor, why)
    if not 0.2 <= factor <= 5.0:
        found.notes.append(
            f"{section}.rated_effectiveness = {wanted:g} makes it {factor:.2g} times the default: check the rated flows"
        )
