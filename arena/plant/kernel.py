"""The inner loop: one outing, LANES candidates at once, one tick of 0.1 s after another.

Each metal/coolant pair is solved together by the implicit midpoint rule, the sweep runs with the flow, and
the loop is closed at one mixed cell whose outflow is extrapolated and used on both sides of the link, so heat
is conserved to rounding. No exp or pow: what does not depend on the candidate is compiled into X beforehand,
the rest comes from tables. See docs/model.md for the equations.

Inside a core or front cell the coolant has the exponential profile it takes along metal of one temperature:
with n = G / F (conductance over flow capacity), E = G / (exp(n) - 1) and outflow c, inflow u, metal m, the
coolant gives the metal  (F - E) u + (G - F + E) c - G m. E goes to F as n goes to 0 and to 0 with no flow, so
every coefficient is positive. By the midpoint rule a new value keeps within the range of its neighbours as long as a
cell's 2C/dt exceeds what ties it to them (G + E of coolant, F of a hose cell, A + G of metal): the shipped car's core
does so up to 27 L/min, its hoses up to 51. Faster flow may overshoot, and dies out as the midpoint rule does.
"""

from __future__ import annotations

import math
from typing import Any

import numpy as np

from arena.plant.circuit import close, core, front, hose_1, hose_2, hose_3_and_close, leave_and_hose_1
from arena.plant.jit import compiled, compiled_in_place, compiled_within
from arena.plant.layout import (
    AMPS_RATIO, APPLIED, BATTERY_A, COLD_CRUISE, CONDENSING, COOLANT_READING, CORE_COLDEST, CORE_HOTTEST, CORE_IN,
    CORE_METAL, CORE_OUT, CURRENT, DELAY, DUTY, ENERGY, FAILED, FLOW, FRONT_IN, FRONT_OUT, HEAT_AIR, HEAT_OUT,
    HOT_BOOST, HOT_CRUISE, IAT, IS_PWM, LANES, LINK, MOTOR_V, OHM_A, OHM_B, OMEGA, OVER, P_BOIL, P_BRUSH, P_DELAY,
    P_DUTY_STEP, P_FLOW_STEP, P_FREEZE, P_FRICTION, P_KE, P_LEAD, P_PERIOD, P_QUIET, P_QUIET_KMH, P_RATED_A, P_RATED_W,
    P_REACH, P_RESISTANCE, P_SIDE_SHARE, P_SIGNAL, P_SOFT, P_SPEED_STEP, P_SPIN_K, P_SPIN_MEAN, P_STALL_TICKS,
    P_START_A, P_STEP, P_TARGET, P_TEMP_0, P_TEMP_STEP, P_VOLUME_C, PER_OHM, POWER_KEPT, PROBE, PUMP_TICKS, QUIET,
    QUIET_CAP, REACHED, READING, REASON, RESISTOR_W, RUN_ON_S, SERIES_OHM, SIDE, SPEED, SPEED_SHARE, SQUARES, STALL,
    STARTS, TORQUE_C, TOTAL_OHM, VOLTS, VOLTS_RATIO, WAS_ON, WEAR_1, WEAR_2, WEAR_15, X_BOOST, X_BOOST_ROW, X_COLD_T,
    X_COLUMNS, X_CRUISE, X_DEW, X_FAULT_READING, X_HOT_T, X_KEY, X_KEY_OFF_S, X_LIMIT, X_LIMIT_T, X_NOISE, X_PROBE0,
    X_PROBE1, X_PROBE_K, X_REACH, X_SCORED, X_SPEED, X_STILL, X_SUPPLY,
    T_IAT, T_READING, T_CORE_METAL, T_CORE_IN, T_CORE_OUT, T_FRONT_IN, T_FRONT_OUT, T_TANK, T_DUTY,
    T_PUMP_V, T_PUMP_A, T_PUMP_SPEED, T_FLOW, T_SUPPLY_W, T_RESISTOR_W, T_HEAT_AIR, T_HEAT_OUT,
)  # fmt: skip
from arena.plant.look_ups import TOGETHER, duty_look_up, exchanger_look_up, flow_look_up
from arena.plant.rows import lanes_at_once, swept

HELD_FAST = 1e4  # N m s2: no motor of this size turns at 1 rad/s against it

find_duty, find_flow, find_conductances = duty_look_up(), flow_look_up(), exchanger_look_up()


@compiled
def actuate(S: Any, X: Any, o: int, P: Any, used: int) -> None:
    """From what the law asks to what reaches the pump: key, quiet cap, resolution, start delay, soft start."""
    key, off_s, scored = 1.0 if X[o + X_KEY] > 0.0 else 0.0, X[o + X_KEY_OFF_S], X[o + X_SCORED]
    slow = 1.0 if X[o + X_SPEED] <= P[P_QUIET_KMH] else 0.0
    stepped, step = 1.0 if P[P_DUTY_STEP] > 0.0 else 0.0, max(P[P_DUTY_STEP], 1e-9)
    delay, softer = P[P_DELAY], P[P_SOFT]
    for n in range(used):  # nothing conditional is stored and nothing shared is read, or it goes lane by lane
        asked, failed, reason = S[DUTY * LANES + n], S[FAILED * LANES + n], S[REASON * LANES + n]
        usable = (1.0 if asked >= 0.0 else 0.0) * (1.0 if asked <= 1.0 else 0.0)
        fails = (1.0 - usable) * key * (1.0 if failed < 0.0 else 0.0)
        S[REASON * LANES + n] = reason + fails * (3.0 - reason)
        S[FAILED * LANES + n] = failed + fails * (-2.0 - failed)  # the tick is filled in by `judge`
        asked = asked if usable > 0.0 else 0.0
        top = min(S[QUIET_CAP * LANES + n], 1.0) if slow > 0.0 else 1.0
        asked = min(asked, top) * max(key, 1.0 if off_s < S[RUN_ON_S * LANES + n] else 0.0)
        whole = np.floor(min(asked / step + 0.5, top / step + 1e-9)) * step  # a cap holds, so it is not rounded up
        asked = min(whole, top) if stepped * S[IS_PWM * LANES + n] > 0.0 else asked  # a relay has its own steps
        on = 1.0 if asked > 0.0 else 0.0
        started = on * (1.0 - S[WAS_ON * LANES + n])
        S[WAS_ON * LANES + n] = on
        S[STARTS * LANES + n] += started * scored
        waited = max(S[DELAY * LANES + n] - 1.0, 0.0)
        wait = delay if started > 0.0 else waited
        S[DELAY * LANES + n] = wait
        given = asked if wait < 1.0 else 0.0
        soft = min(given, S[APPLIED * LANES + n] + softer)
        S[APPLIED * LANES + n] = soft if S[IS_PWM * LANES + n] > 0.0 else given


@compiled_within
def look_up_duty(S: Any, duty_table: Any, used: int) -> None:
    """What pulse-width modulation makes of a duty, and a pump's own controller of its signal."""
    for n in range(0, used, TOGETHER):
        find_duty(S, n, duty_table, (0.0,))


@compiled_within
def motor(S: Any, X: Any, o: int, P: Any, used: int) -> None:
    """Where the motor settles at this voltage, and its mean speed over the tick.

    Torque balance ke (V - ke w) / R = friction + c w^2 with c from the table at the speed of the tick before.
    """
    supply = X[o + X_SUPPLY]
    resistance, ke, brush, friction = P[P_RESISTANCE], P[P_KE], P[P_BRUSH], P[P_FRICTION]
    lead, start_a, signal = P[P_LEAD], P[P_START_A], P[P_SIGNAL] > 0.0
    spin_mean, spin_new = P[P_SPIN_MEAN], 1.0 - P[P_SPIN_K]
    for n in range(used):
        duty = S[APPLIED * LANES + n]
        pwm = S[IS_PWM * LANES + n]
        half, whole = S[OHM_A * LANES + n], S[OHM_B * LANES + n]
        through = whole if duty > 0.5001 else half
        series = (1.0 - pwm) * (0.0 if duty > 0.999 else through)
        switched = pwm * duty + (1.0 - pwm)
        S[SERIES_OHM * LANES + n] = series
        S[VOLTS * LANES + n] = supply * (pwm * duty * S[VOLTS_RATIO * LANES + n] + (1.0 - pwm)) - brush
        S[TOTAL_OHM * LANES + n] = resistance + lead * switched + series
    if signal:
        for n in range(used):
            S[VOLTS * LANES + n] = supply - brush
            S[TOTAL_OHM * LANES + n] = resistance + lead
    for n in range(used):
        volts, total, old = S[VOLTS * LANES + n], S[TOTAL_OHM * LANES + n], S[OMEGA * LANES + n]
        duty = S[APPLIED * LANES + n]
        per_ohm = 1.0 / total
        S[PER_OHM * LANES + n] = per_ohm
        a = ke * volts * per_ohm - friction
        b = ke * ke * per_ohm
        goal = 2.0 * a / (b + math.sqrt(max(b * b + 4.0 * a * S[TORQUE_C * LANES + n], 0.0)))
        breaks_away = 1.0 if old > 1.0 else (1.0 if volts >= start_a * total else 0.0)
        on = 1.0 if duty > 0.0 else 0.0
        goal = max(goal, 0.0) * breaks_away * on * (S[SPEED_SHARE * LANES + n] if signal else 1.0)
        mean = goal + (old - goal) * spin_mean
        new = goal + (old - goal) * spin_new
        goes_on = 1.0 if goal >= 1.0 else 0.0
        moving = max(goes_on, 1.0 if new >= 1.0 else 0.0)
        S[OMEGA * LANES + n] = new * moving
        S[SPEED * LANES + n] = mean * moving


@compiled
def pump_currents(S: Any, X: Any, o: int, P: Any, used: int) -> None:
    """Currents, voltages and resistor heat at the mean speed of the tick."""
    supply = X[o + X_SUPPLY]
    resistance, ke, brush, friction = P[P_RESISTANCE], P[P_KE], P[P_BRUSH], P[P_FRICTION]
    for n in range(used):
        duty, pwm, speed = S[APPLIED * LANES + n], S[IS_PWM * LANES + n], S[SPEED * LANES + n]
        on = 1.0 if duty > 0.0 else 0.0
        total = S[TOTAL_OHM * LANES + n]
        current = on * max((S[VOLTS * LANES + n] - ke * speed) * S[PER_OHM * LANES + n], 0.0)
        drawn = pwm * duty * S[AMPS_RATIO * LANES + n] + (1.0 - pwm)
        S[CURRENT * LANES + n] = current
        S[BATTERY_A * LANES + n] = current * drawn
        S[MOTOR_V * LANES + n] = on * (S[VOLTS * LANES + n] + brush - current * (total - resistance))
        S[RESISTOR_W * LANES + n] = current * current * S[SERIES_OHM * LANES + n]
        stalled = on * (1.0 if S[OMEGA * LANES + n] == 0.0 else 0.0) * (1.0 if S[DELAY * LANES + n] < 1.0 else 0.0)
        S[STALL * LANES + n] = stalled * (S[STALL * LANES + n] + 1.0)
    if P[P_SIGNAL] > 0.0:
        for n in range(used):
            speed = S[SPEED * LANES + n]
            turning = 1.0 if speed > 0.0 else 0.0
            current = turning * (friction + S[TORQUE_C * LANES + n] * speed * speed) / ke
            volts = turning * (brush + resistance * current + ke * speed)
            S[CURRENT * LANES + n] = current
            S[MOTOR_V * LANES + n] = volts
            S[BATTERY_A * LANES + n] = current * volts / supply
            S[RESISTOR_W * LANES + n] = 0.0
            if S[SPEED_SHARE * LANES + n] <= 0.0:
                S[STALL * LANES + n] = 0.0


@compiled_within
def look_up_flow(S: Any, P: Any, flow_table: Any, used: int) -> None:
    """Coolant flow and hydraulic torque at this speed and coolant temperature; ice holds the pump fast."""
    per_speed, per_temp, temp_0 = 1.0 / P[P_SPEED_STEP], 1.0 / P[P_TEMP_STEP], P[P_TEMP_0]
    for n in range(0, used, TOGETHER):
        find_flow(S, n, flow_table, (per_speed, per_temp, temp_0))
    freeze = P[P_FREEZE]
    for n in range(used):
        frozen = S[LINK * LANES + n] < freeze
        S[FLOW * LANES + n] = 0.0 if frozen else S[FLOW * LANES + n]
        S[TORQUE_C * LANES + n] = HELD_FAST if frozen else S[TORQUE_C * LANES + n]


@compiled_within
def look_up_exchangers(S: Any, P: Any, exchanger_table: Any, used: int) -> None:
    """Flow capacity and the coolant-side conductances at this flow."""
    per_flow, volume_c = 1.0 / P[P_FLOW_STEP], P[P_VOLUME_C]
    for n in range(0, used, TOGETHER):
        find_conductances(S, n, exchanger_table, (per_flow, volume_c))


def for_all_lanes(body: Any) -> Any:
    """A body of several lanes as a compiled function (S, X, o, P, used) of the first `used`."""
    some = swept(body, AT_ONCE)

    def everywhere(S: Any, X: Any, o: int, P: Any, used: int) -> None:
        for n in range(0, used, AT_ONCE):
            some(S, n, X, o, P)

    return compiled(everywhere)


AT_ONCE, PAIRS_AT_ONCE = lanes_at_once()
to_core, to_front, to_link = (swept(part, AT_ONCE) for part in (leave_and_hose_1, hose_2, hose_3_and_close))
in_core, in_front = (swept(part, PAIRS_AT_ONCE) for part in (core, front))
close_loop = for_all_lanes(close)  # these three for tests against closed forms
sweep_hose_1, sweep_hose_2 = for_all_lanes(hose_1), for_all_lanes(hose_2)


@compiled_within
def circulate(S: Any, X: Any, o: int, P: Any, used: int) -> None:
    """Coolant once round the loop: link -> hose -> core -> hose -> front -> hose -> link."""
    for n in range(0, used, AT_ONCE):
        to_core(S, n, X, o, P)
        for m in range(n, n + AT_ONCE, PAIRS_AT_ONCE):
            in_core(S, m, X, o, P)
        to_front(S, n, X, o, P)
        for m in range(n, n + AT_ONCE, PAIRS_AT_ONCE):
            in_front(S, m, X, o, P)
        to_link(S, n, X, o, P)


@compiled
def sense(S: Any, X: Any, o: int, P: Any, used: int) -> None:
    """Probe element, and what the engine computer reads of it."""
    base, slope, rate, noise = X[o + X_PROBE0], X[o + X_PROBE1], X[o + X_PROBE_K], X[o + X_NOISE]
    step, fault = P[P_STEP], X[o + X_FAULT_READING]
    for n in range(used):
        element = S[PROBE * LANES + n]
        element += rate * (base + slope * S[CORE_METAL * LANES + n] - element)
        S[PROBE * LANES + n] = element
        S[READING * LANES + n] = np.floor((element - 273.15 + noise) / step + 0.5) * step + 273.15
        S[COOLANT_READING * LANES + n] = np.floor((S[CORE_IN * LANES + n] - 273.15) / step + 0.5) * step + 273.15
    if not math.isnan(fault):
        for n in range(used):
            S[READING * LANES + n] = fault


@compiled_within
def watch(S: Any, P: Any, tick: int, used: int) -> None:
    """Boiled, stalled, or a law without an answer: the first reason of a lane stands, with its tick."""
    boil, stall_ticks = P[P_BOIL], P[P_STALL_TICKS]
    for n in range(used):
        failed, reason = S[FAILED * LANES + n], S[REASON * LANES + n]
        well = 1.0 if failed == -1.0 else 0.0
        boiled = well * (1.0 if S[CORE_HOTTEST * LANES + n] > boil else 0.0)
        stalled = well * (1.0 if S[STALL * LANES + n] > stall_ticks else 0.0)
        reason = 2.0 if stalled > 0.0 else reason
        S[REASON * LANES + n] = 1.0 if boiled > 0.0 else reason
        failed = -2.0 if boiled + stalled > 0.0 else failed
        S[FAILED * LANES + n] = float(tick) if failed == -2.0 else failed


@compiled_within
def score(S: Any, X: Any, o: int, P: Any, tick: int, on_boost: Any, used: int) -> None:
    """Add this tick to the figures."""
    boost, cruise, limit = X[o + X_BOOST], X[o + X_CRUISE], X[o + X_LIMIT]
    hot_t, cold_t, limit_t = X[o + X_HOT_T], X[o + X_COLD_T], X[o + X_LIMIT_T]
    target, rated, amps, supply = P[P_TARGET], 1.0 / P[P_RATED_W], 1.0 / P[P_RATED_A], X[o + X_SUPPLY]
    if boost + cruise > 0.0:
        for n in range(used):
            t = S[IAT * LANES + n]
            hot = max(t - hot_t, 0.0)
            S[HOT_BOOST * LANES + n] += boost * hot
            S[HOT_CRUISE * LANES + n] += cruise * hot
            S[COLD_CRUISE * LANES + n] += cruise * max(cold_t - t, 0.0)
            S[SQUARES * LANES + n] += (boost + cruise) * (t - target) * (t - target)
            S[CONDENSING * LANES + n] += 1.0 if S[CORE_COLDEST * LANES + n] < X[o + X_DEW] else 0.0
    row = int(X[o + X_BOOST_ROW])
    if row >= 0:
        for n in range(used):
            t = S[IAT * LANES + n]
            S[OVER * LANES + n] += limit * max(t - limit_t, 0.0)
            S[POWER_KEPT * LANES + n] += boost * math.sqrt(target / t)
            on_boost[row * LANES + n] = t
    if X[o + X_REACH] > 0.0:
        for n in range(used):
            if S[REACHED * LANES + n] < 0.0 and S[IAT * LANES + n] >= P[P_REACH]:
                S[REACHED * LANES + n] = float(tick)
    if X[o + X_STILL] > 0.0:
        for n in range(used):
            S[QUIET * LANES + n] += 1.0 if S[APPLIED * LANES + n] > P[P_QUIET] else 0.0
    for n in range(used):
        x = S[SPEED * LANES + n] * rated
        i = S[CURRENT * LANES + n] * amps
        stress = 1.0 + 0.3 * max(i * i - 1.0, 0.0)
        power = supply * S[BATTERY_A * LANES + n]
        S[PUMP_TICKS * LANES + n] += S[WAS_ON * LANES + n]
        S[WEAR_1 * LANES + n] += x * stress
        S[WEAR_15 * LANES + n] += x * math.sqrt(x) * stress
        S[WEAR_2 * LANES + n] += x * x * stress
        S[ENERGY * LANES + n] += power


@compiled_in_place
def judge(S: Any, X: Any, o: int, P: Any, tick: int, on_boost: Any, used: int) -> None:
    """Failures, and the figures of this tick."""
    watch(S, P, tick, used)
    if X[o + X_SCORED] > 0.0:
        score(S, X, o, P, tick, on_boost, used)


@compiled
def record(S: Any, X: Any, o: int, P: Any, tick: int, trace: Any, lanes: int, columns: int) -> None:
    """Keep this tick of the first `lanes` lanes; one column is IAT alone, layout.TRACE_COLUMNS everything."""
    for n in range(lanes):
        at = (tick * lanes + n) * columns
        trace[at + T_IAT] = S[IAT * LANES + n]
        if columns > 1:
            trace[at + T_READING] = S[READING * LANES + n]
            trace[at + T_CORE_METAL] = S[CORE_METAL * LANES + n]
            trace[at + T_CORE_IN] = S[CORE_IN * LANES + n]
            trace[at + T_CORE_OUT] = S[CORE_OUT * LANES + n]
            trace[at + T_FRONT_IN] = S[FRONT_IN * LANES + n]
            trace[at + T_FRONT_OUT] = S[FRONT_OUT * LANES + n]
            trace[at + T_TANK] = S[SIDE * LANES + n] if P[P_SIDE_SHARE] > 0.0 else S[LINK * LANES + n]
            trace[at + T_DUTY] = S[APPLIED * LANES + n]
            trace[at + T_PUMP_V] = S[MOTOR_V * LANES + n]
            trace[at + T_PUMP_A] = S[CURRENT * LANES + n]
            trace[at + T_PUMP_SPEED] = S[SPEED * LANES + n]
            trace[at + T_FLOW] = S[FLOW * LANES + n]
            trace[at + T_SUPPLY_W] = X[o + X_SUPPLY] * S[BATTERY_A * LANES + n]
            trace[at + T_RESISTOR_W] = S[RESISTOR_W * LANES + n]
            trace[at + T_HEAT_AIR] = S[HEAT_AIR * LANES + n]
            trace[at + T_HEAT_OUT] = S[HEAT_OUT * LANES + n]


@compiled_in_place
def step(
    S: Any, X: Any, P: Any, duty_table: Any, flow_table: Any, exchanger_table: Any, tick: int, on_boost: Any,
    lanes: int,
) -> None:  # fmt: skip
    """One tick of the plant for the first `lanes` lanes, after the laws have set DUTY; as many as are swept at once."""
    o, used = tick * X_COLUMNS, (lanes + AT_ONCE - 1) // AT_ONCE * AT_ONCE
    actuate(S, X, o, P, used)
    look_up_duty(S, duty_table, used)
    motor(S, X, o, P, used)
    pump_currents(S, X, o, P, used)
    look_up_flow(S, P, flow_table, used)
    look_up_exchangers(S, P, exchanger_table, used)
    circulate(S, X, o, P, used)
    sense(S, X, o, P, used)
    judge(S, X, o, P, tick, on_boost, used)


@compiled
def run(
    S: Any, X: Any, P: Any, duty_table: Any, flow_table: Any, exchanger_table: Any, tables: Any, on_boost: Any,
    trace: Any, trace_lanes: int, trace_columns: int, laws: Any, lows: Any, highs: Any, lanes: int,
    first: int, last: int,
) -> None:  # fmt: skip
    """Ticks first..last-1 of the first `lanes` lanes: each law sets the duty of its own, then the plant moves on."""
    period = int(P[P_PERIOD])
    for tick in range(first, last):
        o = tick * X_COLUMNS
        if tick % period == 0:
            for k in range(len(lows)):
                laws[k](S, X, o, tables, lows[k], highs[k])
        step(S, X, P, duty_table, flow_table, exchanger_table, tick, on_boost, lanes)
        if trace_lanes > 0:
            record(S, X, o, P, tick, trace, trace_lanes, trace_columns)
