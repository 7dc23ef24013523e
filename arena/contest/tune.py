"""Tuning: every strategy gets the same number of tries to find its settings before it is ranked.

Optuna ask/tell in generations, CMA-ES; one generation of all strategies is a few lanes of one kernel call an
outing. A new sampler per generation, seeded by (root, contestant, generation), makes the search repeatable: a
stopped one is gone on with by asking again and telling the values kept.
"""

from __future__ import annotations

import hashlib
import math
from collections.abc import Callable, Mapping, Sequence
from concurrent.futures import ThreadPoolExecutor
from dataclasses import dataclass, replace
from typing import Any, Protocol

import numpy as np
from numpy.typing import NDArray

from arena.contest.pool import Progress, Tell, in_order
from arena.contest.run import Contestant, lay_out
from arena.contest.standings import HARD_LIMIT_K, YARDSTICK, RunTable, costs, must_cost, over_limit_k
from arena.contest.tables import judge, table_of
from arena.contest.worlds import TRAIN_FROM, Outing, Plan, car_of_world, play_entry
from arena.errors import BadInput
from arena.plant import layout as at
from arena.plant.numbers import CarNumbers
from arena.strategies import shipped
from arena.strategies.base import Setting

Floats = NDArray[np.float64]

GENERATION = 16  # candidates of one strategy in a generation
TRAIN_WORLDS = 1  # replicates a candidate is tried on
FAILED_SCORE = 1e3  # what a candidate that FAILED a run scores: never good
SIGMA = 0.2  # first step of the search, of each setting's range
AT_BOUND = 0.01  # of a setting's range: nearer than this is at the bound


@dataclass(frozen=True)
class Training:
    """Compiled training outings and what always-on costs on them."""

    plan: Plan
    outings: tuple[tuple[Outing, CarNumbers], ...]
    yard: float
    most_over_k: float = HARD_LIMIT_K  # mean excess over the limit from which a candidate is penalised
    worst_world: bool = False  # the excess of the worst world counts instead of their mean


@dataclass(frozen=True)
class Tuned:
    """What tuning one strategy came to; scores against always-on on the training worlds."""

    contestant: Contestant
    score: float
    default_score: float
    at_bounds: tuple[str, ...]
    tried: int


Keep = Callable[[str, int, list[float]], None]  # contestant, generation, values
Kept = Callable[[str, int], list[float] | None]


def train_on(plan: Plan, pool: ThreadPoolExecutor, worlds: int = TRAIN_WORLDS) -> Training:
    """Play and compile the training worlds."""
    outings: list[tuple[Outing, CarNumbers]] = []
    for k in range(worlds):
        numbers = car_of_world(plan, TRAIN_FROM + k)

        def one(entry: int, k: int = k, numbers: CarNumbers = numbers) -> tuple[Outing, CarNumbers]:
            return play_entry(plan, entry, TRAIN_FROM + k, numbers), numbers

        outings += in_order(pool, one, range(len(plan.season.entries)))
    return measured(Training(plan, tuple(outings), 1.0), pool)


def measured(training: Training, pool: ThreadPoolExecutor) -> Training:
    """The training with what always-on costs on it, by which all are measured. Raises BadInput if that is nothing."""
    season = training.plan.season
    (tables,) = tables_of(training, [Contestant(YARDSTICK, shipped()[YARDSTICK])], pool)
    yard = float(np.sum([costs(t, season.prices, season.wear)[0, 0] for t in tables]))
    must_cost(yard, season)
    return replace(training, yard=yard)


def costs_of(training: Training, candidates: Sequence[Contestant], pool: ThreadPoolExecutor) -> list[float]:
    """Score of each candidate on the training worlds; FAILED runs and a broken limit score badly, never well."""
    return [float(v) for tables in tables_of(training, candidates, pool) for v in scores_of(training, tables)]


def tables_of(training: Training, candidates: Sequence[Contestant], pool: ThreadPoolExecutor) -> list[list[RunTable]]:
    """Runs of the candidates on the training worlds: for as many as fit the lanes a table a world."""
    batches = [candidates[k : k + at.LANES] for k in range(0, len(candidates), at.LANES)]
    lanes = [lay_out(batch) for batch in batches]
    entries = len(training.plan.season.entries)

    def one(number: int) -> list[Any]:
        outing, numbers = training.outings[number]
        return [judge(training.plan, outing, batch, numbers) for batch in lanes]

    found = in_order(pool, one, range(len(training.outings)))
    tables = []
    for b, batch in enumerate(batches):
        places = list(range(len(batch)))
        named = [replace(c, name=str(k)) for k, c in enumerate(batch)]
        tables.append(
            [
                table_of(
                    training.plan,
                    named,
                    [(training.outings[n][0], [(places, found[n][b])]) for n in range(w, w + entries)],
                )
                for w in range(0, len(training.outings), entries)
            ]
        )
    return tables


def scores_of(training: Training, tables: Sequence[RunTable]) -> Floats:
    """Scores over the training worlds with penalties for failing and for breaking the limit."""
    season = training.plan.season
    cost = np.sum([costs(t, season.prices, season.wear)[:, 0] for t in tables], axis=0)
    worlds = [over_limit_k(t) for t in tables]
    excess = np.max(worlds, axis=0) if training.worst_world else np.mean(worlds, axis=0)
    failures = np.sum([(t.failed != "").sum(axis=(1, 2)) for t in tables], axis=0)
    score = cost / training.yard + 10.0 * np.maximum(excess - training.most_over_k, 0.0)
    bad = (failures > 0) | ~np.isfinite(score)
    return np.where(bad, FAILED_SCORE + np.asarray(failures, dtype=np.float64), np.minimum(score, FAILED_SCORE))


def tune(
    training: Training,
    contestants: Sequence[Contestant],
    trials: int,
    pool: ThreadPoolExecutor,
    tell: Tell | None = None,
    keep: Keep | None = None,
    kept: Kept | None = None,
    size: int = GENERATION,
) -> dict[str, Tuned]:
    """Tune every contestant that has free settings, with the same budget each: `trials` rounded up to generations."""
    searches = [Search(c, training.plan.seed, size) for c in contestants if free_settings(c)]
    search_on(training, searches, math.ceil(trials / size), pool, tell, keep, kept)
    return {s.contestant.name: s.result() for s in searches}


def search_on(
    training: Training,
    searches: Sequence[Searching],
    generations: int,
    pool: ThreadPoolExecutor,
    tell: Tell | None = None,
    keep: Keep | None = None,
    kept: Kept | None = None,
    stage: str = "tuning",
) -> None:
    """Ask every search for a generation, score all candidates in as few batches as they fit, tell; so many times."""
    for g in range(generations):
        asked = [s.ask(g) for s in searches]
        told = [kept(s.name, g) if kept else None for s in searches]
        for k, search in enumerate(searches):
            found = told[k]
            if found is not None and len(found) != len(asked[k]):
                fault = (
                    f"tuning/{search.name}.json: keeps {len(found)} scores of generation {g + 1}, not {len(asked[k])}"
                )
                raise BadInput(fault, "Remove that file from the folder: what it held is done again.")
        fresh = [k for k, values in enumerate(told) if values is None]
        scores = costs_of(training, [c for k in fresh for c in asked[k]], pool) if fresh else []
        for k in fresh:
            found, scores = scores[: len(asked[k])], scores[len(asked[k]) :]
            told[k] = found
            if keep:
                keep(searches[k].name, g, found)
        for search, values in zip(searches, told, strict=True):
            assert values is not None
            search.tell(values)
        if tell:
            best = sorted((s.best_score, s.name) for s in searches)
            tell(Progress(stage, g + 1, generations, tuple((name, score) for score, name in best)))


class Searching(Protocol):
    """Anything that asks for candidates a generation at a time and is told their scores."""

    name: str

    def ask(self, generation: int) -> list[Contestant]:
        """The candidates of a generation."""

    def tell(self, values: Sequence[float]) -> None:
        """The scores of the generation asked last, in its order."""

    @property
    def best_score(self) -> float:
        """Lowest score told so far."""


def free_settings(contestant: Contestant) -> tuple[Setting, ...]:
    """What of a contestant can be tuned: its strategy's settings but those that were asked for by value."""
    return tuple(s for s in contestant.strategy.settings if s.name not in contestant.held)


class Search:
    """One strategy's search: an Optuna study asked and told a generation at a time."""

    def __init__(self, contestant: Contestant, seed: int, size: int = GENERATION) -> None:
        import optuna

        optuna.logging.set_verbosity(optuna.logging.WARNING)
        self.contestant = contestant
        self.name = contestant.name
        self.seed = seed
        self.size = size
        self.settings = self.space()
        self.study = optuna.create_study(direction="minimize", sampler=self._sampler(0))
        for start in self.starts():
            self.study.enqueue_trial(start)
        self.running: list[Any] = []
        self.points: list[dict[str, float]] = []
        self.values: list[float] = []

    def space(self) -> tuple[Setting, ...]:
        """The numbers searched."""
        return free_settings(self.contestant)

    def starts(self) -> list[dict[str, float]]:
        """The points tried first."""
        known = {**self.contestant.strategy.defaults(), **self.contestant.settings}
        return [{s.name: known[s.name] for s in self.settings}]

    def candidate(self, point: dict[str, float]) -> Contestant:
        """The contestant at a point of the search."""
        return replace(self.contestant, settings=self._whole(point))

    def _whole(self, point: dict[str, float]) -> dict[str, float]:
        return {**{name: self.contestant.settings[name] for name in self.contestant.held}, **point}

    def ask(self, generation: int) -> list[Contestant]:
        """The candidates of a generation, their settings rounded as they would be typed in."""
        import optuna

        self.study.sampler = self._sampler(generation)
        space = {s.name: optuna.distributions.FloatDistribution(s.low, s.high) for s in self.settings}
        self.running = [self.study.ask(space) for _ in range(self.size)]
        points = [{s.name: rounded(s, trial.params[s.name]) for s in self.settings} for trial in self.running]
        self.points += points
        return [self.candidate(point) for point in points]

    def tell(self, values: Sequence[float]) -> None:
        """The scores of the generation asked last, in its order."""
        for trial, value in zip(self.running, values, strict=True):
            self.study.tell(trial, float(value))
        self.values += [float(v) for v in values]

    def meet(self, point: Any, value: float) -> None:
        """Take over a point that another process has scored."""
        if point not in self.points:
            self.points.append(point)
            self.values.append(value)

    def last_values(self) -> list[float]:
        """Values of the generation told last."""
        return self.values[-self.size :]

    def last_points(self) -> list[Any]:
        """Its points, in the same order."""
        return list(self.points[-self.size :])

    @property
    def best_score(self) -> float:
        """Lowest score told so far."""
        return min(self.values)

    def result(self) -> Tuned:
        """The best candidate, with the settings that ended at a bound of their range named."""
        best = int(np.argmin(self.values))
        point = self.contestant.strategy.make_settings(self._whole(self.points[best]))._asdict()
        bounds = tuple(b for s in self.settings for b in at_bound(s, point[s.name]))
        contestant = replace(self.contestant, settings=point, tuned=True)
        return Tuned(contestant, self.values[best], self.values[0], bounds, len(self.values))

    def _sampler(self, generation: int) -> Any:
        """A sampler that depends on nothing but root seed, contestant and generation (and on what was told)."""
        import warnings

        import optuna

        key = int.from_bytes(hashlib.sha256(self.name.encode()).digest()[:8], "little")
        state = np.random.SeedSequence([self.seed, key, generation]).generate_state(1)[0]
        start = None
        if generation > 0:
            first = self.values[: self.size]
            start = self.points[int(np.argmin(first))]
        with warnings.catch_warnings():
            # popsize is called experimental, x0 and sigma0 go with Optuna 6: pyproject holds us below it
            warnings.simplefilter("ignore")
            return optuna.samplers.CmaEsSampler(
                x0=start, sigma0=SIGMA, seed=int(state), popsize=self.size, warn_independent_sampling=False
            )


def rounded(setting: Setting, value: float) -> float:
    """A value as a person would type it, to the same bits: to a power of ten about a hundredth of the range."""
    digits = -math.floor(math.log10((setting.high - setting.low) / 100.0))
    return min(max(round(float(value), digits), setting.low), setting.high)


def at_bound(setting: Setting, value: float) -> list[str]:
    """What to say if a value lies at an end of its range."""
    near = AT_BOUND * (setting.high - setting.low)
    if value <= setting.low + near:
        return [f"{setting.name} at its lowest, {setting.low:g} {setting.unit}"]
    if value >= setting.high - near:
        return [f"{setting.name} at its highest, {setting.high:g} {setting.unit}"]
    return []


def as_declared(contestant: Contestant) -> Contestant:
    """The untuned twin that stands beside a tuned contestant, unranked."""
    return replace(contestant, name=f"{contestant.name}-untuned", reference=True)


def with_tuned(contestants: Sequence[Contestant], tuned: Mapping[str, Tuned]) -> list[Contestant]:
    """Tuned contestants in place of the declared ones, each with its untuned twin behind it."""
    out: list[Contestant] = []
    for c in contestants:
        if c.name in tuned:
            out += [tuned[c.name].contestant, as_declared(c)]
        else:
            out.append(c)
    return out
