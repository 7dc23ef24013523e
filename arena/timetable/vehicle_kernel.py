"""The car on the road, tick by tick: what the driver wants, what the car (powertrain.py) can, and the lags between.

Plain functions of numbers and flat arrays; `compiled()` builds the fast copies on first use. Every force
acts over a whole tick and every speed recorded is the tick's mean, so wheel work equals the change of
kinetic energy plus losses to rounding.
"""

from __future__ import annotations

import functools
import math
from collections.abc import Callable
from typing import Any, NamedTuple

import numpy as np
from numpy.typing import NDArray

from arena.timetable.compiling import compile_together
from arena.timetable.powertrain import (
    AIR_GAS,
    DWELL_S,
    RoadCar,
    brake_power_w,
    engine_rpm,
    full_load_pa,
    full_load_w,
    manifold_for_pa,
    pull_gear,
    road_gear,
    road_resistance_n,
)
from arena.timetable.standard import HEAD_WIND_SHARE

Floats = NDArray[np.float64]

TICK = 0.1

# Rows of the record, shape (ROWS, capacity).
(
    SPEED_ROW,
    GRADE_ROW,
    PEDAL_ROW,
    PLATE_ROW,
    RPM_ROW,
    MAP_ROW,
    AIR_ROW,
    WHEEL_ROW,
    ENGINE_ON_ROW,
    KEY_ROW,
    CRANK_ROW,
    FAN_ROW,
    ENGINE_K_ROW,
    AMBIENT_K_ROW,
    AMBIENT_PA_ROW,
    HUMIDITY_ROW,
    WIND_ROW,
    BAY_ROW,
) = range(18)
ROWS = 18

# Places of the vehicle's state.
SPEED, WANT, WANT_A, PLATE, BOOST, MAP, GEAR, SINCE_SHIFT, LIFT, POSITION = range(10)
STATES = 10

# How a segment is driven, and why it ended.
RAMP, FOLLOW, THROTTLE = 0.0, 1.0, 2.0
TIME_UP, REACHED, AT_MARK = 0, 1, 2
_GOING = 3

# Driver and gearbox: judgement, no published source.
REACHED_M_S = 0.14  # half a km/h
SNAP_M_S = 0.05
LEAST_RATE_M_S2 = 0.35  # the last bit of an approach is not drawn out further
JERK_PER_S = 1.5  # share of the wanted acceleration taken up per second, times this
CATCH_UP_S = 1.0  # a driver behind the wanted speed makes it up over this time
MOST_BEHIND_M_S = 1.0  # the wanted speed waits for a car that cannot follow
FOLLOW_ACCELERATE_M_S2 = 6.0
FOLLOW_BRAKE_M_S2 = 12.0
STRETCH_BEHIND_M_S = 2.0 / 3.6  # further behind than this, a trace is followed by distance
SLOWEST_CLOCK = 0.1
LIFT_TICKS = 3.0  # the foot comes off for 0.3 s at a shift under full throttle


class Order(NamedTuple):
    """What the driver is to do in one segment: floats only, SI."""

    mode: float = RAMP
    target_m_s: float = 0.0
    accelerate_m_s2: float = 1.2
    brake_m_s2: float = 1.8
    ease_s: float = 1.2  # 0: straight to the target at the full rate
    until_reached: float = 0.0
    throttle: float = 0.0
    grade: float = 0.0
    mark_m: float = np.inf  # a place ahead, to be passed at mark_m_s braking at mark_brake_m_s2
    mark_m_s: float = np.inf
    mark_brake_m_s2: float = 1.8
    margin_s: float = 0.0  # brakes so much earlier


def ramp_acceleration(state: Floats, order: Order) -> float:
    """Move the wanted speed towards the target (limited rate and jerk, eased in); acceleration wanted of the car."""
    speed: float = state[SPEED]
    want: float = min(state[WANT], speed + MOST_BEHIND_M_S)
    gap = order.target_m_s - want
    if order.ease_s > 0.0:
        eased = abs(gap) / order.ease_s
        eased = max(eased, min(LEAST_RATE_M_S2, abs(gap) / TICK))
        goal = min(max(math.copysign(eased, gap), -order.brake_m_s2), order.accelerate_m_s2)
        most = JERK_PER_S * TICK * (order.accelerate_m_s2 if goal > state[WANT_A] else order.brake_m_s2)
        rate = state[WANT_A] + min(max(goal - state[WANT_A], -most), most)
        if abs(gap) < SNAP_M_S and abs(rate) < 1.0:
            rate = gap / TICK
    else:
        rate = min(max(gap / TICK, -order.brake_m_s2), order.accelerate_m_s2)
    wanted_a: float = rate + (want - speed) / CATCH_UP_S
    state[WANT] = max(0.0, want + rate * TICK)
    state[WANT_A] = rate if abs(gap) >= SNAP_M_S else 0.0
    return wanted_a


def along(values: Floats, position: float) -> float:
    """Linear interpolation in a trace at a position in ticks."""
    last = len(values) - 1
    at = min(max(position, 0.0), float(last))
    low = min(int(at), last - 1)
    share = at - low
    value: float = values[low]
    if share > 0.0:
        value += share * (values[low + 1] - value)
    return value


def follow_acceleration(state: Floats, wanted: Floats) -> float:
    """Acceleration that keeps to a speed trace, catching up within a second when behind or ahead."""
    now = along(wanted, state[POSITION])
    rate: float = (along(wanted, state[POSITION] + 1.0) - now) / TICK
    rate += (now - state[SPEED]) / CATCH_UP_S
    state[WANT] = now
    state[WANT_A] = 0.0
    return min(max(rate, -FOLLOW_BRAKE_M_S2), FOLLOW_ACCELERATE_M_S2)


def demand_tick(
    car: RoadCar, gears: Floats, state: Floats, wanted_a: float, air: tuple[float, float, float], grade: float
) -> tuple[float, float, float, float]:
    """One tick of a driver who wants `wanted_a`; air = (density, ambient_pa, head wind).

    Returns pedal, rpm, full-load power, force at the wheels; sets the speed and the gear. The force asked
    for is given at once as far as the boost that is there allows.
    """
    density, ambient_pa, head = air
    speed = state[SPEED]
    after = max(0.0, speed + wanted_a * TICK)
    middle = 0.5 * (speed + after)
    resistance = road_resistance_n(car.mass_kg, car.cda_m2, car.crr, middle + head, grade, density)
    force = car.moving_kg * (after - speed) / TICK + resistance if middle > 0.0 else 0.0
    gear = int(state[GEAR])
    chosen = road_gear(
        car, gears, gear, state[SINCE_SHIFT], middle, max(0.0, force) * middle / car.driveline, ambient_pa
    )
    state[SINCE_SHIFT] = 0.0 if chosen != gear else state[SINCE_SHIFT] + TICK
    state[GEAR] = chosen
    rpm = engine_rpm(car, gears[chosen], middle, 1.0 if chosen == 0 else 0.0, state[PLATE] if force > 0.0 else 0.0)
    shaft_speed = max(rpm * gears[chosen], middle)
    full_pa = full_load_pa(car, rpm, ambient_pa)
    full_w = brake_power_w(car, rpm, full_pa, ambient_pa)
    state[MAP] = min(state[MAP], full_pa)
    pedal = 0.0
    if force > 0.0:
        pedal = min(1.0, force * shaft_speed / car.driveline / full_w) if full_w > 0.0 else 1.0
        there_w = brake_power_w(car, rpm, min(full_pa, ambient_pa + state[BOOST]), ambient_pa)
        most = min(car.traction_n, max(0.0, there_w) * car.driveline / shaft_speed)
        if force > most:
            force = most
            after = max(0.0, speed + (most - resistance) / car.moving_kg * TICK)
    state[SPEED] = after
    return pedal, rpm, full_w, force


def pull_tick(
    car: RoadCar, gears: Floats, state: Floats, throttle: float, air: tuple[float, float, float], grade: float
) -> tuple[float, float, float, float]:
    """One tick with the pedal held still; returns pedal, rpm, manifold pressure aimed at, force at the wheels."""
    density, ambient_pa, head = air
    speed = state[SPEED]
    gear = int(state[GEAR])
    if state[LIFT] <= 0.0:
        chosen = pull_gear(car, gears, gear, speed)
        if chosen > gear:
            state[LIFT] = LIFT_TICKS
        state[GEAR] = chosen
    gear = int(state[GEAR])
    pedal = 0.0 if state[LIFT] > 0.0 else throttle
    rpm = engine_rpm(car, gears[gear], speed, 1.0 if gear == 0 else 0.0, state[PLATE])
    shaft_speed = max(rpm * gears[gear], speed)
    full_pa = full_load_pa(car, rpm, ambient_pa)
    state[MAP] = min(state[MAP], full_pa)
    goal_pa = car.idle_map_pa + state[PLATE] * (full_pa - car.idle_map_pa)
    force = 0.0
    if state[LIFT] > 0.0:
        state[LIFT] -= 1.0
    elif speed / gears[gear] < car.redline_rpm:
        power = brake_power_w(car, rpm, state[MAP], ambient_pa)
        force = (power * car.driveline if power > 0.0 else power / car.driveline) / shaft_speed
        if force > car.traction_n:  # the driven wheels would spin: torque is taken out
            force = car.traction_n
            goal_pa = min(goal_pa, manifold_for_pa(car, rpm, force * shaft_speed / car.driveline, ambient_pa))
    resistance = road_resistance_n(car.mass_kg, car.cda_m2, car.crr, speed + head, grade, density)
    ahead = max(0.0, speed + 0.5 * TICK * (force - resistance) / car.moving_kg)
    resistance = road_resistance_n(car.mass_kg, car.cda_m2, car.crr, ahead + head, grade, density)
    state[SPEED] = max(0.0, speed + TICK * (force - resistance) / car.moving_kg)
    state[WANT] = state[SPEED]
    state[WANT_A] = 0.0
    state[SINCE_SHIFT] = DWELL_S
    return pedal, rpm, goal_pa, force


def engine_follows(car: RoadCar, state: Floats, pedal: float, goal_pa: float, ambient_pa: float) -> None:
    """One tick of the three lags: plate after pedal, boost after the manifold pressure aimed at, MAP after both."""
    state[PLATE] += car.plate_gain * (pedal - state[PLATE])
    state[BOOST] += car.spool_gain * (max(0.0, goal_pa - ambient_pa) - state[BOOST])
    state[MAP] += car.manifold_gain * (min(goal_pa, ambient_pa + state[BOOST]) - state[MAP])


def advance(
    rec: Floats, row: int, state: Floats, car: RoadCar, gears: Floats, order: Order, wanted: Floats, slope: Floats
) -> float:
    """Play one tick into column `row` of the record; returns the distance covered in metres."""
    ambient_pa = rec[AMBIENT_PA_ROW, row]
    air = (ambient_pa / (AIR_GAS * rec[AMBIENT_K_ROW, row]), ambient_pa, HEAD_WIND_SHARE * rec[WIND_ROW, row])
    before = state[SPEED]
    grade = order.grade
    plate = state[PLATE]
    if order.mode == THROTTLE:
        pedal, rpm, goal_pa, force = pull_tick(car, gears, state, order.throttle, air, grade)
    else:
        if order.mode == FOLLOW:
            grade = along(slope, state[POSITION])
            wanted_a = follow_acceleration(state, wanted)
        else:
            wanted_a = ramp_acceleration(state, order)
        pedal, rpm, full_w, force = demand_tick(car, gears, state, wanted_a, air, grade)
        goal_pa = max(manifold_for_pa(car, rpm, plate * full_w, ambient_pa), car.idle_map_pa)
        if order.mode == FOLLOW:
            aim = along(wanted, state[POSITION] + 1.0)
            behind = aim - state[SPEED] > STRETCH_BEHIND_M_S
            state[POSITION] += max(SLOWEST_CLOCK, state[SPEED] / aim) if behind else 1.0
    pressure = state[MAP]  # as it is during this tick; the lags move it on for the next
    engine_follows(car, state, pedal, goal_pa, ambient_pa)
    middle: float = 0.5 * (before + state[SPEED])
    rec[SPEED_ROW, row] = middle
    rec[GRADE_ROW, row] = grade
    rec[PEDAL_ROW, row] = pedal
    rec[PLATE_ROW, row] = plate
    rec[RPM_ROW, row] = rpm
    rec[MAP_ROW, row] = pressure
    rec[AIR_ROW, row] = car.flow_per_rpm_pa * rpm * pressure
    rec[WHEEL_ROW, row] = force * middle
    rec[ENGINE_ON_ROW, row] = 1.0
    rec[KEY_ROW, row] = 1.0
    rec[CRANK_ROW, row] = 0.0
    return middle * TICK


def why_stop(state: Floats, order: Order, travelled_m: float, trace_ticks: int) -> int:  # noqa: PLR0911
    """Why the segment is over now, or that it is not."""
    speed = state[SPEED]
    if order.mode == FOLLOW:
        return REACHED if state[POSITION] >= trace_ticks - 1e-9 else _GOING
    if order.mode == THROTTLE and speed >= order.target_m_s:
        return REACHED
    if order.until_reached > 0.0:
        if order.target_m_s > 0.0 and abs(speed - order.target_m_s) <= REACHED_M_S:
            return REACHED
        if order.target_m_s == 0.0 and speed == 0.0:
            return REACHED
    ahead = order.mark_m - travelled_m
    if ahead <= 0.0:
        return AT_MARK
    if speed > order.mark_m_s:
        needed = (speed * speed - order.mark_m_s * order.mark_m_s) / (2.0 * order.mark_brake_m_s2)
        if needed + speed * order.margin_s >= ahead:
            return AT_MARK
    return _GOING


def integrate(
    rec: Floats,
    start: int,
    longest: int,
    state: Floats,
    car: RoadCar,
    gears: Floats,
    order: Order,
    wanted: Floats,
    slope: Floats,
) -> tuple[int, int, float]:
    """Play a segment from tick `start` for at most `longest` ticks; returns ticks, reason, metres.

    `rec` has shape (ROWS, capacity) with the ambient rows filled; `wanted` and `slope` are the trace at
    whole ticks (one more value than ticks) and are only read in FOLLOW. Ticks may be 0.
    """
    travelled = 0.0
    ticks = 0
    reason = why_stop(state, order, travelled, len(wanted) - 1)
    while reason == _GOING and ticks < longest:
        travelled += advance(rec, start + ticks, state, car, gears, order, wanted, slope)
        ticks += 1
        reason = why_stop(state, order, travelled, len(wanted) - 1)
    return ticks, (TIME_UP if reason == _GOING else reason), travelled


@functools.cache
def compiled() -> Callable[..., Any]:
    """The compiled `integrate`; built on first use."""
    from numba import float64, int64, typeof, types

    car = typeof(RoadCar(*[0.0] * len(RoadCar._fields)))
    order = typeof(Order())
    flat, grid = float64[::1], float64[:, ::1]
    played = types.Tuple((int64, int64, float64))
    return compile_together(
        [
            *(road_resistance_n, brake_power_w, manifold_for_pa, full_load_pa, full_load_w, engine_rpm),
            *(road_gear, pull_gear, ramp_acceleration, along, follow_acceleration),
            *(demand_tick, pull_tick, engine_follows, advance, why_stop, integrate),
        ],
        played(grid, int64, int64, flat, car, flat, order, flat, flat),
    )
