"""The pump's motor and what feeds it: brushed DC motor, series resistor, PWM with its ripple, conductors.

V = I R + brush drop + Ke w and torque Ke I (Ke in V s/rad equals N m/A). PWM means are closed forms of the current
through resistance and inductance with an ideal freewheel diode (no drop of its own).
"""

from __future__ import annotations

from collections.abc import Callable
from typing import Any, NamedTuple

import numpy as np
from numpy.typing import NDArray

from arena.errors import BadInput
from arena.plant.numbers import Pump
from arena.plant.values import Out, Value, falling_root, out, require

Array = NDArray[np.float64]
Torque = Callable[[Any], Any]  # N m asked for at rad/s

# Most a conductor may have, plain copper at 20 degC, ohm/km over mm2: IEC 60228, flexible (class 5).
CLASS_5_OHM_KM = {0.5: 39.0, 0.75: 26.0, 1.0: 19.5, 1.5: 13.3, 2.5: 7.98, 4.0: 4.95, 6.0: 3.30}
COPPER_PER_K = 0.00393  # rise of copper's resistance per kelvin, of its value at 20 degC


class MotorPoint(NamedTuple):
    """A steady running point; means over the PWM period where there is PWM."""

    speed_rad_s: Out
    current_a: Out
    motor_v: Out
    resistor_w: Out
    supply_w: Out


class PwmPoint(NamedTuple):
    """Steady current of a motor on PWM with a freewheel diode; A and V."""

    mean_current_a: Out
    mean_motor_v: Out
    min_current_a: Out
    max_current_a: Out
    supply_mean_current_a: Out
    continuous: Out  # 1.0 where the current never rests, else 0.0


class PwmTables(NamedTuple):
    """What PWM does to one pump at one supply voltage, over an even duty grid from 0 to 1."""

    duty: Array
    voltage_factor: Array  # steady voltage that runs the motor alike / (duty x supply); 1 while current is continuous
    supply_share: Array  # mean current from the supply / that of the motor; about the duty while continuous
    speed_rad_s: Array
    current_a: Array
    continuous: NDArray[np.bool_]


def motor_point(
    resistance_ohm: Value,
    ke_v_s: Value,
    load_torque_nm: Torque,
    supply_v: Value,
    series_ohm: Value = 0.0,
    duty: Value = 1.0,
    brush_v: Value = 0.0,
) -> MotorPoint:
    """Steady point of a brushed DC motor under a load torque (N m at rad/s); floats or arrays, broadcast together.

    Mean voltage duty x supply, which holds while current is continuous (`pwm_steady` for when it is not); a series
    resistor is solved together with the motor. supply_w = duty x supply x current. A load that stall torque cannot
    overcome leaves the motor standing with its stall current.
    """
    given = {
        "resistance_ohm": require("resistance_ohm", resistance_ohm, 0.0, above=True),
        "ke_v_s": require("ke_v_s", ke_v_s, 0.0, above=True),
        "supply_v": require("supply_v", supply_v, 0.0),
        "series_ohm": require("series_ohm", series_ohm, 0.0),
        "duty": require("duty", duty, 0.0, 1.0),
        "brush_v": require("brush_v", brush_v, 0.0),
    }
    r, ke, supply, series, share, brush = np.broadcast_arrays(*given.values())
    speed = np.array(
        [
            steady_speed(float(d * v), float(a + s), float(k), load_torque_nm, float(b))
            for d, v, a, s, k, b in zip(share.flat, supply.flat, r.flat, series.flat, ke.flat, brush.flat, strict=True)
        ]
    ).reshape(r.shape)
    current = np.maximum(0.0, share * supply - brush - ke * speed) / (r + series)
    return MotorPoint(
        out(speed),
        out(current),
        out(share * supply - series * current),
        out(series * current**2),
        out(share * supply * current),
    )


def steady_speed(open_v: float, total_ohm: float, ke_v_s: float, torque_nm: Torque, brush_v: float = 0.0) -> float:
    """Speed in rad/s at which motor torque Ke (V - brush - Ke w) / R equals the load; 0 where the load holds it.

    open_v: what the motor would see without current; total_ohm: everything it flows through, motor included.
    """
    from scipy.optimize import brentq

    drive = open_v - brush_v
    if drive <= 0.0:
        return 0.0

    def spare(w: float) -> float:
        return ke_v_s * (drive - ke_v_s * w) / total_ohm - float(torque_nm(w))

    top = drive / ke_v_s
    if not np.isfinite(spare(0.0) + spare(top)):
        raise BadInput("load torque is not a number", "give a load torque that holds from standstill to no-load speed")
    if spare(0.0) <= 0.0:
        return 0.0
    if spare(top) >= 0.0:
        return top if spare(top) == 0.0 else float(brentq(spare, 0.0, _driven(spare, top), xtol=1e-11, rtol=1e-13))
    return float(brentq(spare, 0.0, top, xtol=1e-11, rtol=1e-13))


def pwm_steady(
    supply_v: Value, back_emf_v: Value, resistance_ohm: Value, inductance_h: Value, hz: Value, duty: Value
) -> PwmPoint:
    """Steady current of R, L and a back EMF switched at hz with duty, freewheeling through an ideal diode.

    Continuous: mean voltage duty x supply. Otherwise the current rests for part of the period, during which the motor
    shows its back EMF, so that mean voltage and current are higher than duty says. Floats or arrays, broadcast.
    Back EMF at or above the supply: no current.
    """
    v, e, r, ind, f, d = np.broadcast_arrays(
        require("supply_v", supply_v, 0.0),
        require("back_emf_v", back_emf_v, 0.0),
        require("resistance_ohm", resistance_ohm, 0.0, above=True),
        require("inductance_h", inductance_h, 0.0, above=True),
        require("hz", hz, 0.0, above=True),
        require("duty", duty, 0.0, 1.0),
    )
    period, tau = 1.0 / f, ind / r
    on = d * period
    lift = np.maximum(v - e, 0.0) / r
    # Continuous: i falls from top to bottom over the off time and back over the on time.
    whole = -np.expm1(-period / tau)
    top = v / r * -np.expm1(-on / tau) / whole - e / r
    bottom = v / r * (np.exp(-(period - on) / tau) - np.exp(-period / tau)) / whole - e / r
    continuous = (bottom >= 0.0) & (d > 0.0)
    # Resting: i starts from nothing and dies out `fall` after the switch opened.
    peak = lift * -np.expm1(-on / tau)
    fall = tau * np.log1p(r * peak / np.where(e > 1e-9, e, 1.0))
    fall = np.where(e > 1e-9, np.minimum(fall, period - on), period - on)
    high, low = np.where(continuous, top, peak), np.where(continuous, bottom, 0.0)
    supply_a = ((v - e) / r * on - tau * (high - low)) / period
    diode_a = (tau * (high - low) - e / r * np.where(continuous, period - on, fall)) / period
    supply_a = np.where(continuous | (v > e), supply_a, 0.0)
    mean = np.where(continuous | (v > e), supply_a + diode_a, 0.0)
    return PwmPoint(
        out(mean), out(e + r * mean), out(low), out(high), out(supply_a), out(np.where(continuous, 1.0, 0.0))
    )


def pwm_tables(pump: Pump, supply_v: float, load_torque_nm: Torque, points: int = 65) -> PwmTables:
    """Voltage factor and supply share of a pump on PWM at its own steady speed for each duty.

    load_torque_nm: hydraulic torque plus friction at rad/s (N m), at a coolant temperature of the caller's choice,
    for arrays too. The brush drop counts as part of the back EMF; leads are left out. At duty 0 the first step's
    values stand.
    """
    require("supply_v", supply_v, 0.0, above=True)
    duty = np.linspace(0.0, 1.0, points)
    top = max(0.0, supply_v - pump.brush_v) / pump.ke_v_s

    def at(speeds: Array) -> PwmPoint:
        emf = pump.brush_v + pump.ke_v_s * speeds
        return pwm_steady(supply_v, emf, pump.resistance_ohm, pump.inductance_h, pump.pwm_hz, duty)

    def spare(speeds: Array) -> Array:
        return np.asarray(pump.ke_v_s * at(speeds).mean_current_a - load_torque_nm(speeds))

    speeds = falling_root(spare, np.full(points, top), 1e-12)
    means = at(speeds)
    with np.errstate(divide="ignore", invalid="ignore"):
        factor = means.mean_motor_v / (duty * supply_v)
        share = means.supply_mean_current_a / means.mean_current_a
    factor[0], share[0] = factor[1], share[1]
    continuous = np.asarray(means.continuous) > 0.5
    return PwmTables(duty, factor, share, speeds, np.asarray(means.mean_current_a), continuous)


def at_rest_a(pump: Pump, supply_v: float, duty: Value, lead_ohm: float = 0.0, hz: float | None = None) -> Out:
    """Mean current (A) of a motor on PWM whose rotor stands still, leads counted with the winding.

    There is no back EMF, only the brush drop; `hz` if not the pump's own pulse frequency.
    """
    ohm = pump.resistance_ohm + lead_ohm
    return pwm_steady(supply_v, pump.brush_v, ohm, pump.inductance_h, hz or pump.pwm_hz, duty).mean_current_a


def start_duty(pump: Pump, supply_v: float, lead_ohm: float = 0.0, hz: float | None = None) -> float | None:
    """Lowest duty at which a pump at rest breaks away: torque at standstill, Ke times `at_rest_a`, reaches the
    breakaway torque. None if it does not even at duty 1.
    """
    return _duty_for(pump.start_a, pump, supply_v, lead_ohm, hz)


def turning_duty(
    pump: Pump, supply_v: float, lead_ohm: float = 0.0, hz: float | None = None, torque_nm: float | None = None
) -> float | None:
    """Duty below which a turning pump comes to rest: torque at the slowest turning no longer holds the running friction
    (or `torque_nm`). None if it cannot turn at all.
    """
    return _duty_for((pump.friction_nm if torque_nm is None else torque_nm) / pump.ke_v_s, pump, supply_v, lead_ohm, hz)


def _duty_for(amps: float, pump: Pump, supply_v: float, lead_ohm: float, hz: float | None) -> float | None:
    from scipy.optimize import brentq

    def spare(duty: float) -> float:
        return float(at_rest_a(pump, supply_v, duty, lead_ohm, hz)) - amps

    return None if spare(1.0) < 0.0 else float(brentq(spare, 0.0, 1.0, xtol=1e-9))


def signal_speed_share(duty: Value, signal_duty: tuple[float, ...], signal_speed: tuple[float, ...]) -> Out:
    """Share of full speed a pump with its own controller runs at for a signal duty: straight between the points given.

    Falling speeds are an inverted signal. Raises BadInput unless duties increase and shares lie in 0..1.
    """
    at, share = np.array(signal_duty, dtype=np.float64), np.array(signal_speed, dtype=np.float64)
    if at.size != share.size or at.size < 2 or not (np.diff(at) > 0.0).all():
        raise BadInput("signal points: duties must increase, one speed each", "give two points or more, duty rising")
    require("signal_speed", share, 0.0, 1.0)
    return out(np.interp(require("duty", duty, 0.0, 1.0), at, share))


def conductor_ohm_m(area_mm2: float, temperature_k: float = 293.15) -> float:
    """Resistance per metre, one way, of a class 5 copper conductor (IEC 60228) at a conductor temperature in K."""
    if area_mm2 not in CLASS_5_OHM_KM:
        sizes = ", ".join(f"{size:g}" for size in CLASS_5_OHM_KM)
        raise BadInput(f"no conductor of {area_mm2:g} mm2 in the table", f"use one of {sizes} mm2")
    return CLASS_5_OHM_KM[area_mm2] * 1e-3 * copper_factor(temperature_k)


def copper_factor(temperature_k: float) -> float:
    """Copper's resistance against that at 20 degC: 1 + 0.00393 (T - 293.15)."""
    return 1.0 + COPPER_PER_K * (float(require("temperature_k", temperature_k, 200.0, 500.0)) - 293.15)


def _driven(spare: Callable[[float], float], top: float) -> float:
    """A speed at which a load that drives the motor (torque below 0) is held by it."""
    high = 2.0 * top
    for _ in range(40):
        if spare(high) < 0.0:
            return high
        high *= 2.0
    raise BadInput("the load drives the motor without end", "give a load torque that does not fall with speed")
