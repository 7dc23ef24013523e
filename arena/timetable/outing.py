"""One drive played once: what happens on the road, tick by tick, before any pump law is asked.

A `Played` drive is the hand-over from the timetable to the plant. Time is integer ticks of 0.1 s. Rows
are the values that hold during tick k (from k*0.1 s to (k+1)*0.1 s).
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

TICK_S = 0.1
TICKS_PER_S = 10

Floats = NDArray[np.float64]


@dataclass(frozen=True)
class Event:
    """Something that happened: at which tick, who wrote it (driver, traffic, ignition, fan, fault), what, value."""

    tick: int
    source: str
    what: str
    value: float = 0.0


@dataclass(frozen=True)
class Played:
    """Arrays of shape (ticks,), SI units; `phase` indexes `phases`.

    The outing is preroll (not scored) + drive + tail. Scoring starts at `score_from` and runs to the end.
    """

    ticks: int
    score_from: int  # first scored tick: end of the preroll
    drive_until: int  # first tick of the cool-down tail
    start: str  # "cold", "warm" or "soaked"
    phases: tuple[str, ...]
    phase: NDArray[np.int32]
    speed_m_s: Floats
    grade: Floats  # rise over run
    pedal: Floats  # 0..1
    throttle: Floats  # 0..1, plate
    rpm: Floats
    map_pa: Floats  # absolute, in the manifold
    air_flow_kg_s: Floats  # 0 when the engine does not turn
    engine_on: Floats  # 1.0 / 0.0
    key_on: Floats  # 1.0 / 0.0 engine computer and pump supply alive
    cranking: Floats  # 1.0 / 0.0
    fan_on: Floats  # 1.0 / 0.0
    engine_k: Floats  # engine block temperature
    ambient_k: Floats
    ambient_pa: Floats
    humidity: Floats  # relative, 0..1
    wind_m_s: Floats
    bay_extra_k: Floats  # sun on the bonnet: added to the bay's target temperature
    events: tuple[Event, ...]
    notes: tuple[str, ...]  # plain sentences for the user: "pull 3 could not reach 120 km/h", ...
