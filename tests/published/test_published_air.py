"""Atmosphere, moist air and charger outlet against libraries, handbooks and papers."""

from __future__ import annotations

from collections.abc import Callable

import fluids as reference_fluids
import numpy as np
import psychrolib
import pytest
from CoolProp.CoolProp import PropsSI
from hypothesis import given
from hypothesis import strategies as st

from arena.plant import air

psychrolib.SetUnitSystem(psychrolib.SI)

# CoolProp 8.0.0 'Air' by enthalpy and entropy: inlet kPa, inlet degC, pressure ratio, efficiency, outlet degC, kJ/kg
REAL_GAS = [
    (101.325, 25.0, 1.5, 0.70, 77.23, 52.55),
    (101.325, 25.0, 1.8, 0.70, 102.69, 78.24),
    (101.325, 25.0, 2.0, 0.72, 115.41, 91.10),
    (101.325, 20.0, 2.2, 0.75, 118.47, 99.20),
    (101.325, 25.0, 2.5, 0.70, 151.83, 128.04),
    (100.0, 20.0, 1.6, 0.60, 90.07, 70.53),
    (101.325, 45.0, 2.0, 0.65, 151.56, 107.68),
    (89.876, 8.5, 2.0, 0.72, 94.04, 86.06),
]
Outlet = Callable[[float, float, float], float]


def atmosphere_misses(pressure: Callable[[float], float], published: Callable) -> list[str]:
    found = [
        f"pressure at {row.number('Z')} m"
        for row in published("std atmosphere pressure")
        if abs(pressure(row.number("Z")) - row.expected[0]) > row.allowed
    ]
    for row in published("std atmosphere density"):
        z = row.number("Z")
        if abs(air.density(pressure(z), reference_fluids.ATMOSPHERE_1976(z).T) - row.expected[0]) > 2 * row.allowed:
            found.append(f"density at {z} m")  # twice: the row is rounded, and its gas constant is 287.053
    return found


def test_standard_atmosphere(published: Callable) -> None:
    """U.S. Standard Atmosphere 1976 through fluids 1.3.1, geometric altitude."""
    assert atmosphere_misses(air.standard_pressure_pa, published) == []
    z = np.linspace(-1000.0, 10000.0, 23)
    theirs = [reference_fluids.ATMOSPHERE_1976(float(h)) for h in z]
    assert air.standard_pressure_pa(z) == pytest.approx([a.P for a in theirs], rel=1e-5)


def test_standard_atmosphere_notices_wrong_values(published: Callable) -> None:
    as_if_geopotential = psychrolib.GetStandardAtmPressure  # 12.8 Pa low at 3000 m
    assert len(atmosphere_misses(as_if_geopotential, published)) >= 4
    assert atmosphere_misses(lambda z: air.standard_pressure_pa(1.01 * z), published)


@pytest.mark.parametrize(
    ("celsius", "rh", "density", "dew_c", "vapour"),
    [  # PsychroLib 2.5.0 (ASHRAE); real-gas values differ by 0.05 % in density, 0.01 K in dew point
        (25.0, 0.50, 1.17696, 13.864, 1584.6),
        (30.0, 0.60, 1.15336, 21.388, 2547.6),
        (35.0, 0.40, 1.13592, 19.385, 2251.1),
        (40.0, 0.80, 1.10240, 35.878, 5906.8),
        (0.0, 0.80, 1.28996, -2.683, 488.9),
    ],
)
def test_moist_air(celsius: float, rh: float, density: float, dew_c: float, vapour: float) -> None:
    pv = air.vapour_pressure_pa(celsius + 273.15, rh)
    assert pv == pytest.approx(vapour, rel=1e-3)
    assert air.density(101325.0, celsius + 273.15, pv) == pytest.approx(density, rel=1e-4)
    assert air.dew_point_k(pv) - 273.15 == pytest.approx(dew_c, abs=0.01)


@given(st.floats(-60.0, 180.0))
def test_saturation_pressure_and_its_inverse(celsius: float) -> None:
    """PsychroLib 2.5.0 GetSatVapPres (Hyland and Wexler), and back."""
    p = air.saturation_pressure_pa(celsius + 273.15)
    assert p == pytest.approx(psychrolib.GetSatVapPres(celsius), rel=1e-9)
    assert air.saturation_temperature_k(p) - 273.15 == pytest.approx(celsius, abs=0.02)  # 0.02: the ice-water seam


def test_heat_capacity_of_dry_air() -> None:
    """CoolProp 8.0.0 'Air' at 101325 Pa and at 200 kPa."""
    celsius = np.array([-20.0, 0.0, 20.0, 40.0, 100.0, 150.0])
    printed = [1005.54, 1005.68, 1006.14, 1006.92, 1011.23, 1017.13]
    assert air.heat_capacity(celsius + 273.15) == pytest.approx(printed, abs=0.03)
    assert air.heat_capacity(1.01 * celsius + 283.15) != pytest.approx(printed, abs=0.03)
    boosted = [1008.33, 1014.17, 1017.82]
    assert air.heat_capacity(np.array([40.0, 120.0, 150.0]) + 273.15) == pytest.approx(boosted, rel=2e-3)


def test_density_of_dry_air() -> None:
    """CoolProp 8.0.0: ideal gas is within 0.08 % up to 200 kPa."""
    ours = air.density(200e3, np.array([40.0, 120.0, 150.0]) + 273.15)
    assert ours == pytest.approx([2.22585, 1.77162, 1.64580], rel=8e-4)
    assert air.density(101325.0, 293.15) == pytest.approx(1.20458, rel=5e-4)


def outlet_misses(outlet: Outlet, published: Callable) -> list[str]:
    found = []
    for row in published("compressor outlet T (gamma=1.4)"):
        got = outlet(row.number("T1") + 273.15, row.number("PR"), row.number("eta_is")) - 273.15
        if abs(got - row.expected[0]) > row.allowed:
            found.append(f"{row.inputs}: {got:.2f} for {row.expected[0]}")
    return found


def real_gas_misses(outlet: Outlet) -> list[str]:
    return [
        f"{inlet} degC, {ratio}, {efficiency}"
        for _, inlet, ratio, efficiency, hot, _ in REAL_GAS
        if abs(outlet(inlet + 273.15, ratio, efficiency) - 273.15 - hot) > 1.0
    ]


def test_charger_outlet(published: Callable) -> None:
    """Closed form with gamma 1.4."""
    assert outlet_misses(air.charger_outlet_k, published) == []


def test_charger_outlet_within_one_kelvin_of_real_gas() -> None:
    assert real_gas_misses(air.charger_outlet_k) == []


@pytest.mark.parametrize(
    "wrong",
    [
        lambda t, ratio, eta: air.charger_outlet_k(t, ratio, 1.1 * eta),
        lambda t, ratio, eta: air.charger_outlet_k(t, 0.95 * ratio, eta),
        lambda t, ratio, eta: t * ratio ** (0.4 / 1.4),  # efficiency forgotten
        lambda t, ratio, eta: t + (air.charger_outlet_k(t, ratio, eta) - t) / 1.1,  # heat capacity 10 % high
    ],
)
def test_charger_outlet_notices_wrong_values(wrong: Outlet, published: Callable) -> None:
    assert outlet_misses(wrong, published)
    assert real_gas_misses(wrong)


@pytest.mark.parametrize(("kpa", "celsius"), [(80.0, -20.0), (95.0, 10.0), (101.325, 40.0)])
def test_charger_outlet_over_the_map(kpa: float, celsius: float) -> None:
    """CoolProp asked for isentropic enthalpy directly, pressure ratio 1.1 to 2.5 and efficiency 0.5 to 0.75.

    Within 1 K up to 170 degC, which is hotter than any row above; beyond it up to 1.2 % of the rise.
    """
    for ratio in (1.1, 1.4, 1.9, 2.5):
        for eta in (0.5, 0.6, 0.7, 0.75):
            p = kpa * 1e3
            h1, s1 = (PropsSI(x, "T", celsius + 273.15, "P", p, "Air") for x in "HS")
            h2 = h1 + (PropsSI("H", "P", p * ratio, "S", s1, "Air") - h1) / eta
            theirs = PropsSI("T", "P", p * ratio, "H", h2, "Air") - 273.15
            high = air.charger_outlet_k(celsius + 273.15, ratio, eta) - 273.15 - theirs
            assert -0.1 < high < (1.0 if theirs < 170.0 else 0.012 * (theirs - celsius))


def test_how_far_off_the_charger_outlet_is() -> None:
    """The bounds the docs give: at inlets of -20 to 45 degC, pressure ratios 1.1 to 2.5, against CoolProp."""
    for eta, low, high in ((0.5, -0.01, 2.25), (0.6, -0.02, 1.49), (0.7, -0.04, 1.05)):
        off = []
        for inlet in (253.15, 273.15, 298.15, 318.15):
            h1, s1 = (PropsSI(x, "T", inlet, "P", 101325.0, "Air") for x in "HS")
            for ratio in np.linspace(1.1, 2.5, 15):
                h2 = h1 + (PropsSI("H", "P", 101325.0 * ratio, "S", s1, "Air") - h1) / eta
                theirs = PropsSI("T", "P", 101325.0 * ratio, "H", h2, "Air")
                off.append(float(air.charger_outlet_k(inlet, float(ratio), eta)) - theirs)
        assert (min(off), max(off)) == pytest.approx((low, high), abs=0.02)


def test_compressor_work() -> None:
    """cp at the mean temperature times our rise, against real-gas work: within 0.7 %."""
    for _, inlet, ratio, efficiency, _, work in REAL_GAS:
        hot = air.charger_outlet_k(inlet + 273.15, ratio, efficiency)
        ours = air.heat_capacity(0.5 * (hot + inlet + 273.15)) * (hot - inlet - 273.15) * 1e-3
        assert ours == pytest.approx(work, rel=0.007)
        assert 1.1 * ours != pytest.approx(work, rel=0.007)


def test_textbook_compressor() -> None:
    """Cengel and Boles, compressor 100 to 800 kPa from 285 K, 0.8: 569.5 K (statement and answer from memory).

    Real gas gives 569.7 K; constant gamma 1.4 is expected high here, far beyond the ratios it is used for.
    """
    t2 = air.charger_outlet_k(285.0, 8.0, 0.80)
    assert 0.0 < t2 - 569.5 < 6.5


def test_hot_side_is_the_explicit_formula_where_flow_is_high() -> None:
    """UA (T_turbine - T2) / (m cp) as the limit of the closed form."""
    t2, turbine, ua, flow, cp = 380.0, 900.0, 1.2, 0.19, 1012.0
    rise = air.heated_along_wall_k(t2, turbine, ua, flow, cp) - t2
    assert rise == pytest.approx(ua * (turbine - t2) / (flow * cp), rel=0.004)
    assert -rise != pytest.approx(ua * (turbine - t2) / (flow * cp), rel=0.004)
