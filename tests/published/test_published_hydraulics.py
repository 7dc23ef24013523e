"""Friction, hose loss, affinity laws, operating points and networks against `fluids`, worked rows and closed forms."""

from __future__ import annotations

import warnings
from collections.abc import Callable

import numpy as np
import pytest
from CoolProp.CoolProp import PropsSI
from hypothesis import given
from hypothesis import strategies as st

from arena.plant import hydraulics
from arena.plant.fluids import table
from arena.plant.hydraulics import (
    REFERENCE_K,
    build_flow_table,
    friction_factor,
    hose_pressure_drop_pa,
    operating_point,
)
from arena.plant.numbers import Loop, Pump

with warnings.catch_warnings():
    warnings.simplefilter("ignore")
    import fluids as reference

L_MIN = 1.0 / 60000.0
NAMES = {"water": "Water", "MEG 50 mass": "INCOMP::MEG[0.5]", "MPG 50 mass": "INCOMP::MPG[0.5]"}
Drop = Callable[[float, float, float, float, float], float]


def hose_misses(drop: Drop, published: Callable) -> list[str]:
    """Loss per metre of 19 mm hose, roughness 1.5 um; properties asked of CoolProp as the rows did."""
    found = []
    for row in published("pressure drop per m, 19 mm hose"):
        fluid, t = NAMES[row.inputs["first"]], row.number("T") + 273.15
        density, viscosity = (PropsSI(x, "T", t, "P", 2e5, fluid) for x in "DV")
        flow = row.number("Q") * L_MIN
        re = 4.0 * density * flow / (np.pi * 0.019 * viscosity)
        allowed = (0.15 if 2040.0 < re < 4000.0 else 0.01) * row.expected[0]
        got = drop(flow, 0.019, 1.0, density, viscosity)
        if abs(got - row.expected[0]) > allowed:
            found.append(f"{row.inputs}: {got:.1f} for {row.expected[0]}")
    return found


def test_hose_loss(published: Callable) -> None:
    """fluids 1.3.1 friction_factor with CoolProp properties: 1 %, and 15 % between Re 2040 and 4000.

    There the source switches from laminar to turbulent in one step; ours blends, 13 % lower at the row's Re 3220.
    """
    assert hose_misses(hose_pressure_drop_pa, published) == []


@pytest.mark.parametrize(
    "wrong",
    [
        lambda q, d, x, rho, mu: hose_pressure_drop_pa(1.1 * q, d, x, rho, mu),
        lambda q, d, x, rho, mu: hose_pressure_drop_pa(q, d, x, 1.1 * rho, mu),
        lambda q, d, x, rho, mu: hose_pressure_drop_pa(q, d, x, rho, 1.1 * mu),
        lambda q, d, x, rho, mu: hose_pressure_drop_pa(q, d + 0.5e-3, x, rho, mu),
        lambda q, d, x, rho, mu: hose_pressure_drop_pa(q, d, x, rho, mu) / 4.0,  # Fanning for Darcy
    ],
)
def test_hose_loss_notices_wrong_values(wrong: Drop, published: Callable) -> None:
    assert hose_misses(wrong, published)


@pytest.mark.parametrize(
    ("re", "rough", "expected"),
    [  # fluids 1.3.1
        (1e4, 0.0, 0.030883),
        (1e5, 0.0, 0.017990),
        (1e5, 1e-4, 0.018514),
        (1e6, 1e-3, 0.019943),
        (1500.0, 0.0, 0.042667),
    ],
)
def test_darcy_friction_factor(re: float, rough: float, expected: float) -> None:
    assert friction_factor(re, rough) == pytest.approx(expected, abs=1e-6)
    assert friction_factor(1.1 * re, rough) != pytest.approx(expected, abs=1e-6)


@pytest.mark.parametrize("rough", [0.0, 8e-5, 1e-3, 0.02])
def test_friction_agrees_with_the_library_outside_the_blend(rough: float) -> None:
    """fluids friction_factor: laminar to Re 2040, Colebrook from 4000."""
    re = np.concatenate([np.geomspace(1.0, 2039.0, 15), np.geomspace(4000.0, 1e7, 25)])
    theirs = [reference.friction_factor(Re=float(r), eD=rough) for r in re]
    assert friction_factor(re, rough) == pytest.approx(theirs, rel=1e-6)


def test_blend_lies_between_laminar_and_turbulent_and_has_no_step() -> None:
    """The library's factor jumps by 1.57 at Re 2040; ours goes from one branch to the other without leaving them."""
    assert reference.friction_factor(Re=2040.5) / reference.friction_factor(Re=2039.5) > 1.5
    re = np.linspace(2000.0, 4040.0, 4081)
    ours = friction_factor(re, 1e-4)
    assert np.max(np.abs(np.diff(ours))) < 2e-5
    inside = (re > 2040.0) & (re < 4000.0)
    turbulent = [reference.friction_factor(Re=float(r), eD=1e-4) for r in re[inside][::100]]
    assert np.all(ours[inside][::100] >= 64.0 / re[inside][::100] - 1e-12)
    assert np.all(ours[inside][::100] <= np.array(turbulent) + 1e-9)


@given(st.floats(0.0, 4.0), st.floats(-4.0, -1.0), st.floats(0.5, 50.0), st.floats(1.0001, 3.0))
def test_more_flow_always_costs_more_pressure(log_mu: float, log_bore: float, l_min: float, more: float) -> None:
    """So that a pump and a loop have one operating point, in the blend too."""
    mu, bore = 1e-4 * 10.0**log_mu, 0.1 * 10.0 ** (log_bore / 3.0)
    low, high = (hose_pressure_drop_pa(q * L_MIN, bore, 1.0, 1050.0, mu) for q in (l_min, l_min * more))
    assert low < high


POINTS = [  # pump 8 n^2 - 0.005 Q^2 on 0.01 Q^2: speed ratio, L/min, m, hydraulic W at 998.2 kg/m3 (closed form)
    (1.0, 23.0940, 5.3333, 20.095),
    (0.8, 18.4752, 3.4133, 10.289),
    (0.5, 11.5470, 1.3333, 2.512),
]


def point_misses(find: Callable) -> list[str]:
    found = []
    for n, flow, head, watts in POINTS:
        got = find(lambda q: 8.0 - 0.005 * q**2, lambda q: 0.01 * q**2, n)
        power = 998.2 * 9.80665 * got.head_m * got.flow_l_min * L_MIN
        if got != pytest.approx((flow, head), abs=6e-5) or power != pytest.approx(watts, abs=6e-4):
            found.append(f"{n}: {got}")
    got = find(lambda q: 8.0 - 0.02 * q - 0.004 * q**2, lambda q: 0.05 * q + 0.008 * q**2, 1.0)
    if got != pytest.approx((23.067436, 5.410225), rel=1e-6):
        found.append(f"mixed curve: {got}")
    return found


def test_operating_points() -> None:
    assert point_misses(operating_point) == []


def test_operating_points_notice_wrong_laws() -> None:
    def head_in_proportion(head: Callable, system: Callable, n: float) -> hydraulics.OperatingPoint:
        return operating_point(lambda q: n * head(q), system, 1.0)

    assert len(point_misses(head_in_proportion)) == 2  # right only at rated speed
    assert len(point_misses(lambda head, system, n: operating_point(head, lambda q: 1.1 * system(q), n))) == 4
    assert len(point_misses(lambda head, system, n: operating_point(head, system, 0.9 * n))) == 4


METRE_PA = 9806.65
QUADRATIC = [  # pump 8 n^2 - 0.005 Q^2 on 0.01 Q^2: speed ratio, L/min, m (closed form)
    (1.0, 23.0940, 5.3333),
    (0.8, 18.4752, 3.4133),
    (0.5, 11.5470, 1.3333),
]


def table_misses(exponent: float = 2.0, spoilt: Callable[[float], float] = lambda n: n) -> list[str]:
    """The car's own flow table against the closed form, at the temperature where its curves stand."""
    flow = np.linspace(0.0, 40.0, 401)
    head = np.maximum(8.0 - 0.005 * flow**2, 0.0)
    pump = Pump(
        head_flow_m3_s=tuple(flow * L_MIN), head_pa=tuple(head * METRE_PA), system_pa=METRE_PA * 0.01 * 15.0**2,
        system_ref_m3_s=15.0 * L_MIN, system_exponent=exponent,
    )  # fmt: skip
    found = []
    for n, litres, metres in QUADRATIC:
        made = build_flow_table(pump, Loop(), table("ethylene", 0.4), np.array([spoilt(n)]), np.array([REFERENCE_K]))
        got = float(made.flow_m3_s[0, 0]) / L_MIN, float(made.head_pa[0, 0]) / METRE_PA
        if got != pytest.approx((litres, metres), rel=4e-5):
            found.append(f"{n}: {got}")
    return found


def test_operating_points_of_the_flow_table() -> None:
    assert table_misses() == []


def test_the_flow_table_notices_wrong_laws() -> None:
    assert len(table_misses(exponent=1.9)) == 3
    assert len(table_misses(spoilt=lambda n: 0.99 * n)) == 3
    assert len(table_misses(spoilt=lambda n: n**0.5)) == 2, "right only at rated speed"


def test_reynolds_of_the_worked_hose() -> None:
    """Water at 20 degC, 10 L/min, 19 mm: 11131.8 (fluids 1.3.1 with CoolProp)."""
    assert hydraulics.reynolds(10.0 * L_MIN, 0.019, 998.252, 1.00157e-3) == pytest.approx(11131.8, rel=1e-4)
