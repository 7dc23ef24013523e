"""Parts of the inner loop, one tick at a time, against what they promise worked out lane by lane by hand."""

from __future__ import annotations

import math
from typing import Any

import numpy as np
import plant_builders as make
import pytest

from arena.plant import judging, kernel, pumping
from arena.plant import layout as at
from arena.plant.jit import compiled

WIDTH = 8  # lanes looked at
actuate, pump_currents, controlled_currents, sense = (
    make.for_all_lanes(body)
    for body in (pumping.actuate, pumping.pump_currents, pumping.controlled_currents, judging.sense)
)
find_duty = kernel.find_duty


@compiled
def read_duties(S: Any, table: Any, used: int) -> None:
    """What only compiled functions may call."""
    find_duty(S, table, (0.0,), used)


class Tick:
    """A buffer of eight lanes, one row of X, constants, and a place for what is seen on boost."""

    def __init__(self) -> None:
        self.S = np.zeros(at.ROWS * at.LANES)
        self.X = np.zeros(at.X_COLUMNS)
        self.P = np.zeros(at.P_COUNT)
        self.on_boost = np.zeros(at.LANES, np.float32)
        self[at.FAILED] = self[at.REACHED] = -1.0
        self[at.QUIET_CAP] = self[at.IS_PWM] = 1.0
        self.X[at.X_KEY] = self.X[at.X_SCORED] = 1.0
        self.X[at.X_SPEED], self.P[at.P_QUIET_KMH], self.P[at.P_SOFT] = 50.0, 10.0, 1.0
        self.X[at.X_FAULT_READING], self.X[at.X_BOOST_ROW] = math.nan, -1.0
        self.P[at.P_BOIL], self.P[at.P_STALL_TICKS] = 400.0, 100.0
        self.P[at.P_RATED_W], self.P[at.P_RATED_A], self.P[at.P_TARGET] = 300.0, 4.0, 300.0

    def __setitem__(self, row: int, values: Any) -> None:
        self.S[row * at.LANES : row * at.LANES + WIDTH] = values

    def __getitem__(self, row: int) -> np.ndarray:
        return self.S[row * at.LANES : row * at.LANES + WIDTH]

    def of(self, number: int) -> tuple[np.ndarray, np.ndarray, int, np.ndarray]:
        """What a part is given in tick `number`, of ticks that are all the same."""
        return self.S, np.tile(self.X, number + 1), number * at.X_COLUMNS, self.P

    def actuate(self, number: int = 0) -> np.ndarray:
        actuate(*self.of(number), WIDTH)
        return self[at.APPLIED]

    def judge(self, number: int = 7) -> None:
        kernel.judge(*self.of(number), self.on_boost, WIDTH)


@pytest.fixture
def tick() -> Tick:
    return Tick()


ASKED = (0.0, 0.3, 1.0, -0.01, 1.01, math.nan, math.inf, -math.inf)


def test_what_is_no_duty_fails_the_lane_and_stops_its_pump(tick: Tick) -> None:
    tick[at.DUTY] = ASKED
    np.testing.assert_array_equal(tick.actuate(7), [0.0, 0.3, 1.0, 0, 0, 0, 0, 0])
    np.testing.assert_array_equal(tick[at.REASON], [0, 0, 0, 3, 3, 3, 3, 3])
    tick.judge(7)
    np.testing.assert_array_equal(tick[at.FAILED], [-1, -1, -1, 7, 7, 7, 7, 7])
    tick[at.DUTY] = math.nan
    tick.actuate(8)
    tick.judge(8)
    np.testing.assert_array_equal(tick[at.FAILED], [8, 8, 8, 7, 7, 7, 7, 7])


def test_with_the_key_off_nobody_is_asked_and_nobody_fails(tick: Tick) -> None:
    tick.X[at.X_KEY], tick.X[at.X_KEY_OFF_S] = 0.0, 30.0
    tick[at.DUTY], tick[at.RUN_ON_S] = ASKED, [0, 60, 60, 60, 60, 60, 60, 60]
    np.testing.assert_array_equal(tick.actuate(), [0.0, 0.3, 1.0, 0, 0, 0, 0, 0])
    np.testing.assert_array_equal(tick[at.REASON], 0.0)
    tick[at.DUTY], tick[at.RUN_ON_S] = 1.0, [0, 29.9, 30, 30.1, 60, 0, 600, 15]
    np.testing.assert_array_equal(tick.actuate(), [0, 0, 0, 1, 1, 0, 1, 0])


@pytest.mark.parametrize("step", [0.05, 0.1, 0.25])
def test_duty_comes_in_steps_that_a_cap_rounds_down_and_a_relay_does_not_know(tick: Tick, step: float) -> None:
    asked = np.array([0.0, 0.02, 0.31, 0.34, 0.5, 0.99, 1.0, 0.88])
    tick[at.DUTY], tick.P[at.P_DUTY_STEP] = asked, step
    np.testing.assert_allclose(tick.actuate(), np.floor(asked / step + 0.5) * step, atol=1e-12)
    tick.X[at.X_SPEED], tick[at.QUIET_CAP] = 0.0, 0.47
    capped = np.minimum(np.floor(asked / step + 0.5), np.floor(0.47 / step)) * step
    np.testing.assert_allclose(tick.actuate(), capped, atol=1e-12)
    assert tick[at.APPLIED].max() <= 0.47
    tick[at.IS_PWM] = 0.0
    np.testing.assert_array_equal(tick.actuate(), np.minimum(asked, 0.47))


def test_the_quiet_cap_holds_up_to_its_speed(tick: Tick) -> None:
    tick[at.DUTY], tick[at.QUIET_CAP] = [0.2, 0.5, 1, 1, 0, 1, 1, 1], [0.3, 0.3, 0.3, 0, 0.3, 1, 0.9, 0.5]
    tick.X[at.X_SPEED] = 10.0
    np.testing.assert_array_equal(tick.actuate(), [0.2, 0.3, 0.3, 0, 0, 1, 0.9, 0.5])
    tick.X[at.X_SPEED] = 10.1
    np.testing.assert_array_equal(tick.actuate(), [0.2, 0.5, 1, 1, 0, 1, 1, 1])


def test_a_duty_goes_out_in_the_steps_of_the_output(tick: Tick) -> None:
    tick[at.DUTY], tick.P[at.P_DUTY_STEP] = [0.0, 0.024, 0.026, 0.05, 0.074, 0.33, 0.98, 1.0], 0.05
    np.testing.assert_allclose(tick.actuate(), [0, 0, 0.05, 0.05, 0.05, 0.35, 1.0, 1.0], atol=1e-12)


def test_a_start_waits_for_the_delay_and_is_counted_once(tick: Tick) -> None:
    tick.P[at.P_DELAY] = 3.0
    seen = []
    for asked in (0.0, 0.5, 0.5, 0.5, 0.5, 0.0, 0.5):
        tick[at.DUTY] = asked
        seen.append(float(tick.actuate()[0]))
    assert seen == [0.0, 0.0, 0.0, 0.0, 0.5, 0.0, 0.0]
    assert tick[at.STARTS][0] == 2.0
    tick.X[at.X_SCORED] = 0.0
    for asked in (0.0, 0.5):
        tick[at.DUTY] = asked
        tick.actuate()
    assert tick[at.STARTS][0] == 2.0, "not before the drive is scored"


def test_a_soft_start_rises_step_by_step_and_falls_at_once(tick: Tick) -> None:
    tick.P[at.P_SOFT], tick[at.IS_PWM] = 0.25, [1, 1, 1, 1, 0, 0, 0, 0]
    tick[at.DUTY] = 0.6
    seen = [tick.actuate().copy() for _ in range(3)]
    np.testing.assert_allclose([s[0] for s in seen], [0.25, 0.5, 0.6])
    assert [s[7] for s in seen] == [0.6, 0.6, 0.6], "a relay knows no ramp"
    tick[at.DUTY] = 0.1
    assert tick.actuate()[0] == 0.1


def test_the_first_cause_of_failing_stands(tick: Tick) -> None:
    tick[at.CORE_HOTTEST] = [399, 401, 399, 401, 401, 400, 399, 401]
    tick[at.STALL] = [100, 0, 101, 101, 0, 100, 0, 0]
    tick[at.FAILED] = [-1, -1, -1, -1, 5, -1, -1, -1]
    tick[at.REASON] = [0, 0, 0, 0, 3, 0, 0, 0]
    tick.judge(9)
    np.testing.assert_array_equal(tick[at.FAILED], [-1, 9, 9, 9, 5, -1, -1, 9])
    np.testing.assert_array_equal(tick[at.REASON], [0, 1, 2, 1, 3, 0, 0, 1])


def test_figures_of_a_tick_by_hand(tick: Tick) -> None:
    x, p = tick.X, tick.P
    x[at.X_BOOST], x[at.X_CRUISE], x[at.X_LIMIT], x[at.X_BOOST_ROW] = 0.7, 0.3, 0.4, 0.0
    x[at.X_HOT_T], x[at.X_COLD_T], x[at.X_LIMIT_T], x[at.X_DEW], x[at.X_SUPPLY] = 303.0, 297.0, 318.0, 290.0, 13.8
    x[at.X_STILL], p[at.P_QUIET] = 1.0, 0.3
    iat = np.array([290.0, 297.0, 300.0, 303.0, 305.0, 318.0, 320.0, 340.0])
    applied, speed, amps = np.linspace(0, 1, WIDTH), np.linspace(0, 450, WIDTH), np.linspace(0, 8, WIDTH)
    tick[at.IAT], tick[at.APPLIED], tick[at.SPEED], tick[at.CURRENT] = iat, applied, speed, amps
    tick[at.BATTERY_A], tick[at.WAS_ON], tick[at.CORE_COLDEST] = 0.5 * amps, 1.0, np.linspace(288, 292, WIDTH)
    tick.judge()
    hot, cold = np.maximum(iat - 303, 0), np.maximum(297 - iat, 0)
    stress = 1 + 0.3 * np.maximum((amps / 4) ** 2 - 1, 0)
    for row, wanted in (
        (at.HOT_BOOST, 0.7 * hot), (at.HOT_CRUISE, 0.3 * hot), (at.COLD_CRUISE, 0.3 * cold),
        (at.SQUARES, (iat - 300) ** 2), (at.CONDENSING, np.linspace(288, 292, WIDTH) < 290),
        (at.OVER, 0.4 * np.maximum(iat - 318, 0)), (at.POWER_KEPT, 0.7 * np.sqrt(300 / iat)),
        (at.QUIET, applied > 0.3), (at.PUMP_TICKS, np.ones(WIDTH)), (at.ENERGY, 13.8 * 0.5 * amps),
        (at.WEAR_1, speed / 300 * stress), (at.WEAR_15, (speed / 300) ** 1.5 * stress),
        (at.WEAR_2, (speed / 300) ** 2 * stress),
    ):  # fmt: skip
        np.testing.assert_allclose(tick[row], wanted, rtol=1e-12, err_msg=str(row))
    np.testing.assert_array_equal(tick.on_boost[:WIDTH], iat.astype(np.float32))


def test_off_boost_and_before_the_score_nothing_is_added(tick: Tick) -> None:
    tick[at.IAT], tick[at.WAS_ON] = 340.0, 1.0
    tick.X[at.X_SUPPLY] = 13.8
    tick.judge()
    assert not tick[at.HOT_BOOST].any() and not tick[at.SQUARES].any() and not tick[at.OVER].any()
    assert tick[at.PUMP_TICKS].all()
    tick.X[at.X_SCORED] = 0.0
    before = tick.S.copy()
    tick.judge()
    np.testing.assert_array_equal(tick.S, before)


def test_reach_is_the_first_tick_at_its_temperature(tick: Tick) -> None:
    tick.X[at.X_REACH], tick.P[at.P_REACH] = 1.0, 298.0
    tick[at.IAT] = [297, 297.9, 298, 299, 300, 290, 298, 310]
    tick.judge(4)
    tick[at.IAT] = 320.0
    tick.judge(5)
    np.testing.assert_array_equal(tick[at.REACHED], [5, 5, 4, 4, 4, 5, 4, 4])


def test_a_probe_lags_steps_and_a_broken_one_reads_what_it_reads(tick: Tick) -> None:
    x = tick.X
    x[at.X_PROBE0], x[at.X_PROBE1], x[at.X_PROBE_K], x[at.X_NOISE], tick.P[at.P_STEP] = 30.0, 0.9, 0.25, 0.2, 0.5
    tick[at.PROBE], tick[at.CORE_METAL] = 300.0, np.linspace(290, 330, WIDTH)
    tick[at.CORE_IN] = 273.15 + np.array([20.0, 20.24, 20.26, 20.5, -0.3, -0.2, 99.9, 0.0])
    sense(tick.S, x, 0, tick.P, WIDTH)
    element = 300 + 0.25 * (30 + 0.9 * np.linspace(290, 330, WIDTH) - 300)
    np.testing.assert_allclose(tick[at.PROBE], element, rtol=1e-12)
    np.testing.assert_allclose(
        tick[at.READING], 273.15 + 0.5 * np.floor((element - 273.15 + 0.2) / 0.5 + 0.5), rtol=1e-12
    )
    np.testing.assert_allclose(tick[at.COOLANT_READING] - 273.15, [20, 20, 20.5, 20.5, -0.5, 0, 100, 0], atol=1e-9)
    x[at.X_FAULT_READING] = 233.15
    sense(tick.S, x, 0, tick.P, WIDTH)
    np.testing.assert_array_equal(tick[at.READING], 233.15)


def test_currents_volts_and_a_pump_that_does_not_turn(tick: Tick) -> None:
    """Eight lanes unlike each other: off, PWM and switched, resting, delayed, driven beyond its volts."""
    duty = np.array([0.0, 0.5, 1.0, 0.8, 0.5, 0.4, 1.0, 0.6])
    pwm = np.array([1.0, 1.0, 0.0, 0.0, 1.0, 1.0, 0.0, 1.0])
    speed = np.array([0.0, 100.0, 200.0, 300.0, 0.0, 0.0, 900.0, 50.0])
    volts, ohm, ratio = 13.0 - np.arange(8) * 0.5, 0.7 + 0.1 * np.arange(8), np.linspace(0.8, 1.2, 8)
    waiting = np.array([0.0, 0.0, 2.0, 0.0, 0.0, 5.0, 0.0, 0.0])
    tick[at.APPLIED], tick[at.IS_PWM], tick[at.SPEED], tick[at.OMEGA] = duty, pwm, speed, speed
    tick[at.VOLTS], tick[at.TOTAL_OHM], tick[at.PER_OHM], tick[at.SERIES_OHM] = volts, ohm, 1.0 / ohm, 0.1 * ohm
    tick[at.AMPS_RATIO], tick[at.DELAY], tick[at.STALL] = ratio, waiting, np.arange(8.0)
    ke, brush, resistance, friction = 0.02, 0.4, 0.6, 0.01
    for row, value in ((at.P_KE, ke), (at.P_BRUSH, brush), (at.P_RESISTANCE, resistance), (at.P_FRICTION, friction)):
        tick.P[row] = value
    tick.X[at.X_SUPPLY] = 13.8
    pump_currents(tick.S, tick.X, 0, tick.P, WIDTH)
    on = duty > 0.0
    amps = on * np.maximum((volts - ke * speed) / ohm, 0.0)
    np.testing.assert_allclose(tick[at.CURRENT], amps)
    np.testing.assert_allclose(tick[at.BATTERY_A], amps * np.where(pwm > 0.0, duty * ratio, 1.0))
    np.testing.assert_allclose(tick[at.MOTOR_V], on * (volts + brush - amps * (ohm - resistance)))
    np.testing.assert_allclose(tick[at.RESISTOR_W], amps**2 * 0.1 * ohm)
    np.testing.assert_array_equal(tick[at.STALL], [0, 0, 0, 0, 5, 0, 0, 0], "commanded, at rest, not waiting")
    share = np.where(np.arange(8) == 4, 0.0, 0.5)
    torque = np.linspace(1e-6, 2e-6, 8)
    tick[at.TORQUE_C], tick[at.SPEED_SHARE], tick[at.STALL] = torque, share, 3.0
    controlled_currents(tick.S, tick.X, 0, tick.P, WIDTH)
    amps = (speed > 0.0) * (friction + torque * speed**2) / ke
    motor_v = (speed > 0.0) * (brush + resistance * amps + ke * speed)
    np.testing.assert_allclose(tick[at.CURRENT], amps)
    np.testing.assert_allclose(tick[at.MOTOR_V], motor_v)
    np.testing.assert_allclose(tick[at.BATTERY_A], amps * motor_v / 13.8)
    assert tick[at.STALL][4] == 0.0, "a signal pump told to stand has not stalled"
    assert (tick[at.RESISTOR_W] == 0.0).all(), "and has no resistor"


def test_everything_recorded_stands_in_its_column_and_nowhere_else(tick: Tick) -> None:
    rows = {
        at.T_IAT: at.IAT, at.T_READING: at.READING, at.T_CORE_METAL: at.CORE_METAL, at.T_CORE_IN: at.CORE_IN,
        at.T_CORE_OUT: at.CORE_OUT, at.T_FRONT_IN: at.FRONT_IN, at.T_FRONT_OUT: at.FRONT_OUT, at.T_TANK: at.LINK,
        at.T_DUTY: at.APPLIED, at.T_PUMP_V: at.MOTOR_V, at.T_PUMP_A: at.CURRENT, at.T_PUMP_SPEED: at.SPEED,
        at.T_FLOW: at.FLOW, at.T_RESISTOR_W: at.RESISTOR_W, at.T_HEAT_AIR: at.HEAT_AIR, at.T_HEAT_OUT: at.HEAT_OUT,
    }  # fmt: skip
    assert sorted([*rows, at.T_SUPPLY_W]) == list(range(at.TRACE_COLUMNS))
    for column, row in rows.items():
        tick[row] = 100.0 * (column + 1) + np.arange(WIDTH)
    tick[at.SIDE], tick[at.BATTERY_A], tick.X[at.X_SUPPLY] = -5.0, 2.0 + np.arange(WIDTH), 13.0
    trace = np.full((4, 3, at.TRACE_COLUMNS), -1.0)  # four ticks of three lanes
    kernel.record(tick.S, tick.X, 0, tick.P, 2, trace.reshape(-1), 3, at.TRACE_COLUMNS)
    assert (trace[[0, 1, 3]] == -1.0).all()
    for lane in range(3):
        for column in rows:
            assert trace[2, lane, column] == 100.0 * (column + 1) + lane
        assert trace[2, lane, at.T_SUPPLY_W] == 13.0 * (2.0 + lane)
    tick.P[at.P_SIDE_SHARE] = 0.2
    kernel.record(tick.S, tick.X, 0, tick.P, 0, trace.reshape(-1), 3, at.TRACE_COLUMNS)
    assert (trace[0, :, at.T_TANK] == -5.0).all()
    iat = np.full((4, 3), -1.0)
    kernel.record(tick.S, tick.X, 0, tick.P, 1, iat.reshape(-1), 3, 1)
    np.testing.assert_array_equal(iat, [[-1] * 3, [100, 101, 102], [-1] * 3, [-1] * 3])


def test_what_stands_in_the_duty_table_is_read_between_its_rows(tick: Tick) -> None:
    """Columns: voltage turning, share of current, speed share, voltage at rest; a row a step of duty."""
    rows = np.arange(at.DUTY_ROWS) / (at.DUTY_ROWS - 1.0)
    table = np.stack([1.0 + rows, 2.0 + rows, 3.0 + rows, 4.0 + rows], axis=1).ravel()
    duty = np.array([0.0, 0.1234, 0.3, 0.5, 0.777, 0.999, 1.0, 0.25])
    tick[at.APPLIED], tick[at.OMEGA] = duty, [0.0, 0.0, 0.5, 2.0, 100.0, 0.0, 400.0, 1.5]
    read_duties(tick.S, table, WIDTH)
    turning = tick[at.OMEGA] > 1.0
    np.testing.assert_allclose(tick[at.VOLTS_RATIO], np.where(turning, 1.0, 4.0) + duty, atol=1e-6)
    np.testing.assert_allclose(tick[at.AMPS_RATIO], 2.0 + duty, atol=1e-6)
    np.testing.assert_allclose(tick[at.SPEED_SHARE], 3.0 + duty, atol=1e-6)
