"""The tournament: every contestant over every outing of a season, then the standings.

Worlds are made one at a time and run in a pool of threads (the kernel releases the interpreter lock); results are
put together in a fixed order, so that the number of workers changes nothing but the time.
"""

from __future__ import annotations

import time
from collections.abc import Callable, Sequence
from concurrent.futures import FIRST_COMPLETED, Future, ThreadPoolExecutor, wait
from dataclasses import dataclass, field, replace
from pathlib import Path
from typing import Any, TypeVar

import numpy as np
from numpy.typing import NDArray

from arena.contest.figures import NAMES, RunFigures, figures_of
from arena.contest.run import Contestant, play
from arena.contest.standings import RunTable, Standings, rank
from arena.contest.store import Folder, copy_inputs, manifest, runs_csv, settings_toml, standings_csv, table_csv
from arena.contest.worlds import Outing, Plan, batches, car_of_world, play_entry
from arena.errors import BadInput
from arena.plant import layout as at
from arena.scenario.car import load_car
from arena.scenario.climate import load_climate
from arena.scenario.drive import load_drive
from arena.scenario.loading import find
from arena.scenario.season import Season, load_season
from arena.strategies import shipped, strategy_named

Floats = NDArray[np.float64]
T = TypeVar("T")

DEFAULT_REPLICATES = 6
DEFAULT_SPREAD = 0.10
DEFAULT_SEED = 1
DEFAULT_SEASON = "temperate-year"
DEFAULT_CAR = "invented-2200"
REFERENCES = ("always-on", "always-off")


@dataclass(frozen=True)
class Progress:
    """What a long work tells while it goes on: a word for the stage, steps done and in all."""

    stage: str
    done: int
    total: int


Tell = Callable[[Progress], None]


@dataclass(frozen=True)
class OutingInfo:
    """One played outing, for the record."""

    id: str
    drive: str
    climate: str
    replicate: int
    drive_seconds: float
    weight: float
    notes: tuple[str, ...]


@dataclass(frozen=True)
class TournamentResult:
    """Everything a tournament found."""

    plan: Plan
    contestants: tuple[Contestant, ...]
    table: RunTable
    standings: Standings
    outings: tuple[OutingInfo, ...]
    seconds: float
    notes: tuple[str, ...] = ()
    folder: Path | None = None
    train_scores: dict[str, float] = field(default_factory=dict)

    def gap(self, contestant: str) -> float | None:
        """Score on fresh worlds less score on the worlds it was tuned on; None if it was not tuned."""
        trained, score = self.train_scores.get(contestant), self.standings.line(contestant).score
        return None if trained is None or score is None else score - trained


def hold_tournament(
    season: str | Path | Season = DEFAULT_SEASON,
    car: str | Path = DEFAULT_CAR,
    strategies: Sequence[str] = (),
    *,
    trials: int = 0,
    replicates: int = DEFAULT_REPLICATES,
    seed: int = DEFAULT_SEED,
    workers: int | None = None,
    spread: float = DEFAULT_SPREAD,
    out: Path | None = None,
    tell: Tell | None = None,
    command: Sequence[str] = (),
) -> TournamentResult:
    """The main job: rank every contestant over a season, and write a result folder if `out` is given."""
    plan = make_plan(season, car, seed, spread)
    contestants = entrants(strategies)
    folder = Folder.new(out) if out is not None else None
    if folder is not None:
        request = {"strategies": [c.name for c in contestants], "trials": trials, "replicates": replicates}
        folder.write("manifest.json", manifest(plan, {**request, "seed": seed, "spread": spread}, command))
        copy_inputs(folder, plan.sources)
    result = rank_season(plan, contestants, replicates, workers, tell)
    if folder is not None:
        write_result(folder, result)
        result = replace(result, folder=folder.finish())
    return result


def write_result(folder: Folder, result: TournamentResult) -> None:
    """standings.csv, runs.csv, settings and tables of a finished tournament."""
    tuned = {c.name: c.tuned for c in result.contestants}
    gaps = {c.name: result.gap(c.name) for c in result.contestants}
    entries = range(len(result.plan.season.entries))
    folder.write("standings.csv", standings_csv(result.standings, tuned, gaps))
    folder.write("runs.csv", runs_csv(result.table, [result.plan.outing_id(e) for e in entries]))
    for c in result.contestants:
        settings = c.strategy.make_settings(dict(c.settings))
        units = {s.name: s.unit for s in c.strategy.settings}
        words = "tuned" if c.tuned else "as declared"
        text = settings_toml(c.strategy.name, settings._asdict(), units, f"Settings of {c.name}, {words}.")
        folder.write(f"settings/{c.name}.toml", text)
        if c.strategy.table is not None:
            folder.write(f"tables/{c.name}.csv", table_csv(*c.strategy.table(settings)))


def make_plan(
    season: str | Path | Season = DEFAULT_SEASON,
    car: str | Path = DEFAULT_CAR,
    seed: int = DEFAULT_SEED,
    spread: float = DEFAULT_SPREAD,
) -> Plan:
    """Load a season, its drives and climates, and a car. Raises BadInput for whatever cannot be used."""
    if not 0.0 <= spread <= 0.3:
        raise BadInput(
            f"--spread {spread:g} is outside 0..0.3", "Give a share such as 0.1, or 0 for the car as it stands."
        )
    if not 0 <= seed < 2**63:
        raise BadInput(f"--seed {seed} is outside 0..2^63-1", "Give a whole number from 0.")
    loaded = season if isinstance(season, Season) else load_season(season)
    drives = {e.drive: load_drive(e.drive) for e in loaded.entries}
    climates = {e.climate: load_climate(e.climate) for e in loaded.entries}
    return Plan(
        loaded,
        load_car(car),
        tuple(drives[e.drive] for e in loaded.entries),
        tuple(climates[e.climate] for e in loaded.entries),
        seed,
        spread,
        source_files(loaded, car),
    )


def source_files(season: Season, car: str | Path) -> tuple[Path, ...]:
    """Every scenario file the season and the car come from."""
    found = [find("cars", car)]
    for entry in season.entries:
        found += [find("drives", entry.drive), find("climates", entry.climate)]
    return tuple(sorted(set(found)))  # a season's own file and its drives' traces: see `make_plan`


def entrants(strategies: Sequence[str] = ()) -> list[Contestant]:
    """Contestants by strategy argument; all shipped ones if none is named. References always take part."""
    names = list(strategies) or list(shipped())
    found: dict[str, Contestant] = {}
    for name in [*names, *(r for r in REFERENCES if r not in names)]:
        strategy = strategy_named(name)
        if strategy.name in found:
            raise BadInput(f"--strategy {name}: {strategy.name!r} is entered twice", "Name each strategy once.")
        found[strategy.name] = Contestant(strategy.name, strategy)
    return list(found.values())


def rank_season(
    plan: Plan,
    contestants: Sequence[Contestant],
    replicates: int = DEFAULT_REPLICATES,
    workers: int | None = None,
    tell: Tell | None = None,
) -> TournamentResult:
    """Rank contestants as they stand on fresh worlds 0..replicates-1."""
    if not 1 <= replicates <= 1000:
        raise BadInput(
            f"--replicates {replicates} is outside 1..1000", "Give 5 or more for intervals that mean something."
        )
    began = time.perf_counter()
    parts: list[RunTable] = []
    outings: list[OutingInfo] = []
    with pool_of(workers) as pool:
        for k in range(replicates):
            table, infos = run_world(plan, contestants, k, pool)
            parts.append(table)
            outings += infos
            if tell:
                tell(Progress("ranking", k + 1, replicates))
    table = join_worlds(parts)
    standings = rank(table, plan.season, plan.seed)
    return TournamentResult(
        plan, tuple(contestants), table, standings, tuple(outings), time.perf_counter() - began, standings.notes
    )


def run_world(
    plan: Plan, contestants: Sequence[Contestant], replicate: int, pool: ThreadPoolExecutor
) -> tuple[RunTable, list[OutingInfo]]:
    """All contestants over all outings of one world."""
    numbers = car_of_world(plan, replicate)
    lanes = batches(list(contestants))
    place = {c.name: k for k, c in enumerate(contestants)}

    def one(entry: int) -> tuple[Outing, list[tuple[list[int], RunFigures]]]:
        outing = play_entry(plan, entry, replicate, numbers)
        return outing, [
            ([place[c.name] for c in batch.contestants], judge(plan, outing, batch, numbers)) for batch in lanes
        ]

    results = in_order(pool, one, range(len(plan.season.entries)))
    return table_of(plan, contestants, results), [
        OutingInfo(o.id, o.drive, o.climate, o.replicate, o.drive_seconds, o.weight, o.notes) for o, _ in results
    ]


def judge(plan: Plan, outing: Outing, batch: Any, numbers: Any) -> RunFigures:
    """Figures of one batch on one outing."""
    wear = plan.season.wear
    return figures_of(play(outing.compiled, batch), outing.compiled, numbers, plan.goals, wear.exponent, wear.start_h)


def table_of(
    plan: Plan, contestants: Sequence[Contestant], results: Sequence[tuple[Outing, list[tuple[list[int], RunFigures]]]]
) -> RunTable:
    """One world's runs as a table with a single world."""
    shape = (len(contestants), len(results), 1)
    values = {name: np.full(shape, np.nan) for name in NAMES}
    wear, failed_s = np.zeros((3, *shape)), np.full(shape, np.nan)
    failed = np.full(shape, "", dtype=object)
    limit_s = np.zeros((len(results), 1))
    for e, (outing, found) in enumerate(results):
        limit_s[e, 0] = 0.1 * float(outing.compiled.X[:, at.X_LIMIT].sum())
        for lanes, figures in found:
            for name in NAMES:
                values[name][lanes, e, 0] = figures.values[name]
            wear[:, lanes, e, 0] = figures.wear_parts
            failed[lanes, e, 0] = figures.failed
            failed_s[lanes, e, 0] = figures.failed_s
    names = tuple(c.name for c in contestants)
    ranked = tuple(c.ranked for c in contestants)
    return RunTable(names, ranked, values, wear, failed, failed_s, plan.weights, limit_s)


def join_worlds(parts: Sequence[RunTable]) -> RunTable:
    """Tables of single worlds put side by side."""
    first = parts[0]

    def along(arrays: list[Any]) -> Any:
        return np.concatenate(arrays, axis=-1)

    return RunTable(
        first.contestants,
        first.ranked,
        {name: along([p.values[name] for p in parts]) for name in first.values},
        along([p.wear_parts for p in parts]),
        along([p.failed for p in parts]),
        along([p.failed_s for p in parts]),
        first.weights,
        along([p.limit_s for p in parts]),
    )


def pool_of(workers: int | None) -> ThreadPoolExecutor:
    """Threads for the kernel: as many as the machine has cores, or as asked."""
    import os

    if workers is not None and not 1 <= workers <= 256:
        raise BadInput(f"--workers {workers} is outside 1..256", "Give the number of cores to use.")
    return ThreadPoolExecutor(workers or os.cpu_count() or 1)


def in_order(pool: ThreadPoolExecutor, work: Callable[[int], T], items: Sequence[int] | range) -> list[T]:
    """Results in the order of the items; ctrl-C is answered while waiting, and what has not begun is called off."""
    futures: list[Future[T]] = [pool.submit(work, item) for item in items]
    waiting = set(futures)
    try:
        while waiting:
            finished, waiting = wait(waiting, timeout=0.2, return_when=FIRST_COMPLETED)
            for future in finished:
                future.result()
    except BaseException:
        for future in futures:
            future.cancel()
        raise
    return [future.result() for future in futures]
