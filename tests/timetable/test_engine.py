"""The engine's figures in the plausible ranges, its closed forms, and the lags of pedal, plate and boost."""

from __future__ import annotations

import math
from collections.abc import Callable
from dataclasses import replace

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from timetable_builders import climate, labelled

from arena.plant.numbers import CarNumbers
from arena.timetable import powertrain
from arena.timetable.outing import Played
from arena.timetable.vehicle import road_car

SEA_LEVEL = 101325.0
CAR = road_car(CarNumbers())
RPMS = np.arange(1000.0, 6300.0, 100.0)


@given(rpm=st.floats(700.0, 6500.0), map_pa=st.floats(15e3, 250e3), ambient_pa=st.floats(60e3, 105e3))
@settings(max_examples=200, deadline=None)
def test_manifold_pressure_and_brake_power_are_each_others_inverse(
    rpm: float, map_pa: float, ambient_pa: float
) -> None:
    power = powertrain.brake_power_w(CAR, rpm, map_pa, ambient_pa)
    assert math.isclose(powertrain.manifold_for_pa(CAR, rpm, power, ambient_pa), map_pa, rel_tol=1e-9)


def test_full_load_keeps_to_the_cars_limits() -> None:
    """Ranges: judgement from memory, no published source."""
    pressure = np.array([powertrain.full_load_pa(CAR, n, SEA_LEVEL) for n in RPMS])
    power = np.array([powertrain.full_load_w(CAR, n, SEA_LEVEL) for n in RPMS])
    flow = CAR.flow_per_rpm_pa * RPMS * pressure
    assert pressure.max() == pytest.approx(205e3)
    assert flow.max() == pytest.approx(0.19, rel=1e-6)
    assert 180e3 < power.max() <= 190e3 * (1 + 1e-9)


def test_torque_rises_to_a_plateau_and_falls_towards_the_redline() -> None:
    torque = np.array([powertrain.full_load_w(CAR, n, SEA_LEVEL) / (n * math.pi / 30.0) for n in RPMS])
    peak = RPMS[torque.argmax()]
    assert 2000.0 < peak < 4500.0
    assert 330.0 < torque.max() < 450.0
    assert torque[0] < 0.6 * torque.max()
    assert torque[-1] < 0.85 * torque.max()


def test_charger_makes_up_for_altitude_only_as_far_as_it_can() -> None:
    assert powertrain.full_load_pa(CAR, 3500.0, 96e3) == pytest.approx(205e3)  # some 450 m: held
    assert powertrain.full_load_pa(CAR, 3500.0, 80e3) == pytest.approx(205e3 * 80e3 / SEA_LEVEL * 1.08)  # some 2000 m


def test_power_limit_binds_when_it_is_the_lower_one() -> None:
    car = road_car(replace(CarNumbers(), engine=replace(CarNumbers().engine, peak_power_w=120e3)))
    assert max(powertrain.full_load_w(car, n, SEA_LEVEL) for n in RPMS) == pytest.approx(120e3)


@pytest.mark.parametrize(("speed_kmh", "low", "high"), [(80, 14e-3, 25e-3), (120, 22e-3, 40e-3)])
def test_air_flow_at_steady_speed(played: Callable[..., Played], speed_kmh: int, low: float, high: float) -> None:
    """Ranges: judgement from memory, no published source (120 km/h: road load scaled from 80)."""
    run = played({"do": "cruise", "speed_kmh": speed_kmh, "seconds": 60})
    assert low < run.air_flow_kg_s[run.drive_until - 1] < high


def test_idle(played: Callable[..., Played]) -> None:
    """4-6 g/s: judgement from memory, no published source."""
    run = played({"do": "idle", "seconds": 30})
    last = run.drive_until - 1
    assert 4e-3 < run.air_flow_kg_s[last] < 6e-3
    assert run.rpm[last] == 800.0
    assert run.pedal[last] == 0.0


def test_standing_start_to_100_kmh(played: Callable[..., Played]) -> None:
    """6-8 s for 1500 kg and 190 kW: judgement from memory, no published source."""
    run = played({"do": "stop", "seconds": 5}, {"do": "pull", "to_kmh": 100})
    assert 60 < labelled(run, "2 pull").sum() < 80
    assert run.rpm.max() <= 6300.0


def test_full_load_flow_is_reached_and_not_passed(played: Callable[..., Played]) -> None:
    run = played({"do": "cruise", "speed_kmh": 80, "seconds": 10}, {"do": "pull", "to_kmh": 180})
    flow = run.air_flow_kg_s[labelled(run, "2 pull")]
    assert 0.185 < flow.max() <= 0.19 * (1 + 1e-9)


def test_pedal_leads_plate_leads_boost(played: Callable[..., Played]) -> None:
    run = played({"do": "cruise", "speed_kmh": 80, "seconds": 30}, {"do": "pull", "to_kmh": 140})
    pull = np.flatnonzero(labelled(run, "2 pull"))

    def half_way(values: np.ndarray, goal: float) -> int:
        before = values[pull[0] - 1]
        return int(np.argmax(values[pull] >= before + 0.5 * (goal - before)))

    pedal, plate, pressure = half_way(run.pedal, 1.0), half_way(run.throttle, 1.0), half_way(run.map_pa, 205e3)
    assert pedal == 0
    assert pedal < plate < pressure
    assert pressure - plate >= 3


def test_slower_spool_means_later_boost_and_a_slower_car(played: Callable[..., Played]) -> None:
    car = CarNumbers()
    cruise, pull = {"do": "cruise", "speed_kmh": 60, "seconds": 30}, {"do": "pull", "to_kmh": 120}
    lengths, reached = [], []
    for tau_s in (0.3, 0.7, 1.5):
        run = played(cruise, pull, car=replace(car, engine=replace(car.engine, spool_tau_s=tau_s)))
        during = labelled(run, "2 pull")
        lengths.append(int(during.sum()))
        reached.append(int(np.argmax(run.map_pa[during] > 170e3)))
    assert lengths[0] < lengths[1] < lengths[2]
    assert reached[0] < reached[1] < reached[2]


def test_part_throttle_pull_stays_below_full_boost(played: Callable[..., Played]) -> None:
    tops = []
    for throttle_pct in (30, 60, 100):
        run = played(
            {"do": "cruise", "speed_kmh": 60, "seconds": 20},
            {"do": "pull", "to_kmh": 110, "throttle_pct": throttle_pct},
        )
        tops.append(run.map_pa[labelled(run, "2 pull")].max())
    assert tops[0] < SEA_LEVEL < tops[1] < tops[2]


def test_pull_shifts_at_the_redline_with_the_foot_off(played: Callable[..., Played]) -> None:
    run = played({"do": "stop", "seconds": 5}, {"do": "pull", "to_kmh": 150})
    pull = labelled(run, "2 pull")
    off = (run.pedal[pull] == 0.0).sum()
    assert off == 9  # three shifts of 0.3 s
    assert run.rpm[pull].max() > 6100.0


def test_thin_air_makes_the_car_slower(played: Callable[..., Played]) -> None:
    pull = ({"do": "stop", "seconds": 5}, {"do": "pull", "to_kmh": 120})
    lengths = [labelled(played(*pull, air=climate(pressure_pa=p)), "2 pull").sum() for p in (101325.0, 75e3)]
    assert lengths[1] > lengths[0] + 5


def test_gears_do_not_hunt(played: Callable[..., Played]) -> None:
    """Held speed, one gear; whatever the speed."""
    for speed_kmh in range(20, 200, 12):
        for grade_pct in (0, 5):
            run = played({"do": "cruise", "speed_kmh": speed_kmh, "seconds": 60, "grade_pct": grade_pct})
            rpm = run.rpm[run.drive_until - 300 : run.drive_until]
            assert np.ptp(rpm) < 30.0, (speed_kmh, grade_pct)
