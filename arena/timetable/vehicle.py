"""The car as the timetable's processes use it: play a segment, take back its end, stand, or follow a log.

Wraps the compiled kernel; keeps the car's state and writes into the record.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from arena.plant.numbers import CarNumbers
from arena.scenario.drive import TraceData
from arena.scenario.trace_csv import ENGINE_STOPPED_RPM
from arena.timetable import powertrain
from arena.timetable import vehicle_kernel as kernel
from arena.timetable.outing import TICK_S, TICKS_PER_S
from arena.timetable.powertrain import RoadCar
from arena.timetable.record import Record
from arena.timetable.standard import CRANK_RPM, MOST_TICKS
from arena.timetable.vehicle_kernel import Order

Floats = NDArray[np.float64]

MANIFOLD_TAU_S = 0.15  # filling the manifold; also a supercharger's boost, which turns with the engine
TRACTION_SHARE = 0.55  # of the car's weight: grip times the share on the driven wheels, judgement
ALTITUDE_MARGIN = 1.08  # the charger can give so much more than its sea-level pressure ratio
FUEL_J_KG = 43e6  # petrol, lower heating value
STOICHIOMETRIC = 14.7
SEA_LEVEL_PA = 101325.0

_NONE = np.zeros(2)


def road_car(car: CarNumbers) -> RoadCar:
    """The kernel's numbers for a car.

    Energy is limited by the air: above a mixture of 1 (lean at full load) the work per kilogram of air falls
    as 1 / lambda, taken at all loads; at and below 1 the mixture does not matter to the work.
    """
    engine, body = car.engine, car.body
    spool_tau_s = MANIFOLD_TAU_S if engine.supercharged else engine.spool_tau_s

    def gain(tau_s: float) -> float:
        return float(-np.expm1(-TICK_S / max(tau_s, 1e-6)))

    return RoadCar(
        mass_kg=body.mass_kg,
        moving_kg=body.mass_kg * (1.0 + body.rotating),
        cda_m2=body.cda_m2,
        crr=body.crr,
        driveline=engine.driveline_efficiency,
        traction_n=TRACTION_SHARE * body.mass_kg * powertrain.GRAVITY,
        idle_rpm=engine.idle_rpm,
        redline_rpm=engine.redline_rpm,
        boost_starts_rpm=engine.boost_starts_rpm,
        boost_full_rpm=engine.boost_full_rpm,
        flow_per_rpm_pa=engine.volumetric_efficiency
        * engine.displacement_m3
        / (120.0 * powertrain.AIR_GAS * engine.manifold_reference_k),
        work_j_kg=FUEL_J_KG / STOICHIOMETRIC * engine.indicated_efficiency / max(1.0, engine.full_load_lambda),
        displacement_m3=engine.displacement_m3,
        friction_a_pa=engine.friction_a_pa,
        friction_b=engine.friction_b_pa_rpm,
        friction_c=engine.friction_c_pa_rpm2,
        accessory_w=engine.accessory_w,
        map_max_pa=engine.map_max_pa,
        most_ratio=ALTITUDE_MARGIN * engine.map_max_pa / SEA_LEVEL_PA,
        peak_air_kg_s=engine.peak_air_flow_kg_s,
        peak_power_w=engine.peak_power_w,
        idle_map_pa=engine.idle_map_pa,
        plate_gain=gain(engine.plate_tau_s),
        spool_gain=gain(spool_tau_s),
        manifold_gain=gain(MANIFOLD_TAU_S),
    )


@dataclass(frozen=True)
class Segment:
    """A piece just played, with what is needed to take back its end."""

    start: int
    ticks: int
    reason: int  # of the kernel: TIME_UP, REACHED, AT_MARK
    metres: float
    before: Floats  # the car's state at the start
    order: Order
    wanted: Floats
    slope: Floats


class Vehicle:
    """The car's state; every method writes from tick `start` on and returns how many ticks it took."""

    def __init__(self, car: CarNumbers, record: Record) -> None:
        self.car = road_car(car)
        self.gears = np.array(car.engine.gear_m_s_per_rpm, dtype=np.float64)
        self.record = record
        self.running = False
        self.state = np.zeros(kernel.STATES)
        self.state[kernel.MAP] = record.rows[kernel.AMBIENT_PA_ROW, 0]
        self._integrate = kernel.compiled()

    @property
    def speed_m_s(self) -> float:
        """Speed now."""
        return float(self.state[kernel.SPEED])

    def play(self, start: int, longest: int, order: Order, wanted: Floats = _NONE, slope: Floats = _NONE) -> Segment:
        """Play `order` until it is done or `longest` ticks are over."""
        before = self.state.copy()
        room = min(longest, MOST_TICKS - start)  # a long limit must not ask for room it may never need
        self.record.reserve(start + room)
        ticks, reason, metres = self._integrate(
            self.record.rows, start, room, self.state, self.car, self.gears, order, wanted, slope
        )
        if ticks == room < longest:
            self.record.reserve(start + longest)  # beyond the limit: says so
        self.record.mark(start, start + ticks)
        return Segment(start, ticks, reason, metres, before, order, wanted, slope)

    def rewind(self, segment: Segment, ticks: int) -> None:
        """Back to `ticks` ticks after the segment's start: it is played again that far, to the same bytes."""
        self.state[:] = segment.before
        self._integrate(
            self.record.rows,
            segment.start,
            ticks,
            self.state,
            self.car,
            self.gears,
            segment.order,
            segment.wanted,
            segment.slope,
        )

    def stand(self, start: int, ticks: int, *, key: bool, cranking: bool = False) -> None:
        """Stand with the engine not running."""
        end = start + ticks
        self.record.reserve(end)
        rows = self.record.rows
        self.state[:] = 0.0
        ambient_pa = rows[kernel.AMBIENT_PA_ROW, start:end]
        rows[: kernel.CRANK_ROW + 1, start:end] = 0.0
        rows[kernel.MAP_ROW, start:end] = ambient_pa
        rows[kernel.KEY_ROW, start:end] = float(key)
        if cranking:
            rows[kernel.CRANK_ROW, start:end] = 1.0
            rows[kernel.RPM_ROW, start:end] = CRANK_RPM
            rows[kernel.AIR_ROW, start:end] = self.car.flow_per_rpm_pa * CRANK_RPM * ambient_pa
        self.state[kernel.MAP] = ambient_pa[-1] if ticks else rows[kernel.AMBIENT_PA_ROW, start]
        self.running = False
        self.record.mark(start, end)

    def start_running(self) -> None:
        """The engine runs from now on."""
        self.running = True

    def follow_log(self, start: int, trace: TraceData) -> int:
        """Play a logged drive with engine speed and manifold pressure; returns its ticks."""
        assert trace.rpm is not None and trace.map_pa is not None
        ticks = trace_ticks(trace)
        end = start + ticks
        self.record.reserve(end)
        rows = self.record.rows[:, start:end]
        at: Floats = np.arange(ticks, dtype=np.float64) * TICK_S
        rpm = np.maximum(np.interp(at, trace.time_s, trace.rpm), 0.0)
        pressure = np.maximum(np.interp(at, trace.time_s, trace.map_pa), 1000.0)
        speed = np.maximum(np.interp(at, trace.time_s, trace.road_speed_m_s), 0.0)
        running = rpm >= ENGINE_STOPPED_RPM
        pedal, plate = self._log_pedal(trace, at, rpm, pressure, rows[kernel.AMBIENT_PA_ROW])
        rows[kernel.SPEED_ROW] = speed
        rows[kernel.GRADE_ROW] = 0.0 if trace.grade is None else np.interp(at, trace.time_s, trace.grade)
        rows[kernel.PEDAL_ROW] = pedal
        rows[kernel.PLATE_ROW] = plate
        rows[kernel.RPM_ROW] = rpm
        rows[kernel.MAP_ROW] = pressure
        rows[kernel.AIR_ROW] = self.car.flow_per_rpm_pa * rpm * pressure
        rows[kernel.WHEEL_ROW] = 0.0
        rows[kernel.ENGINE_ON_ROW] = running
        rows[kernel.KEY_ROW] = 1.0
        rows[kernel.CRANK_ROW] = (rpm > 0.0) & ~running
        self.record.mark(start, end)
        self._take_over(rows)
        self._log_events(start, running)
        return ticks

    def _log_pedal(
        self, trace: TraceData, at: Floats, rpm: Floats, pressure: Floats, ambient_pa: Floats
    ) -> tuple[Floats, Floats]:
        """Pedal and plate from the log; the one stands in for the other, manifold pressure for both."""
        given = {
            name: np.clip(np.interp(at, trace.time_s, values), 0.0, 1.0)
            for name, values in (("pedal", trace.pedal), ("plate", trace.throttle))
            if values is not None
        }
        if not given:
            speeds = np.linspace(self.car.idle_rpm, 1.5 * self.car.redline_rpm, 200)
            mean_pa = float(ambient_pa.mean())
            full = np.interp(rpm, speeds, [powertrain.full_load_pa(self.car, float(n), mean_pa) for n in speeds])
            share = (pressure - self.car.idle_map_pa) / np.maximum(full - self.car.idle_map_pa, 1.0)
            given["plate"] = np.where(rpm >= ENGINE_STOPPED_RPM, np.clip(share, 0.0, 1.0), 0.0)
        only = next(iter(given.values()))
        return given.get("pedal", only), given.get("plate", only)

    def _take_over(self, rows: Floats) -> None:
        """Go on from the last tick of a log."""
        speed = rows[kernel.SPEED_ROW, -1]
        self.state[:] = 0.0
        self.state[kernel.SPEED] = self.state[kernel.WANT] = speed
        self.state[kernel.PLATE] = rows[kernel.PLATE_ROW, -1]
        self.state[kernel.MAP] = rows[kernel.MAP_ROW, -1]
        self.state[kernel.BOOST] = max(0.0, rows[kernel.MAP_ROW, -1] - rows[kernel.AMBIENT_PA_ROW, -1])
        self.state[kernel.SINCE_SHIFT] = powertrain.DWELL_S
        gear = int(np.searchsorted(speed / self.gears * -1.0, -powertrain.UP_RPM, side="right")) - 1
        self.state[kernel.GEAR] = min(max(gear, 0), len(self.gears) - 1)

    def _log_events(self, start: int, running: NDArray[np.bool_]) -> None:
        """The engine stopping and starting inside a log."""
        was = np.concatenate([[self.running], running[:-1]])
        for tick in np.flatnonzero(was != running):
            self.record.event(start + int(tick), "ignition", "engine on" if running[tick] else "engine off")
        self.running = bool(running[-1])


def trace_ticks(trace: TraceData) -> int:
    """Length of a trace in ticks; at least one."""
    return max(1, round(float(trace.time_s[-1] - trace.time_s[0]) * TICKS_PER_S))


def trace_at_ticks(trace: TraceData) -> tuple[Floats, Floats]:
    """Wanted speed (m/s) and slope of a trace at whole ticks, both ends included: shape (ticks + 1,)."""
    at = trace.time_s[0] + np.arange(trace_ticks(trace) + 1) * TICK_S
    speed = np.maximum(np.interp(at, trace.time_s, trace.road_speed_m_s), 0.0)
    slope = np.zeros_like(speed) if trace.grade is None else np.interp(at, trace.time_s, trace.grade)
    return speed, slope
