"""Road load and wheel energy against the closed form, and the energy account of what was played."""

from __future__ import annotations

from collections.abc import Callable

import numpy as np
import pytest
from timetable_builders import climate, cycle, labelled

from arena.plant.numbers import CarNumbers
from arena.timetable import powertrain
from arena.timetable.outing import TICK_S, Played


# Source: closed form (0.5 rho CdA v^2 + Crr m g cos + m g sin) v with g = 9.80665.
@pytest.mark.parametrize(
    ("mass_kg", "cda_m2", "crr", "density", "speed_kmh", "grade", "power_kw"),
    [
        (1500.0, 0.65, 0.011, 1.2, 100.0, 0.0, 12.854),
        (1500.0, 0.65, 0.011, 1.2, 130.0, 0.0, 24.208),
        (1500.0, 0.65, 0.011, 1.2, 50.0, 0.0, 3.292),
        (1500.0, 0.65, 0.011, 1.2, 100.0, 0.05, 33.253),
        (1600.0, 0.70, 0.010, 1.225, 100.0, 0.0, 13.548),
    ],
)
def test_power_at_steady_speed(
    mass_kg: float, cda_m2: float, crr: float, density: float, speed_kmh: float, grade: float, power_kw: float
) -> None:
    speed = speed_kmh / 3.6
    force = powertrain.road_resistance_n(mass_kg, cda_m2, crr, speed, grade, density)
    assert force * speed / 1e3 == pytest.approx(power_kw, rel=1e-4)


# Source: closed form over the 1 Hz traces, mid-interval speed, no rotating inertia, positive power only.
@pytest.mark.parametrize(
    ("name", "energy_mj"),
    [("wltc_class3b", 11.5277), ("us_udds_ftp72", 5.1653), ("us_hwfet", 6.6470), ("us_us06", 8.3504)],
)
def test_wheel_energy_of_standard_cycles(name: str, energy_mj: float) -> None:
    trace = cycle(name)
    middle = 0.5 * (trace.speed_m_s[1:] + trace.speed_m_s[:-1])
    rate = np.diff(trace.speed_m_s) / np.diff(trace.time_s)
    force = np.array([powertrain.road_resistance_n(1500.0, 0.65, 0.011, v, 0.0, 1.2) for v in middle])
    power = (force + 1500.0 * rate) * middle
    assert np.sum(np.maximum(power, 0.0) * np.diff(trace.time_s)) / 1e6 == pytest.approx(energy_mj, rel=1e-4)


def test_head_wind_costs_power_and_tail_of_the_square_law_keeps_its_sign() -> None:
    still = powertrain.road_resistance_n(1500.0, 0.65, 0.0, 20.0, 0.0, 1.2)
    assert powertrain.road_resistance_n(1500.0, 0.65, 0.0, 25.0, 0.0, 1.2) == pytest.approx(still * 25**2 / 20**2)
    assert powertrain.road_resistance_n(1500.0, 0.65, 0.0, -20.0, 0.0, 1.2) == pytest.approx(-still)


def test_wheel_work_is_kinetic_energy_plus_losses(played: Callable[..., Played]) -> None:
    """From standstill to standstill over hills: what the wheels did went into air, tyres and height."""
    run = played(
        {"do": "stop", "seconds": 5},
        {"do": "pull", "to_kmh": 130, "grade_pct": 4},
        {"do": "cruise", "speed_kmh": 90, "seconds": 60, "grade_pct": -2},
        {"do": "brake", "to_kmh": 60},
        {"do": "stop", "seconds": 20},
    )
    body = CarNumbers().body
    during = slice(run.score_from, run.drive_until)
    speed, grade = run.speed_m_s[during], run.grade[during]
    density = run.ambient_pa[0] / (powertrain.AIR_GAS * run.ambient_k[0])
    air_j = np.sum(0.5 * density * body.cda_m2 * speed**3) * TICK_S
    along = speed / np.sqrt(1.0 + grade**2) * body.mass_kg * powertrain.GRAVITY
    tyre_j, height_j = body.crr * np.sum(along) * TICK_S, np.sum(along * grade) * TICK_S
    work_j = np.sum(run.wheel_w[during]) * TICK_S
    assert work_j == pytest.approx(air_j + tyre_j + height_j, abs=2e-3 * np.sum(np.abs(run.wheel_w[during])) * TICK_S)


def test_kinetic_energy_after_a_pull_is_wheel_work_less_losses(played: Callable[..., Played]) -> None:
    run = played({"do": "stop", "seconds": 5}, {"do": "pull", "to_kmh": 140})
    body = CarNumbers().body
    pull = labelled(run, "2 pull")
    speed = run.speed_m_s[pull]
    density = run.ambient_pa[0] / (powertrain.AIR_GAS * run.ambient_k[0])
    lost = 0.5 * density * body.cda_m2 * speed**3 + body.crr * body.mass_kg * powertrain.GRAVITY * speed
    final = speed[-1] + 0.5 * (speed[-1] - speed[-2])
    gained_j = 0.5 * body.mass_kg * (1.0 + body.rotating) * final**2
    assert np.sum(run.wheel_w[pull] - lost) * TICK_S == pytest.approx(gained_j, rel=3e-3)


def test_wind_makes_the_engine_work_harder(played: Callable[..., Played]) -> None:
    cruise = {"do": "cruise", "speed_kmh": 110, "seconds": 60}
    flow = [
        played(cruise, air=climate(wind_m_s=wind)).air_flow_kg_s[played(cruise).drive_until - 5] for wind in (0.0, 10.0)
    ]
    assert flow[1] > 1.1 * flow[0]
