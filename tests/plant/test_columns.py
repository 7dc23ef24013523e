"""What a law can sense stands in the columns of an outing in the units that strategies are promised."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest
from plant_builders import fill_m3, held

from arena.plant import layout as at
from arena.plant.compile import air_path, compile_outing, parameters
from arena.plant.numbers import CarNumbers, Goals
from arena.scenario.climate import load_climate
from arena.scenario.drive import load_drive
from arena.timetable.outing import Played, play


@pytest.fixture(scope="module")
def played() -> Played:
    return play(load_drive("cold-start"), load_climate("winter"), CarNumbers(), np.random.SeedSequence(3))


@pytest.fixture(scope="module")
def columns(played: Played) -> np.ndarray:
    return compile_outing(played, CarNumbers(), Goals(), 5).X


def test_senses_are_in_the_units_strategies_are_promised(played: Played, columns: np.ndarray) -> None:
    for column, wanted in (
        (at.X_SPEED, 3.6 * played.speed_m_s), (at.X_THROTTLE, 100.0 * played.throttle),
        (at.X_PEDAL, 100.0 * played.pedal),
        (at.X_MAP, played.map_pa / 1000.0), (at.X_RPM, played.rpm), (at.X_AMBIENT, played.ambient_k - 273.15),
        (at.X_KEY, played.key_on), (at.X_ENGINE, played.engine_on), (at.X_TIME, 0.1 * np.arange(played.ticks)),
    ):  # fmt: skip
        assert np.ptp(wanted) > 0.0 or column == at.X_AMBIENT, "a column that never moves shows nothing"
        np.testing.assert_allclose(columns[:, column], wanted, rtol=1e-12)


def test_supply_is_that_of_what_the_engine_does(played: Played, columns: np.ndarray) -> None:
    supply, car = columns[:, at.X_SUPPLY], CarNumbers().supply
    off = (played.engine_on < 0.5) & (played.cranking < 0.5)
    assert set(supply[played.cranking > 0.5]) == {car.cranking_v} and set(supply[off]) == {car.off_v}
    running = supply[(played.engine_on > 0.5) & (played.cranking < 0.5)]
    assert set(running) <= {car.running_v, car.running_v - car.sag_v} and car.running_v in running


def test_time_since_key_off_counts_from_the_last_tick_with_the_key_on(played: Played, columns: np.ndarray) -> None:
    since, key = columns[:, at.X_KEY_OFF_S], played.key_on > 0.5
    first = int(np.flatnonzero(key)[0])
    assert (since[:first] > 1e8).all() and (since[key] == 0.0).all()
    last = int(np.flatnonzero(key)[-1])
    np.testing.assert_allclose(since[last:], 0.1 * np.arange(played.ticks - last), atol=1e-9)


def test_only_scored_ticks_weigh_and_boost_and_cruise_share_each(played: Played, columns: np.ndarray) -> None:
    scored = columns[:, at.X_SCORED] > 0.0
    assert scored.sum() == played.ticks - played.score_from and not scored[: played.score_from].any()
    weight = columns[:, at.X_BOOST] + columns[:, at.X_CRUISE]
    assert set(np.round(weight, 12)) == {0.0, 1.0} and not weight[~scored].any()
    assert not columns[played.engine_on < 0.5][:, [at.X_BOOST, at.X_CRUISE, at.X_LIMIT]].any()
    assert (columns[:, at.X_LIMIT] <= columns[:, at.X_BOOST] + columns[:, at.X_CRUISE]).all()


def test_a_supercharger_churns_by_its_bypass_and_no_more_from_a_pressure_ratio_of_1_2(played: Played) -> None:
    """Heat of the churned air, all of it up to ambient manifold pressure, fading to none at 1.2 times that."""
    plain = CarNumbers()
    still = replace(plain.charger, core_loss_pa=0.0, intake_loss_pa=0.0, pipe_ha_w_k=1e-12, bypass_churn_w=0.0)
    engine = replace(plain.engine, supercharged=True)
    none, some = (
        air_path(played, replace(plain, engine=engine, charger=replace(still, bypass_churn_w=watts)))
        for watts in (0.0, 600.0)
    )
    ratio = np.maximum(played.map_pa / played.ambient_pa, 1.0)
    share = np.interp(ratio, [1.0, 1.2], [1.0, 0.0]) * (played.engine_on > 0.5)
    assert ((share > 0.1) & (share < 0.9)).any() and (ratio > 1.3).any() and (share == 1.0).any()
    heat = (some.charger_out_k - none.charger_out_k) * np.maximum(played.air_flow_kg_s, 1e-6) * some.heat_capacity
    np.testing.assert_allclose(heat, 600.0 * share, rtol=1e-6, atol=1e-6)


@pytest.mark.parametrize(("most_kpa", "from_kpa"), [(205.0, 130.0), (150.0, 130.0), (126.0, 118.0), (116.0, 113.0)])
def test_boost_weighs_up_to_the_cars_own_and_the_limit_from_no_more_than_half_way(
    most_kpa: float, from_kpa: float
) -> None:
    kpa = np.linspace(60.0, 210.0, 151)
    drive = held(kpa.size, map_pa=1e3 * kpa, air_flow_kg_s=0.1)
    car = replace(CarNumbers(), engine=replace(CarNumbers().engine, map_max_pa=1e3 * most_kpa))
    x = compile_outing(drive, car, Goals(), 5).X
    np.testing.assert_allclose(x[:, at.X_BOOST], np.clip((kpa - 110.0) / (most_kpa - 110.0), 0.0, 1.0), atol=1e-12)
    np.testing.assert_allclose(x[:, at.X_CRUISE], 1.0 - x[:, at.X_BOOST], atol=1e-12)
    np.testing.assert_allclose(
        x[:, at.X_LIMIT], np.clip((kpa - from_kpa) / (most_kpa - from_kpa), 0.0, 1.0), atol=1e-12
    )


def test_without_a_pipe_the_charge_reaches_the_core_as_the_charger_left_it(played: Played) -> None:
    car = CarNumbers()
    bare = replace(car, charger=replace(car.charger, pipe_ha_w_k=0.0, pipe_bay_ua_w_k=0.0))
    nearly = replace(car, charger=replace(car.charger, pipe_ha_w_k=1e-12, pipe_bay_ua_w_k=0.0))
    found, wanted = (air_path(played, c).charger_out_k for c in (bare, nearly))
    assert np.isfinite(found).all()
    np.testing.assert_allclose(found, wanted, atol=1e-6)


@pytest.mark.parametrize("litres", [0.05, 0.3, 2.0])
@pytest.mark.parametrize("tank", ["in-flow", "side"])
def test_the_loop_holds_what_its_parts_hold(tank: str, litres: float) -> None:
    base = CarNumbers()
    car = replace(base, loop=replace(base.loop, tank=tank, tank_m3=1e-3 * litres))  # type: ignore[arg-type]
    p, heat = parameters(car, Goals(), 300.0, 101325.0)
    half = 2.0 / at.TICK_S * heat
    hoses = [(at.P_HOSE_1_W, at.HOSE_1), (at.P_HOSE_2_W, at.HOSE_2), (at.P_HOSE_3_W, at.HOSE_3)]
    parts = [*hoses, (at.P_CORE_W, at.CORE_CELLS), (at.P_FRONT_W, at.FRONT_CELLS), (at.P_LINK_W, 1)]
    held_m3 = sum(p[row] * count / half for row, count in parts) + (p[at.P_SIDE_W] / half if tank == "side" else 0.0)
    assert held_m3 == pytest.approx(fill_m3(car), rel=1e-9)


@pytest.mark.parametrize(
    ("kmh", "fan", "engine_k"), [(0.0, 1.0, 363.15), (0.0, 0.0, 363.15), (10.8, 1.0, 363.15), (0.0, 1.0, 330.65)]
)
def test_the_front_breathes_its_own_warm_air_at_standstill_with_the_fan_on(
    kmh: float, fan: float, engine_k: float
) -> None:
    base = CarNumbers()
    car = replace(base, front=replace(base.front, standstill_rise_k=12.0, condenser_rise_k=3.0))
    x = compile_outing(held(5, speed_m_s=kmh / 3.6, fan_on=fan, engine_k=engine_k), car, Goals(), 5).X
    warm = (engine_k - 298.15) / 65.0  # of an engine at 90 degC on a day of 25 degC
    inlet = 298.15 + 12.0 * fan * warm * np.exp(-kmh / 3.6 / 3.0) + 3.0
    np.testing.assert_allclose(x[:, at.X_FRONT_R] / x[:, at.X_FRONT_A], inlet)
