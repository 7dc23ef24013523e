"""From the duty a law asks for to what the pump does in one tick: output stage, motor, currents, ice.

Ordinary arithmetic on a few lanes side by side; see rows.swept for what `rows`, `x` and `p` are.
"""

from __future__ import annotations

from typing import Any

from arena.plant.layout import (
    AMPS_RATIO, APPLIED, BATTERY_A, CURRENT, DELAY, DUTY, FAILED, FLOW, IS_PWM, LINK, MOTOR_V, OHM_A, OHM_B, OMEGA,
    P_BRUSH, P_DELAY, P_DUTY_STEP, P_FREEZE, P_FRICTION, P_KE, P_LEAD, P_QUIET_KMH, P_RESISTANCE, P_SIGNAL, P_SOFT,
    P_SPIN_K, P_SPIN_MEAN, P_START_A, PER_OHM, QUIET_CAP, REASON, RESISTOR_W, RUN_ON_S, SERIES_OHM, SPEED, SPEED_SHARE,
    STALL, STARTS, TORQUE_C, TOTAL_OHM, VOLTS, VOLTS_RATIO, WAS_ON, X_KEY, X_KEY_OFF_S, X_SCORED, X_SPEED, X_SUPPLY,
)  # fmt: skip

HELD_FAST = 1e4  # N m s2: no motor of this size turns at 1 rad/s against it


def actuate(rows: Any, x: Any, p: Any) -> None:
    """From what the law asks to what reaches the pump: key, quiet cap, resolution, start delay, soft start."""
    key, slow, pwm = x[X_KEY] > 0.0, x[X_SPEED] <= p[P_QUIET_KMH], rows[IS_PWM] > 0.0
    asked, failed, reason = rows[DUTY], rows[FAILED], rows[REASON]
    usable, well = (asked >= 0.0) & (asked <= 1.0), key & (failed < 0.0)
    rows[REASON] = rows.where(usable, reason, rows.where(well, 3.0, reason))
    rows[FAILED] = rows.where(usable, failed, rows.where(well, x.tick, failed))
    top = rows.where(slow, rows.least(rows[QUIET_CAP], 1.0), 1.0)
    runs = usable & (key | (x[X_KEY_OFF_S] < rows[RUN_ON_S]))
    asked = rows.where(runs, rows.least(asked, top), 0.0)
    step = rows.most(p[P_DUTY_STEP], 1e-9)
    whole = rows.floor(rows.least(asked / step + 0.5, top / step + 1e-9)) * step  # a cap holds: it is not rounded up
    stepped = (p[P_DUTY_STEP] > 0.0) & pwm  # a relay has its own steps
    asked = rows.where(stepped, rows.least(whole, top), asked)
    on = rows.where(asked > 0.0, 1.0, 0.0)
    started = on * (1.0 - rows[WAS_ON])
    rows[WAS_ON] = on
    rows[STARTS] += started * x[X_SCORED]
    wait = rows.where(started > 0.0, p[P_DELAY], rows.most(rows[DELAY] - 1.0, 0.0))
    rows[DELAY] = wait
    given = rows.where(wait < 1.0, asked, 0.0)
    rows[APPLIED] = rows.where(pwm, rows.least(given, rows[APPLIED] + p[P_SOFT]), given)


def motor(rows: Any, x: Any, p: Any) -> None:
    """Where the motor settles at this voltage, and its mean speed over the tick.

    Torque balance ke (V - ke w) / R = friction + c w^2 with c from the table at the speed of the tick before.
    """
    supply, resistance, ke, brush, friction = x[X_SUPPLY], p[P_RESISTANCE], p[P_KE], p[P_BRUSH], p[P_FRICTION]
    lead, start_a, signal = p[P_LEAD], p[P_START_A], p[P_SIGNAL] > 0.0
    spin_mean, spin_new = p[P_SPIN_MEAN], 1.0 - p[P_SPIN_K]
    duty, pwm, old = rows[APPLIED], rows[IS_PWM], rows[OMEGA]
    through = rows.where(duty > 0.5001, rows[OHM_B], rows[OHM_A])
    series = (1.0 - pwm) * rows.where(duty > 0.999, 0.0, through)
    switched = pwm * duty + (1.0 - pwm)
    volts = supply * (pwm * duty * rows[VOLTS_RATIO] + (1.0 - pwm)) - brush
    volts = rows.where(signal, supply - brush, volts)
    total = rows.where(signal, resistance + lead, resistance + lead * switched + series)
    per_ohm = 1.0 / total
    rows[SERIES_OHM], rows[VOLTS], rows[TOTAL_OHM], rows[PER_OHM] = series, volts, total, per_ohm
    a = ke * volts * per_ohm - friction
    b = ke * ke * per_ohm
    goal = 2.0 * a / (b + rows.root(rows.most(b * b + 4.0 * a * rows[TORQUE_C], 0.0)))
    turns = (duty > 0.0) & ((old > 1.0) | (volts >= start_a * total))  # it breaks away, or is turning
    goal = rows.where(turns, rows.most(goal, 0.0), 0.0) * rows.where(signal, rows[SPEED_SHARE], 1.0)
    mean = goal + (old - goal) * spin_mean
    new = goal + (old - goal) * spin_new
    moving = (goal >= 1.0) | (new >= 1.0)
    rows[OMEGA] = rows.where(moving, new, 0.0)
    rows[SPEED] = rows.where(moving, mean, 0.0)


def pump_currents(rows: Any, x: Any, p: Any) -> None:
    """Currents, voltages and resistor heat at the mean speed of the tick, of a pump whose supply is switched."""
    resistance, ke, brush = p[P_RESISTANCE], p[P_KE], p[P_BRUSH]
    duty, pwm, volts, total = rows[APPLIED], rows[IS_PWM], rows[VOLTS], rows[TOTAL_OHM]
    on = duty > 0.0
    current = rows.where(on, rows.most((volts - ke * rows[SPEED]) * rows[PER_OHM], 0.0), 0.0)
    drawn = pwm * duty * rows[AMPS_RATIO] + (1.0 - pwm)
    rows[CURRENT] = current
    rows[BATTERY_A] = current * drawn
    rows[MOTOR_V] = rows.where(on, volts + brush - current * (total - resistance), 0.0)
    rows[RESISTOR_W] = current * current * rows[SERIES_OHM]
    count_stalled(rows, on)


def controlled_currents(rows: Any, x: Any, p: Any) -> None:
    """The same of a pump with its own controller, which gives the motor what its speed takes."""
    ke, speed = p[P_KE], rows[SPEED]
    turning = speed > 0.0
    current = rows.where(turning, (p[P_FRICTION] + rows[TORQUE_C] * speed * speed) / ke, 0.0)
    volts = rows.where(turning, p[P_BRUSH] + p[P_RESISTANCE] * current + ke * speed, 0.0)
    rows[CURRENT] = current
    rows[MOTOR_V] = volts
    rows[BATTERY_A] = current * volts / x[X_SUPPLY]
    rows[RESISTOR_W] = 0.0
    count_stalled(rows, (rows[APPLIED] > 0.0) & (rows[SPEED_SHARE] > 0.0))  # told to turn, not to stand


def count_stalled(rows: Any, told: Any) -> None:
    """Ticks on end in which the pump is told to turn, has waited its delay and does not."""
    stalled = told & (rows[OMEGA] <= 0.0) & (rows[DELAY] < 1.0)
    rows[STALL] = rows.where(stalled, rows[STALL] + 1.0, 0.0)


def freeze(rows: Any, x: Any, p: Any) -> None:
    """Ice holds the pump fast."""
    frozen = rows[LINK] < p[P_FREEZE]
    rows[FLOW] = rows.where(frozen, 0.0, rows[FLOW])
    rows[TORQUE_C] = rows.where(frozen, HELD_FAST, rows[TORQUE_C])
