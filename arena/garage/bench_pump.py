"""One car's pump as it would stand on a bench: speed, current and flow at a voltage, through a resistor, or on PWM.

Every row carries where its watts went, and what is left over, so that a reader can add them up. A pump whose
numbers contradict each other is refused here.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass, field
from functools import cached_property

import numpy as np
from numpy.typing import NDArray
from scipy.interpolate import PchipInterpolator
from scipy.optimize import brentq

from arena.errors import BadInput
from arena.plant import electrics, fluids, hydraulics
from arena.plant.numbers import CarNumbers

Floats = NDArray[np.float64]
WARM_K = 313.15  # coolant temperature of every number here: 40 degC, where the car's curves stand
RPM = 60.0 / (2.0 * np.pi)
L_MIN = 60000.0


@dataclass(frozen=True)
class RunningPoint:
    """A steady point on direct voltage, through a resistor or with a mean voltage duty x supply. SI but for names."""

    supply_v: float
    series_ohm: float
    duty: float
    speed_rpm: float
    speed_rad_s: float
    flow_l_min: float
    current_a: float
    motor_v: float
    resistor_w: float
    lead_w: float
    winding_w: float
    brush_w: float
    shaft_w: float
    supply_w: float
    balance_w: float  # supply less everything it went to; nothing but rounding
    starts: bool  # a pump at rest breaks away at this voltage


@dataclass(frozen=True)
class PwmPoint:
    """A steady point on PWM with the current's ripple counted."""

    supply_v: float
    duty: float
    hz: float
    speed_rpm: float
    flow_l_min: float
    current_a: float  # mean in the motor
    min_a: float
    max_a: float
    rms_a: float
    motor_v: float  # mean at the motor and its leads
    supply_a: float
    supply_rms_a: float
    diode_a: float
    winding_w: float
    brush_w: float
    shaft_w: float
    supply_w: float
    balance_w: float
    continuous: bool
    starts: bool


@dataclass(frozen=True)
class Load:
    """Shaft torque constant + squared x speed^2, N m and N m s2: for a motor whose torque is known from a bench."""

    constant_nm: float
    squared_nm_s2: float

    def __call__(self, speed_rad_s: float) -> float:
        """Torque in N m."""
        return self.constant_nm + self.squared_nm_s2 * speed_rad_s**2


@dataclass
class BenchPump:
    """The pump of a car, ready to be asked. `load`: None for the car's hydraulics and friction at 40 degC."""

    car: CarNumbers
    load: Load | None = None
    name: str = "car"
    speeds: Floats = field(init=False, repr=False)

    def __post_init__(self) -> None:
        faults = impossible(self)
        if faults:
            raise BadInput(
                [f"{self.name}: {f}" for f in faults], "Correct the pump's numbers: `arena check` lists them."
            )

    @cached_property
    def _curves(self) -> tuple[Callable[[float], float], Callable[[float], float], float]:
        """Flow (m3/s) and hydraulic torque (N m) over speed (rad/s), and the highest speed they hold to."""
        pump = self.car.pump
        top = 1.05 * max(20.0, 60.0) / pump.ke_v_s
        speeds = np.linspace(0.0, top, 241)
        loop = self.car.loop
        coolant = fluids.table(loop.glycol, loop.glycol_volume_fraction)
        made = hydraulics.build_flow_table(pump, loop, coolant, speeds / pump.rated_rad_s, np.array([WARM_K]))
        squared = np.zeros_like(speeds)
        squared[1:] = made.torque_nm[1:, 0] / speeds[1:] ** 2
        squared[0] = squared[1]
        flow, torque = PchipInterpolator(speeds, made.flow_m3_s[:, 0]), PchipInterpolator(speeds, squared)
        return lambda w: float(flow(min(w, top))), lambda w: float(torque(min(w, top))) * w * w, top

    @property
    def lead_ohm(self) -> float:
        """Leads as the car file has them, there and back."""
        return self.car.supply.lead_ohm

    @property
    def start_a(self) -> float:
        """Current at rest that breaks the rotor away."""
        return self.car.pump.start_a

    def torque_nm(self, speed_rad_s: float) -> float:
        """Torque the shaft asks for while turning."""
        if self.load is not None:
            return self.load(speed_rad_s)
        return self.car.pump.friction_nm + self._curves[1](speed_rad_s)

    def flow_l_min(self, speed_rad_s: float) -> float:
        """Flow round the car's loop at a pump speed."""
        return self._curves[0](speed_rad_s) * L_MIN

    def speed_for(self, flow_l_min: float) -> float:
        """Pump speed in rad/s for a flow; raises BadInput above what the tables hold."""
        top = self._curves[2]
        if flow_l_min >= self.flow_l_min(top):
            raise BadInput(
                f"{self.name}: {flow_l_min:g} L/min is more than this pump moves at any voltage", "Ask for less flow."
            )
        return float(brentq(lambda w: self.flow_l_min(w) - flow_l_min, 0.0, top, xtol=1e-9))

    def stall_a(self, supply_v: float, series_ohm: float = 0.0) -> float:
        """Current with the rotor held."""
        pump = self.car.pump
        return max(0.0, supply_v - pump.brush_v) / (pump.resistance_ohm + self.lead_ohm + series_ohm)

    def at(self, supply_v: float, series_ohm: float = 0.0, duty: float = 1.0) -> RunningPoint:
        """Steady point at a supply voltage through a resistor, or at a mean voltage of duty x supply without ripple."""
        pump = self.car.pump
        point = electrics.motor_point(
            pump.resistance_ohm, pump.ke_v_s, self.torque_nm, supply_v, series_ohm + self.lead_ohm, duty, pump.brush_v
        )
        speed, amps = float(point.speed_rad_s), float(point.current_a)
        parts = (
            amps**2 * series_ohm, amps**2 * self.lead_ohm, amps**2 * pump.resistance_ohm,
            amps * min(pump.brush_v, duty * supply_v), pump.ke_v_s * amps * speed if speed else 0.0,
        )  # fmt: skip
        rest = amps * (duty * supply_v - pump.brush_v) - amps**2 * (pump.resistance_ohm + self.lead_ohm + series_ohm)
        shaft = self.torque_nm(speed) * speed
        return RunningPoint(
            supply_v, series_ohm, duty, speed * RPM, speed, self.flow_l_min(speed), amps, float(point.motor_v),
            parts[0], parts[1], parts[2], parts[3], shaft, float(point.supply_w),
            float(point.supply_w) - sum(parts[:4]) - shaft if speed or rest else 0.0,
            self.stall_a(duty * supply_v, series_ohm) >= self.start_a * (1.0 - 1e-9),
        )  # fmt: skip

    def plug_a(self, volts: float) -> float:
        """Current with a voltage at the pump's plug, leads and all before it left out."""
        p = self.car.pump
        made = electrics.motor_point(p.resistance_ohm, p.ke_v_s, self.torque_nm, volts, brush_v=p.brush_v)
        return float(made.current_a)

    def series_for(self, flow_l_min: float, supply_v: float) -> float | None:
        """Resistor in ohm that gives the flow at a supply voltage; None where even no resistor gives it.

        The motor needs brush + I R + Ke w with I = torque / Ke; the rest falls across leads and resistor.
        """
        pump = self.car.pump
        speed = self.speed_for(flow_l_min)
        amps = self.torque_nm(speed) / pump.ke_v_s
        need = pump.brush_v + amps * pump.resistance_ohm + pump.ke_v_s * speed
        ohm = (supply_v - need) / amps - self.lead_ohm
        return ohm if ohm >= 0.0 else None

    def most_series_that_starts(self, supply_v: float) -> float:
        """Largest resistor in ohm through which a pump at rest breaks away at a supply voltage (below 0: none)."""
        pump = self.car.pump
        return (supply_v - pump.brush_v) / self.start_a - pump.resistance_ohm - self.lead_ohm

    def stall_v(self) -> float:
        """Mean volts at the motor's leads below which a turning pump comes to rest."""
        pump = self.car.pump
        return pump.brush_v + self.torque_nm(0.0) / pump.ke_v_s * (pump.resistance_ohm + self.lead_ohm)

    def pwm(self, supply_v: float, duty: float, hz: float) -> PwmPoint:
        """Steady point on PWM, freewheeling through an ideal diode; leads counted with the winding."""
        pump = self.car.pump
        ohm = pump.resistance_ohm + self.lead_ohm

        def current(speed: float) -> electrics.PwmPoint:
            return electrics.pwm_steady(supply_v, pump.brush_v + pump.ke_v_s * speed, ohm, pump.inductance_h, hz, duty)

        def spare(speed: float) -> float:
            return pump.ke_v_s * float(current(speed).mean_current_a) - self.torque_nm(speed)

        top = max(0.0, supply_v - pump.brush_v) / pump.ke_v_s
        speed = float(brentq(spare, 0.0, top, xtol=1e-11, rtol=1e-13)) if duty > 0.0 and spare(0.0) > 0.0 else 0.0
        found = current(speed)
        emf = pump.brush_v + pump.ke_v_s * speed
        square, supply_square = mean_squares(supply_v, emf, ohm, pump.inductance_h, hz, duty, found)
        mean, drawn = float(found.mean_current_a), float(found.supply_mean_current_a)
        shaft, heat, brush = self.torque_nm(speed) * speed if speed else 0.0, square * ohm, mean * pump.brush_v
        at_rest = float(electrics.at_rest_a(pump, supply_v, duty, self.lead_ohm, hz))
        return PwmPoint(
            supply_v, duty, hz, speed * RPM, self.flow_l_min(speed), mean, float(found.min_current_a),
            float(found.max_current_a), float(np.sqrt(square)), float(found.mean_motor_v), drawn,
            float(np.sqrt(supply_square)), mean - drawn, heat, brush, shaft, supply_v * drawn,
            supply_v * drawn - heat - brush - shaft, bool(found.continuous),
            at_rest >= self.start_a * (1.0 - 1e-9),
        )  # fmt: skip

    def duty_where(self, wanted: Callable[[PwmPoint], float], supply_v: float, hz: float) -> float | None:
        """Lowest duty at which `wanted` (rising with duty) is above 0; None if it never is."""
        if wanted(self.pwm(supply_v, 1.0, hz)) < 0.0:
            return None
        low, high = 0.0, 1.0
        for _ in range(36):
            middle = 0.5 * (low + high)
            low, high = (low, middle) if wanted(self.pwm(supply_v, middle, hz)) >= 0.0 else (middle, high)
        return high

    def start_duty(self, supply_v: float, hz: float) -> float | None:
        """Lowest duty at which a pump at rest breaks away; None if it does not even at 1."""
        return electrics.start_duty(self.car.pump, supply_v, self.lead_ohm, hz)

    def stall_duty(self, supply_v: float, hz: float) -> float | None:
        """Duty below which a turning pump comes to rest; None if it cannot turn at all."""
        return electrics.turning_duty(self.car.pump, supply_v, self.lead_ohm, hz, self.torque_nm(0.0))


def mean_squares(
    supply_v: float, emf_v: float, ohm: float, henry: float, hz: float, duty: float, found: electrics.PwmPoint
) -> tuple[float, float]:
    """Mean square of the motor's and of the supply's current (A2) over a PWM period, closed form.

    Each part of the period is A + (B - A) exp(-t / tau), squared and integrated.
    """
    tau, period = henry / ohm, 1.0 / hz
    low, high = float(found.min_current_a), float(found.max_current_a)

    def part(goal: float, first: float, seconds: float) -> float:
        a, b = goal, first - goal
        e = -np.expm1(-seconds / tau)
        return float(a * a * seconds + 2.0 * a * b * tau * e + 0.5 * b * b * tau * -np.expm1(-2.0 * seconds / tau))

    if high <= 0.0:
        return 0.0, 0.0
    on = part((supply_v - emf_v) / ohm, low, duty * period)
    rest = (1.0 - duty) * period
    if not bool(found.continuous) and emf_v > 1e-9:
        rest = min(rest, tau * float(np.log1p(ohm * high / emf_v)))
    return (on + part(-emf_v / ohm, high, rest)) / period, on / period


def impossible(bench: BenchPump) -> list[str]:
    """What of the pump's numbers contradicts the rest, one line each with the sum behind it; empty if nothing does."""
    p, s = bench.car.pump, bench.car.supply
    found = []
    if p.brush_v >= s.off_v:
        found.append(f"pump.brush_v {p.brush_v:g} V leaves nothing of supply.off_v {s.off_v:g} V for the motor")
        return found
    rest = bench.load.constant_nm if bench.load is not None else p.friction_nm
    start = p.ke_v_s * bench.start_a
    if start < rest * (1.0 - 1e-9):
        found.append(
            f"pump.start_v {p.start_v:g} V gives {start:.4f} N m at rest, less than the running friction {rest:g} N m: "
            "a pump that could not keep turning would start"
        )
    torque = p.ke_v_s * (s.running_v - p.brush_v) / (p.resistance_ohm + s.lead_ohm)
    if torque <= rest:
        found.append(
            f"its stall torque at {s.running_v:g} V, {torque:.4f} N m, does not overcome the friction {rest:g} N m: "
            "it never turns"
        )
    if bench.load is None and not found:
        found += _impossible_power(bench)
    return found


def _impossible_power(bench: BenchPump) -> list[str]:
    """Rated speed above no load, and more water power out than electrical power in."""
    p = bench.car.pump
    none = (p.rated_v - p.brush_v) / p.ke_v_s
    if p.rated_rad_s >= none:
        return [
            f"pump.rated_speed_rpm {p.rated_rad_s * RPM:.0f} is not below the speed without load at {p.rated_v:g} V, "
            f"(rated_v - brush_v) / ke_v_s = {none * RPM:.0f} rpm"
        ]
    curve = hydraulics.pump_head_pa(p)
    flows = np.linspace(0.0, p.head_flow_m3_s[-1], 200)
    water = float(np.max(np.asarray(curve(flows)) * flows))
    drawn = (p.rated_v - p.brush_v) ** 2 / (4.0 * p.resistance_ohm)
    if water >= drawn:
        return [
            f"pump.curve gives up to {water:.0f} W of water power, but this motor's shaft gives at most "
            f"(rated_v - brush_v)^2 / (4 resistance_ohm) = {drawn:.0f} W"
        ]
    return []
