"""PWM of a brushed pump: duty to flow, where it starts and stalls, which frequencies suit, what the switch must bear.

Ripple is the closed form of the current through resistance and inductance; switch, edge and diode are assumed
parts, named below, from memory.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Final

import numpy as np
from scipy.optimize import brentq

from arena.garage.bench_pump import BenchPump, PwmPoint

SWITCH_OHM: Final = 0.010  # on resistance of an ordinary power MOSFET, hot; from memory
EDGES_S: Final = 1.0e-6  # rise and fall together with a plain gate driver; from memory
DIODE_V: Final = 0.6  # Schottky diode, hot; from memory
SWITCH_MAX_C: Final = 150.0  # junction; common practice
FEW_SWITCH_W: Final = 0.5  # switching loss a part bears without thinking about it; judgement
STEADY_SHARE: Final = 0.10  # most the speed may swing within a period; judgement
RIPPLE_V: Final = 0.5  # ripple allowed at the switch's supply; judgement
HEARING_HZ: Final = (20.0, 20000.0)  # common knowledge; best at 2 to 5 kHz
FREQUENCIES_HZ: Final = (25.0, 50.0, 100.0, 200.0, 500.0, 1e3, 2e3, 5e3, 1e4, 2e4, 2.5e4)


@dataclass(frozen=True)
class DutyRow:
    """One duty: flow at every supply voltage, and the rest at the design voltage."""

    duty: float
    flows_l_min: tuple[float, ...]
    starts: tuple[bool, ...]
    point: PwmPoint  # with ripple
    smooth_rpm: float  # with the mean voltage duty x supply, no ripple
    smooth_a: float
    smooth_supply_w: float
    smooth_balance_w: float


@dataclass(frozen=True)
class FrequencyRow:
    """One frequency at the wanted flow: what it takes and what it costs."""

    hz: float
    duty: float
    ripple_a: float  # peak to peak
    max_a: float
    rms_over_mean: float
    continuous: bool
    speed_swing_pct: float
    heard: bool
    switching_w: float
    conduction_w: float
    diode_w: float
    filter_uf: float  # capacitor that holds the supply's ripple


@dataclass(frozen=True)
class SwitchNeeds:
    """What switch and diode must bear at the highest supply voltage and the car's frequency."""

    hz: float
    supply_v: float
    stall_a: float
    peak_a: float  # running, highest over duty
    switch_rms_a: float
    switch_w: float  # running, worst duty
    switch_stall_w: float  # rotor held, switched on for good
    diode_mean_a: float  # running, worst duty
    diode_stall_a: float  # rotor held, worst duty
    diode_w: float
    sink_k_w: float  # junction to bay, at most
    supply_ripple_rms_a: float  # worst duty
    filter_uf: float


@dataclass(frozen=True)
class PulseAdvice:
    """All about PWM."""

    hz: float
    design_v: float
    supplies_v: tuple[float, ...]
    rows: tuple[DutyRow, ...]
    start_duty: tuple[float | None, ...]  # one a supply voltage
    stall_duty: tuple[float | None, ...]
    flow_duty: float | None  # duty of the wanted flow at the design voltage
    steady_hz: float  # from here the pump's inertia holds the speed
    continuous_hz: float | None  # from here the current never rests at the wanted flow; None: it does everywhere
    loss_hz: float  # up to here switching costs less than FEW_SWITCH_W
    frequencies: tuple[FrequencyRow, ...]
    switch: SwitchNeeds


def pulse_advice(
    pump: BenchPump, flow_l_min: float, supplies_v: tuple[float, ...], bay_c: float, duties: tuple[float, ...] = ()
) -> PulseAdvice:
    """PWM of a pump for a wanted flow (L/min) at some supply voltages; duties 0..1 of the table, else every tenth."""
    hz = pump.car.pump.pwm_hz
    design = sorted(supplies_v)[len(supplies_v) // 2]
    rows = tuple(_duty_row(pump, d, supplies_v, design, hz) for d in duties or tuple(0.1 * k for k in range(1, 11)))
    flow_duty = pump.duty_where(lambda p: p.flow_l_min - flow_l_min, design, hz)
    speed = pump.speed_for(flow_l_min)
    most = max(_frequency(pump, f, speed, design).max_a for f in FREQUENCIES_HZ[-2:])
    return PulseAdvice(
        hz, design, supplies_v, rows,
        tuple(pump.start_duty(v, hz) for v in supplies_v), tuple(pump.stall_duty(v, hz) for v in supplies_v),
        flow_duty, (1.0 - (flow_duty or 0.5)) / (STEADY_SHARE * max(pump.car.pump.spin_up_tau_s, 1e-3)),
        continuous_from(pump, speed, design), FEW_SWITCH_W / (0.5 * design * most * EDGES_S),
        tuple(_frequency(pump, f, speed, design) for f in FREQUENCIES_HZ),
        switch_needs(pump, max(supplies_v), hz, bay_c),
    )  # fmt: skip


def continuous_from(pump: BenchPump, speed_rad_s: float, supply_v: float) -> float | None:
    """Frequency (Hz) above which the motor's current never rests at a speed; None if above 1 MHz."""

    def rests(log_hz: float) -> float:
        hz = float(np.exp(log_hz))
        return (
            -1.0
            if not bool(_current(pump, hz, _duty_at(pump, hz, speed_rad_s, supply_v), speed_rad_s, supply_v)[5])
            else 1.0
        )

    low, high = float(np.log(1.0)), float(np.log(1e6))
    if rests(high) < 0.0:
        return None
    for _ in range(40):
        middle = 0.5 * (low + high)
        low, high = (middle, high) if rests(middle) < 0.0 else (low, middle)
    return float(np.exp(high))


def switch_needs(pump: BenchPump, supply_v: float, hz: float, bay_c: float) -> SwitchNeeds:
    """Worst currents and heat over duty at one supply voltage."""
    points = [pump.pwm(supply_v, d, hz) for d in np.linspace(0.05, 1.0, 20)]
    stall = pump.stall_a(supply_v)
    heat = [SWITCH_OHM * p.supply_rms_a**2 + _switching_w(supply_v, p.max_a, hz) * (p.duty < 1.0) for p in points]
    held = [_held_diode_a(pump, supply_v, float(d), hz) for d in np.linspace(0.05, 0.95, 19)]
    ripple = [float(np.sqrt(max(p.supply_rms_a**2 - p.supply_a**2, 0.0))) for p in points]
    stall_w = SWITCH_OHM * stall**2
    return SwitchNeeds(
        hz, supply_v, stall, max(p.max_a for p in points), max(p.supply_rms_a for p in points), max(heat), stall_w,
        max(p.diode_a for p in points), max(held), DIODE_V * max(held), (SWITCH_MAX_C - bay_c) / max(*heat, stall_w),
        max(ripple), max(_filter_uf(p.supply_a, p.duty, hz) for p in points),
    )  # fmt: skip


def _held_diode_a(pump: BenchPump, supply_v: float, duty: float, hz: float) -> float:
    from arena.plant.electrics import pwm_steady

    p = pump.car.pump
    found = pwm_steady(supply_v, p.brush_v, p.resistance_ohm + pump.lead_ohm, p.inductance_h, hz, duty)
    return float(found.mean_current_a) - float(found.supply_mean_current_a)


def _duty_row(pump: BenchPump, duty: float, supplies_v: tuple[float, ...], design_v: float, hz: float) -> DutyRow:
    each = [pump.pwm(v, duty, hz) for v in supplies_v]
    smooth = pump.at(design_v, 0.0, duty)
    return DutyRow(
        duty, tuple(p.flow_l_min for p in each), tuple(p.starts for p in each), pump.pwm(design_v, duty, hz),
        smooth.speed_rpm, smooth.current_a, smooth.supply_w, smooth.balance_w,
    )  # fmt: skip


def _current(pump: BenchPump, hz: float, duty: float, speed_rad_s: float, supply_v: float) -> tuple[float, ...]:
    from arena.plant.electrics import pwm_steady

    p = pump.car.pump
    emf = p.brush_v + p.ke_v_s * speed_rad_s
    return tuple(
        float(v) for v in pwm_steady(supply_v, emf, p.resistance_ohm + pump.lead_ohm, p.inductance_h, hz, duty)
    )


def _duty_at(pump: BenchPump, hz: float, speed_rad_s: float, supply_v: float) -> float:
    """Duty that holds a speed."""
    need = pump.torque_nm(speed_rad_s) / pump.car.pump.ke_v_s

    def spare(duty: float) -> float:
        return _current(pump, hz, duty, speed_rad_s, supply_v)[0] - need

    return 1.0 if spare(1.0) <= 0.0 else float(brentq(spare, 0.0, 1.0, xtol=1e-12))


def _frequency(pump: BenchPump, hz: float, speed_rad_s: float, supply_v: float) -> FrequencyRow:
    from arena.garage.bench_pump import mean_squares
    from arena.plant.electrics import PwmPoint as Current

    p = pump.car.pump
    duty = _duty_at(pump, hz, speed_rad_s, supply_v)
    found = Current(*_current(pump, hz, duty, speed_rad_s, supply_v))
    ohm = p.resistance_ohm + pump.lead_ohm
    emf = p.brush_v + p.ke_v_s * speed_rad_s
    square, supply_square = mean_squares(supply_v, emf, ohm, p.inductance_h, hz, duty, found)
    mean, drawn = float(found.mean_current_a), float(found.supply_mean_current_a)
    return FrequencyRow(
        hz, duty, float(found.max_current_a - found.min_current_a), float(found.max_current_a),
        float(np.sqrt(square)) / mean, bool(found.continuous),
        100.0 * (1.0 - duty) / (hz * max(p.spin_up_tau_s, 1e-3)), HEARING_HZ[0] <= hz <= HEARING_HZ[1] * 0.999,
        _switching_w(supply_v, float(found.max_current_a), hz), SWITCH_OHM * supply_square, DIODE_V * (mean - drawn),
        _filter_uf(drawn, duty, hz),
    )  # fmt: skip


def _switching_w(supply_v: float, peak_a: float, hz: float) -> float:
    return 0.5 * supply_v * peak_a * EDGES_S * hz


def _filter_uf(supply_a: float, duty: float, hz: float) -> float:
    """Microfarads that feed the on time from what the leads bring evenly: C = I (1 - D) / (f dV)."""
    return 1e6 * supply_a * (1.0 - duty) / (hz * RIPPLE_V)
