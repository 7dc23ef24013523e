"""How far off is a road speed that was worked out from engine speed and gearing: on drives whose speed is known.

    python tests/bench/gears.py

Prints, for shipped drives as played and for the measured log shipped, mean and 95 % error in km/h with the speed left
out; and what always-on and a proportional pump then come to on the measured one, beside the same with its own speed.
The numbers in arena/timetable/gear_guess.py were chosen on some of these drives, so their errors flatter a little.
The measured car's gearing was read off its own log (speed over engine speed gathers at six values).
"""

from __future__ import annotations

from dataclasses import replace

import numpy as np

from arena.contest.single import drive_once
from arena.plant.numbers import CarNumbers
from arena.scenario.car import load_car
from arena.scenario.climate import load_climate
from arena.scenario.drive import Drive, TraceData, load_drive
from arena.timetable.gear_guess import guess_speed
from arena.timetable.outing import outing_seed, play
from arena.timetable.vehicle import road_car

DRIVES = ("wltc-3b", "us06", "udds", "hwfet", "commute", "hill-pulls", "track-session", "cold-start", "closed-road")
MEASURED_KMH = (8.4, 17.0, 26.8, 38.8, 49.5, 59.2)  # per 1000/min


def main() -> None:
    """Measure and print."""
    car = load_car("invented-2200").numbers()
    print(f"{'drive':32s}{'mean km/h':>10s}{'mean off':>10s}{'95 % off':>10s}")
    for name in DRIVES:
        run = play(load_drive(name), load_climate("mild"), car, outing_seed(1, name, 0))
        at = np.arange(run.score_from, run.drive_until, 10)
        bare = TraceData(0.1 * (at - at[0]), None, rpm=run.rpm[at], map_pa=run.map_pa[at], throttle=run.throttle[at])
        show(name, bare, run.speed_m_s[at], car)
    trip = load_drive("recorded-trip")
    (file,) = trip.traces
    trace = trip.traces[file]
    geared = replace(car, engine=replace(car.engine, gear_m_s_per_rpm=tuple(k / 3600.0 for k in MEASURED_KMH)))
    show("recorded-trip, its own gearing", trace, trace.road_speed_m_s, geared)
    show("recorded-trip, another car's", trace, trace.road_speed_m_s, car)
    bare_trip: Drive = replace(trip, traces={file: replace(trace, speed_m_s=None)})
    for strategy in ("always-on", "always-off", "proportional"):
        for words, drive in (("its own speed", trip), ("speed left out", bare_trip)):
            figures = drive_once(drive, "mild", strategy=strategy).figures
            shown = ", ".join(f"{k} {figures[k]:.4g}" for k in ("tracking_k_h", "boost_p95_c", "pump_hours"))
            print(f"recorded-trip, mild, {strategy}, {words}: {shown}")


def show(name: str, trace: TraceData, true_m_s: np.ndarray, car: CarNumbers) -> None:
    """One line: how far off the guess is."""
    gears = np.array(car.engine.gear_m_s_per_rpm)
    off = 3.6 * np.abs(guess_speed(trace, road_car(car), gears, 101325.0).speed_m_s - true_m_s)
    even = np.interp(np.arange(0.0, trace.time_s[-1]), trace.time_s, off)
    print(f"{name:32s}{3.6 * true_m_s.mean():10.1f}{even.mean():10.1f}{np.quantile(even, 0.95):10.1f}")


if __name__ == "__main__":
    main()
