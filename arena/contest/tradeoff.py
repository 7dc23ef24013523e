"""The trade-off of a strategy: what no other settings beat in tracking, pump hours and energy at once (NSGA-II).

The search is Optuna's, a generation at a time. A few of the front get names a person can choose by.
"""

from __future__ import annotations

import math
import warnings
from collections.abc import Callable, Sequence
from concurrent.futures import ThreadPoolExecutor
from dataclasses import dataclass, replace
from typing import Any

import numpy as np
from numpy.typing import NDArray

from arena.contest.comparing import Comparison, compare, play_worlds
from arena.contest.pool import Progress, Tell, in_order
from arena.contest.run import Contestant, lay_out
from arena.contest.standings import RunTable, costs, over_limit_k, yearly
from arena.contest.table_shape import SHAPE, STARTS, contestant_with, shaped
from arena.contest.tables import judge, table_of
from arena.contest.tune import Training, rounded
from arena.contest.tuning import Job, rivals
from arena.strategies.base import Setting

Floats = NDArray[np.float64]

GENERATIONS = 20
POPULATION = 64  # candidates of a generation
AIMS = ("tracking_k_h", "pump_hours", "energy_wh")
HOT = "hot_boost_k_h"
ALLOWED_OFF = 1.5  # "spares the pump" may be so much further off target than the balanced choice, by a factor


@dataclass(frozen=True)
class Point:
    """One candidate: its settings and its yearly figures on the training worlds."""

    settings: dict[str, float]
    figures: dict[str, float]
    score: float


@dataclass(frozen=True)
class Tradeoff:
    """The front by rising pump hours, the named choices, and those choices on fresh worlds."""

    front: tuple[Point, ...]
    choices: dict[str, Point]
    contestants: dict[str, Contestant]
    comparison: Comparison
    tried: int


def trade_off(job: Job, training: Training, pool: ThreadPoolExecutor, tell: Tell | None = None) -> Tradeoff:
    """Search the front and play the named choices on fresh worlds."""
    space, starts, make = _space(job)
    points = _search(training, space, starts, make, pool, tell)
    front = front_of(points)
    choices = named(front)
    contestants = {n: replace(make(p.settings), name=n, tuned=True) for n, p in choices.items()}
    field = [*contestants.values(), *rivals(job)]
    runs = play_worlds(job.plan, field, job.replicates, pool, tell, stage="choices on fresh worlds")
    return Tradeoff(tuple(front), choices, contestants, compare(job.plan, runs, "balanced"), len(points))


def _space(
    job: Job,
) -> tuple[tuple[Setting, ...], list[dict[str, float]], Callable[[dict[str, float]], Contestant]]:
    """What is searched, where it starts, and how a point becomes a contestant."""
    if job.axes is None:
        strategy = job.contestant.strategy
        return strategy.settings, [strategy.defaults()], lambda p: replace(job.contestant, settings=p)
    axes = job.axes
    return SHAPE, [dict(s) for s in STARTS], lambda p: contestant_with(axes, shaped(axes, p))


def _search(
    training: Training,
    space: Sequence[Setting],
    starts: Sequence[dict[str, float]],
    make: Callable[[dict[str, float]], Contestant],
    pool: ThreadPoolExecutor,
    tell: Tell | None,
) -> list[Point]:
    import optuna

    optuna.logging.set_verbosity(optuna.logging.WARNING)
    with warnings.catch_warnings():
        warnings.simplefilter("ignore")
        sampler = optuna.samplers.NSGAIISampler(population_size=POPULATION, seed=training.plan.seed % 2**32)
    study = optuna.create_study(directions=["minimize"] * len(AIMS), sampler=sampler)
    for start in starts:
        study.enqueue_trial(start)
    ranges = {s.name: optuna.distributions.FloatDistribution(s.low, s.high) for s in space}
    points: list[Point] = []
    for g in range(GENERATIONS):
        trials: list[Any] = [study.ask(ranges) for _ in range(POPULATION)]
        asked = [{s.name: rounded(s, t.params[s.name]) for s in space} for t in trials]
        found = measured(training, [make(p) for p in asked], pool)
        for trial, settings, (figures, score, sound) in zip(trials, asked, found, strict=True):
            if sound:
                study.tell(trial, [figures[a] for a in AIMS])
                points.append(Point(settings, figures, score))
            else:
                study.tell(trial, state=optuna.trial.TrialState.FAIL)
        if tell:
            tell(Progress("trade-off", g + 1, GENERATIONS, detail=f"{len(front_of(points))} on the front"))
    return points


def measured(
    training: Training, candidates: Sequence[Contestant], pool: ThreadPoolExecutor
) -> list[tuple[dict[str, float], float, bool]]:
    """Yearly figures over the training worlds, score, and whether no run FAILED and the limit was kept."""
    lanes = lay_out(list(candidates))
    named_ = [replace(c, name=str(k)) for k, c in enumerate(candidates)]
    places = list(range(len(candidates)))
    plan, entries = training.plan, len(training.plan.season.entries)
    found = in_order(
        pool, lambda n: judge(plan, training.outings[n][0], lanes, training.outings[n][1]),
        range(len(training.outings)),
    )  # fmt: skip
    tables: list[RunTable] = [
        table_of(plan, named_, [(training.outings[n][0], [(places, found[n])]) for n in range(w, w + entries)])
        for w in range(0, len(training.outings), entries)
    ]
    season = plan.season
    figures = {n: np.mean([yearly(t, t.values[n])[:, 0] for t in tables], axis=0) for n in (*AIMS, HOT)}
    score = np.sum([costs(t, season.prices, season.wear)[:, 0] for t in tables], axis=0) / training.yard
    excess = np.max([over_limit_k(t) for t in tables], axis=0)
    failures = np.sum([(t.failed != "").sum(axis=(1, 2)) for t in tables], axis=0)
    sound = (failures == 0) & (excess <= training.most_over_k) & np.isfinite(score)
    return [
        ({n: float(v[k]) for n, v in figures.items()}, float(score[k]), bool(sound[k])) for k in range(len(candidates))
    ]


def front_of(points: Sequence[Point]) -> list[Point]:
    """Points that no other point matches or beats in all three figures, by rising pump hours, twins left out."""
    if not points:
        return []
    table = np.array([[p.figures[a] for a in AIMS] for p in points])
    _, first = np.unique(table, axis=0, return_index=True)
    keep = []
    for k in sorted(first):
        others = table[first]
        beaten = (others <= table[k]).all(axis=1) & (others < table[k]).any(axis=1)
        if not beaten.any():
            keep.append(int(k))
    return sorted((points[k] for k in keep), key=lambda p: (p.figures["pump_hours"], p.figures["tracking_k_h"]))


def named(front: Sequence[Point]) -> dict[str, Point]:
    """A short list to choose from: by lowest score, by fewest pump hours, by coolest charge on boost."""
    if not front:
        from arena.errors import BadInput

        raise BadInput(
            "no settings were found that keep the limit without a FAILED run",
            "Look at the car and the drives with `arena tournament`; the hardware may not be able to.",
        )
    balanced = min(front, key=lambda p: p.score)
    bearable = ALLOWED_OFF * balanced.figures["tracking_k_h"] + 0.1
    sparing = [p for p in front if p.figures["tracking_k_h"] <= bearable]
    spares = min(sparing, key=lambda p: (p.figures["pump_hours"], p.figures["energy_wh"]))
    coolest = min(front, key=lambda p: (p.figures[HOT], p.figures["tracking_k_h"], p.score))
    assert math.isfinite(balanced.score)
    return {"spares the pump": spares, "balanced": balanced, "coolest on boost": coolest}
