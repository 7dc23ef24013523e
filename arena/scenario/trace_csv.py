"""Reading a recorded CSV as a drive: by time and speed, grade or altitude, or by rpm, MAP and throttle.

Where a recording has no road speed, one may be given for all of it (a dyno: 0); else the timetable works it out from
engine speed and the car's gearing.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass
from pathlib import Path
from typing import Final

import numpy as np
from numpy.typing import NDArray

from arena.errors import BadInput
from arena.scenario import loading
from arena.scenario.log_columns import Columns
from arena.scenario.log_csv import Log, read_log
from arena.scenario.quantities import QUANTITIES

Floats = NDArray[np.float64]
ENGINE_STOPPED_RPM: Final = (
    400.0  # below it a logged engine does not run: a starter turns it at 150 to 300; common practice, no source
)
RESTS_AT: Final = (0.03, 0.4)  # pedal sensors that rest above zero rest within this; from memory
RESTS_FOR: Final = 0.03  # share of a drive a pedal is off at least; from memory
OPEN_AT_IDLE: Final = 0.4  # a throttled engine idles far below this; common practice, no source
WANTED: Final = ("speed", "grade", "altitude", "rpm", "map", "throttle", "pedal", "gear")


@dataclass(frozen=True)
class TraceData:
    """A recorded trace in SI, times from 0; columns are there when the file has them.

    With `rpm` and `map_pa` the vehicle model is skipped; only then may `speed_m_s` be None: it is to be worked out,
    `gear` (0: none) helping. With `grade` the road's slope is followed.
    """

    time_s: Floats
    speed_m_s: Floats | None
    grade: Floats | None = None
    rpm: Floats | None = None
    map_pa: Floats | None = None
    throttle: Floats | None = None
    pedal: Floats | None = None
    gear: Floats | None = None

    @property
    def road_speed_m_s(self) -> Floats:
        """The speed, where it is known."""
        assert self.speed_m_s is not None
        return self.speed_m_s


def read_trace(
    path: Path,
    columns: Columns | None = None,
    place: Callable[[str], str] | None = None,
    speed_kmh: float | None = None,
) -> tuple[TraceData, list[str]]:
    """A drive trace and notes on what was tolerated. Raises BadInput when time, or speed or what stands in, is missing.

    `speed_kmh` is the road speed of a recording that has none of its own.
    """
    log = read_log(path, columns, want=WANTED, place=place)
    notes, name = list(log.notes), loading.shown(path)
    speed = _road_speed(log, speed_kmh)
    grade = log.values.get("grade")
    if grade is None and "altitude" in log.values:
        if speed is None:
            notes.append(f"{name}: there is no speed to work the slope out with, so altitude is left out")
        else:
            grade = _grade_from_altitude(log.time_s, speed, log.values["altitude"])
            notes.append(f"{name}: the slope is worked out from altitude over 100 m of road")
    rpm, map_pa = log.values.get("rpm"), log.values.get("map")
    if (rpm is None) != (map_pa is None):
        have, lack = ("rpm", "MAP") if map_pa is None else ("MAP", "rpm")
        notes.append(f"{name}: {have} is there without {lack}, so both are worked out from the speed")
        rpm = map_pa = None
    pedal = _from_rest(log.values.get("pedal"), name, notes)
    throttle = _plate_of_load(log, speed, pedal, notes)
    gear = log.values.get("gear") if speed is None else None
    return TraceData(log.time_s, speed, grade, rpm, map_pa, throttle, pedal, gear), notes


def _road_speed(log: Log, given_kmh: float | None) -> Floats | None:
    """The speed recorded or given; None where engine speed and pressure are there to stand in. Raises BadInput."""
    name, speed = loading.shown(log.path), log.values.get("speed")
    if speed is not None and given_kmh is not None:
        raise BadInput(
            f'{name}: has a speed of its own ("{log.headers["speed"]}"), and speed_kmh = {given_kmh:g} is given too',
            "Take speed_kmh out of the phase; it is for a recording without speed.",
        )
    if speed is not None:
        return np.maximum(speed, 0.0)
    missing = [QUANTITIES[key].column for key in ("rpm", "map") if key not in log.values]
    if missing:
        heads = ", ".join(f'"{head}"' for head in log.every_header[:12])
        raise BadInput(
            f"{name}:1: no column for speed_kmh, nor for {' and '.join(missing)} to play the engine by (the file has "
            f"{heads})",
            'Name the columns so, or say which is which: --columns "speed_kmh=your header", or in the phase of a drive '
            'file columns = { speed_kmh = "your header" }.',
        )
    return None if given_kmh is None else np.full(len(log.time_s), given_kmh / 3.6)


def _from_rest(pedal: Floats | None, name: str, notes: list[str]) -> Floats | None:
    """A pedal sensor that rests above zero (and is at rest for a good part of the drive) is taken from its rest."""
    if pedal is None:
        return None
    rest = float(np.min(pedal))
    if not RESTS_AT[0] < rest < RESTS_AT[1] or np.mean(pedal < rest + 0.01) < RESTS_FOR:
        return pedal
    notes.append(f"{name}: the pedal rests at {100 * rest:.1f} %; {100 * rest:.1f} to 100 % is taken as 0 to 100 %")
    return np.asarray(np.clip((pedal - rest) / (1.0 - rest), 0.0, 1.0))


def _plate_of_load(log: Log, speed: Floats | None, pedal: Floats | None, notes: list[str]) -> Floats | None:
    """A throttle plate that stands open at idle says nothing of the load: the pedal is taken for it."""
    throttle, rpm = log.values.get("throttle"), log.values.get("rpm")
    if throttle is None:
        return None
    idle = np.ones(len(throttle), dtype=bool) if rpm is None else (rpm > ENGINE_STOPPED_RPM) & (rpm < 1300.0)
    if speed is not None:
        idle &= speed < 0.3
    elif pedal is not None:
        idle &= pedal < 0.02
    if idle.sum() < 5 or float(np.median(throttle[idle])) < OPEN_AT_IDLE:
        return throttle
    stands = f"{loading.shown(log.path)}: the throttle stands at {100 * np.median(throttle[idle]):.0f} % at idle"
    instead = "the pedal is taken for it" if pedal is not None else "it is worked out from the pressure"
    notes.append(f"{stands}, so it says nothing of the load; {instead}")
    return pedal


def _grade_from_altitude(time_s: Floats, speed_m_s: Floats, altitude_m: Floats) -> Floats:
    """Rise over run across 50 m before and after each sample, held within 30 %."""
    steps = 0.5 * (speed_m_s[1:] + speed_m_s[:-1]) * np.diff(time_s)
    road = np.concatenate([[0.0], np.cumsum(steps)])
    moving = np.concatenate([[True], np.diff(road) > 1e-6])
    if moving.sum() < 2:
        return np.zeros_like(time_s)
    ahead = np.interp(road + 50.0, road[moving], altitude_m[moving])
    behind = np.interp(road - 50.0, road[moving], altitude_m[moving])
    width = np.minimum(road + 50.0, road[-1]) - np.maximum(road - 50.0, 0.0)
    return np.asarray(np.clip((ahead - behind) / np.maximum(width, 1.0), -0.3, 0.3))
