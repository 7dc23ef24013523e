"""Fuel for the pump's current: what the engine burns more, and the seasons' price of it, are one number."""

from __future__ import annotations

import numpy as np
import pytest

from arena.contest.figures import fuel_ml
from arena.plant.numbers import CarNumbers
from arena.scenario.season import load_season
from arena.timetable import powertrain, vehicle
from arena.timetable.vehicle import road_car

CAR = CarNumbers()
ROAD = road_car(CAR)
PRICE_L = 1.27  # money units a litre of fuel, as the seasons' reasoning says


def burnt_w(rpm: float, brake_w: float) -> float:
    """Heat of the fuel the timetable's engine burns at a speed and brake power, W."""
    manifold = powertrain.manifold_for_pa(ROAD, rpm, brake_w, 101325.0)
    return ROAD.flow_per_rpm_pa * rpm * manifold / vehicle.STOICHIOMETRIC * vehicle.FUEL_J_KG


@pytest.mark.parametrize(("rpm", "brake_w"), [(1500.0, 5e3), (2000.0, 10e3), (2500.0, 25e3)])
def test_a_load_more_burns_what_the_engine_itself_burns_more_for_it(rpm: float, brake_w: float) -> None:
    """The engine of the drives, asked for 100 W more; its wider throttle pumps less, which `fuel_ml` leaves out."""
    shaft_w = 100.0
    more_w = burnt_w(rpm, brake_w + shaft_w) - burnt_w(rpm, brake_w)
    electric_wh = np.array([shaft_w * CAR.supply.alternator_efficiency])  # an hour of it
    by_figure_w = float(fuel_ml(electric_wh, CAR)[0]) * 1e-6 * CAR.supply.fuel_j_m3 / 3600.0
    assert by_figure_w == pytest.approx(more_w, rel=0.10)
    # Its share of all the fuel at that load (brake efficiency) would say a third more and upwards.
    assert burnt_w(rpm, brake_w) / brake_w * shaft_w > 1.3 * by_figure_w


@pytest.mark.parametrize("name", ["temperate-year", "hot-country", "weekend-track", "faults"])
def test_seasons_price_a_kwh_by_the_same_fuel(name: str) -> None:
    litres = float(fuel_ml(np.array([1000.0]), CAR)[0]) / 1e3
    assert load_season(name).prices.energy_per_kwh == pytest.approx(PRICE_L * litres, abs=0.005)
