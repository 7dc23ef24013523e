"""The driver: plays the phases of a drive one after the other, and the standard beginning and end round it.

Lengths given in seconds count from when the phase's speed is reached; the way there comes on top. A recorded
speed trace is followed by time, and by distance while the car is too weak for it.
"""

from __future__ import annotations

from collections.abc import Callable, Generator
from dataclasses import dataclass
from typing import Any

import numpy as np
import simpy

from arena.scenario import drive as plan
from arena.scenario.drive import Drive, Span, TraceData
from arena.scenario.trace_csv import ENGINE_STOPPED_RPM
from arena.timetable import standard
from arena.timetable import vehicle_kernel as kernel
from arena.timetable.ignition import Ignition
from arena.timetable.outing import TICK_S
from arena.timetable.record import Record, ticks_of
from arena.timetable.traffic import SlowDown, next_hop
from arena.timetable.vehicle import Vehicle, trace_at_ticks
from arena.timetable.vehicle_kernel import Order

Steps = Generator[simpy.Event, Any, None]
KMH = 1.0 / 3.6


@dataclass(frozen=True)
class Leaf:
    """A phase to be played: its number for people ("2.3.1"), its place in the file, and itself."""

    number: str
    place: tuple[int, ...]
    phase: plan.Phase


def leaves(
    phases: tuple[plan.Phase, ...], number: str = "", place: tuple[int, ...] = ()
) -> Generator[Leaf, None, None]:
    """All phases in playing order, repeats rolled out: number is phase.round.step."""
    for k, phase in enumerate(phases, start=1):
        here = f"{number}{k}"
        if isinstance(phase, plan.Repeat):
            for turn in range(1, phase.times + 1):
                yield from leaves(phase.steps, f"{here}.{turn}.", (*place, k))
        else:
            yield Leaf(here, (*place, k), phase)


class Driver:
    """The process that owns the wheel and the pedals."""

    def __init__(
        self,
        env: simpy.Environment,
        drive: Drive,
        record: Record,
        vehicle: Vehicle,
        ignition: Ignition,
        rng: np.random.Generator,
        traffic_rng: np.random.Generator,
        off_s: float,
    ) -> None:
        self.env = env
        self.drive = drive
        self.record = record
        self.vehicle = vehicle
        self.ignition = ignition
        self.rng = rng
        self.traffic_rng = traffic_rng
        self.off_s = off_s
        self.open_to_traffic = False
        self.score_from = 0
        self.drive_until = 0
        self._leaf = Leaf("", (), drive.file.phase[0])
        self._handlers: dict[type[Any], Callable[[Any], Steps]] = {
            plan.Idle: self._stop,
            plan.Stop: self._stop,
            plan.Cruise: self._cruise,
            plan.Accelerate: self._accelerate,
            plan.Brake: self._brake,
            plan.Pull: self._pull,
            plan.Descend: self._cruise,
            plan.Traffic: self._traffic,
            plan.Lap: self._lap,
            plan.Park: self._park,
            plan.Trace: self._trace,
        }
        self.process = env.process(self._outing())

    def slow_down(self, slow: SlowDown) -> None:
        """Traffic ahead."""
        self.process.interrupt(slow)

    # ---- the whole outing

    def _outing(self) -> Steps:
        yield from self._begin()
        for leaf in leaves(self.drive.file.phase):
            self._leaf = leaf
            self.record.label(f"{leaf.number} {leaf.phase.do}")
            yield from self._handlers[type(leaf.phase)](leaf.phase)
        self.drive_until = self.env.now
        yield from self._end()

    def _begin(self) -> Steps:
        self.record.label("before the drive")
        if self.drive.start != "cold":
            self.ignition.already_running()
            until = ticks_of(standard.PREROLL_S)
            for speed_kmh, seconds in standard.PREROLL_KMH:
                yield from self._reach(speed_kmh * KMH)
                yield from self._hold(speed_kmh * KMH, ticks_of(seconds))
            yield from self._halt()
            yield from self._hold(0.0, max(0, until - self.env.now))
        if self.drive.start == "soaked":
            yield self.ignition.off(ticks_of(standard.SOAK_S))
        self.score_from = self.env.now
        self.record.label("start")
        if self._first_is_log():
            yield from self._key_on()
        else:
            yield from self._running()

    def _first_is_log(self) -> bool:
        first = next(leaves(self.drive.file.phase)).phase
        return isinstance(first, plan.Trace) and _is_log(self.drive.traces[first.file])

    def _end(self) -> Steps:
        self.record.label("afterwards: cruise")
        yield from self._running()
        yield from self._reach(standard.TAIL_CRUISE_KMH * KMH)
        yield from self._hold(standard.TAIL_CRUISE_KMH * KMH, ticks_of(standard.TAIL_CRUISE_S))
        self.record.label("afterwards: idle")
        yield from self._halt()
        yield from self._hold(0.0, ticks_of(standard.TAIL_IDLE_S))
        self.record.label("afterwards: engine off")
        yield self.ignition.off(ticks_of(self.off_s))

    def _key_on(self) -> Steps:
        if not self.ignition.key:
            yield self.ignition.key_on()

    def _running(self) -> Steps:
        """Start the engine unless it runs."""
        if not self.vehicle.running:
            yield self.ignition.start()
            yield from self._hold(0.0, ticks_of(standard.SETTLE_S))

    # ---- segments

    def _segment(
        self, order: Order, longest: int, *wanted: kernel.Floats, in_traffic: bool = False
    ) -> Generator[simpy.Event, Any, int]:
        """Play an order to its end, whatever traffic does meanwhile; returns why it ended."""
        left = longest
        while True:
            segment = self.vehicle.play(self.env.now, left, order, *wanted)
            if segment.ticks == 0:
                return segment.reason
            try:
                self.open_to_traffic = in_traffic
                yield self.env.timeout(segment.ticks)
                return segment.reason
            except simpy.Interrupt as interrupt:
                self.open_to_traffic = False
                done = self.env.now - segment.start
                self.vehicle.rewind(segment, done)
                left -= done
                yield from self._give_way(interrupt.cause)
            finally:
                self.open_to_traffic = False

    def _give_way(self, slow: SlowDown) -> Steps:
        self.record.event(self.env.now, "traffic", "slow-down", slow.share)
        with self.record.aside(f"{self._leaf.number} slowed by traffic"):
            yield from self._segment(self._ramp(slow.share * self.vehicle.speed_m_s), slow.ticks)

    def _ramp(self, speed_m_s: float, grade: float = 0.0, until_reached: bool = False) -> Order:
        """Get to a speed in the ordinary way, and keep it."""
        return Order(
            kernel.RAMP,
            speed_m_s,
            standard.ACCELERATE_M_S2,
            standard.BRAKE_M_S2,
            standard.EASE_S,
            float(until_reached),
            grade=grade,
        )

    def _reach(self, speed_m_s: float, grade: float = 0.0) -> Steps:
        yield from self._get_to(self._ramp(speed_m_s, grade, True))

    def _get_to(self, order: Order, in_traffic: bool = False) -> Steps:
        """Get to the order's speed, or say that it cannot be reached."""
        reason = yield from self._segment(order, ticks_of(standard.REACH_LONGEST_S), in_traffic=in_traffic)
        if reason == kernel.TIME_UP:
            self._note("reach", f"did not reach {order.target_m_s / KMH:.0f} km/h, it got to {self._kmh()} km/h")

    def _halt(self, grade: float = 0.0) -> Steps:
        yield from self._reach(0.0, grade)

    def _hold(self, speed_m_s: float, ticks: int, grade: float = 0.0, in_traffic: bool = False) -> Steps:
        order = self._ramp(speed_m_s, grade)._replace(brake_m_s2=standard.HOLD_BRAKE_M_S2)
        yield from self._segment(order, ticks, in_traffic=in_traffic)

    def _draw(self, span: Span) -> float:
        return float(self.rng.uniform(*span)) if isinstance(span, tuple) else span

    def _label(self, text: str) -> None:
        self.record.label(f"{self._leaf.number} {text}")

    def _note(self, kind: str, what: str) -> None:
        do = self._leaf.phase.do
        self.record.note(self._leaf.place, kind, f"phase {self._leaf.number} ({do}) {what}")

    def _kmh(self) -> str:
        return f"{self.vehicle.speed_m_s / KMH:.0f}"

    # ---- the phases

    def _stop(self, phase: plan.Stop | plan.Idle) -> Steps:
        ticks = ticks_of(self._draw(phase.seconds))
        yield from self._running()
        yield from self._halt()
        yield from self._hold(0.0, ticks)

    def _cruise(self, phase: plan.Cruise | plan.Descend) -> Steps:
        kmh, ticks = self._draw(phase.speed_kmh), ticks_of(self._draw(phase.seconds))
        grade = phase.grade_pct / 100.0
        self._label(f"{phase.do} {kmh:.0f} km/h")
        yield from self._running()
        yield from self._get_to(self._ramp(kmh * KMH, grade, True), in_traffic=True)
        yield from self._hold(kmh * KMH, ticks, grade, in_traffic=True)

    def _accelerate(self, phase: plan.Accelerate) -> Steps:
        self._label(f"accelerate to {phase.to_kmh:.0f} km/h")
        yield from self._running()
        if self.vehicle.speed_m_s < phase.to_kmh * KMH:
            order = self._ramp(phase.to_kmh * KMH, phase.grade_pct / 100.0, True)
            yield from self._get_to(order._replace(accelerate_m_s2=phase.m_s2), in_traffic=True)

    def _brake(self, phase: plan.Brake) -> Steps:
        self._label(f"brake to {phase.to_kmh:.0f} km/h")
        yield from self._running()
        if self.vehicle.speed_m_s > phase.to_kmh * KMH:
            order = self._ramp(phase.to_kmh * KMH, phase.grade_pct / 100.0, True)
            yield from self._get_to(order._replace(brake_m_s2=phase.m_s2))

    def _pull(self, phase: plan.Pull) -> Steps:
        self._label(f"pull {phase.throttle_pct:.0f} %")
        yield from self._running()
        before = self._kmh()
        order = Order(
            kernel.THROTTLE,
            phase.to_kmh * KMH,
            throttle=phase.throttle_pct / 100.0,
            grade=phase.grade_pct / 100.0,
        )
        start = self.env.now
        reason = yield from self._segment(order, ticks_of(phase.longest_s))
        if reason == kernel.TIME_UP:
            self._note(
                "pull",
                f"could not reach {phase.to_kmh:.0f} km/h within {phase.longest_s:g} s, it got to {self._kmh()} km/h",
            )
        elif self.env.now == start:
            self._note("pull", f"was over at once: {before} km/h at its start, {phase.to_kmh:.0f} km/h asked for")

    def _traffic(self, phase: plan.Traffic) -> Steps:
        ticks = ticks_of(self._draw(phase.seconds))
        mean = phase.mean_kmh * KMH
        self._label(f"traffic {phase.mean_kmh:.0f} km/h")
        yield from self._running()
        until = self.env.now + ticks
        behind_m = 0.0  # distance by which the wanted mean is missed so far
        while self.env.now < until:
            start = self.env.now
            if phase.stops_per_km == 0.0:
                metres = yield from self._flow(mean, until)
            else:
                metres = yield from self._hop(mean, phase.stops_per_km, behind_m, until)
            behind_m += mean * (self.env.now - start) * TICK_S - metres
        if behind_m > standard.MEAN_MISSED * mean * ticks * TICK_S:
            reached = (1.0 - behind_m / (mean * ticks * TICK_S)) * phase.mean_kmh
            self._note("traffic", f"cannot average {phase.mean_kmh:.0f} km/h with so many stops, it made {reached:.0f}")

    def _flow(self, mean_m_s: float, until: int) -> Generator[simpy.Event, Any, float]:
        """Slow traffic that does not stop; returns the metres covered."""
        speed = mean_m_s * self.traffic_rng.uniform(*standard.FLOW_SHARE)
        ticks = ticks_of(self.traffic_rng.uniform(*standard.FLOW_S))
        start = self.env.now
        yield from self._hold(speed, min(ticks, until - start))
        return self.record.metres(start, self.env.now)

    def _hop(
        self, mean_m_s: float, stops_per_km: float, behind_m: float, until: int
    ) -> Generator[simpy.Event, Any, float]:
        """Crawl to the next halt and wait there, so that the mean comes out; returns the metres covered."""
        start = self.env.now
        hop = next_hop(self.traffic_rng, mean_m_s, stops_per_km)
        speed = hop.crawl_m_s + max(0.0, behind_m) / standard.MAKE_UP_S
        order = self._ramp(speed)._replace(
            mark_m=hop.metres, mark_m_s=0.0, mark_brake_m_s2=standard.BRAKE_M_S2, margin_s=0.5 * standard.EASE_S
        )
        yield from self._segment(order, until - self.env.now)
        yield from self._segment(self._ramp(0.0, until_reached=True), until - self.env.now)
        metres = self.record.metres(start, self.env.now)
        due_s = (metres - behind_m) / mean_m_s - (self.env.now - start) * TICK_S
        halt = ticks_of(max(standard.SHORTEST_HALT_S, due_s))
        yield from self._hold(0.0, min(halt, until - self.env.now))
        return metres

    def _lap(self, phase: plan.Lap) -> Steps:
        yield from self._running()
        for k, straight_m in enumerate(phase.straights_m):
            corner = phase.corner_kmh[k % len(phase.corner_kmh)] * KMH
            self._label(f"lap straight {k + 1}")
            order = Order(
                kernel.THROTTLE,
                np.inf,
                throttle=1.0,
                mark_m=straight_m,
                mark_m_s=corner,
                mark_brake_m_s2=phase.brake_m_s2,
            )
            reason = yield from self._segment(order, ticks_of(standard.REACH_LONGEST_S))
            if reason == kernel.TIME_UP:
                self._note("lap", f"did not get to the end of straight {k + 1}")
            self._label(f"lap corner {k + 1}")
            round_it = Order(
                kernel.RAMP,
                corner,
                accelerate_m_s2=standard.CORNER_ACCELERATE_M_S2,
                brake_m_s2=phase.brake_m_s2,
                ease_s=0.0,
            )
            if self.vehicle.speed_m_s > corner:
                yield from self._segment(round_it._replace(until_reached=1.0), ticks_of(standard.REACH_LONGEST_S))
            yield from self._segment(round_it._replace(mark_m=phase.corner_m), ticks_of(standard.REACH_LONGEST_S))

    def _park(self, phase: plan.Park) -> Steps:
        minutes = self._draw(phase.minutes)
        self._label(f"park {minutes:.0f} min")
        if self.vehicle.speed_m_s > 0.0:
            yield from self._halt()
        yield self.ignition.off(ticks_of(60.0 * minutes))

    def _trace(self, phase: plan.Trace) -> Steps:
        trace = self.drive.traces[phase.file]
        self._label(f"trace {phase.file}")
        if _is_log(trace):
            yield from self._log(trace)
            return
        wanted, slope = trace_at_ticks(trace)
        yield from self._running()
        yield from self._meet(wanted[0])
        self.vehicle.state[kernel.POSITION] = 0.0
        ticks = len(wanted) - 1
        order = Order(kernel.FOLLOW)
        longest = round(standard.TRACE_LONGEST_FACTOR * ticks)
        start = self.env.now
        reason = yield from self._segment(order, longest, wanted, slope)
        if reason == kernel.TIME_UP:
            self._note("trace", f"could not be followed: given up after {longest * TICK_S:.0f} s")
        late_s = (self.env.now - start - ticks) * TICK_S
        if reason != kernel.TIME_UP and late_s > standard.LATE_WORTH_TELLING_S:
            self._note("trace", f"asked for more power than the car has: it took {late_s:.1f} s longer")

    def _log(self, trace: TraceData) -> Steps:
        assert trace.rpm is not None
        yield from self._key_on()
        if trace.rpm[0] >= ENGINE_STOPPED_RPM:
            yield from self._running()
        if self.vehicle.running:
            yield from self._meet(float(trace.road_speed_m_s[0]))
        yield self.env.timeout(self.vehicle.follow_log(self.env.now, trace))

    def _meet(self, speed_m_s: float) -> Steps:
        """Get to the first speed of a trace."""
        if abs(self.vehicle.speed_m_s - speed_m_s) > kernel.REACHED_M_S:
            yield from self._reach(speed_m_s)


def _is_log(trace: TraceData) -> bool:
    return trace.rpm is not None and trace.map_pa is not None
