"""What a fault does to an outing: to the car's numbers, to the drive, and to what the kernel is given from its onset.

Up to the onset the outing is the sound one, tick for tick; the same traffic and noise are met with and without it.
"""

from __future__ import annotations

from dataclasses import replace
from typing import Any

import numpy as np
from numpy.typing import NDArray

from arena.contest.spans import Span, SpannedOuting
from arena.errors import BadInput
from arena.plant import layout as at
from arena.plant.compile import CompiledOuting, compile_outing
from arena.plant.numbers import CarNumbers, Goals
from arena.scenario.drive import Drive
from arena.scenario.fault import Fault
from arena.timetable.outing import TICK_S, Event, Played
from arena.units import ZERO_C_K

Floats = NDArray[np.float64]

OPEN_READS_C, SHORT_READS_C = -40.0, 150.0  # rails of the conversion table of an NTC probe: common practice, no source
LOWEST_BATTERY_V = 9.0  # below it the engine would stop; the pump is shown at no less
AIR_TORQUE = 0.05  # least share of the hydraulic torque left when a pump turns in air; judgement, no source
HELD_FAST_NM = 1e3  # friction no motor overcomes


def drive_under(fault: Fault, drive: Drive) -> Drive:
    """The drive as it is met with this fault: after a hot stop, if that is the fault."""
    return replace(drive, start="soaked") if fault.file.drive.hot_restart else drive


def onset_of(fault: Fault, played: Played) -> int:
    """The tick from which the fault is there. Raises BadInput if the drive is over by then."""
    head, length = fault.file.fault, played.drive_until - played.score_from
    if head.from_s is not None:
        ticks = round(head.from_s / TICK_S)
        if ticks >= length:
            raise BadInput(
                f"fault {fault.name}: begins {head.from_s:g} s into a drive of {TICK_S * length:.0f} s",
                "Give a smaller from_s, or from_pct.",
            )
        return played.score_from + ticks
    if head.from_pct is not None:
        return played.score_from + int(0.01 * head.from_pct * length)
    return 0


def car_under(fault: Fault, car: CarNumbers) -> CarNumbers:
    """The car's numbers once the fault is there."""
    f = fault.file
    air, tank, head = (0.01 * left for left in (f.front.air_left_pct, f.loop.tank_left_pct, f.pump.head_left_pct))
    front, loop = car.front, car.loop
    return replace(
        car,
        probe=replace(car.probe, tau_s=max(f.probe.tau_s or 0.0, car.probe.tau_s)),
        pump=replace(car.pump, head_factor=car.pump.head_factor * head),
        loop=replace(loop, tank_m3=loop.tank_m3 * tank, extra_m3=loop.extra_m3 * tank),
        front=replace(
            front,
            face_velocity_ratio=front.face_velocity_ratio * air,
            fan_m_s=front.fan_m_s * air,
            still_m_s=front.still_m_s * air,
        ),
    )


def played_under(fault: Fault, played: Played, onset: int) -> Played:
    """The played drive with the fault's mark in its events, and a fan that stands still from then on."""
    fan = played.fan_on.copy()
    if fault.file.fan.dead:
        fan[onset:] = 0.0
    events = sorted([*played.events, Event(onset, "fault", fault.name)], key=lambda event: event.tick)
    return replace(played, fan_on=fan, events=tuple(events))


def compile_under(
    fault: Fault, played: Played, car: CarNumbers, goals: Goals, noise_seed: int
) -> tuple[Played, SpannedOuting]:
    """A played drive compiled with a fault: sound up to the onset, broken from there on."""
    onset = onset_of(fault, played)
    sound = compile_outing(played, car, goals, noise_seed)
    broken_played = played_under(fault, played, onset)
    broken = compile_outing(broken_played, car_under(fault, car), goals, noise_seed)
    x = sound.X.copy()
    x[onset:] = broken.X[onset:]
    break_columns(x, fault, car, onset)
    p, flow = broken.P.copy(), broken.flow_table.copy()
    break_tables(p, flow, fault)
    later = Span(onset, (p, broken.duty_table, flow, broken.exchanger_table))
    return broken_played, SpannedOuting(**{**_fields(sound), "X": x, "later": (later,)})


def _fields(outing: CompiledOuting) -> dict[str, Any]:
    return {name: getattr(outing, name) for name in CompiledOuting.__dataclass_fields__}


def break_columns(x: Floats, fault: Fault, car: CarNumbers, onset: int) -> None:
    """Reading and supply from the onset on."""
    reads, supply = fault.file.probe.reads, fault.file.supply
    if reads is not None:
        x[onset:, at.X_FAULT_READING] = ZERO_C_K + (OPEN_READS_C if reads == "open" else SHORT_READS_C)
    if supply.alternator_off:
        hours = TICK_S * np.arange(len(x) - onset) / 3600.0
        battery = np.maximum(car.supply.off_v - supply.fall_v_per_h * hours, LOWEST_BATTERY_V)
        x[onset:, at.X_SUPPLY] = np.minimum(x[onset:, at.X_SUPPLY], battery)


def break_tables(p: Floats, flow: Floats, fault: Fault) -> None:
    """Constants and flow table once the fault is there.

    A stall that is the fault itself does not end the run as FAILED: the run goes on, and what comes of it counts.
    While the probe reads nonsense no quiet cap holds: the fail-safe duty is meant.
    """
    if fault.file.pump.stalled:
        p[at.P_FRICTION] = HELD_FAST_NM
        p[at.P_STALL_TICKS] = np.inf
    if fault.probe_fails:
        p[at.P_QUIET_KMH] = -1.0
    left = 0.01 * fault.file.loop.flow_left_pct
    flow[0::2] *= left
    flow[1::2] *= max(left, AIR_TORQUE)
