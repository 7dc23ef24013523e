"""What the car can do at a moment: road load, engine power and manifold pressure, and the choice of gear.

Plain functions of numbers, SI; vehicle_kernel.py compiles them with its own. Design section 5.1.
"""

from __future__ import annotations

import math
from typing import NamedTuple

import numpy as np
from numpy.typing import NDArray

Floats = NDArray[np.float64]

GRAVITY = 9.80665  # standard gravity
AIR_GAS = 287.05  # J/kg K, dry air

# Gearbox: judgement, no published source.
UP_RPM = 1500.0  # a gear is taken once it gives this speed,
TOP_UP_RPM = 2000.0  # the top gear later
DOWN_RPM = 1150.0
UP_LOAD = 0.50  # and only if it then has this reserve, so that nobody shifts up in the middle of a hard pull
KICK_DOWN_LOAD = 0.85
KICK_DOWN_REDLINE = 0.90
PULL_REDLINE = 0.85  # a pull takes the lowest gear below this share of the redline; next gear up gives >= 3000 rpm
DWELL_S = 2.0
LAUNCH_RPM = 2800.0  # clutch slip at full throttle from standstill


class RoadCar(NamedTuple):
    """One car as the kernel needs it: floats only, SI."""

    mass_kg: float
    moving_kg: float  # mass with the rotating parts
    cda_m2: float
    crr: float
    driveline: float  # efficiency
    traction_n: float
    idle_rpm: float
    redline_rpm: float
    boost_starts_rpm: float
    boost_full_rpm: float
    flow_per_rpm_pa: float  # air flow = this * rpm * MAP
    work_j_kg: float  # indicated work per kilogram of air
    displacement_m3: float
    friction_a_pa: float
    friction_b: float
    friction_c: float
    accessory_w: float
    map_max_pa: float
    most_ratio: float  # largest pressure ratio over ambient
    peak_air_kg_s: float
    peak_power_w: float
    idle_map_pa: float
    plate_gain: float  # per tick, exact first-order steps
    spool_gain: float
    manifold_gain: float


def road_resistance_n(
    mass_kg: float, cda_m2: float, crr: float, air_speed_m_s: float, grade: float, density: float
) -> float:
    """0.5 rho CdA v|v| + Crr m g cos + m g sin, in N, of a moving car; `grade` is rise over run."""
    cosine = 1.0 / math.sqrt(1.0 + grade * grade)
    air = 0.5 * density * cda_m2 * air_speed_m_s * abs(air_speed_m_s)
    return air + mass_kg * GRAVITY * cosine * (crr + grade)


def brake_power_w(car: RoadCar, rpm: float, map_pa: float, ambient_pa: float) -> float:
    """Power at the crank: indicated minus friction (Chen-Flynn style), pumping and accessories; may be negative."""
    swept = car.displacement_m3 * rpm / 120.0
    friction = (car.friction_a_pa + car.friction_b * rpm + car.friction_c * rpm * rpm) * swept
    pumping = max(0.0, ambient_pa - map_pa) * swept
    return car.work_j_kg * car.flow_per_rpm_pa * rpm * map_pa - friction - pumping - car.accessory_w


def manifold_for_pa(car: RoadCar, rpm: float, brake_w: float, ambient_pa: float) -> float:
    """Manifold pressure that gives `brake_w`: the inverse of `brake_power_w`, linear on either side of ambient."""
    swept = car.displacement_m3 * rpm / 120.0
    friction = (car.friction_a_pa + car.friction_b * rpm + car.friction_c * rpm * rpm) * swept
    gain = car.work_j_kg * car.flow_per_rpm_pa * rpm
    need = brake_w + friction + car.accessory_w
    if need >= gain * ambient_pa:
        return need / gain
    return (need + ambient_pa * swept) / (gain + swept)


def full_load_pa(car: RoadCar, rpm: float, ambient_pa: float) -> float:
    """Manifold pressure at full load once the boost is there, limited by air flow and power."""
    x = (rpm - car.boost_starts_rpm) / max(1.0, car.boost_full_rpm - car.boost_starts_rpm)
    x = min(1.0, max(0.0, x))
    top = min(car.map_max_pa, ambient_pa * car.most_ratio)
    pressure = ambient_pa + max(0.0, top - ambient_pa) * x * x * (3.0 - 2.0 * x)
    pressure = min(pressure, car.peak_air_kg_s / (car.flow_per_rpm_pa * rpm))
    pressure = min(pressure, manifold_for_pa(car, rpm, car.peak_power_w, ambient_pa))
    return max(pressure, car.idle_map_pa)


def full_load_w(car: RoadCar, rpm: float, ambient_pa: float) -> float:
    """Power at the crank at full load."""
    return brake_power_w(car, rpm, full_load_pa(car, rpm, ambient_pa), ambient_pa)


def engine_rpm(car: RoadCar, gear_m_s_per_rpm: float, speed_m_s: float, first: float, plate: float) -> float:
    """Engine speed with the clutch closed, or slipping when pulling away in first gear."""
    least = car.idle_rpm
    if first > 0.0:
        least += max(0.0, LAUNCH_RPM - car.idle_rpm) * plate
    return min(max(speed_m_s / gear_m_s_per_rpm, least), car.redline_rpm)


def road_gear(  # noqa: PLR0911 - one way out per rule, in their order of rank
    car: RoadCar, gears: Floats, gear: int, since_s: float, speed_m_s: float, demand_w: float, ambient_pa: float
) -> int:
    """Gear in ordinary driving: shift speeds with hysteresis, kick-down when the gear is nearly used up."""
    top = len(gears) - 1
    rpm = speed_m_s / gears[gear]
    if rpm > car.redline_rpm and gear < top:
        return gear + 1
    if gear > 0 and rpm < car.idle_rpm:
        return gear - 1
    if since_s < DWELL_S:
        return gear
    if gear > 0 and demand_w > KICK_DOWN_LOAD * full_load_w(car, max(rpm, car.idle_rpm), ambient_pa):
        lower = speed_m_s / gears[gear - 1]
        if lower <= KICK_DOWN_REDLINE * car.redline_rpm:
            return gear - 1
    if gear < top:
        upper = speed_m_s / gears[gear + 1]
        if upper >= (TOP_UP_RPM if gear + 1 == top else UP_RPM) and demand_w <= UP_LOAD * full_load_w(
            car, upper, ambient_pa
        ):
            return gear + 1
    if gear > 0 and rpm < DOWN_RPM:
        return gear - 1
    return gear


def pull_gear(car: RoadCar, gears: Floats, gear: int, speed_m_s: float) -> int:
    """Gear of a pull: the lowest that stays under 85 % of the redline, up at the redline."""
    top = len(gears) - 1
    if speed_m_s / gears[gear] >= car.redline_rpm:
        return min(top, gear + 1)
    while gear > 0 and speed_m_s / gears[gear - 1] <= PULL_REDLINE * car.redline_rpm:
        gear -= 1
    return gear
