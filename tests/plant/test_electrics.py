"""What the motor formulas promise on the shipped pump: sane currents, one speed per duty, limits, refusals."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import replace

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from arena.errors import BadInput
from arena.plant import fluids, hydraulics
from arena.plant.electrics import (
    conductor_ohm_m,
    motor_point,
    pwm_steady,
    pwm_tables,
    signal_speed_share,
    steady_speed,
)
from arena.plant.numbers import Loop, Pump

PUMP = Pump()


@pytest.fixture(scope="module")
def flow_table() -> hydraulics.FlowTable:
    mix = fluids.table("ethylene", 0.4)
    return hydraulics.build_flow_table(PUMP, Loop(), mix, np.linspace(0.0, 1.3, 66), np.array([313.15]))


@pytest.fixture(scope="module")
def load(flow_table: hydraulics.FlowTable) -> Callable:
    def torque(w: float | np.ndarray) -> float | np.ndarray:
        ratio = w / PUMP.rated_rad_s
        return PUMP.friction_nm + np.interp(ratio, flow_table.speed_ratio, flow_table.torque_nm[:, 0])

    return torque


def test_shipped_pump_at_full_voltage(load: Callable, flow_table: hydraulics.FlowTable) -> None:
    """At 13.5 V: 3 to 6 A, 12 to 18 L/min, 12 to 25 A held fast (judgement from memory)."""
    point = motor_point(PUMP.resistance_ohm, PUMP.ke_v_s, load, 13.5, 0.05, brush_v=PUMP.brush_v)
    flow = np.interp(point.speed_rad_s / PUMP.rated_rad_s, flow_table.speed_ratio, flow_table.flow_m3_s[:, 0]) * 60000.0
    assert 3.0 < point.current_a < 6.0
    assert 12.0 < flow < 18.0
    assert point.speed_rad_s == pytest.approx(PUMP.rated_rad_s, rel=0.10)
    held = motor_point(PUMP.resistance_ohm, PUMP.ke_v_s, lambda w: 10.0, 13.5, brush_v=PUMP.brush_v)
    assert 12.0 < held.current_a < 25.0


def test_shipped_pump_at_seven_volts(load: Callable, flow_table: hydraulics.FlowTable) -> None:
    """7 V at the motor: 6 to 9 L/min and 1.3 to 2.5 A (judgement from memory)."""
    point = motor_point(PUMP.resistance_ohm, PUMP.ke_v_s, load, 7.0, brush_v=PUMP.brush_v)
    flow = np.interp(point.speed_rad_s / PUMP.rated_rad_s, flow_table.speed_ratio, flow_table.flow_m3_s[:, 0]) * 60000.0
    assert 1.3 < point.current_a < 2.5
    assert 6.0 < flow < 9.0


@given(st.floats(0.0, 16.0), st.floats(0.0, 4.0), st.floats(0.0, 1.0))
def test_energy_balances_with_resistor_brushes_and_duty(supply: float, series: float, duty: float) -> None:
    def torque(w: float | np.ndarray) -> float | np.ndarray:
        return 0.018 + 3.6e-7 * w**2

    p = motor_point(0.7, 0.0225, torque, supply, series, duty, brush_v=1.0)
    turning = 0.0225 * p.current_a * p.speed_rad_s
    used = p.resistor_w + 0.7 * p.current_a**2 + 1.0 * p.current_a + turning
    assert p.supply_w == pytest.approx(used, rel=1e-6, abs=1e-9)
    if p.speed_rad_s > 0.0:
        assert turning == pytest.approx(torque(p.speed_rad_s) * p.speed_rad_s, rel=1e-6)


@given(st.floats(1.0, 15.0), st.floats(1.0, 1.5))
def test_more_voltage_never_turns_slower(volts: float, more: float) -> None:
    speeds = [steady_speed(v, 0.7, 0.0225, lambda w: 0.018 + 3.6e-7 * w**2, 1.0) for v in (volts, volts * more)]
    assert speeds[1] >= speeds[0]


def test_less_than_the_brush_drop_does_nothing() -> None:
    p = motor_point(0.7, 0.0225, lambda w: 0.018, 0.9, brush_v=1.0)
    assert (p.speed_rad_s, p.current_a, p.supply_w) == (0.0, 0.0, 0.0)


def test_a_load_that_drives_the_motor_is_followed_past_no_load_speed() -> None:
    assert steady_speed(12.0, 0.6, 0.018, lambda w: -0.05 + 5e-5 * w) > 12.0 / 0.018
    with pytest.raises(BadInput, match="without end"):
        steady_speed(12.0, 0.6, 0.018, lambda w: -1.0 - w)


def test_pwm_tables_of_the_shipped_pump(load: Callable) -> None:
    """1 kHz and 0.5 mH: the current rests at most duties, so that voltage is above duty x supply up to about 75 %."""
    made = pwm_tables(PUMP, 13.8, load)
    assert made.duty.shape == (65,)
    assert made.voltage_factor[-1] == pytest.approx(1.0, abs=1e-9)
    assert made.supply_share[-1] == pytest.approx(1.0, abs=1e-9)
    assert np.all(made.voltage_factor >= 1.0 - 1e-9)
    assert np.all(np.diff(made.speed_rad_s) >= -1e-6)
    assert made.continuous[-1]
    assert not made.continuous[32]
    assert made.voltage_factor[32] > 1.15
    volts = made.duty * 13.8 * made.voltage_factor
    assert np.all(np.diff(volts[1:]) > 0.0)
    alike = [steady_speed(v, PUMP.resistance_ohm, PUMP.ke_v_s, load, PUMP.brush_v) for v in volts]
    assert made.speed_rad_s == pytest.approx(alike, abs=1e-3)  # the steady voltage that runs the motor alike


def test_pwm_tables_at_high_frequency_are_plain_duty(load: Callable) -> None:
    made = pwm_tables(replace(PUMP, pwm_hz=2e5), 13.8, load)
    running = made.duty > 0.25
    assert made.voltage_factor[running] == pytest.approx(np.ones(running.sum()), abs=1e-6)
    assert made.supply_share[running] == pytest.approx(made.duty[running], rel=2e-3)


def test_pwm_tables_take_less_power_than_they_would_by_resistor(load: Callable) -> None:
    """At the same speed the supply gives less by PWM, ripple and all, than through a resistor."""
    made = pwm_tables(PUMP, 13.8, load)
    for k in (16, 32, 48):
        by_pwm = 13.8 * made.supply_share[k] * made.current_a[k]
        by_resistor = 13.8 * made.current_a[k]
        assert by_pwm < by_resistor
        turning = load(made.speed_rad_s[k]) * made.speed_rad_s[k]
        heat = PUMP.resistance_ohm * made.current_a[k] ** 2 + PUMP.brush_v * made.current_a[k]
        assert by_pwm > turning + heat  # RMS current heats more than the mean


def test_signal_pump_with_dead_bands_and_inverted() -> None:
    duty = np.array([0.0, 0.05, 0.10, 0.50, 0.90, 1.0])
    plain = signal_speed_share(duty, PUMP.signal_duty, PUMP.signal_speed)
    assert plain == pytest.approx([0.0, 0.0, 0.0, 0.5, 1.0, 1.0])
    inverted = signal_speed_share(duty, (0.0, 0.1, 0.9, 1.0), (1.0, 1.0, 0.0, 0.0))
    assert inverted == pytest.approx(1.0 - plain)
    with pytest.raises(BadInput, match="duties must increase"):
        signal_speed_share(0.5, (0.0, 0.5, 0.5), (0.0, 0.5, 1.0))
    with pytest.raises(BadInput, match="signal_speed"):
        signal_speed_share(0.5, (0.0, 1.0), (0.0, 1.2))


@pytest.mark.parametrize(
    ("changes", "named"),
    [
        ({"resistance_ohm": 0.0}, "resistance_ohm"),
        ({"ke_v_s": -0.01}, "ke_v_s"),
        ({"supply_v": float("nan")}, "supply_v"),
        ({"series_ohm": -1.0}, "series_ohm"),
        ({"duty": 1.1}, "duty"),
        ({"load_torque_nm": lambda w: float("nan")}, "load torque"),
    ],
)
def test_impossible_motors_are_refused_by_name(changes: dict, named: str) -> None:
    right = {"resistance_ohm": 0.6, "ke_v_s": 0.018, "load_torque_nm": lambda w: 0.01, "supply_v": 12.0}
    with pytest.raises(BadInput, match=named):
        motor_point(**(right | changes))


def test_pwm_at_the_ends_of_duty() -> None:
    off, on = (pwm_steady(12.0, 4.0, 0.6, 2e-4, 1e3, d) for d in (0.0, 1.0))
    assert (off.mean_current_a, off.supply_mean_current_a) == (0.0, 0.0)
    assert on.mean_current_a == pytest.approx(8.0 / 0.6)
    assert on.supply_mean_current_a == pytest.approx(8.0 / 0.6)
    with pytest.raises(BadInput, match="inductance_h"):
        pwm_steady(12.0, 4.0, 0.6, 0.0, 1e3, 0.5)


def test_unknown_conductor_size_lists_what_there_is() -> None:
    with pytest.raises(BadInput, match=r"1\.5"):
        conductor_ohm_m(1.3)


def test_floats_and_arrays() -> None:
    assert isinstance(motor_point(0.6, 0.018, lambda w: 0.01, 12.0).current_a, float)
    made = motor_point(0.6, 0.018, lambda w: 0.01, np.array([6.0, 12.0]), np.array([[0.0], [1.0], [2.0]]))
    assert made.speed_rad_s.shape == (3, 2)
