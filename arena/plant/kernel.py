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

from typing import Any

from arena.plant import judging, pumping
from arena.plant.circuit import core, front, hose_2, hose_3_and_close, leave_and_hose_1
from arena.plant.jit import compiled, compiled_in_place
from arena.plant.layout import (
    BATTERY_A, IAT, LANES, LINK, P_FLOW_STEP, P_PERIOD, P_SIDE_SHARE, P_SIGNAL, P_SPEED_STEP, P_TEMP_0, P_TEMP_STEP,
    P_VOLUME_C, SIDE, T_SUPPLY_W, T_TANK, TRACE_ROWS, X_BOOST, X_BOOST_ROW, X_COLUMNS, X_CRUISE, X_REACH, X_SCORED,
    X_STILL, X_SUPPLY,
)  # fmt: skip
from arena.plant.look_ups import duty_look_up, exchanger_look_up, flow_look_up
from arena.plant.rows import lanes_at_once, swept

AT_ONCE, PAIRS_AT_ONCE = lanes_at_once()
actuate, motor, pump_currents, controlled_currents, freeze = (
    swept((part, AT_ONCE))
    for part in (pumping.actuate, pumping.motor, pumping.pump_currents, pumping.controlled_currents, pumping.freeze)
)
find_duty, find_flow, find_conductances = duty_look_up(), flow_look_up(), exchanger_look_up()
circulate = swept(
    (leave_and_hose_1, AT_ONCE), (core, PAIRS_AT_ONCE), (hose_2, AT_ONCE), (front, PAIRS_AT_ONCE),
    (hose_3_and_close, AT_ONCE),
)  # fmt: skip
sense, watch, add_temperatures, add_on_boost, mark_reached, add_noise, add_pump = (
    swept((part, AT_ONCE))
    for part in (
        judging.sense, judging.watch, judging.add_temperatures, judging.add_on_boost, judging.mark_reached,
        judging.add_noise, judging.add_pump,
    )
)  # fmt: skip


@compiled_in_place
def judge(S: Any, X: Any, o: int, P: Any, on_boost: Any, used: int) -> None:
    """Failures, and what this tick adds to the figures."""
    watch(S, X, o, P, used)
    if X[o + X_SCORED] > 0.0:
        if X[o + X_BOOST] + X[o + X_CRUISE] > 0.0:
            add_temperatures(S, X, o, P, used)
        row = int(X[o + X_BOOST_ROW])
        if row >= 0:
            add_on_boost(S, X, o, P, used)
            for n in range(used):
                on_boost[row * LANES + n] = S[IAT * LANES + n]
        if X[o + X_REACH] > 0.0:
            mark_reached(S, X, o, P, used)
        if X[o + X_STILL] > 0.0:
            add_noise(S, X, o, P, used)
        add_pump(S, X, o, P, used)


@compiled_in_place
def step(
    S: Any, X: Any, P: Any, duty_table: Any, flow_table: Any, exchanger_table: Any, tick: int, on_boost: Any,
    lanes: int,
) -> None:  # fmt: skip
    """One tick of the plant for the first `lanes` lanes, after the laws have set DUTY; as many as are swept at once."""
    o, used = tick * X_COLUMNS, (lanes + AT_ONCE - 1) // AT_ONCE * AT_ONCE
    actuate(S, X, o, P, used)
    find_duty(S, duty_table, (0.0,), used)
    motor(S, X, o, P, used)
    if P[P_SIGNAL] > 0.0:
        controlled_currents(S, X, o, P, used)
    else:
        pump_currents(S, X, o, P, used)
    find_flow(S, flow_table, (1.0 / P[P_SPEED_STEP], 1.0 / P[P_TEMP_STEP], P[P_TEMP_0]), used)
    freeze(S, X, o, P, used)
    find_conductances(S, exchanger_table, (1.0 / P[P_FLOW_STEP], P[P_VOLUME_C]), used)
    circulate(S, X, o, P, used)
    sense(S, X, o, P, used)
    judge(S, X, o, P, on_boost, used)


@compiled
def record(S: Any, X: Any, o: int, P: Any, tick: int, trace: Any, lanes: int, columns: int) -> None:
    """Keep this tick of the first `lanes` lanes; one column is IAT alone, layout.TRACE_COLUMNS everything."""
    tank = SIDE if P[P_SIDE_SHARE] > 0.0 else LINK
    for n in range(lanes):
        at = (tick * lanes + n) * columns
        for k in range(columns):
            trace[at + k] = S[TRACE_ROWS[k] * LANES + n]
        if columns > 1:
            trace[at + T_TANK] = S[tank * LANES + n]
            trace[at + T_SUPPLY_W] = X[o + X_SUPPLY] * S[BATTERY_A * LANES + n]


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
