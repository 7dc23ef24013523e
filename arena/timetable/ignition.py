"""Ignition: key on, cranking, running, key off, soak. The driver asks, and waits until it is done."""

from __future__ import annotations

from collections.abc import Generator
from dataclasses import dataclass
from typing import Any

import simpy

from arena.timetable.record import Record, ticks_of
from arena.timetable.standard import CRANK_S, PRIME_S
from arena.timetable.vehicle import Vehicle


@dataclass(frozen=True)
class _Turn:
    """One turn of the key: to where, for how long it stays there, and who waits for it."""

    what: str  # "on", "start", "off"
    ticks: int
    done: simpy.Event


class Ignition:
    """The process that owns key and starter."""

    def __init__(self, env: simpy.Environment, record: Record, vehicle: Vehicle) -> None:
        self.env = env
        self.record = record
        self.vehicle = vehicle
        self.key = False
        self._turns = simpy.Store(env)
        env.process(self._run())

    def start(self) -> simpy.Event:
        """Key on (if it is off), crank, run; the event fires when the engine runs."""
        return self._ask("start", ticks_of(CRANK_S))

    def key_on(self) -> simpy.Event:
        """Key on, engine not cranked; fires after the computer's self-test."""
        return self._ask("on", ticks_of(PRIME_S))

    def off(self, ticks: int) -> simpy.Event:
        """Key off and stand so long; fires at its end."""
        return self._ask("off", ticks)

    def already_running(self) -> None:
        """The outing begins with the engine running."""
        self.key = True
        self.vehicle.start_running()

    def _ask(self, what: str, ticks: int) -> simpy.Event:
        done = self.env.event()
        self._turns.put(_Turn(what, ticks, done))
        return done

    def _run(self) -> Generator[simpy.Event, Any, None]:
        while True:
            turn: _Turn = yield self._turns.get()
            if turn.what == "off":
                yield from self._turn_off(turn.ticks)
            else:
                yield from self._turn_on()
                if turn.what == "start":
                    yield from self._crank(turn.ticks)
            turn.done.succeed()

    def _turn_on(self) -> Generator[simpy.Event, Any, None]:
        if self.key:
            return
        self.key = True
        self.record.event(self.env.now, "ignition", "key on")
        yield from self._stand(ticks_of(PRIME_S), key=True)

    def _crank(self, ticks: int) -> Generator[simpy.Event, Any, None]:
        self.record.event(self.env.now, "ignition", "cranking")
        yield from self._stand(ticks, key=True, cranking=True)
        self.vehicle.start_running()
        self.record.event(self.env.now, "ignition", "engine on")

    def _turn_off(self, ticks: int) -> Generator[simpy.Event, Any, None]:
        if self.vehicle.running:
            self.record.event(self.env.now, "ignition", "engine off")
        if self.key:
            self.record.event(self.env.now, "ignition", "key off")
        self.key = False
        yield from self._stand(ticks, key=False)

    def _stand(self, ticks: int, *, key: bool, cranking: bool = False) -> Generator[simpy.Event, Any, None]:
        self.vehicle.stand(self.env.now, ticks, key=key, cranking=cranking)
        yield self.env.timeout(ticks)
