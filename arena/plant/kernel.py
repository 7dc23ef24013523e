"""The inner loop: one outing, LANES candidates at once, one tick of 0.1 s after another.

Each metal/coolant pair is solved together by the implicit midpoint rule, the sweep runs with the flow, and
the loop is closed at one mixed cell whose outflow is extrapolated and used on both sides of the link, so heat
is conserved to rounding. No exp or pow: what does not depend on the candidate is compiled into X beforehand,
the rest comes from tables. See docs/model.md for the equations.

Inside a core or front cell the coolant has the exponential profile it takes along metal of one temperature:
with n = G / F (conductance over flow capacity), E = G / (exp(n) - 1) and outflow c, inflow u, metal m, the
coolant gives the metal  (F - E) u + (G - F + E) c - G m. E goes to F as n goes to 0 and to 0 with no flow, so
every coefficient is positive and no cell can leave the range of its neighbours in steady flow.
"""

from __future__ import annotations

import math
from typing import Any

from arena.plant.jit import compiled, fused_multiply_add, unroller
from arena.plant.layout import (
    AMPS_RATIO, APPLIED, BATTERY_A, COLD_CRUISE, CONDENSING, COOLANT_READING, CORE_AT, CORE_CELLS, CORE_COLDEST,
    CORE_E, CORE_G, CORE_HOTTEST, CORE_IN, CORE_METAL, CORE_OUT, CORE_SUM, CURRENT, DELAY, DUTY, DUTY_ROWS, ENERGY,
    FAILED, FLOW, FLOW_C, FLOW_ROWS, FRONT_AT, FRONT_CELLS, FRONT_E, FRONT_G, FRONT_IN, FRONT_OUT, FRONT_SUM,
    HEAT_AIR, HEAT_BAY, HEAT_OUT, HOSE_1, HOSE_1_AT, HOSE_2, HOSE_2_AT, HOSE_3, HOSE_3_AT, HOT_BOOST, HOT_CRUISE, IAT,
    INFLOW, IS_PWM, LANES, LINK, LINK_OLD, LINK_OUT, MOTOR_V, OHM_A, OHM_B, OMEGA, OVER, P_BOIL, P_BRUSH, P_CORE_BAY,
    P_CORE_M, P_CORE_W, P_DELAY, P_DUTY_STEP, P_FLOW_STEP, P_FRICTION, P_FRONT_M, P_FRONT_W, P_HOSE_1_UA, P_HOSE_1_W,
    P_HOSE_2_UA, P_HOSE_2_W, P_HOSE_3_UA, P_HOSE_3_W, P_KE, P_LEAD, P_LINK_UA, P_LINK_W, P_PERIOD, P_QUIET,
    P_QUIET_KMH, P_RATED_A, P_RATED_W, P_REACH, P_RESISTANCE, P_SIDE_SHARE, P_SIDE_UA, P_SIDE_W, P_SIGNAL, P_SOFT,
    P_SPEED_STEP, P_SPIN_K, P_SPIN_MEAN, P_STALL_TICKS, P_START_A, P_STEP, P_TARGET, P_TEMP_0, P_TEMP_STEP,
    P_VOLUME_C, PER_OHM, PLACE, POWER_KEPT, PROBE, PUMP_TICKS, QUIET, QUIET_CAP, REACHED, READING, REASON, RESISTOR_W,
    RUN_ON_S, SERIES_OHM, SHARE_I, SHARE_J, SIDE, SPEED, SPEED_ROWS, SPEED_SHARE, SQUARES, STALL, STARTS, SUM_METAL,
    TEMP_COLUMNS, TICK_S, TORQUE_C, TOTAL_OHM, VOLTS, VOLTS_RATIO, W1, W2, W3, W4, W5, W6, W7, W8, WAS_ON, WEAR_1,
    WEAR_2, WEAR_15, X_BAY, X_BOOST, X_BOOST_ROW, X_COLD_T, X_COLUMNS, X_CORE_A, X_CORE_R, X_CRUISE, X_DEW,
    X_FAULT_READING, X_FRONT_A, X_FRONT_R, X_HOSE_T, X_HOT_T, X_IAT0, X_IAT1, X_KEY, X_KEY_OFF_S, X_LIMIT, X_LIMIT_T,
    X_NOISE, X_PROBE0, X_PROBE1, X_PROBE_K, X_REACH, X_SCORED, X_SPEED, X_STILL, X_SUPPLY, X_TANK_T,
)  # fmt: skip


@compiled
def actuate(S: Any, X: Any, o: int, P: Any) -> None:
    """From what the law asks to what reaches the pump: key, quiet cap, resolution, start delay, soft start."""
    key = X[o + X_KEY] > 0.0
    slow = X[o + X_SPEED] <= P[P_QUIET_KMH]
    step = P[P_DUTY_STEP]
    for n in range(LANES):
        asked = S[DUTY * LANES + n]
        if not (asked >= 0.0 and asked <= 1.0):
            if S[FAILED * LANES + n] < 0.0 and key:
                S[REASON * LANES + n] = 3.0
                S[FAILED * LANES + n] = -2.0  # the tick is filled in by `judge`
            asked = 0.0
        if slow:
            asked = min(asked, S[QUIET_CAP * LANES + n])
        if not key:
            asked = asked if X[o + X_KEY_OFF_S] < S[RUN_ON_S * LANES + n] else 0.0
        if step > 0.0:
            asked = math.floor(asked / step + 0.5) * step
        on = 1.0 if asked > 0.0 else 0.0
        started = on * (1.0 - S[WAS_ON * LANES + n])
        S[WAS_ON * LANES + n] = on
        S[STARTS * LANES + n] += started * X[o + X_SCORED]
        wait = P[P_DELAY] if started > 0.0 else max(S[DELAY * LANES + n] - 1.0, 0.0)
        S[DELAY * LANES + n] = wait
        given = asked if wait < 1.0 else 0.0
        soft = min(given, S[APPLIED * LANES + n] + P[P_SOFT])
        S[APPLIED * LANES + n] = soft if S[IS_PWM * LANES + n] > 0.0 else given


@compiled
def look_up_duty(S: Any, duty_table: Any) -> None:
    """What pulse-width modulation makes of a duty, and a pump's own controller of its signal."""
    for n in range(LANES):
        place = S[APPLIED * LANES + n] * (DUTY_ROWS - 1.000001)
        d = int(place)
        part = place - d
        at = 3 * d
        S[VOLTS_RATIO * LANES + n] = duty_table[at] + part * (duty_table[at + 3] - duty_table[at])
        S[AMPS_RATIO * LANES + n] = duty_table[at + 1] + part * (duty_table[at + 4] - duty_table[at + 1])
        S[SPEED_SHARE * LANES + n] = duty_table[at + 2] + part * (duty_table[at + 5] - duty_table[at + 2])


@compiled
def motor(S: Any, X: Any, o: int, P: Any) -> None:
    """Where the motor settles at this voltage, its mean speed over the tick, its currents.

    Torque balance ke (V - ke w) / R = friction + c w^2 with c from the table at the speed of the tick before.
    """
    supply = X[o + X_SUPPLY]
    resistance, ke, brush, friction = P[P_RESISTANCE], P[P_KE], P[P_BRUSH], P[P_FRICTION]
    lead, start_a, signal = P[P_LEAD], P[P_START_A], P[P_SIGNAL] > 0.0
    spin_mean, spin_new = P[P_SPIN_MEAN], 1.0 - P[P_SPIN_K]
    for n in range(LANES):
        duty = S[APPLIED * LANES + n]
        pwm = S[IS_PWM * LANES + n]
        through = S[OHM_B * LANES + n] if duty > 0.5001 else S[OHM_A * LANES + n]
        series = (1.0 - pwm) * (0.0 if duty > 0.999 else through)
        switched = pwm * duty + (1.0 - pwm)
        S[SERIES_OHM * LANES + n] = series
        S[VOLTS * LANES + n] = supply * (pwm * duty * S[VOLTS_RATIO * LANES + n] + (1.0 - pwm)) - brush
        S[TOTAL_OHM * LANES + n] = resistance + lead * switched + series
    if signal:
        for n in range(LANES):
            S[VOLTS * LANES + n] = supply - brush
            S[TOTAL_OHM * LANES + n] = resistance + lead
    for n in range(LANES):
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
    pump_currents(S, X, o, P)


@compiled
def pump_currents(S: Any, X: Any, o: int, P: Any) -> None:
    """Currents, voltages and resistor heat at the mean speed of the tick."""
    supply = X[o + X_SUPPLY]
    resistance, ke, brush, friction = P[P_RESISTANCE], P[P_KE], P[P_BRUSH], P[P_FRICTION]
    for n in range(LANES):
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
        for n in range(LANES):
            speed = S[SPEED * LANES + n]
            turning = 1.0 if speed > 0.0 else 0.0
            current = turning * (friction + S[TORQUE_C * LANES + n] * speed * speed) / ke
            volts = turning * (brush + resistance * current + ke * speed)
            S[CURRENT * LANES + n] = current
            S[MOTOR_V * LANES + n] = volts
            S[BATTERY_A * LANES + n] = current * volts / supply
            if S[SPEED_SHARE * LANES + n] <= 0.0:
                S[STALL * LANES + n] = 0.0


@compiled
def look_up_flow(S: Any, P: Any, flow_table: Any) -> None:
    """Coolant flow and hydraulic torque at this speed and coolant temperature."""
    per_speed, per_temp, temp_0 = 1.0 / P[P_SPEED_STEP], 1.0 / P[P_TEMP_STEP], P[P_TEMP_0]
    for n in range(LANES):
        x = min(max((S[LINK * LANES + n] - temp_0) * per_temp, 0.0), TEMP_COLUMNS - 1.000001)
        y = min(S[SPEED * LANES + n] * per_speed, SPEED_ROWS - 1.000001)
        j, i = math.floor(x), math.floor(y)
        S[PLACE * LANES + n] = (i * TEMP_COLUMNS + j) * 2.0
        S[SHARE_J * LANES + n] = x - j
        S[SHARE_I * LANES + n] = y - i
    for n in range(LANES):
        at = int(S[PLACE * LANES + n])
        up = at + 2 * TEMP_COLUMNS
        u, v = S[SHARE_I * LANES + n], S[SHARE_J * LANES + n]
        near = flow_table[at] + v * (flow_table[at + 2] - flow_table[at])
        far = flow_table[up] + v * (flow_table[up + 2] - flow_table[up])
        S[FLOW * LANES + n] = near + u * (far - near)
        near = flow_table[at + 1] + v * (flow_table[at + 3] - flow_table[at + 1])
        far = flow_table[up + 1] + v * (flow_table[up + 3] - flow_table[up + 1])
        S[TORQUE_C * LANES + n] = near + u * (far - near)


@compiled
def look_up_exchangers(S: Any, P: Any, exchanger_table: Any) -> None:
    """Flow capacity and the coolant-side conductances at this flow."""
    per_flow, volume_c = 1.0 / P[P_FLOW_STEP], P[P_VOLUME_C]
    for n in range(LANES):
        flow = S[FLOW * LANES + n]
        x = min(flow * per_flow, FLOW_ROWS - 1.000001)
        i = int(x)
        u = x - i
        at = 4 * i
        S[FLOW_C * LANES + n] = flow * volume_c
        S[CORE_G * LANES + n] = exchanger_table[at] + u * (exchanger_table[at + 4] - exchanger_table[at])
        S[CORE_E * LANES + n] = exchanger_table[at + 1] + u * (exchanger_table[at + 5] - exchanger_table[at + 1])
        S[FRONT_G * LANES + n] = exchanger_table[at + 2] + u * (exchanger_table[at + 6] - exchanger_table[at + 2])
        S[FRONT_E * LANES + n] = exchanger_table[at + 3] + u * (exchanger_table[at + 7] - exchanger_table[at + 3])


@compiled
def pair_weights(S: Any, G: int, E: int, air: float, heat: float, cm: float, cw: float) -> None:
    """Coefficients of a metal/coolant pair: new metal and new coolant from old metal, old coolant, inflow.

    `air` is what ties a metal cell to given temperatures (W/K), `heat` those temperatures times it (W),
    `cm` and `cw` twice the heat capacities over the tick.
    """
    for n in range(LANES):
        g, e, f = S[G * LANES + n], S[E * LANES + n], S[FLOW_C * LANES + n]
        a1 = cm + air + g
        a2 = cw + g + e
        back = g - f + e
        twice = 2.0 / (a1 * a2 - g * back)
        S[W1 * LANES + n] = twice * a2 * cm - 1.0
        S[W2 * LANES + n] = twice * back * cw
        S[W3 * LANES + n] = 0.5 * twice * (a2 * (f - e) + back * e)
        S[W4 * LANES + n] = twice * a2 * heat
        S[W5 * LANES + n] = twice * g * cm
        S[W6 * LANES + n] = twice * a1 * cw - 1.0
        S[W7 * LANES + n] = 0.5 * twice * (a1 * e + g * (f - e))
        S[W8 * LANES + n] = twice * g * heat
        S[SUM_METAL * LANES + n] = 0.0


fma = fused_multiply_add()
unrolled = unroller()
CHUNK = 4  # cells of an exchanger swept in one loop over lanes, their temperatures held in registers
HOSE_CHUNK = 5


def pair_chunk(metal_at: int, coolant_at: int, cells: int, extremes: bool) -> Any:
    """A compiled sweep of a few metal/coolant pairs. Places are constants: with offsets the compiler cannot see it
    wants more run-time alias checks than it allows itself, and falls back to scalar code.
    """

    def sweep(S: Any) -> None:
        for n in range(LANES):
            a, b, c, d = S[W1 * LANES + n], S[W2 * LANES + n], S[W3 * LANES + n], S[W4 * LANES + n]
            e, f, g, h = S[W5 * LANES + n], S[W6 * LANES + n], S[W7 * LANES + n], S[W8 * LANES + n]
            inflow, total = S[INFLOW * LANES + n], S[SUM_METAL * LANES + n]
            coldest, hottest = S[CORE_COLDEST * LANES + n], S[CORE_HOTTEST * LANES + n]
            for k in range(cells):
                km = (metal_at + k) * LANES + n
                kw = (coolant_at + k) * LANES + n
                m, w = S[km], S[kw]
                metal = fma(c, inflow, fma(a, m, fma(b, w, d)))
                water = fma(g, inflow, fma(e, m, fma(f, w, h)))
                S[km] = metal
                S[kw] = water
                inflow = w + water
                total += metal
            S[INFLOW * LANES + n] = inflow
            S[SUM_METAL * LANES + n] = total
            if extremes:  # of the chunk's last cell: along the flow both go one way, and standing still all are alike
                S[CORE_COLDEST * LANES + n] = min(coldest, metal)
                S[CORE_HOTTEST * LANES + n] = max(hottest, water)

    return compiled(sweep)


def hose_chunk(first: int, cells: int) -> Any:
    """A compiled sweep of a few hose cells."""

    def sweep(S: Any) -> None:
        for n in range(LANES):
            a, b, c = S[W1 * LANES + n], S[W2 * LANES + n], S[W3 * LANES + n]
            inflow, total = S[INFLOW * LANES + n], S[SUM_METAL * LANES + n]
            for k in range(cells):
                kw = (first + k) * LANES + n
                w = S[kw]
                water = fma(b, inflow, fma(a, w, c))
                S[kw] = water
                inflow = w + water
                total += inflow
            S[INFLOW * LANES + n] = inflow
            S[SUM_METAL * LANES + n] = total

    return compiled(sweep)


def chunks(cells: int, size: int) -> list[tuple[int, int]]:
    """First cell and number of cells of each chunk."""
    return [(k, min(size, cells - k)) for k in range(0, cells, size)]


CORE_SWEEP = tuple(pair_chunk(CORE_AT + k, CORE_AT + CORE_CELLS + k, c, True) for k, c in chunks(CORE_CELLS, CHUNK))
FRONT_SWEEP = tuple(
    pair_chunk(FRONT_AT + k, FRONT_AT + FRONT_CELLS + k, c, False) for k, c in chunks(FRONT_CELLS, CHUNK)
)
HOSE_1_SWEEP = tuple(hose_chunk(HOSE_1_AT + k, c) for k, c in chunks(HOSE_1, HOSE_CHUNK))
HOSE_2_SWEEP = tuple(hose_chunk(HOSE_2_AT + k, c) for k, c in chunks(HOSE_2, HOSE_CHUNK))
HOSE_3_SWEEP = tuple(hose_chunk(HOSE_3_AT + k, c) for k, c in chunks(HOSE_3, HOSE_CHUNK))


@compiled
def sweep_core(S: Any, air: float, heat: float, cm: float, cw: float) -> None:
    """The core's pairs in the direction of flow; leaves outflow, sum of metal, coldest metal, hottest coolant."""
    pair_weights(S, CORE_G, CORE_E, air, heat, cm, cw)
    for n in range(LANES):
        S[CORE_COLDEST * LANES + n] = 1e9
        S[CORE_HOTTEST * LANES + n] = 0.0
    for chunk in unrolled(CORE_SWEEP):
        chunk(S)


@compiled
def sweep_front(S: Any, air: float, heat: float, cm: float, cw: float) -> None:
    """The front exchanger's pairs in the direction of flow; leaves the outflow and the sum of metal."""
    pair_weights(S, FRONT_G, FRONT_E, air, heat, cm, cw)
    for chunk in unrolled(FRONT_SWEEP):
        chunk(S)


@compiled
def hose_weights(S: Any, cw: float, ua: float, around: float) -> None:
    """Coefficients of a hose cell: new temperature from old temperature and inflow."""
    for n in range(LANES):
        f = S[FLOW_C * LANES + n]
        twice = 2.0 / (cw + f + ua)
        S[W1 * LANES + n] = twice * cw - 1.0
        S[W2 * LANES + n] = 0.5 * twice * f
        S[W3 * LANES + n] = twice * ua * around
        S[SUM_METAL * LANES + n] = 0.0


@compiled
def hose_heat(S: Any, cells: int, ua: float, around: float) -> None:
    """Heat the hose just swept has taken from around it."""
    for n in range(LANES):
        S[HEAT_BAY * LANES + n] += ua * TICK_S * (cells * around - 0.5 * S[SUM_METAL * LANES + n])


@compiled
def sweep_hose_1(S: Any, cw: float, ua: float, around: float) -> None:
    """Link to core."""
    hose_weights(S, cw, ua, around)
    for chunk in unrolled(HOSE_1_SWEEP):
        chunk(S)
    hose_heat(S, HOSE_1, ua, around)


@compiled
def sweep_hose_2(S: Any, cw: float, ua: float, around: float) -> None:
    """Core to front."""
    hose_weights(S, cw, ua, around)
    for chunk in unrolled(HOSE_2_SWEEP):
        chunk(S)
    hose_heat(S, HOSE_2, ua, around)


@compiled
def sweep_hose_3(S: Any, cw: float, ua: float, around: float) -> None:
    """Front to link."""
    hose_weights(S, cw, ua, around)
    for chunk in unrolled(HOSE_3_SWEEP):
        chunk(S)
    hose_heat(S, HOSE_3, ua, around)


@compiled
def close_loop(S: Any, X: Any, o: int, P: Any) -> None:
    """The link cell and a side-branch tank, solved as a pair; the link's outflow is the extrapolated one."""
    link_w, side_w, link_ua, side_ua = P[P_LINK_W], P[P_SIDE_W], P[P_LINK_UA], P[P_SIDE_UA]
    tank_t, share = X[o + X_TANK_T], P[P_SIDE_SHARE]
    for n in range(LANES):
        f = S[FLOW_C * LANES + n]
        branch = share * f
        link, side = S[LINK * LANES + n], S[SIDE * LANES + n]
        a1 = link_w + link_ua + branch
        a2 = side_w + side_ua + branch
        r1 = link_w * link + f * (0.5 * S[INFLOW * LANES + n] - S[LINK_OUT * LANES + n]) + link_ua * tank_t
        r2 = side_w * side + side_ua * tank_t
        inverse = 1.0 / (a1 * a2 - branch * branch)
        mean_link = (a2 * r1 + branch * r2) * inverse
        mean_side = (a1 * r2 + branch * r1) * inverse
        S[LINK * LANES + n] = 2.0 * mean_link - link
        S[SIDE * LANES + n] = 2.0 * mean_side - side
        S[HEAT_BAY * LANES + n] += TICK_S * (link_ua * (tank_t - mean_link) + side_ua * (tank_t - mean_side))


@compiled
def circulate(S: Any, X: Any, o: int, P: Any) -> None:
    """Once round: link -> hose -> core -> hose -> front -> hose -> link."""
    around = X[o + X_HOSE_T]
    core_a, core_bay, core_r = X[o + X_CORE_A], P[P_CORE_BAY], X[o + X_CORE_R]
    front_a, front_r = X[o + X_FRONT_A], X[o + X_FRONT_R]
    for n in range(LANES):
        link = S[LINK * LANES + n]
        out = 1.5 * link - 0.5 * S[LINK_OLD * LANES + n]
        S[LINK_OLD * LANES + n] = link
        S[LINK_OUT * LANES + n] = out
        S[INFLOW * LANES + n] = 2.0 * out
    sweep_hose_1(S, P[P_HOSE_1_W], P[P_HOSE_1_UA], around)
    for n in range(LANES):
        S[CORE_IN * LANES + n] = 0.5 * S[INFLOW * LANES + n]
    sweep_core(S, core_a + core_bay, core_r, P[P_CORE_M], P[P_CORE_W])
    bay_heat = core_bay * X[o + X_BAY] * CORE_CELLS
    air_heat = core_r * CORE_CELLS - bay_heat
    for n in range(LANES):
        new = S[SUM_METAL * LANES + n]
        total = 0.5 * (S[CORE_SUM * LANES + n] + new)
        S[CORE_SUM * LANES + n] = new
        S[CORE_OUT * LANES + n] = 0.5 * S[INFLOW * LANES + n]
        S[HEAT_AIR * LANES + n] += TICK_S * (air_heat - core_a * total)
        S[HEAT_BAY * LANES + n] += TICK_S * (bay_heat - core_bay * total)
        S[CORE_METAL * LANES + n] = total * (1.0 / CORE_CELLS)
        S[IAT * LANES + n] = X[o + X_IAT0] + X[o + X_IAT1] * (total * (1.0 / CORE_CELLS))
    sweep_hose_2(S, P[P_HOSE_2_W], P[P_HOSE_2_UA], around)
    for n in range(LANES):
        S[FRONT_IN * LANES + n] = 0.5 * S[INFLOW * LANES + n]
    sweep_front(S, front_a, front_r, P[P_FRONT_M], P[P_FRONT_W])
    for n in range(LANES):
        new = S[SUM_METAL * LANES + n]
        total = 0.5 * (S[FRONT_SUM * LANES + n] + new)
        S[FRONT_SUM * LANES + n] = new
        S[FRONT_OUT * LANES + n] = 0.5 * S[INFLOW * LANES + n]
        S[HEAT_OUT * LANES + n] += TICK_S * (front_a * total - front_r * FRONT_CELLS)
    sweep_hose_3(S, P[P_HOSE_3_W], P[P_HOSE_3_UA], around)
    close_loop(S, X, o, P)


@compiled
def sense(S: Any, X: Any, o: int, P: Any) -> None:
    """Probe element, and what the engine computer reads of it."""
    base, slope, rate, noise = X[o + X_PROBE0], X[o + X_PROBE1], X[o + X_PROBE_K], X[o + X_NOISE]
    step, fault = P[P_STEP], X[o + X_FAULT_READING]
    for n in range(LANES):
        element = S[PROBE * LANES + n]
        element += rate * (base + slope * S[CORE_METAL * LANES + n] - element)
        S[PROBE * LANES + n] = element
        S[READING * LANES + n] = math.floor((element - 273.15 + noise) / step + 0.5) * step + 273.15
        S[COOLANT_READING * LANES + n] = math.floor((S[CORE_IN * LANES + n] - 273.15) / step + 0.5) * step + 273.15
    if not math.isnan(fault):
        for n in range(LANES):
            S[READING * LANES + n] = fault


@compiled
def watch(S: Any, P: Any, tick: int) -> None:
    """Boiled, stalled, or a law without an answer: the first reason of a lane stands, with its tick."""
    boil, stall_ticks = P[P_BOIL], P[P_STALL_TICKS]
    for n in range(LANES):
        failed = S[FAILED * LANES + n]
        reason = S[REASON * LANES + n]
        if failed == -1.0 and S[CORE_HOTTEST * LANES + n] > boil:
            reason = 1.0
            failed = -2.0
        if failed == -1.0 and S[STALL * LANES + n] > stall_ticks:
            reason = 2.0
            failed = -2.0
        S[REASON * LANES + n] = reason
        S[FAILED * LANES + n] = float(tick) if failed == -2.0 else failed


@compiled
def score(S: Any, X: Any, o: int, P: Any, tick: int, on_boost: Any) -> None:
    """Add this tick to the figures."""
    boost, cruise, limit = X[o + X_BOOST], X[o + X_CRUISE], X[o + X_LIMIT]
    hot_t, cold_t, limit_t = X[o + X_HOT_T], X[o + X_COLD_T], X[o + X_LIMIT_T]
    target, rated, amps, supply = P[P_TARGET], 1.0 / P[P_RATED_W], 1.0 / P[P_RATED_A], X[o + X_SUPPLY]
    if boost + cruise > 0.0:
        for n in range(LANES):
            t = S[IAT * LANES + n]
            hot = max(t - hot_t, 0.0)
            S[HOT_BOOST * LANES + n] += boost * hot
            S[HOT_CRUISE * LANES + n] += cruise * hot
            S[COLD_CRUISE * LANES + n] += cruise * max(cold_t - t, 0.0)
            S[SQUARES * LANES + n] += (boost + cruise) * (t - target) * (t - target)
            S[CONDENSING * LANES + n] += 1.0 if S[CORE_COLDEST * LANES + n] < X[o + X_DEW] else 0.0
    row = int(X[o + X_BOOST_ROW])
    if row >= 0:
        for n in range(LANES):
            t = S[IAT * LANES + n]
            S[OVER * LANES + n] += limit * max(t - limit_t, 0.0)
            S[POWER_KEPT * LANES + n] += boost * math.sqrt(target / t)
            on_boost[row * LANES + n] = t
    if X[o + X_REACH] > 0.0:
        for n in range(LANES):
            if S[REACHED * LANES + n] < 0.0 and S[IAT * LANES + n] >= P[P_REACH]:
                S[REACHED * LANES + n] = float(tick)
    if X[o + X_STILL] > 0.0:
        for n in range(LANES):
            S[QUIET * LANES + n] += 1.0 if S[APPLIED * LANES + n] > P[P_QUIET] else 0.0
    for n in range(LANES):
        x = S[SPEED * LANES + n] * rated
        i = S[CURRENT * LANES + n] * amps
        stress = 1.0 + 0.3 * max(i * i - 1.0, 0.0)
        power = supply * S[BATTERY_A * LANES + n]
        S[PUMP_TICKS * LANES + n] += S[WAS_ON * LANES + n]
        S[WEAR_1 * LANES + n] += x * stress
        S[WEAR_15 * LANES + n] += x * math.sqrt(x) * stress
        S[WEAR_2 * LANES + n] += x * x * stress
        S[ENERGY * LANES + n] += power


@compiled
def judge(S: Any, X: Any, o: int, P: Any, tick: int, on_boost: Any) -> None:
    """Failures, and the figures of this tick."""
    watch(S, P, tick)
    if X[o + X_SCORED] > 0.0:
        score(S, X, o, P, tick, on_boost)


@compiled
def record(S: Any, X: Any, o: int, P: Any, tick: int, trace: Any, lanes: int, columns: int) -> None:
    """Keep this tick of the first `lanes` lanes; one column is IAT alone, layout.TRACE_COLUMNS everything."""
    for n in range(lanes):
        at = (tick * lanes + n) * columns
        trace[at] = S[IAT * LANES + n]
        if columns > 1:
            trace[at + 1] = S[READING * LANES + n]
            trace[at + 2] = S[CORE_METAL * LANES + n]
            trace[at + 3] = S[CORE_IN * LANES + n]
            trace[at + 4] = S[CORE_OUT * LANES + n]
            trace[at + 5] = S[FRONT_IN * LANES + n]
            trace[at + 6] = S[FRONT_OUT * LANES + n]
            trace[at + 7] = S[SIDE * LANES + n] if P[P_SIDE_SHARE] > 0.0 else S[LINK * LANES + n]
            trace[at + 8] = S[APPLIED * LANES + n]
            trace[at + 9] = S[MOTOR_V * LANES + n]
            trace[at + 10] = S[CURRENT * LANES + n]
            trace[at + 11] = S[SPEED * LANES + n]
            trace[at + 12] = S[FLOW * LANES + n]
            trace[at + 13] = X[o + X_SUPPLY] * S[BATTERY_A * LANES + n]
            trace[at + 14] = S[RESISTOR_W * LANES + n]
            trace[at + 15] = S[HEAT_AIR * LANES + n]
            trace[at + 16] = S[HEAT_OUT * LANES + n]


@compiled
def step(
    S: Any, X: Any, P: Any, duty_table: Any, flow_table: Any, exchanger_table: Any, tick: int, on_boost: Any
) -> None:  # fmt: skip
    """One tick of the plant for all lanes, after the laws have set DUTY."""
    o = tick * X_COLUMNS
    actuate(S, X, o, P)
    look_up_duty(S, duty_table)
    motor(S, X, o, P)
    look_up_flow(S, P, flow_table)
    look_up_exchangers(S, P, exchanger_table)
    circulate(S, X, o, P)
    sense(S, X, o, P)
    judge(S, X, o, P, tick, on_boost)


@compiled
def run(
    S: Any, X: Any, P: Any, duty_table: Any, flow_table: Any, exchanger_table: Any, tables: Any, on_boost: Any,
    trace: Any, trace_lanes: int, trace_columns: int, laws: Any, lows: Any, highs: Any, first: int, last: int,
) -> None:  # fmt: skip
    """Ticks first..last-1: each law sets the duty of its lanes, then the plant moves on."""
    period = int(P[P_PERIOD])
    for tick in range(first, last):
        o = tick * X_COLUMNS
        if tick % period == 0:
            for k in range(len(lows)):
                laws[k](S, X, o, tables, lows[k], highs[k])
        step(S, X, P, duty_table, flow_table, exchanger_table, tick, on_boost)
        if trace_lanes > 0:
            record(S, X, o, P, tick, trace, trace_lanes, trace_columns)
