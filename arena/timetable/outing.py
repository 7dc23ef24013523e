"""One drive played once: what happens on the road, tick by tick, before any pump law is asked.

A `Played` drive is the hand-over from the timetable to the plant. Time is integer ticks of 0.1 s. Rows
are the values that hold during tick k (from k*0.1 s to (k+1)*0.1 s).
"""

from __future__ import annotations

import hashlib
from dataclasses import dataclass, field
from typing import TYPE_CHECKING

import numpy as np
from numpy.typing import NDArray

from arena.errors import BadInput
from arena.timetable import standard

if TYPE_CHECKING:
    from arena.plant.numbers import CarNumbers
    from arena.scenario.climate import Climate
    from arena.scenario.drive import Drive

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
    wheel_w: Floats = field(default_factory=lambda: np.zeros(0))  # power at the wheels, brakes negative; 0 in logs

    @property
    def scored_s(self) -> float:
        """Seconds that are scored."""
        return (self.ticks - self.score_from) * TICK_S


def check_seed(root: int) -> None:
    """Raise BadInput for a root seed that is none."""
    if not 0 <= root < 2**63:
        raise BadInput(f"--seed {root} is outside 0..2^63-1", "Give a whole number from 0.")


def outing_seed(root: int, outing_id: str, replicate: int) -> np.random.SeedSequence:
    """Seed of an outing, keyed by circumstance: SeedSequence([root, SHA-256 of the outing id, replicate])."""
    digest = np.frombuffer(hashlib.sha256(outing_id.encode()).digest(), dtype=">u4")
    return np.random.SeedSequence([root, *(int(word) for word in digest), replicate])


def play(
    drive: Drive,
    climate: Climate,
    car: CarNumbers,
    seed: np.random.SeedSequence | int,
    off_s: float = standard.TAIL_OFF_S,
) -> Played:
    """Play a drive once, with its standard beginning and end. Same seed, same bytes.

    `off_s`: seconds with the key off at the end; more of them change nothing before. Raises BadInput when the outing
    would be longer than the limit. The compiled parts are built on first use.
    """
    from arena.timetable.playing import play_outing

    return play_outing(drive, climate, car, seed, off_s)
