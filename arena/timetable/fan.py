"""The radiator fan: comes along behind the clock and works out block temperature and fan, with hysteresis."""

from __future__ import annotations

from collections.abc import Generator
from typing import Any

import numpy as np
import simpy

from arena.plant.numbers import CarNumbers
from arena.timetable import heat_kernel
from arena.timetable.heat_kernel import HeatCar
from arena.timetable.record import Record
from arena.timetable.vehicle_kernel import FAN_ROW

LOOK_TICKS = 6000  # how often the process catches up; the hysteresis itself is worked out at every tick


class Fan:
    """The process that owns block temperature and fan."""

    def __init__(self, env: simpy.Environment, record: Record, car: CarNumbers, block_k: float) -> None:
        self.env = env
        self.record = record
        self.car = HeatCar(
            capacity_j_k=heat_kernel.heat_capacity_j_k(car.engine.warm_up_tau_s, car.engine.peak_air_flow_kg_s),
            peak_air_kg_s=car.engine.peak_air_flow_kg_s,
            face_velocity_ratio=car.front.face_velocity_ratio,
            fan_m_s=car.front.fan_m_s,
            parked_tau_s=car.body.parked_tau_s,
        )
        self.done_until = 0
        self._state = np.array([block_k, 0.0])
        self._warm = heat_kernel.compiled()
        env.process(self._run())

    def catch_up(self, now: int) -> None:
        """Fill all ticks before `now`; they are final."""
        was = self._state[1]
        self._warm(self.record.rows, self.done_until, now, self._state, self.car)
        fan = self.record.rows[FAN_ROW, self.done_until : now]
        for tick in np.flatnonzero(np.diff(fan, prepend=was)):
            self.record.event(self.done_until + int(tick), "fan", "fan on" if fan[tick] > 0.0 else "fan off")
        self.done_until = now

    def _run(self) -> Generator[simpy.Event, Any, None]:
        while True:
            yield self.env.timeout(LOOK_TICKS)
            self.catch_up(self.env.now)
