"""Brings the processes of one outing together, lets the clock run, and hands over what was written down."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import simpy

from arena.errors import BadInput
from arena.plant.numbers import CarNumbers
from arena.scenario.climate import Climate
from arena.scenario.drive import Drive
from arena.timetable import vehicle_kernel as kernel
from arena.timetable.driver import Driver
from arena.timetable.fan import Fan
from arena.timetable.gear_guess import guess_speed
from arena.timetable.ignition import Ignition
from arena.timetable.outing import Played
from arena.timetable.record import Record
from arena.timetable.standard import PREROLL_WARM_K
from arena.timetable.traffic import slow_downs
from arena.timetable.vehicle import Vehicle


def play_outing(
    drive: Drive, climate: Climate, car: CarNumbers, seed: np.random.SeedSequence | int, off_s: float
) -> Played:
    """See `outing.play`."""
    driver_rng, noise_rng, crawl_rng = _generators(seed, 3)
    env = simpy.Environment(initial_time=0)
    record = Record(drive.name, climate)
    vehicle = Vehicle(car, record)
    drive = _with_speeds(drive, vehicle, record)
    ignition = Ignition(env, record, vehicle)
    cold_k = float(record.rows[kernel.AMBIENT_K_ROW, 0])
    fan = Fan(env, record, car, cold_k if drive.start == "cold" else PREROLL_WARM_K)
    driver = Driver(env, drive, record, vehicle, ignition, driver_rng, crawl_rng, off_s)
    env.process(slow_downs(env, drive.file.traffic, noise_rng, driver))
    try:
        env.run(until=driver.process)
    except BadInput as fault:  # the event loop re-raises a copy
        raise fault.__cause__ if isinstance(fault.__cause__, BadInput) else fault from None
    fan.catch_up(env.now)
    played = _hand_over(drive, record, driver, int(env.now))
    record.let_go()
    return played


def _with_speeds(drive: Drive, vehicle: Vehicle, record: Record) -> Drive:
    """The drive with the road speed of every recording that has none worked out, and said so."""
    made = {}
    for name, trace in drive.traces.items():
        if trace.speed_m_s is None:
            ambient_pa = float(record.rows[kernel.AMBIENT_PA_ROW, 0])
            found = guess_speed(trace, vehicle.car, vehicle.gears, ambient_pa)
            made[name] = replace(trace, speed_m_s=found.speed_m_s)
            record.note(("speed of", name), "speed", found.told(name, trace))
    return replace(drive, traces={**drive.traces, **made}) if made else drive


def _hand_over(drive: Drive, record: Record, driver: Driver, ticks: int) -> Played:
    rows = record.rows

    def row(number: int) -> kernel.Floats:
        return rows[number, :ticks].copy()

    return Played(
        ticks=ticks,
        score_from=int(driver.score_from),
        drive_until=int(driver.drive_until),
        start=drive.start,
        phases=tuple(record.phases),
        phase=record.phase[:ticks].copy(),
        speed_m_s=row(kernel.SPEED_ROW),
        grade=row(kernel.GRADE_ROW),
        pedal=row(kernel.PEDAL_ROW),
        throttle=row(kernel.PLATE_ROW),
        rpm=row(kernel.RPM_ROW),
        map_pa=row(kernel.MAP_ROW),
        air_flow_kg_s=row(kernel.AIR_ROW),
        engine_on=row(kernel.ENGINE_ON_ROW),
        key_on=row(kernel.KEY_ROW),
        cranking=row(kernel.CRANK_ROW),
        fan_on=row(kernel.FAN_ROW),
        engine_k=row(kernel.ENGINE_K_ROW),
        ambient_k=row(kernel.AMBIENT_K_ROW),
        ambient_pa=row(kernel.AMBIENT_PA_ROW),
        humidity=row(kernel.HUMIDITY_ROW),
        wind_m_s=row(kernel.WIND_ROW),
        bay_extra_k=row(kernel.BAY_ROW),
        events=tuple(sorted(record.events, key=lambda event: event.tick)),
        notes=record.notes(),
        wheel_w=row(kernel.WHEEL_ROW),
    )


def _generators(seed: np.random.SeedSequence | int, count: int) -> list[np.random.Generator]:
    """One generator per process. Not `spawn`, which would give other streams the second time."""
    base = seed if isinstance(seed, np.random.SeedSequence) else np.random.SeedSequence(seed)
    return [
        np.random.default_rng(np.random.SeedSequence(base.entropy, spawn_key=(*base.spawn_key, k)))
        for k in range(count)
    ]
