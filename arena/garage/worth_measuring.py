"""What is worth measuring: how far the standings move with each number that a car file leaves to assumption.

One number at a time is moved half-way towards the farther end of its usual range (a fifth of the way where it was
estimated from something given), the rest held; a short made-up drive is played in two climates, and the scores of a
few untuned strategies are taken again. Same car, same answer.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace
from typing import Any, Final

import numpy as np
from numpy.typing import NDArray

from arena.contest.figures import figures_of
from arena.contest.outings import envelope
from arena.contest.pool import Progress, Tell, in_order, pool_of
from arena.contest.run import Contestant, Lanes, lay_out, play
from arena.contest.standings import REFERENCES, costs
from arena.contest.tables import join_worlds, table_of
from arena.contest.worlds import Outing, Plan
from arena.errors import BadInput
from arena.plant.compile import compile_outing, set_goals
from arena.plant.numbers import CarNumbers
from arena.scenario import loading
from arena.scenario.car import Car
from arena.scenario.car_keys import KEY_OF_NUMBER, extra_of
from arena.scenario.climate import load_climate
from arena.scenario.drive import Drive, DriveFile
from arena.scenario.season import Entry, load_season
from arena.strategies import shipped
from arena.timetable.outing import Played, outing_seed
from arena.timetable.outing import play as play_drive

Floats = NDArray[np.float64]

STRATEGIES: Final = ("gated-table", "proportional", "two-speed")
CLIMATES: Final = (("mild", 3.0), ("hot", 1.0))  # climate, outings
TYPICAL_REACH, ESTIMATED_REACH = 0.5, 0.2  # how far towards the end of the usual range; judgement
CLEAR: Final = 0.01  # a score that moves by less is called little; from memory, no source
ON_THE_ROAD: Final = ("engine", "charger", "body", "front")  # sections that change what happens before any pump law


@dataclass(frozen=True)
class Effect:
    """What one assumed number does: `tried` instead of `value`, both as the car file would write them.

    `change` is the largest change of any strategy's score; `turns` says whether the order of the strategies turned.
    """

    key: str
    value: float
    tried: float
    change: float
    turns: bool

    @property
    def matters(self) -> bool:
        """Whether it is worth measuring."""
        return self.change >= CLEAR or self.turns


@dataclass(frozen=True)
class _Trial:
    key: str
    value: float
    tried: float
    numbers: CarNumbers
    fresh: bool  # whether the drive must be played again


def sensitivity(car: Car, tell: Tell | None = None, workers: int | None = None) -> dict[str, Effect]:
    """Effects by file key of every assumed number that has a usual range. Numbers that cannot be are left out."""
    plan, lanes = _plan(car), lay_out([Contestant(n, shipped()[n]) for n in (*REFERENCES, *STRATEGIES)])
    numbers = car.numbers()
    played = [_play(plan, entry, numbers) for entry in range(len(CLIMATES))]
    base = _scores(plan, lanes, numbers, played)
    trials = _trials(car)
    tried = 0

    def one(k: int) -> Floats | None:
        nonlocal tried
        trial = trials[k]
        try:
            its = [_play(plan, e, trial.numbers) for e in range(len(CLIMATES))] if trial.fresh else played
            found = _scores(plan, lanes, trial.numbers, its)
        except BadInput:  # a number that cannot stand beside the others
            found = None
        tried += 1
        if tell:
            tell(Progress("what the standings depend on", min(tried, len(trials)), len(trials), detail=trial.key))
        return found

    with pool_of(workers) as pool:
        scores = in_order(pool, one, range(len(trials)))
    return _effects(trials, scores, base)


def _effects(trials: Sequence[_Trial], scores: Sequence[Floats | None], base: Floats) -> dict[str, Effect]:
    effects = {}
    for trial, score in zip(trials, scores, strict=True):
        if score is None or not np.isfinite(score).all():
            continue
        change = float(np.max(np.abs(score - base)))
        effects[trial.key] = Effect(trial.key, trial.value, trial.tried, change, _turned(base, score))
    return effects


def _turned(base: Floats, score: Floats) -> bool:
    """Whether any two strategies that differed clearly before or differ clearly now have changed places."""
    before, after = base[:, None] - base[None, :], score[:, None] - score[None, :]
    return bool(np.any((before * after < 0.0) & (np.abs(before - after) > CLEAR)))


def _trials(car: Car) -> list[_Trial]:
    """Each assumed number moved towards the farther end of its usual range."""
    numbers = car.numbers()
    found = []
    for number, key in KEY_OF_NUMBER.items():
        section, name = number.split(".")
        extra = extra_of(*key.split("."))
        value = getattr(getattr(numbers, section), name, None)
        usual = extra.get("usual")
        if key not in car.assumed or not usual or not isinstance(value, float) or extra.get("to") != name:
            continue
        factor, offset = float(extra["factor"]), float(extra.get("offset") or 0.0)
        here = (value - offset) / factor
        reach = ESTIMATED_REACH if car.assumed[key].startswith("estimated") else TYPICAL_REACH
        there = here + reach * (max(usual, key=lambda end: abs(end - here)) - here)
        moved = replace(getattr(numbers, section), **{name: there * factor + offset})
        parts: dict[str, Any] = {section: moved}
        found.append(_Trial(key, here, there, replace(numbers, **parts), section in ON_THE_ROAD))
    return found


def _plan(car: Car) -> Plan:
    """The short season: prices of the shipped year, one drive in two climates."""
    file = DriveFile.model_validate(_DRIVE)
    drive = Drive(file.drive.name, "", file.drive.start, file, {}, loading.digest_of(repr(_DRIVE)))
    entries = tuple(Entry(drive.name, climate, count) for climate, count in CLIMATES)
    season = replace(load_season("temperate-year"), name="short", entries=entries)
    climates = tuple(load_climate(climate) for climate, _ in CLIMATES)
    return Plan(season, car, (drive,) * len(CLIMATES), climates, 1, 0.0)


def _play(plan: Plan, entry: int, numbers: CarNumbers) -> Played:
    seed = outing_seed(plan.seed, plan.outing_id(entry), 0)
    return play_drive(plan.drives[entry], plan.climates[entry], numbers, seed)


def _scores(plan: Plan, lanes: Lanes, numbers: CarNumbers, played: Sequence[Played]) -> Floats:
    """Score of each of STRATEGIES against always-on."""
    wear, goals = plan.season.wear, plan.goals
    results = []
    for entry, one in enumerate(played):
        compiled = compile_outing(one, numbers, goals, 1)
        set_goals(compiled, goals, *envelope(compiled))
        figures = figures_of(play(compiled, lanes), compiled, numbers, goals, wear.exponent, wear.start_h)
        row = plan.season.entries[entry]
        outing = Outing(
            plan.outing_id(entry), entry, 0, row.drive, row.climate, row.outings_per_year, 0.0, compiled, ()
        )
        results.append((outing, [(list(range(len(lanes.contestants))), figures)]))
    table = join_worlds([table_of(plan, list(lanes.contestants), results)])
    cost = costs(table, plan.season.prices, wear)[:, 0]
    return np.asarray(cost[2:] / cost[0])


_DRIVE: Final[dict[str, Any]] = {
    "drive": {"name": "short", "start": "warm", "source": "invented"},
    "phase": [
        {"do": "cruise", "speed_kmh": 50.0, "seconds": 60.0},
        {"do": "traffic", "seconds": 90.0, "mean_kmh": 15.0},
        {"do": "cruise", "speed_kmh": 80.0, "seconds": 60.0},
        {"do": "pull", "to_kmh": 130.0, "longest_s": 15.0},
        {"do": "cruise", "speed_kmh": 90.0, "seconds": 60.0},
        {"do": "brake", "to_kmh": 50.0},
        {"do": "pull", "to_kmh": 120.0, "grade_pct": 6.0, "longest_s": 15.0},
        {"do": "stop", "seconds": 30.0},
    ],
}
