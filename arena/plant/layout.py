"""Where everything lies in the kernel's flat buffers: rows of lanes, input columns, car parameters.

All state and scratch of a batch is one flat array; row r of lane l is `S[r * LANES + l]`. Inputs that do not
depend on the candidate are columns of one array, a row a tick. Changing anything here changes the kernel.
"""

from __future__ import annotations

import os
from typing import Final

import numpy as np

from arena.errors import BadInput

LANES = 80  # of a batch; those behind the last contestant are not swept. No power of two: rows that lie 512 bytes
# apart share one eighth of the nearest cache, and a sweep over 132 of them then drives itself out

MOST_FINER: Final = 8  # the buffer grows with it, and the compiler's time with its square


def _asked(name: str) -> int:
    """A whole number from the environment that refines grid or tick; 1 if nothing is asked for."""
    text = os.environ.get(name, "") or "1"
    if not (text.isascii() and text.isdecimal() and len(text) < 9 and 1 <= int(text) <= MOST_FINER):
        fault = f"{name}={text[:40]!r}: is not a whole number within 1 to {MOST_FINER}"
        raise BadInput(fault, f"Leave {name} unset; only tests of convergence need it.")
    return int(text)


# --- the tick: fixed too; tests of convergence split it in 2 (the law keeps its own period in ticks) --
_SPLIT: Final = _asked("ARENA_TICK_SPLIT")
TICK_S: Final = 0.1 / _SPLIT

# --- the grid: fixed numbers, since the compiler only vectorises what it can see (DEVELOPERS.md) -----
_FINER: Final = _asked("ARENA_CELL_FACTOR")  # tests of convergence ask for 2 or 4
CORE_CELLS: Final = 26 * _FINER
FRONT_CELLS: Final = 20 * _FINER
HOSE_1: Final = 10 * _FINER  # link -> core
HOSE_2: Final = 20 * _FINER  # core -> front
HOSE_3: Final = 10 * _FINER  # front -> link

# --- rows of S: control -----------------------------------------------------------------------------
READING: Final = 0  # charge probe reading, K
COOLANT_READING: Final = 1  # coolant probe reading, K
DUTY: Final = 2  # what the law asks for, 0..1
APPLIED: Final = 3  # what reaches the pump after soft start
WAS_ON: Final = 4  # 1 if the pump was commanded on in the tick before
OHM_A: Final = 5  # series resistor of the first step (0 for PWM)
OHM_B: Final = 6  # series resistor of the second step
IS_PWM: Final = 7  # 1 PWM, 0 relay and resistor
RUN_ON_S: Final = 8  # pump runs on this long after key-off
QUIET_CAP: Final = 9  # highest duty at low speed
FAILSAFE: Final = 10  # duty while the probe reads nonsense
SETTINGS: Final = 11  # 16 rows
MEMORY: Final = 27  # 8 rows
# --- rows of S: plant scalars -----------------------------------------------------------------------
OMEGA: Final = 35  # pump speed, rad/s
PROBE: Final = 36  # probe element, K
LINK: Final = 37  # mixed cell that closes the loop (tank in the flow, or a piece of hose), K
LINK_OLD: Final = 38  # the same a tick before
SIDE: Final = 39  # side-branch tank, K
STALL: Final = 40  # ticks commanded on without turning
DELAY: Final = 41  # ticks left of the start delay
# --- rows of S: scratch -----------------------------------------------------------------------------
INFLOW: Final = 42  # twice the mean temperature over the tick of what flows into the next cell
FLOW_C: Final = 43  # heat capacity rate of the coolant flow, W/K
CORE_G: Final = 44  # coolant-side conductance of a core cell, W/K
CORE_E: Final = 45  # its carry-over, see kernel
FRONT_G: Final = 46
FRONT_E: Final = 47
CORE_METAL: Final = 49  # mean over the core's cells and the tick
CURRENT: Final = 52  # motor current, A
BATTERY_A: Final = 53
MOTOR_V: Final = 54
FLOW: Final = 55  # m3/s
SPEED: Final = 56  # mean pump speed over the tick, rad/s
CORE_IN: Final = 57  # mean coolant temperatures over the tick, K
CORE_OUT: Final = 58
FRONT_IN: Final = 59
FRONT_OUT: Final = 60
RESISTOR_W: Final = 61
TORQUE_C: Final = 48  # hydraulic torque per speed squared, N m s2
VOLTS_RATIO: Final = 50
AMPS_RATIO: Final = 51
SPEED_SHARE: Final = 62
VOLTS: Final = 63  # open voltage across motor and series resistance
TOTAL_OHM: Final = 64
SERIES_OHM: Final = 65
PER_OHM: Final = 90
CORE_SUM: Final = 91  # sums of the metal temperatures of core and front as the last tick left them
FRONT_SUM: Final = 92

IAT: Final = 66  # true charge temperature, K, mean over the tick
LINK_OUT: Final = 67  # extrapolated outflow of the link cell
CORE_COLDEST: Final = 68  # coldest core metal
CORE_HOTTEST: Final = 69  # hottest coolant in the core
# --- rows of S: figures (accumulated over scored ticks) ---------------------------------------------
HOT_BOOST: Final = 70  # K ticks
HOT_CRUISE: Final = 71
COLD_CRUISE: Final = 72
SQUARES: Final = 73  # K2 ticks while scored
OVER: Final = 74  # K ticks
POWER_KEPT: Final = 75  # sum of b sqrt(Tt/T)
PUMP_TICKS: Final = 76
WEAR_1: Final = 77  # ticks at rated wear, exponent 1
WEAR_15: Final = 78
WEAR_2: Final = 79
STARTS: Final = 80
ENERGY: Final = 81  # W ticks at the battery
CONDENSING: Final = 82  # ticks
QUIET: Final = 83  # ticks at standstill above the quiet duty
REACHED: Final = 84  # tick at which the target was first reached, -1 before
FAILED: Final = 85  # tick at which the run failed, -1 while it has not
REASON: Final = 86  # 0 none, 1 boiled, 2 stalled pump, 3 law returned no usable number
HEAT_AIR: Final = 87  # J from charge air into the core, every tick
HEAT_BAY: Final = 88  # J from bay into metal, hoses, tanks
HEAT_OUT: Final = 89  # J from the front to the outside
FIGURES_FROM: Final = HOT_BOOST
FIGURES_TO: Final = HEAT_OUT + 1
CORE_AT: Final = 93  # metal cells, then coolant cells
FRONT_AT: Final = CORE_AT + 2 * CORE_CELLS
HOSE_1_AT: Final = FRONT_AT + 2 * FRONT_CELLS
HOSE_2_AT: Final = HOSE_1_AT + HOSE_1
HOSE_3_AT: Final = HOSE_2_AT + HOSE_2
ROWS: Final = HOSE_3_AT + HOSE_3

GRID: Final = (TICK_S, CORE_CELLS, FRONT_CELLS, HOSE_1, HOSE_2, HOSE_3)  # compiled code is kept apart by it

REASONS: Final = ("", "coolant boiled in the core", "pump stalled", "law returned no usable number")

# --- columns of what kernel.record keeps of a lane and tick, SI -------------------------------------
T_IAT: Final = 0
T_READING: Final = 1
T_CORE_METAL: Final = 2
T_CORE_IN: Final = 3
T_CORE_OUT: Final = 4
T_FRONT_IN: Final = 5
T_FRONT_OUT: Final = 6
T_TANK: Final = 7  # the side tank where there is one, else the link
T_DUTY: Final = 8  # as it reaches the pump, 0..1
T_PUMP_V: Final = 9
T_PUMP_A: Final = 10
T_PUMP_SPEED: Final = 11
T_FLOW: Final = 12
T_SUPPLY_W: Final = 13
T_RESISTOR_W: Final = 14
T_HEAT_AIR: Final = 15  # J since the first tick, as the next
T_HEAT_OUT: Final = 16
TRACE_COLUMNS: Final = 17
TRACE_ROWS: Final = np.array((  # rows of S in the order of the columns; tank and supply power are the kernel's
    IAT, READING, CORE_METAL, CORE_IN, CORE_OUT, FRONT_IN, FRONT_OUT, LINK, APPLIED, MOTOR_V, CURRENT, SPEED, FLOW,
    BATTERY_A, RESISTOR_W, HEAT_AIR, HEAT_OUT,
))  # fmt: skip

# --- columns of X (one row a tick) ------------------------------------------------------------------
X_CORE_A: Final = 0  # air conductance of a core cell, W/K
X_CORE_R: Final = 1  # air conductance x charger outlet + bay conductance x bay, W
X_IAT0: Final = 2  # IAT = X_IAT0 + X_IAT1 * mean core metal
X_IAT1: Final = 3
X_PROBE0: Final = 4  # probe target, same form
X_PROBE1: Final = 5
X_PROBE_K: Final = 6  # 1 - exp(-tick / tau)
X_NOISE: Final = 7  # K
X_FRONT_A: Final = 8
X_FRONT_R: Final = 9
X_HOSE_T: Final = 10  # what the hoses exchange heat with, K
X_TANK_T: Final = 11
X_SUPPLY: Final = 12  # V
X_KEY: Final = 13
X_ENGINE: Final = 14
X_BOOST: Final = 15  # boost share b, scored
X_CRUISE: Final = 16  # 1 - b, scored
X_LIMIT: Final = 17  # weight of excess over the limit, scored
X_SCORED: Final = 18
X_HOT_T: Final = 19  # Tt' + band, K
X_COLD_T: Final = 20  # Tt" - band, K
X_LIMIT_T: Final = 21  # Tl', K
X_DEW: Final = 22  # dew point of the compressed charge, K
X_STILL: Final = 23  # 1 at standstill with the engine on, scored
X_BOOST_ROW: Final = 24  # row of the on-boost store, -1 off boost
X_KEY_OFF_S: Final = 25  # seconds since key-off, 0 with the key on
X_REACH: Final = 26  # 1 where reaching the target counts
X_SPEED: Final = 27  # km/h       (from here on: what laws may sense)
X_THROTTLE: Final = 28  # %
X_PEDAL: Final = 29
X_MAP: Final = 30  # kPa
X_RPM: Final = 31
X_AMBIENT: Final = 32  # degC
X_TIME: Final = 33  # s
X_BAY: Final = 34  # K
X_FAULT_READING: Final = 35  # NaN, or what a failed probe reads, K
X_COLUMNS: Final = 36

# --- car parameters P -------------------------------------------------------------------------------
P_HOSE_1_W: Final = 0  # 2 C / tick of a hose cell, W/K
P_HOSE_2_W: Final = 1
P_HOSE_3_W: Final = 2
P_HOSE_1_UA: Final = 3  # of a hose cell to what is around it, W/K
P_HOSE_2_UA: Final = 4
P_CORE_M: Final = 5  # 2 C / tick of a core metal cell, W/K
P_CORE_W: Final = 6  # of a core coolant cell
P_FRONT_M: Final = 7
P_FRONT_W: Final = 8
P_HOSE_3_UA: Final = 9
P_LINK_W: Final = 10
P_SIDE_W: Final = 11
P_CORE_BAY: Final = 12  # bay conductance of a core cell, W/K
P_LINK_UA: Final = 14
P_SIDE_UA: Final = 15
P_SIDE_SHARE: Final = 16
P_VOLUME_C: Final = 17  # coolant density x heat capacity, J/(m3 K)
P_RESISTANCE: Final = 18  # motor
P_KE: Final = 19
P_BRUSH: Final = 20
P_FRICTION: Final = 21
P_START_A: Final = 22  # current that breaks the pump away
P_LEAD: Final = 23
P_SPIN_K: Final = 24  # 1 - exp(-tick / spin_up)
P_SPIN_MEAN: Final = 25  # mean of the decay over a tick
P_SOFT: Final = 26  # duty a tick in soft start
P_RATED_W: Final = 27  # rad/s
P_RATED_A: Final = 28
P_TARGET: Final = 29  # K
P_REACH: Final = 30  # K: target less band
P_BOIL: Final = 31  # K
P_QUIET: Final = 32  # duty
P_STEP: Final = 33  # probe resolution, K
P_SIGNAL: Final = 34  # 1 for a pump with its own controller
P_SPEED_STEP: Final = 35  # rad/s between rows of the flow table
P_FREEZE: Final = 36  # K, first ice
P_TEMP_0: Final = 37  # K, first column of the flow table
P_TEMP_STEP: Final = 38
P_FLOW_STEP: Final = 40  # m3/s between rows of the exchanger table
P_QUIET_KMH: Final = 43
P_PERIOD: Final = 44  # law evaluated every so many ticks
P_DUTY_STEP: Final = 45
P_DELAY: Final = 46  # ticks of start delay
P_STALL_TICKS: Final = 48
P_COUNT: Final = 50

# --- tables -----------------------------------------------------------------------------------------
SPEED_ROWS: Final = 49  # flow table: (speed, coolant temperature) -> flow, torque per speed squared
TEMP_COLUMNS: Final = 16
FLOW_ROWS: Final = 129  # exchanger table: flow -> core G, core E, front G, front E
DUTY_ROWS: Final = 65  # duty table: duty -> volts ratio, amps ratio, speed share, volts ratio at rest
