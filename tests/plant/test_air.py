"""What the air formulas promise: limits, directions, refusals."""

from __future__ import annotations

import numpy as np
import plant_builders as make
import psychrolib
import pytest
from hypothesis import given
from hypothesis import strategies as st

from arena.errors import BadInput
from arena.plant import air
from arena.plant import layout as at
from arena.plant.compile import compile_outing
from arena.plant.numbers import Goals

psychrolib.SetUnitSystem(psychrolib.SI)


@given(st.floats(230.0, 330.0), st.floats(1.0, 3.0), st.floats(0.4, 0.9))
def test_compression_heats_and_worse_chargers_heat_more(inlet: float, ratio: float, eta: float) -> None:
    out = air.charger_outlet_k(inlet, ratio, eta)
    assert out >= inlet
    assert air.charger_outlet_k(inlet, ratio, eta * 0.9) >= out


def test_a_charger_that_does_not_boost_leaves_the_air_alone() -> None:
    assert air.charger_outlet_k(290.0, np.array([0.4, 0.9, 1.0]), 0.7) == pytest.approx([290.0] * 3)


@pytest.mark.parametrize(
    ("inlet", "ratio", "eta", "named"),
    [
        (290.0, 2.0, 0.0, "efficiency"),
        (290.0, 2.0, 1.01, "efficiency"),
        (290.0, 0.0, 0.7, "pressure_ratio"),
        (290.0, float("nan"), 0.7, "pressure_ratio"),
        (-5.0, 2.0, 0.7, "inlet_k"),
    ],
)
def test_impossible_chargers_are_refused_by_name(inlet: float, ratio: float, eta: float, named: str) -> None:
    with pytest.raises(BadInput, match=named):
        air.charger_outlet_k(inlet, ratio, eta)


def test_efficiency_blends_up_to_ratio_one_point_two() -> None:
    ours = air.charger_efficiency(np.array([0.9, 1.0, 1.1, 1.2, 2.0]), 0.70, 0.50)
    assert ours == pytest.approx([0.50, 0.50, 0.60, 0.70, 0.70])


@given(st.floats(250.0, 450.0), st.floats(250.0, 1100.0), st.floats(0.0, 50.0), st.floats(0.0, 0.3))
def test_air_along_a_wall_never_passes_the_wall(inlet: float, wall: float, ua: float, flow: float) -> None:
    out = air.heated_along_wall_k(inlet, wall, ua, flow, 1010.0)
    assert min(inlet, wall) - 1e-9 <= out <= max(inlet, wall) + 1e-9


def test_still_air_takes_the_wall_and_an_insulated_wall_does_nothing() -> None:
    assert air.heated_along_wall_k(300.0, 600.0, 1.2, 0.0, 1010.0) == 600.0
    assert air.heated_along_wall_k(300.0, 600.0, 0.0, 0.0, 1010.0) == 300.0
    assert air.heated_along_wall_k(300.0, 600.0, 0.0, 0.1, 1010.0) == 300.0


def test_hot_side_warms_a_pump_off_cruise_by_tens_of_kelvin() -> None:
    """Default car (judgement from memory): cruise, 18 g/s, turbine 350 degC: some 20 K, so it must not be left out."""
    rise = air.heated_along_wall_k(305.0, 623.15, 1.2, 0.018, 1007.0) - 305.0
    assert 15.0 < rise < 25.0


@pytest.mark.parametrize(
    ("celsius", "rh", "charge_pa"), [(30.0, 0.6, 200e3), (25.0, 0.5, 180e3), (35.0, 0.8, 205e3), (5.0, 0.9, 150e3)]
)
def test_charge_condenses_where_its_humidity_ratio_says(celsius: float, rh: float, charge_pa: float) -> None:
    """PsychroLib 2.5.0: the outside air's humidity ratio at the charge's pressure, for what the model runs on."""
    drive = make.held(5, ambient_k=celsius + 273.15, humidity=rh, map_pa=charge_pa)
    column = compile_outing(drive, make.shipped_car(), Goals(), 1).X[:, at.X_DEW]
    ratio = psychrolib.GetHumRatioFromRelHum(celsius, rh, 101325.0)
    theirs = psychrolib.GetTDewPointFromHumRatio(120.0, ratio, charge_pa)
    assert column - 273.15 == pytest.approx(theirs, abs=0.03)


def test_dry_air_has_the_lowest_dew_point_rather_than_none() -> None:
    assert 173.0 < air.dew_point_k(0.0) < 190.0


def test_moist_air_is_lighter_than_dry() -> None:
    assert air.density(1e5, 303.15, 3000.0) < air.density(1e5, 303.15)


@pytest.mark.parametrize("altitude", [-3000.0, 12000.0, float("nan")])
def test_altitudes_outside_the_formula_are_refused(altitude: float) -> None:
    with pytest.raises(BadInput, match="altitude_m"):
        air.standard_pressure_pa(altitude)


def test_floats_and_arrays() -> None:
    assert isinstance(air.standard_pressure_pa(0.0), float)
    assert isinstance(air.dew_point_k(1000.0), float)
    assert air.dew_point_k(np.full((2, 3), 1000.0)).shape == (2, 3)
    assert air.charger_outlet_k(np.array([280.0, 300.0]), 2.0, 0.7).shape == (2,)


@pytest.mark.parametrize(("beyond", "end"), [(-80.0, -45.0), (500.0, 300.0)])
def test_heat_capacity_stands_still_beyond_its_range(beyond: float, end: float) -> None:
    assert air.heat_capacity(beyond + 273.15) == air.heat_capacity(end + 273.15)
    inward = end + (1.0 if beyond < end else -1.0)
    assert air.heat_capacity(inward + 273.15) != air.heat_capacity(end + 273.15)
