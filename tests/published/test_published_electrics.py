"""Pump motor, series resistor, PWM ripple and conductors against worked rows, a simulation and IEC 60228."""

from __future__ import annotations

from collections.abc import Callable

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from arena.plant.electrics import (
    MotorPoint,
    PwmPoint,
    conductor_ohm_m,
    copper_factor,
    motor_point,
    pwm_steady,
)

R, KE, VOLTS = 0.6, 0.018, 12.0


def load(w: float) -> float:
    return 0.004 + 4e-7 * w**2


# Closed-form quadratic, equal to a root finder to 1e-13; motor and load above.
RESISTOR = [  # series ohm, rad/s, A, motor V, resistor W, supply W
    (0.0, 485.011, 5.44968, 12.000, 0.0, 65.396),
    (0.5, 416.972, 4.08591, 9.9570, 8.3473, 49.031),
    (1.0, 372.632, 3.30789, 8.6921, 10.9421, 39.695),
    (2.0, 315.353, 2.43217, 7.1357, 11.8309, 29.186),
]
IDEAL_PWM = [  # duty, rad/s, A, supply W
    (0.75, 383.596, 3.49213, 31.429),
    (0.5, 271.375, 1.85876, 11.153),
    (0.25, 143.917, 0.68249, 2.048),
]
Motor = Callable[..., MotorPoint]


def motor_misses(motor: Motor) -> list[str]:
    found = []
    for series, *expected in RESISTOR:
        got = motor(R, KE, load, VOLTS, series)
        if got != pytest.approx(expected, rel=2e-5, abs=1e-9):
            found.append(f"{series} ohm: {got}")
    for duty, *expected in IDEAL_PWM:
        got = motor(R, KE, load, VOLTS, 0.0, duty)
        if (got.speed_rad_s, got.current_a, got.supply_w) != pytest.approx(expected, rel=3e-4):
            found.append(f"duty {duty}: {got}")
    return found


def test_worked_running_points() -> None:
    assert motor_misses(motor_point) == []


@pytest.mark.parametrize(
    "wrong",
    [
        lambda r, ke, t, v, s, d=1.0: motor_point(1.1 * r, ke, t, v, s, d),
        lambda r, ke, t, v, s, d=1.0: motor_point(r, 1.1 * ke, t, v, s, d),
        lambda r, ke, t, v, s, d=1.0: motor_point(r, ke, lambda w: 1.1 * t(w), v, s, d),
        lambda r, ke, t, v, s, d=1.0: motor_point(r, ke, t, v, s, d, brush_v=0.5),
    ],
)
def test_worked_points_notice_wrong_motors(wrong: Motor) -> None:
    assert len(motor_misses(wrong)) == len(RESISTOR) + len(IDEAL_PWM)


def test_worked_points_notice_a_resistor_left_out_and_heat_forgotten() -> None:
    assert len(motor_misses(lambda r, ke, t, v, s, d=1.0: motor_point(r, ke, t, v, 0.0, d))) == 3
    forgotten = [m for m in (motor_point(R, KE, load, VOLTS, s) for s in (0.5, 1.0, 2.0)) if balance(m, 0.0) > 1e-6]
    assert len(forgotten) == 3


def balance(point: MotorPoint, resistor_share: float = 1.0, r: float = R, torque: Callable = load) -> float:
    """Supply power less resistor heat, winding heat and shaft power, over supply power."""
    used = point.resistor_w * resistor_share + r * point.current_a**2 + torque(point.speed_rad_s) * point.speed_rad_s
    return abs(point.supply_w - used) / point.supply_w


def test_energy_balance_in_every_row() -> None:
    rows = [motor_point(R, KE, load, VOLTS, series) for series, *_ in RESISTOR]
    rows += [motor_point(R, KE, load, VOLTS, 0.0, duty) for duty, *_ in IDEAL_PWM]
    assert [balance(row) for row in rows] == pytest.approx([0.0] * 7, abs=1e-9)


def test_equal_speed_costs_less_by_pwm_than_by_resistor() -> None:
    """At 372.63 rad/s 39.69 W through 1 ohm, 28.75 W by ideal PWM of duty 0.7243."""
    pwm = motor_point(R, KE, load, VOLTS, 0.0, 0.7243)
    assert pwm.speed_rad_s == pytest.approx(372.63, abs=0.05)
    assert pwm.supply_w == pytest.approx(28.75, abs=0.01)


def test_no_load_and_stall() -> None:
    """666.67 rad/s without load, 20 A and 0.36 N m held fast (closed form)."""
    assert motor_point(R, KE, lambda w: 0.0, VOLTS).speed_rad_s == pytest.approx(666.667, abs=1e-3)
    held = motor_point(R, KE, lambda w: 0.3601, VOLTS)
    assert (held.speed_rad_s, held.current_a) == pytest.approx((0.0, 20.0))
    assert motor_point(R, KE, lambda w: 0.3599, VOLTS).speed_rad_s > 0.0


def test_textbook_style_motor_from_its_name_plate() -> None:
    """12 V, 3800 rpm without load, 30 mN m stall, at 2500 rpm: public exercise; its answer is closed form."""
    ke = 12.0 / (3800.0 * np.pi / 30.0)
    r = 12.0 * ke / 0.030
    w = 2500.0 * np.pi / 30.0
    torque = 0.030 * (1.0 - 2500.0 / 3800.0)
    point = motor_point(r, ke, lambda speed: torque, 12.0)
    assert point.speed_rad_s == pytest.approx(w, rel=1e-9)
    assert torque == pytest.approx(10.263e-3, abs=5e-7)
    assert point.current_a == pytest.approx(0.3403, abs=5e-5)
    assert (ke * w, point.supply_w, torque * w) == pytest.approx((7.895, 4.084, 2.687), abs=5e-4)


RIPPLE = [  # V, back EMF, ohm, H, Hz, duty -> Imin, Imax, mean A, mean V; closed form and exact-exponential simulation
    ((12.0, 0.0, 0.6, 2e-4, 1e3, 0.5), (3.64851, 16.35149, 10.0, 6.0), True),
    ((12.0, 4.0, 0.6, 2e-4, 20e3, 0.5), (2.95851, 3.70816, 3.33333, 6.0), True),
    ((12.0, 4.0, 0.6, 2e-4, 1e3, 0.5), (0.0, 10.35826, 4.58320, 6.74992), False),
]


def ripple_misses(steady: Callable[..., PwmPoint]) -> list[str]:
    found = []
    for given_, expected, continuous in RIPPLE:
        p = steady(*given_)
        got = (p.min_current_a, p.max_current_a, p.mean_current_a, p.mean_motor_v)
        if got != pytest.approx(expected, rel=3e-6) or bool(p.continuous) != continuous:
            found.append(f"{given_}: {p}")
    return found


def test_pwm_ripple_and_resting_current() -> None:
    assert ripple_misses(pwm_steady) == []


def test_pwm_rows_notice_wrong_values() -> None:
    def by_duty_alone(v: float, e: float, r: float, ind: float, hz: float, d: float) -> PwmPoint:
        """Mean voltage duty x supply whatever the current does: 27 % low in current in the resting case."""
        p = pwm_steady(v, e, r, ind, hz, d)
        return p._replace(mean_current_a=(d * v - e) / r, mean_motor_v=d * v)

    assert len(ripple_misses(by_duty_alone)) == 1
    assert len(ripple_misses(lambda v, e, r, ind, hz, d: pwm_steady(v, e, r, 1.1 * ind, hz, d))) == 3
    assert len(ripple_misses(lambda v, e, r, ind, hz, d: pwm_steady(v, e, r, ind, 0.9 * hz, d))) == 3
    assert len(ripple_misses(lambda v, e, r, ind, hz, d: pwm_steady(v, 1.1 * e, r, ind, hz, d))) == 2  # e is 0 in one


def simulated(v: float, e: float, r: float, ind: float, hz: float, duty: float) -> tuple[float, float, float]:
    """Mean, mean from the supply and RMS current of the settled period, stepped with exact exponentials."""
    steps, tau = 4000, ind / r
    dt = 1.0 / (hz * steps)
    keep = np.exp(-dt / tau)
    current, on_steps = 0.0, round(duty * steps)
    periods = int(min(400, 30 * max(1.0, tau * hz)))
    trace = np.zeros(steps + 1)
    for _ in range(periods):
        trace[0] = current
        for k in range(steps):
            goal = ((v if k < on_steps else 0.0) - e) / r
            current = max(0.0, goal + (current - goal) * keep)
            trace[k + 1] = current
    middle = 0.5 * (trace[1:] + trace[:-1])
    return float(middle.mean()), float(middle[:on_steps].sum() / steps), float(np.sqrt((middle**2).mean()))


@pytest.mark.parametrize("given_", [row[0] for row in RIPPLE[::2]] + [(13.8, 3.0, 0.7, 5e-4, 1e3, 0.25)])
def test_pwm_against_a_simulation_and_its_energy(given_: tuple[float, ...]) -> None:
    """Independent stepping; and what the supply gives is what back EMF and resistance take (RMS, not mean, squared)."""
    mean, from_supply, rms = simulated(*given_)
    ours = pwm_steady(*given_)
    assert ours.mean_current_a == pytest.approx(mean, rel=2e-3)
    assert ours.supply_mean_current_a == pytest.approx(from_supply, rel=2e-3)
    taken = given_[1] * ours.mean_current_a + given_[2] * rms**2
    assert given_[0] * ours.supply_mean_current_a == pytest.approx(taken, rel=2e-3)
    assert given_[0] * ours.mean_current_a * given_[5] != pytest.approx(taken, rel=2e-3)  # ripple left out


@settings(max_examples=60)
@given(
    st.floats(6.0, 15.0),
    st.floats(0.0, 1.1),
    st.floats(0.3, 1.5),
    st.floats(5e-5, 2e-3),
    st.floats(20.0, 25e3),
    st.floats(0.0, 1.0),
)
def test_pwm_keeps_within_its_bounds(v: float, share: float, r: float, ind: float, hz: float, duty: float) -> None:
    """Never below the mean that duty alone gives, never above a supply always on; nothing flows back."""
    e = share * v
    p = pwm_steady(v, e, r, ind, hz, duty)
    full = max(0.0, v - e) / r
    assert np.all(np.isfinite(p))
    assert max(0.0, (duty * v - e) / r) - 1e-9 <= p.mean_current_a <= full + 1e-9
    assert -1e-12 <= p.supply_mean_current_a <= p.mean_current_a + 1e-9
    assert p.min_current_a - 1e-9 <= p.mean_current_a <= p.max_current_a + 1e-9
    if p.continuous:
        assert p.mean_motor_v == pytest.approx(duty * v, rel=1e-6, abs=1e-9)


@given(st.floats(0.0, 11.0), st.floats(0.02, 1.0))
def test_high_frequency_is_the_plain_mean(e: float, duty: float) -> None:
    """The limit in which duty x supply holds: at 10 MHz, as long as that exceeds the back EMF."""
    p = pwm_steady(12.0, e, 0.6, 5e-4, 1e7, duty)
    assert p.mean_current_a == pytest.approx(max(0.0, (12.0 * duty - e) / 0.6), abs=0.02)


def test_conductor_resistance(published: Callable) -> None:
    """IEC 60228:2004, class 5 (flexible), plain copper at 20 degC; two more sizes of the same table."""
    rows = [(row.inputs["first"].split()[0], row.expected[0]) for row in published("conductor max R20 class 5")]
    for size, ohm_km in [*rows, ("0.5", 39.0), ("1.5", 13.3), ("6", 3.30)]:
        assert conductor_ohm_m(float(size)) * 1e3 == pytest.approx(ohm_km, rel=1e-12)
    class_2 = published("conductor max R20 class 5")[0].expected[1]
    assert conductor_ohm_m(0.75) * 1e3 != pytest.approx(class_2, rel=0.01)


def test_lead_drop_worked_example() -> None:
    """1.5 mm2 class 5, 2 x 3 m, 6 A: 0.4788 V at 20 degC, 0.5541 V at 60 degC (coefficient 0.00393 per K)."""
    assert 6.0 * 6.0 * conductor_ohm_m(1.5) == pytest.approx(0.4788, abs=1e-4)
    assert 6.0 * 6.0 * conductor_ohm_m(1.5, 333.15) == pytest.approx(0.5541, abs=1e-4)
    assert 6.0 * 3.0 * conductor_ohm_m(1.5) != pytest.approx(0.4788, abs=1e-4)  # one way only


@pytest.mark.parametrize(("celsius", "factor"), [(40.0, 0.926), (60.0, 0.862), (80.0, 0.806)])
def test_temperature_factor(celsius: float, factor: float) -> None:
    """Cable makers' table of R20 / R(T), which uses 0.004 per K: within 0.5 %."""
    assert 1.0 / copper_factor(celsius + 273.15) == pytest.approx(factor, rel=5e-3)
    assert copper_factor(celsius + 273.15) != pytest.approx(factor, rel=5e-3)  # the other way round
