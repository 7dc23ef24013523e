"""The tournament: every contestant over every outing of a season, then the standings.

Worlds are made one at a time and run in a pool of threads (the kernel releases the interpreter lock); results are
put together in a fixed order, so that the number of workers changes nothing but the time.
"""

from __future__ import annotations

import time
from collections.abc import Callable, Mapping, Sequence
from concurrent.futures import ThreadPoolExecutor
from dataclasses import asdict, dataclass, field, replace
from pathlib import Path
from typing import Any

import numpy as np

from arena.contest.entering import contestant_of, notes_on, stall_note
from arena.contest.figures import RunFigures
from arena.contest.freezing import freezes_in, freezing_notes
from arena.contest.laws import law_of
from arena.contest.pool import Progress, Tell, in_order, pool_of
from arena.contest.protection import Protection, protection_of
from arena.contest.run import Contestant, table_read, why_failed
from arena.contest.standings import REFERENCES, YARDSTICK, RunTable, Standings, costs, rank
from arena.contest.store import (
    Folder,
    copy_inputs,
    manifest,
    own_files,
    runs_csv,
    same_inputs,
    settings_toml,
    standings_csv,
    table_csv,
)
from arena.contest.tables import join_worlds, judge, table_of
from arena.contest.tune import Tuned, train_on, tune, with_tuned
from arena.contest.views import views_json
from arena.contest.worlds import Outing, Plan, batches, car_of_world, drive_notes, play_entry, without_arrays
from arena.errors import BadInput
from arena.plant import layout as at
from arena.plant.numbers import CarNumbers
from arena.scenario.car import load_car
from arena.scenario.climate import Climate, load_climate
from arena.scenario.drive import Drive, load_drive
from arena.scenario.fault import load_fault
from arena.scenario.loading import find
from arena.scenario.season import Season, load_season
from arena.strategies import shipped
from arena.timetable.outing import check_seed

DEFAULT_TRIALS = 160
MOST_TRIALS = 100_000
MOST_REPLICATES = 1000
DEFAULT_REPLICATES = 6
DEFAULT_SPREAD = 0.10
DEFAULT_SEED = 1
DEFAULT_SEASON = "temperate-year"
DEFAULT_CAR = "invented-2200"
REQUEST: dict[str, Any] = {  # what a manifest keeps of what was asked for, and its type
    "season": str, "car": str, "strategies": list, "trials": int, "replicates": int, "seed": int,
    "spread": (int, float),
}  # fmt: skip


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
    protection: tuple[Protection, ...] = ()  # of a season with faults: who protects the engine, best first
    default_train_scores: dict[str, float] = field(default_factory=dict)

    def gap(self, contestant: str) -> float | None:
        """Score on fresh worlds less score on the worlds it was tuned on; None if it was not tuned."""
        trained, score = self.train_scores.get(contestant), self.standings.line(contestant).score
        return None if trained is None or score is None else score - trained

    def drive_notes(self) -> list[str]:
        """What the drives could not do as they were written, such as a pull that did not reach its speed."""
        return drive_notes([(o.drive, o.notes) for o in self.outings])

    def failed_runs(self) -> list[dict[str, Any]]:
        """Every FAILED run: whose, where, why and when."""
        reasons, seconds = self.table.failed, self.table.failed_s
        return [
            {
                "contestant": name,
                "outing": self.plan.outing_id(int(e)),
                "replicate": int(k),
                "reason": str(reasons[c, e, k]),
                "time_s": float(seconds[c, e, k]),
            }
            for c, name in enumerate(self.table.contestants)
            for e, k in zip(*(reasons[c] != "").nonzero(), strict=True)
        ]


def hold_tournament(
    season: str | Path | Season = DEFAULT_SEASON,
    car: str | Path = DEFAULT_CAR,
    strategies: Sequence[str] = (),
    *,
    trials: int = DEFAULT_TRIALS,
    replicates: int = DEFAULT_REPLICATES,
    seed: int = DEFAULT_SEED,
    workers: int | None = None,
    spread: float = DEFAULT_SPREAD,
    out: Path | None = None,
    resume: Path | None = None,
    tell: Tell | None = None,
    command: Sequence[str] = (),
    dress: Callable[[Path], object] | None = None,
) -> TournamentResult:
    """The main job: tune every strategy with the same budget, rank on fresh worlds, write a result folder if asked.

    `resume` goes on with an interrupted folder: what was asked for then is read from its manifest, and nothing that
    was finished is done again. The same inputs and seed give the same standings.csv and runs.csv, however often
    it was interrupted and however many workers there are. `dress` is called with the folder before it gets its
    final name: the place for a page.
    """
    folder = Folder.resume(resume) if resume is not None else None
    if folder is not None:
        asked = read_unfinished(folder)
        season, car, strategies, trials, replicates, seed, spread = (asked[k] for k in REQUEST)
    if not 0 <= trials <= MOST_TRIALS:
        raise BadInput(f"--trials {trials} is outside 0..{MOST_TRIALS}", "Give 0 to rank the settings as they are.")
    if not 1 <= replicates <= MOST_REPLICATES:
        remedy = "Give 5 or more for intervals that mean something."
        raise BadInput(f"--replicates {replicates} is outside 1..{MOST_REPLICATES}", remedy)
    plan = make_plan(season, car, seed, spread)
    contestants = entrants(strategies, plan.car.numbers())
    plan = plan.for_run_on(contestants)
    named = str(season) if not isinstance(season, Season) else season.name
    request = dict(zip(REQUEST, (named, str(car), list(strategies), trials, replicates, seed, spread), strict=True))
    try:
        if folder is not None:
            same_inputs(folder, plan, contestants)
        elif out is not None:
            folder = Folder.new(out)
            copied = copy_inputs(folder, [*plan.sources, *own_files(contestants)])
            folder.write("manifest.json", manifest(plan, contestants, request, command, copied))
            folder.begin()
        return _hold(plan, contestants, trials, replicates, workers, folder, tell, dress)
    finally:
        if folder is not None:
            folder.lock.release()


def read_unfinished(folder: Folder) -> dict[str, Any]:
    """What an unfinished folder was begun with, by the names in REQUEST. Raises BadInput if it says no such thing."""
    asked: dict[str, Any] = folder.read_manifest()["request"]
    for name, kind in REQUEST.items():
        value = asked.get(name)
        wrong = not isinstance(value, kind) or isinstance(value, bool)
        if wrong or (kind is list and not all(isinstance(v, str) for v in asked[name])):
            raise BadInput(
                f"{folder.path}: not begun by a tournament: request.{name} in manifest.json is {value!r}",
                "What `arena tune --out DIR` began, `arena tune --out DIR --resume` goes on with.",
            )
    return asked


def _hold(
    plan: Plan,
    contestants: list[Contestant],
    trials: int,
    replicates: int,
    workers: int | None,
    folder: Folder | None,
    tell: Tell | None,
    dress: Callable[[Path], object] | None = None,
) -> TournamentResult:
    began = time.perf_counter()
    tuned: dict[str, Tuned] = {}
    if trials:
        with pool_of(workers) as pool:
            keep, kept = (folder.keep_generation, folder.kept_generation) if folder else (None, None)
            tuned = tune(train_on(plan, pool), contestants, trials, pool, tell, keep, kept)
    ranked = with_tuned(contestants, tuned)
    result = rank_season(plan, ranked, replicates, workers, tell, folder)
    with pool_of(workers) as pool:
        protection = protection_of(plan, [c for c in ranked if not c.reference], replicates, pool)
    notes = [
        *freezing_notes(plan.car.numbers(), plan.climates),
        *(note for c in contestants for note in notes_on(c, plan.car.numbers())),
    ]
    notes += [law.note for c in contestants if (law := law_of(c.strategy)).note]
    notes += law_faults(result)
    notes += [f"{name}: {bound} of its range" for name, t in tuned.items() for bound in t.at_bounds]
    result = replace(
        result,
        seconds=time.perf_counter() - began,
        notes=(*result.notes, *notes),
        train_scores={name: t.score for name, t in tuned.items()},
        default_train_scores={name: t.default_score for name, t in tuned.items()},
        protection=protection,
    )
    if folder is not None:
        write_result(folder, result)
        if dress is not None:
            dress(folder.path)
        result = replace(result, folder=folder.finish())
    return result


def law_faults(result: TournamentResult) -> list[str]:
    """For each contestant whose law gave no usable number line and cause of the first time; for a stall what to do."""
    car = result.plan.car.numbers()
    warm = np.array([not freezes_in(car, climate) for climate in result.plan.climates])  # where no ice stalls a pump
    found = []
    for c, contestant in enumerate(result.contestants):
        if (result.table.failed[c][warm] == at.REASONS[2]).any():
            found += stall_note(contestant, at.REASONS[2], car)
        places = np.argwhere(result.table.failed[c] == at.REASONS[3])
        if len(places):
            entry, world = (int(k) for k in places[0])
            outing = play_entry(result.plan, entry, world, car_of_world(result.plan, world))
            told = why_failed(outing.compiled, contestant, at.REASONS[3])
            found += [f"{contestant.name}: {outing.id}, replicate {world}, {line}" for line in told]
    return found


def write_result(folder: Folder, result: TournamentResult) -> None:
    """standings.csv, runs.csv, settings and tables of a finished tournament."""
    tuned = {c.name: c.tuned for c in result.contestants}
    gaps = {c.name: result.gap(c.name) for c in result.contestants}
    entries = range(len(result.plan.season.entries))
    folder.write("standings.csv", standings_csv(result.standings, tuned, gaps))
    folder.write("runs.csv", runs_csv(result.table, [result.plan.outing_id(e) for e in entries]))
    folder.write("views.json", views_json(result))
    for c in result.contestants:
        words = "tuned" if c.tuned else "as declared"
        text = settings_toml(c, f"Settings of {c.name}, {words}.")
        folder.write(f"settings/{c.name}.toml", text)
        made = table_read(c)
        if made is not None:
            folder.write(f"tables/{c.name}.csv", table_csv(c.strategy.table_senses, *made))


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
    check_seed(seed)
    loaded = season if isinstance(season, Season) else load_season(season)
    drives = {e.drive: load_drive(e.drive) for e in loaded.entries}
    climates = {e.climate: load_climate(e.climate) for e in loaded.entries}
    faults = {e.fault: load_fault(e.fault) for e in loaded.entries if e.fault}
    return Plan(
        loaded,
        load_car(car),
        tuple(drives[e.drive] for e in loaded.entries),
        tuple(climates[e.climate] for e in loaded.entries),
        seed,
        spread,
        source_files(season, car, loaded, drives, climates),
        tuple(faults.get(e.fault) for e in loaded.entries) if faults else (),
    )


def source_files(
    season: str | Path | Season,
    car: str | Path,
    loaded: Season,
    drives: Mapping[str, Drive],
    climates: Mapping[str, Climate],
) -> tuple[Path, ...]:
    """Every scenario file a plan comes from, traces of drives and weather of climates among them."""
    found = [find("cars", car)]
    if not isinstance(season, Season):
        found.append(find("seasons", season))
    for entry in loaded.entries:
        path, weather = find("drives", entry.drive), climates[entry.climate].weather
        found += [path, find("climates", entry.climate), *([weather] if weather else [])]
        found += [find("faults", entry.fault)] if entry.fault else []
        found += [path.parent / name for name in drives[entry.drive].traces if (path.parent / name).is_file()]
    return tuple(sorted(set(found)))


def entrants(strategies: Sequence[str] = (), car: CarNumbers | None = None) -> list[Contestant]:
    """Contestants by strategy argument; all shipped ones if none is named. References always take part.

    `car` says what a table from a file is read with.
    """
    names = list(strategies) or list(shipped())
    found: dict[str, Contestant] = {}
    for name in [*names, *(r for r in REFERENCES if r not in names)]:
        contestant = contestant_of(name, car=car)
        if contestant.name in found:
            raise BadInput(f"--strategy {name}: {contestant.name!r} is entered twice", "Name each strategy once.")
        found[contestant.name] = contestant
    for name in found:
        if f"{name}-untuned" in found:
            fault = f"strategy {name}-untuned: so the untuned twin of {name} is called"
            raise BadInput(fault, "Give your strategy another name.")
    return list(found.values())


def rank_season(
    plan: Plan,
    contestants: Sequence[Contestant],
    replicates: int = DEFAULT_REPLICATES,
    workers: int | None = None,
    tell: Tell | None = None,
    folder: Folder | None = None,
) -> TournamentResult:
    """Rank contestants as they stand on fresh worlds 0..replicates-1."""
    began = time.perf_counter()
    parts: list[RunTable] = []
    outings: list[OutingInfo] = []
    with pool_of(workers) as pool:
        for k in range(replicates):
            found = folder.kept_world(k) if folder else None
            if folder and found and not _same_runs(found[0], plan, contestants):
                raise folder.damaged(f"working/world-{k}.npz", "made with other contestants or outings")
            if found is None:
                table, infos = run_world(plan, contestants, k, pool)
                found = table, [asdict(o) for o in infos]
                if folder:
                    folder.keep_world(k, *found)
            parts.append(found[0])
            outings += [OutingInfo(**{**o, "notes": tuple(o["notes"])}) for o in found[1]]
            if tell:
                tell(Progress("ranking", k + 1, replicates))
    table = join_worlds(parts)
    standings = rank(table, plan.season, plan.seed)
    return TournamentResult(plan, tuple(contestants), table, standings, tuple(outings), time.perf_counter() - began)


def _same_runs(table: RunTable, plan: Plan, contestants: Sequence[Contestant]) -> bool:
    """Whether kept runs are of these contestants and outings."""
    names, weights = tuple(c.name for c in contestants), np.asarray(plan.weights)
    return table.contestants == names and np.array_equal(table.weights, weights)


def run_world(
    plan: Plan, contestants: Sequence[Contestant], replicate: int, pool: ThreadPoolExecutor
) -> tuple[RunTable, list[OutingInfo]]:
    """All contestants over all outings of one world."""
    numbers = car_of_world(plan, replicate)
    lanes = batches(list(contestants))
    place = {c.name: k for k, c in enumerate(contestants)}

    def one(entry: int) -> tuple[Outing, list[tuple[list[int], RunFigures]]]:
        outing = play_entry(plan, entry, replicate, numbers)
        return without_arrays(outing), [
            ([place[c.name] for c in batch.contestants], judge(plan, outing, batch, numbers)) for batch in lanes
        ]

    results = in_order(pool, one, range(len(plan.season.entries)))
    return table_of(plan, contestants, results), [
        OutingInfo(o.id, o.drive, o.climate, o.replicate, o.drive_seconds, o.weight, o.notes) for o, _ in results
    ]


def climate_standings(result: TournamentResult) -> dict[str, Standings | None]:
    """Standings on each climate's outings alone, the same runs; None where always-on costs nothing there."""
    names = result.plan.climate_names()
    out: dict[str, Standings | None] = {}
    for climate in dict.fromkeys(names):
        part = result.table.only_entries(np.array([name == climate for name in names]))
        season = result.plan.season
        yard = costs(part, season.prices, season.wear)[part.index(YARDSTICK)].sum()
        out[climate] = rank(part, season, result.plan.seed) if yard > 0.0 else None
    return out
