"""Coolant: properties of water and glycol mixtures by VOLUME fraction, freezing, boiling, mass fraction.

Properties come from CoolProp (ASHRAE data for inhibited glycol; IAPWS for water, at 2 bar), worked out once per
mixture over temperature: the usual mixtures' tables are in coolants.npz beside this file, others are kept on disk in
the user's cache, since importing CoolProp takes seconds.
"""

from __future__ import annotations

import hashlib
import zipfile
from dataclasses import dataclass
from functools import lru_cache
from importlib.metadata import version
from pathlib import Path
from typing import Any, NamedTuple

import numpy as np
from numpy.typing import NDArray

from arena.errors import BadInput
from arena.plant import air, cache
from arena.plant.values import Out, Value, out, require

Array = NDArray[np.float64]

TABLE_LOW_K, TABLE_HIGH_K, TABLE_STEP_K = 213.15, 423.15, 0.5
LOWEST_FRACTION, HIGHEST_FRACTION = 0.1, 0.6  # volume fractions the glycol data cover
_DATA_LOW_K, _DATA_HIGH_K = 238.15, 373.15  # temperatures the glycol data cover
_PRESSURE_PA = 2e5
_LAYOUT = "1"  # raised when the table is built otherwise
USUAL = (  # mixtures in coolants.npz: (glycol, volume fraction); tests/plant/test_fluids.py makes and holds the file
    ("none", 0.0),
    *(("ethylene", share) for share in (0.3, 0.33, 0.4, 0.5, 0.6)),
    *(("propylene", share) for share in (0.3, 0.4, 0.5)),
)
_USUAL_FILE = Path(__file__).with_name("coolants.npz")

# Freezing and composition: ASHRAE Handbook of Fundamentals glycol tables; ethylene as printed in the DOWTHERM SR-1
# data, propylene from memory and within 0.1 K of CoolProp's ASHRAE fit.  (volume fraction, mass fraction, degC)
_FREEZING = {
    "ethylene": (
        (0.0, 0.0, 0.0),
        (0.089, 0.10, -3.2),
        (0.181, 0.20, -7.8),
        (0.277, 0.30, -14.1),
        (0.375, 0.40, -22.3),
        (0.476, 0.50, -33.8),
        (0.578, 0.60, -48.3),
    ),
    "propylene": (
        (0.0, 0.0, 0.0),
        (0.096, 0.10, -3.3),
        (0.194, 0.20, -7.1),
        (0.294, 0.30, -12.7),
        (0.396, 0.40, -21.1),
        (0.499, 0.50, -33.5),
        (0.600, 0.60, -51.1),
    ),
}
# Boiling above water's at one atmosphere, (mass fraction, K): ethylene from the same table; propylene from memory,
# within 0.6 K of Raoult's law.
_BOILING_RISE = {
    "ethylene": ((0.0, 0.3, 0.5), (0.0, 4.4, 7.2)),
    "propylene": ((0.0, 0.3, 0.5), (0.0, 2.2, 5.6)),
}


class Coolant(NamedTuple):
    """Properties at one temperature (or an array of them), SI."""

    density: Out  # kg/m3
    heat_capacity: Out  # J/(kg K)
    conductivity: Out  # W/(m K)
    viscosity: Out  # Pa s


@dataclass(frozen=True, eq=False)
class CoolantTable:
    """One mixture over temperature, 0.5 K apart; `at` interpolates, see `coolant` for where data exist."""

    glycol: str
    volume_fraction: float
    temperature_k: Array
    density: Array
    heat_capacity: Array
    conductivity: Array
    viscosity: Array

    def at(self, temperature_k: Value) -> Coolant:
        """Properties at temperatures in K; beyond the table (-60 to 150 degC) the nearest end is taken."""
        t = np.asarray(temperature_k, dtype=np.float64)
        grid = self.temperature_k
        return Coolant(
            out(np.interp(t, grid, self.density)),
            out(np.interp(t, grid, self.heat_capacity)),
            out(np.interp(t, grid, self.conductivity)),
            out(np.exp(np.interp(t, grid, np.log(self.viscosity)))),
        )


def coolant(glycol: str, volume_fraction: float, temperature_k: Value) -> Coolant:
    """Density, heat capacity, conductivity and viscosity of a coolant at 2 bar, SI.

    glycol `ethylene`, `propylene` or `none`; volume_fraction 0 to 0.6 (NOT mass fraction); temperature_k any shape.
    Data reach from freezing (at lowest -35 degC) to 100 degC, water to 118 degC; up to 150 degC they are carried on:
    density, heat capacity and conductivity in a straight line, ln viscosity straight in 1/T. Below 0.1 of glycol:
    straight between water and 0.1 (ln viscosity likewise). Raises BadInput below freezing and above 150 degC.
    """
    mix = table(glycol, volume_fraction)
    freeze = freezing_k(glycol, volume_fraction)
    t = require("temperature_k", temperature_k)
    if (t < freeze - 0.01).any() or (t > TABLE_HIGH_K).any():
        raise BadInput(
            f"temperature_k is {float(np.min(t)):g} to {float(np.max(t)):g} for {volume_fraction:.0%} {glycol}",
            f"stay between freezing, {freeze:.2f} K, and {TABLE_HIGH_K:g} K",
        )
    return mix.at(temperature_k)


def table(glycol: str, volume_fraction: float) -> CoolantTable:
    """The table of a mixture: as it came with the project, from disk or from CoolProp, in that order. Below freezing it
    holds supercooled liquid: properties carried on from the coldest data as in `coolant`, so that a model that gets
    there stays finite.
    """
    _check(glycol, volume_fraction)
    plain = glycol == "none" or volume_fraction == 0.0
    return _table("none", 0.0) if plain else _table(glycol, min(float(volume_fraction), HIGHEST_FRACTION))


def freezing_k(glycol: str, volume_fraction: float) -> float:
    """Temperature in K at which ice first forms, from the ASHRAE tables (cubic between points, straight beyond)."""
    _check(glycol, volume_fraction)
    if glycol == "none":
        return 273.15
    volume, _, celsius = np.array(_FREEZING[glycol]).T
    return 273.15 + _between(volume, celsius, volume_fraction)


def boiling_k(glycol: str, volume_fraction: float, pressure_pa: float) -> float:
    """Boiling point in K at an absolute pressure (1 kPa to 1.5 MPa).

    Water's saturation temperature plus the mixture's rise at one atmosphere (ASHRAE table), the rise growing as T^2.
    """
    _check(glycol, volume_fraction)
    require("pressure_pa", pressure_pa, 1e3, 1.5e6)
    water = float(air.saturation_temperature_k(pressure_pa))
    if glycol == "none":
        return water
    mass, rise = _BOILING_RISE[glycol]
    share = mass_fraction(glycol, volume_fraction)
    slope = (rise[-1] - rise[-2]) / (mass[-1] - mass[-2])
    above = float(np.interp(share, mass, rise)) + slope * max(0.0, share - mass[-1])
    return water + above * (water / 373.124) ** 2


def mass_fraction(glycol: str, volume_fraction: float) -> float:
    """Mass fraction of glycol for a volume fraction from the ASHRAE tables: 0.50 by volume is 0.524 by mass."""
    _check(glycol, volume_fraction)
    if glycol == "none":
        return 0.0
    volume, mass, _ = np.array(_FREEZING[glycol]).T
    return _between(volume, mass, volume_fraction)


def _check(glycol: str, volume_fraction: float) -> None:
    if glycol not in ("ethylene", "propylene", "none"):
        raise BadInput(f"glycol {glycol!r} is unknown", "use ethylene, propylene or none")
    require("volume_fraction", volume_fraction, 0.0, HIGHEST_FRACTION + 1e-9)  # the last digit of a sum


def _between(x: Array, y: Array, at: float) -> float:
    from scipy.interpolate import PchipInterpolator

    if at > x[-1]:
        return float(y[-1] + (y[-1] - y[-2]) / (x[-1] - x[-2]) * (at - x[-1]))
    return float(PchipInterpolator(x, y)(at))


@lru_cache(maxsize=256)
def _table(glycol: str, volume_fraction: float) -> CoolantTable:
    mixture = (glycol, volume_fraction)
    rows = _read(_USUAL_FILE, usual_name(*mixture)) if mixture in USUAL else None
    if rows is None:
        rows = _kept_or_made(glycol, volume_fraction)
    grid = _grid()
    return CoolantTable(glycol, volume_fraction, grid, rows[0], rows[1], rows[2], np.exp(rows[3]))


def usual_name(glycol: str, volume_fraction: float) -> str:
    """Under which a mixture's rows are found in coolants.npz."""
    return f"{glycol} {volume_fraction!r}"


def _kept_or_made(glycol: str, volume_fraction: float) -> Array:
    """Rows of a mixture out of the user's cache, or worked out and put there."""
    key = repr((_LAYOUT, glycol, volume_fraction, TABLE_LOW_K, TABLE_HIGH_K, TABLE_STEP_K, version("CoolProp")))
    path = cache.folder() / f"coolant-{hashlib.sha256(key.encode()).hexdigest()[:20]}.npz"
    rows = _read(path, "rows")
    if rows is not None:
        return rows
    fresh = mixture_rows(glycol, volume_fraction)

    def write(aside: Path) -> None:
        with aside.open("wb") as file:
            np.savez(file, rows=fresh)

    cache.write_whole(path, write)
    return fresh


def _read(path: Path, name: str) -> Array | None:
    """Rows kept in a file, or None if there are none or they are damaged."""
    try:
        with path.open("rb") as file, np.load(file) as kept:
            rows: Array = kept[name]
    except (OSError, ValueError, KeyError, EOFError, zipfile.BadZipFile):
        return None
    return rows if rows.shape == (4, _grid().size) and bool(np.isfinite(rows).all()) else None


def _grid() -> Array:
    return np.linspace(TABLE_LOW_K, TABLE_HIGH_K, round((TABLE_HIGH_K - TABLE_LOW_K) / TABLE_STEP_K) + 1)


def mixture_rows(glycol: str, volume_fraction: float) -> Array:
    """Density, heat capacity, conductivity, ln viscosity of a mixture over the grid, (4, 421), out of CoolProp."""
    if glycol == "none":
        return _from_library("Water", 273.16, 391.15)
    name = {"ethylene": "AEG", "propylene": "APG"}[glycol]
    known = max(volume_fraction, LOWEST_FRACTION)
    # The library's own freezing point is a little below the table's; half a kelvin keeps clear of both.
    low = max(_DATA_LOW_K, freezing_k(glycol, known) + 0.5)
    rows = _from_library(f"INCOMP::{name}[{known!r}]", low, _DATA_HIGH_K)
    if volume_fraction < LOWEST_FRACTION:
        share = volume_fraction / LOWEST_FRACTION
        rows = share * rows + (1.0 - share) * _table_rows_of_water()
    return rows


def _table_rows_of_water() -> Array:
    water = _table("none", 0.0)
    return np.array([water.density, water.heat_capacity, water.conductivity, np.log(water.viscosity)])


def _from_library(fluid: str, low_k: float, high_k: float) -> Array:
    from CoolProp.CoolProp import PropsSI

    grid = _grid()
    known = np.append(np.arange(low_k, high_k, TABLE_STEP_K), high_k)
    rows = []
    for letter in "DCLV":
        values: Any = PropsSI(letter, "T", known, "P", _PRESSURE_PA, fluid)
        rows.append(_carried_on(grid, known, np.asarray(values, dtype=np.float64), logarithmic=letter == "V"))
    return np.array(rows)


def _carried_on(grid: Array, known: Array, values: Array, *, logarithmic: bool) -> Array:
    """Cubic through the known values, beyond them the tangent: in 1/T of ln(value) if logarithmic, else in T."""
    from scipy.interpolate import CubicSpline

    x, at, y = (1.0 / known[::-1], 1.0 / grid, np.log(values[::-1])) if logarithmic else (known, grid, values)
    curve = CubicSpline(x, y)
    inside = np.clip(at, x[0], x[-1])
    return np.asarray(curve(inside) + curve(inside, 1) * (at - inside), dtype=np.float64)
