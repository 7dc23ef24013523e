"""The car on the road, tick by tick: road load, gearbox, engine, and the lags of pedal, plate and boost.

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
from arena.timetable.standard import HEAD_WIND_SHARE

Floats = NDArray[np.float64]

GRAVITY = 9.80665  # standard gravity
AIR_GAS = 287.05  # J/kg K, dry air
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
UP_RPM = 1500.0  # a gear is taken once it gives this speed,
TOP_UP_RPM = 2000.0  # the top gear later
DOWN_RPM = 1150.0
UP_LOAD = 0.50  # and only if it then has this reserve, so that nobody shifts up in the middle of a hard pull
KICK_DOWN_LOAD = 0.85
KICK_DOWN_REDLINE = 0.90
PULL_REDLINE = 0.85  # a pull takes the lowest gear below this share of the redline; next gear up gives >= 3000 rpm
DWELL_S = 2.0
LIFT_TICKS = 3.0  # the foot comes off for 0.3 s at a shift under full throttle
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
    from numba import float64, int64, typeof, types, void

    car = typeof(RoadCar(*[0.0] * len(RoadCar._fields)))
    order = typeof(Order())
    flat, grid = float64[::1], float64[:, ::1]
    air = types.UniTuple(float64, 3)
    four = types.UniTuple(float64, 4)
    signatures: list[tuple[Callable[..., Any], Any]] = [
        (road_resistance_n, float64(*[float64] * 6)),
        (brake_power_w, float64(car, float64, float64, float64)),
        (manifold_for_pa, float64(car, float64, float64, float64)),
        (full_load_pa, float64(car, float64, float64)),
        (full_load_w, float64(car, float64, float64)),
        (engine_rpm, float64(car, float64, float64, float64, float64)),
        (road_gear, int64(car, flat, int64, float64, float64, float64, float64)),
        (pull_gear, int64(car, flat, int64, float64)),
        (ramp_acceleration, float64(flat, order)),
        (along, float64(flat, float64)),
        (follow_acceleration, float64(flat, flat)),
        (demand_tick, four(car, flat, flat, float64, air, float64)),
        (pull_tick, four(car, flat, flat, float64, air, float64)),
        (engine_follows, void(car, flat, float64, float64, float64)),
        (advance, float64(grid, int64, flat, car, flat, order, flat, flat)),
        (why_stop, int64(flat, order, float64, int64)),
        (
            integrate,
            types.Tuple((int64, int64, float64))(grid, int64, int64, flat, car, flat, order, flat, flat),
        ),
    ]
    return compile_together(globals(), signatures)["integrate"]
