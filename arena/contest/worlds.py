"""Worlds: one replicate of a whole season, every outing played afresh, on one car drawn from the car's spread.

Seeds are keyed by circumstance (root, outing, replicate), never by contestant or worker, so that all contestants
meet the same traffic, the same probe noise and the same car. Worlds are made, run and dropped one by one.
"""

from __future__ import annotations

import hashlib
from collections.abc import Sequence
from dataclasses import dataclass, field, replace
from pathlib import Path
from typing import Any

import numpy as np
from numpy.typing import NDArray

from arena.contest.laws import MOST_LAWS
from arena.contest.outings import ready_outing
from arena.contest.run import Contestant, Lanes, lay_out
from arena.plant import layout as at
from arena.plant.compile import AirPath, CompiledOuting
from arena.plant.numbers import CarNumbers, Goals
from arena.scenario.car import Car
from arena.scenario.climate import Climate
from arena.scenario.drive import Drive
from arena.scenario.fault import Fault
from arena.scenario.season import Season
from arena.timetable.outing import outing_seed
from arena.timetable.standard import TAIL_OFF_S
from arena.units import ZERO_C_K

TRAIN_FROM = 1_000_000  # replicates from here on are for tuning, below it for ranking
CARS = 6  # cars of one Latin hypercube: as many as a default ranking has worlds
MOST_TOLD, MOST_DRIVES_TOLD = 3, 10  # notes told of one drive, and drives told of
GIVEN_SHARE = 0.3  # a number given in the car file varies by this share of what an assumed one does

# What varies from car to car, each evenly within +-spread of its value times the factor. Judgement, from memory.
SPREAD: tuple[tuple[str, str, float], ...] = (
    ("core", "air_ha_w_k", 1.0), ("core", "coolant_ha_w_k", 1.5), ("core", "metal_kg", 1.0),
    ("core", "bay_ua_w_k", 2.0),
    ("core", "pipe_ua_w_k", 2.0), ("front", "air_ha_w_k", 1.0), ("front", "coolant_ha_w_k", 1.5),
    ("front", "face_velocity_ratio", 1.5), ("loop", "hose_ua_w_m_k", 1.5), ("loop", "tank_m3", 0.5),
    ("pump", "system_pa", 1.5), ("pump", "friction_nm", 1.0), ("charger", "efficiency", 0.4),
    ("charger", "hot_side_ua_w_k", 2.0), ("probe", "tau_s", 2.0), ("body", "bay_rise_cruise_k", 1.0),
    ("body", "bay_rise_traffic_k", 1.0),
)  # fmt: skip


@dataclass(frozen=True)
class Outing:
    """One drive in one climate of one world, compiled for that world's car."""

    id: str
    entry: int
    replicate: int
    drive: str
    climate: str
    weight: float  # outings a year
    drive_seconds: float  # scored time
    compiled: CompiledOuting
    notes: tuple[str, ...]
    limit_s: float = field(init=False)  # seconds on boost, weighted as the excess over the limit is

    def __post_init__(self) -> None:
        object.__setattr__(self, "limit_s", at.TICK_S * float(self.compiled.X[:, at.X_LIMIT].sum()))


@dataclass(frozen=True)
class Plan:
    """A season made ready: everything loaded, nothing played yet."""

    season: Season
    car: Car
    drives: tuple[Drive, ...]  # one an entry
    climates: tuple[Climate, ...]
    seed: int
    spread: float
    sources: tuple[Path, ...] = ()  # the files it came from
    faults: tuple[Fault | None, ...] = ()  # one an entry; empty if there are none
    off_s: float = TAIL_OFF_S  # key off at the end of every outing: no less than the longest run-on

    @property
    def goals(self) -> Goals:
        """The season's aims in SI."""
        s = self.season
        return Goals(s.target_c + ZERO_C_K, s.limit_c + ZERO_C_K, s.band_k, s.quiet_duty, s.quiet_kmh / 3.6)

    @property
    def weights(self) -> NDArray[np.float64]:
        """Outings a year of each entry."""
        return np.array([e.outings_per_year for e in self.season.entries])

    def outing_id(self, entry: int) -> str:
        """Name of an entry: drive/climate, or drive/climate/fault."""
        fault = self.fault_of(entry)
        return self.sound_id(entry) + (f"/{fault.name}" if fault else "")

    def sound_id(self, entry: int) -> str:
        """Name of an entry without its fault: seeds go by it, so that a fault changes nothing but what it breaks."""
        pairs = list(zip(self.drives, self.climates, strict=True))
        return told_apart([f"{d.name}/{c.name}" for d, c in pairs], [d.digest + c.digest for d, c in pairs])[entry]

    def climate_names(self) -> list[str]:
        """Name of each entry's climate."""
        return told_apart([c.name for c in self.climates], [c.digest for c in self.climates])

    def for_run_on(self, contestants: Sequence[Contestant]) -> Plan:
        """The same plan with outings that end no sooner than the pump of any of these contestants."""
        return replace(self, off_s=max(TAIL_OFF_S, *(c.run_on_s for c in contestants)))

    def fault_of(self, entry: int) -> Fault | None:
        """The fault of an entry, if it has one."""
        return self.faults[entry] if self.faults else None


def told_apart(names: Sequence[str], digests: Sequence[str]) -> list[str]:
    """The same names, but two files may bear one: the later one is told apart by a number, NAME~2."""
    known: dict[str, list[str]] = {}
    out = []
    for name, digest in zip(names, digests, strict=True):
        same = known.setdefault(name, [])
        if digest not in same:
            same.append(digest)
        number = same.index(digest) + 1
        out.append(name if number == 1 else f"{name}~{number}")
    return out


def car_of_world(plan: Plan, replicate: int) -> CarNumbers:
    """The car of one world: drawn from the spread (Latin hypercube); as it stands if that is 0."""
    numbers = plan.car.numbers()
    if plan.spread <= 0.0:
        return numbers
    draws = latin_draws(plan.seed, replicate, len(SPREAD))
    changed: dict[str, dict[str, float]] = {}
    for (section, key, factor), draw in zip(SPREAD, draws, strict=True):
        known = plan.car.measured(f"{section}.{key}")
        share = plan.spread * factor * (GIVEN_SHARE if known else 1.0)
        changed.setdefault(section, {})[key] = getattr(getattr(numbers, section), key) * (1.0 + share * float(draw))
    parts: dict[str, Any] = {s: replace(getattr(numbers, s), **values) for s, values in changed.items()}
    return replace(numbers, **parts)


def latin_draws(seed: int, replicate: int, size: int) -> NDArray[np.float64]:
    """Numbers in -1..1, one a dimension, from a Latin hypercube over each block of CARS replicates: within a block
    every dimension has one draw in each of CARS equal slices.
    """
    block, row = divmod(replicate, CARS)
    rng = np.random.Generator(np.random.PCG64(outing_seed(seed, "cars", block)))
    slices = np.array([rng.permutation(CARS) for _ in range(size)])
    inside = rng.uniform(0.0, 1.0, (size, CARS))
    return np.asarray(2.0 * (slices[:, row] + inside[:, row]) / CARS - 1.0)


def play_entry(plan: Plan, entry: int, replicate: int, numbers: CarNumbers) -> Outing:
    """One entry of the season played with its fault, compiled and given its attainable envelope."""
    e = plan.season.entries[entry]
    drive, climate, sound = plan.drives[entry], plan.climates[entry], plan.sound_id(entry)
    played, compiled = ready_outing(
        drive, climate, numbers, plan.goals, (plan.seed, sound, replicate), plan.fault_of(entry), plan.off_s
    )
    seconds = played.scored_s
    return Outing(
        plan.outing_id(entry), entry, replicate, drive.name, climate.name, e.outings_per_year, seconds, compiled,
        played.notes,
    )  # fmt: skip


def drive_notes(playings: Sequence[tuple[str, Sequence[str]]]) -> list[str]:
    """A line a drive that could not be driven as written: what is told of the playing of it of which most is told, and
    how often anything was. `playings` are drives by name with the notes of one playing.
    """
    lines = []
    for drive in dict.fromkeys(name for name, _ in playings):
        found = [notes for name, notes in playings if name == drive]
        most, having = max(found, key=len), sum(1 for notes in found if notes)
        if most:
            more = [f"{len(most) - MOST_TOLD} more remarks"] if len(most) > MOST_TOLD else []
            lines.append(f"{drive}: {'; '.join([*most[:MOST_TOLD], *more])} ({having} of {len(found)} playings)")
    if len(lines) > MOST_DRIVES_TOLD:
        lines[MOST_DRIVES_TOLD:] = [f"{len(lines) - MOST_DRIVES_TOLD} more drives have remarks"]
    return lines


def without_arrays(outing: Outing) -> Outing:
    """What is kept of an outing once it has run: everything but its arrays, so that worlds do not pile up."""
    none = np.zeros(0)
    bare = replace(outing.compiled, X=np.zeros((0, at.X_COLUMNS)), boost_weight=none, air=AirPath(none, none, none))
    kept = replace(outing, compiled=bare)
    object.__setattr__(kept, "limit_s", outing.limit_s)
    return kept


def batches(contestants: list[Contestant]) -> list[Lanes]:
    """Contestants in as few batches as their number and their laws allow, those of one strategy side by side."""
    order = sorted(range(len(contestants)), key=lambda k: (contestants[k].strategy.name, k))
    ordered = [contestants[k] for k in order]
    found, start = [], 0
    while start < len(ordered):
        laws: list[object] = []
        stop = start
        while stop < min(start + at.LANES, len(ordered)):
            if ordered[stop].strategy not in laws:
                laws.append(ordered[stop].strategy)
            if len(laws) > MOST_LAWS:
                break
            stop += 1
        found.append(lay_out(ordered[start:stop]))
        start = stop
    return found


def plan_digest(plan: Plan) -> str:
    """Identity of everything a world depends on, for caches and resuming."""
    parts = [plan.season.digest, plan.car.digest, str(plan.seed), repr(plan.spread)]
    parts += [d.digest for d in plan.drives] + [c.digest for c in plan.climates]
    parts += [f.digest for f in plan.faults if f is not None]
    parts += [repr(plan.off_s)] if plan.off_s != TAIL_OFF_S else []
    return hashlib.sha256("\n".join(parts).encode()).hexdigest()
