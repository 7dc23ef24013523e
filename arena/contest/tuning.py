"""One tuning as the user asks for it: a season of drives and climates, the search, and the evidence on fresh worlds."""

from __future__ import annotations

import time
from collections.abc import Sequence
from concurrent.futures import ThreadPoolExecutor
from dataclasses import dataclass, replace
from pathlib import Path
from typing import TYPE_CHECKING

import numpy as np
from numpy.typing import NDArray

from arena.contest.axes import Axes, default_axes, load_axes
from arena.contest.comparing import Comparison, compare, core_scaled, play_worlds
from arena.contest.duty_table import read_table, strategy_of
from arena.contest.entering import carries, contestant_of, notes_on, probe_notes
from arena.contest.freezing import freezing_notes
from arena.contest.pool import Tell, pool_of
from arena.contest.run import Contestant, lay_out, play
from arena.contest.standings import REFERENCES
from arena.contest.table_shape import SHAPE, output_settings
from arena.contest.table_tuning import TABLE_TRIALS, TunedTable, train_robustly, tune_table
from arena.contest.tournament import (
    DEFAULT_CAR,
    DEFAULT_SEASON,
    DEFAULT_SEED,
    DEFAULT_SPREAD,
    MOST_TRIALS,
    make_plan,
)
from arena.contest.tune import GENERATION, Keep, Kept, Training, Tuned, at_bound, tune
from arena.contest.worlds import Plan, drive_notes
from arena.errors import BadInput
from arena.plant import layout as at
from arena.scenario import loading
from arena.scenario.season import Entry, Season, load_season
from arena.strategies import shipped
from arena.strategies.base import CARRIED

if TYPE_CHECKING:
    from arena.contest.aims import Aim, PairResult
    from arena.contest.foresight import Foresight
    from arena.contest.seasonal import Seasonal
    from arena.contest.tradeoff import Tradeoff

REPLICATES = 6
DEFAULT_DRIVES = ("commute", "hill-pulls")


@dataclass(frozen=True)
class Job:
    """What is to be tuned and on what."""

    plan: Plan
    contestant: Contestant  # the strategy as shipped
    axes: Axes | None  # for a duty table
    against: Contestant | None
    trials: int
    replicates: int
    notes: tuple[str, ...] = ()  # what was tolerated while files were read


@dataclass(frozen=True)
class Asked:
    """What is wanted beyond the tuned settings themselves."""

    foresight: bool = True
    axes: bool = False
    aims: bool = False
    tradeoff: bool = False


@dataclass(frozen=True)
class Resistor:
    """A dropping resistor of tuned settings, and the heat it made in the training runs."""

    setting: str
    ohm: float
    peak_w: float
    mean_on_w: float  # while current flows through it


@dataclass(frozen=True)
class TuningResult:
    """What tuning came to. Exactly one of `table` and `tuned` is there."""

    job: Job
    table: TunedTable | None
    tuned: Tuned | None
    comparison: Comparison
    wrong_core: dict[str, Comparison]
    resistors: tuple[Resistor, ...]
    seconds: float
    notes: tuple[str, ...] = ()
    folder: Path | None = None
    foresight: Foresight | None = None
    seasonal: Seasonal | None = None
    pairs: tuple[PairResult, ...] = ()
    aims: tuple[Aim, ...] = ()
    tradeoff: Tradeoff | None = None

    @property
    def contestant(self) -> Contestant:
        """The tuned contestant."""
        if self.table is not None:
            return self.table.contestant
        assert self.tuned is not None
        return self.tuned.contestant

    @property
    def train_score(self) -> float:
        """Score on the worlds it was tuned on."""
        found = self.table if self.table is not None else self.tuned
        assert found is not None
        return found.score


def season_of(
    drives: Sequence[str] = (), climates: Sequence[str] = (), season: str | Path | None = None
) -> tuple[Season, Path | None]:
    """The season to tune on and its file: drives in climates, each once a year; or a season, or those parts of it.

    Prices, target and limit are those of the season given, else of the shipped temperate year.
    """
    base = load_season(season if season is not None else DEFAULT_SEASON)
    path = loading.find("seasons", season) if season is not None else None
    if season is None:
        pairs = [Entry(d, c, 1.0) for c in dict.fromkeys(climates) for d in dict.fromkeys(drives or DEFAULT_DRIVES)]
        if not pairs:
            raise BadInput("nothing to tune on", "Give --climate (and --drive, each may repeat), or --season FILE.")
        words = f"{', '.join(dict.fromkeys(drives or DEFAULT_DRIVES))} in {', '.join(dict.fromkeys(climates))}"
        name = loading.one_line(words, 60)
    else:
        pairs = [
            e for e in base.entries if (not climates or e.climate in climates) and (not drives or e.drive in drives)
        ]
        if not pairs:
            has = ", ".join(f"{e.drive} in {e.climate}" for e in base.entries)
            raise BadInput(f"season {base.name}: no outing is left with these --drive and --climate", f"It has: {has}.")
        words, name = base.summary, base.name
    digest = loading.digest_of(base.digest, repr(pairs))
    return replace(base, name=name, summary=words, entries=tuple(pairs), digest=digest), path


def make_job(
    climates: Sequence[str] = (),
    drives: Sequence[str] = (),
    season: str | Path | None = None,
    strategy: str = "gated-table",
    car: str | Path = DEFAULT_CAR,
    axes: str | Path | None = None,
    against: str | Path | None = None,
    trials: int = TABLE_TRIALS,
    replicates: int = REPLICATES,
    seed: int = DEFAULT_SEED,
    spread: float = DEFAULT_SPREAD,
    aside: str = "",
) -> Job:
    """Everything loaded and checked, nothing played. Raises BadInput for whatever cannot be used.

    `aside` names an option that only a duty table can have, "" for none.
    """
    if not 1 <= trials <= MOST_TRIALS:
        raise BadInput(f"--trials {trials} is outside 1..{MOST_TRIALS}", "Give the number of candidates to try.")
    if not 2 <= replicates <= 1000:
        raise BadInput(f"--replicates {replicates} is outside 2..1000", "Give 5 or more for intervals that mean much.")
    given = to_tune(strategy)
    found = given.strategy
    made, path = season_of(drives, climates, season)
    plan = make_plan(made, car, seed, spread)
    plan = plan.for_run_on([given])
    numbers = plan.car.numbers()
    is_table = found.table is not None
    if aside and not is_table:
        raise BadInput(f"{aside}: {found.name} has no table", "Leave it out, or tune --strategy gated-table.")
    if axes is not None and not is_table:
        raise BadInput(f"--axes: {found.name} has no table", "Leave --axes out, or tune --strategy gated-table.")
    frame = (load_axes(axes) if axes is not None else default_axes()).for_car(numbers)
    extra = [p for p in (path, frame.path, Path(against) if against else None) if p is not None]
    plan = replace(plan, sources=tuple(sorted({*plan.sources, *extra})))
    other, notes = (against_table(against, frame), read_table(against).notes) if against else (None, ())
    return Job(plan, given, frame if is_table else None, other, trials, replicates, notes)


def to_tune(strategy: str) -> Contestant:
    """What a strategy argument asks to have tuned, with what it carries. Raises BadInput for what cannot be."""
    given = contestant_of(strategy)
    found = given.strategy
    if not found.settings:
        raise BadInput(
            f"--strategy {strategy}: {found.name} has no settings to tune",
            "To see how a table does, give it with --against; `arena tournament` ranks any strategy as it is.",
        )
    if given.settings:
        raise BadInput(
            f"--strategy {strategy}: {', '.join(given.settings)} is what tuning looks for",
            f"Hang only what a strategy carries on it ({', '.join(s.name for s in CARRIED)}), or nothing.",
        )
    hung = "".join(f"+{name}={value:g}" for name, value in carries(given).items())
    if hung and found.table is not None:
        raise BadInput(
            f"--strategy {strategy}: a table is tuned carrying nothing",
            f"Tune {found.name}, then race what comes out: table:FILE.csv{hung}",
        )
    return replace(given, name=found.name)


def against_table(path: str | Path, axes: Axes) -> Contestant:
    """The user's present table as a contestant, read with the pump output of `axes`."""
    strategy = strategy_of(path, *output_settings(axes).values())
    assert strategy.table is not None
    name = f"yours ({loading.one_line(Path(path).name, 24)})"
    return Contestant(name, strategy, table=strategy.table(None))


def on_axes(contestant: Contestant, axes: Axes) -> NDArray[np.float64]:
    """A contestant's table read at the breakpoints of `axes`; zeros if it goes by other senses."""
    assert contestant.table is not None
    rows, columns, cells = contestant.table
    down, across = contestant.strategy.senses
    if (down, across) == (axes.across.heading_metric, axes.down.heading_metric):
        rows, columns, cells = columns, rows, np.asarray(cells).T
    elif (down, across) != (axes.down.heading_metric, axes.across.heading_metric):
        return np.zeros(axes.shape)
    along = np.array([np.interp(axes.across.points, columns, row) for row in cells])
    return np.array([np.interp(axes.down.points, rows, column) for column in along.T]).T


def hold_tuning(
    job: Job,
    workers: int | None = None,
    tell: Tell | None = None,
    keep: Keep | None = None,
    kept: Kept | None = None,
    asked: Asked | None = None,
    storage: str | None = None,
    resume: bool = False,
) -> TuningResult:
    """Tune, then compare on fresh worlds with always-on, the shipped default and the user's own table.

    With several climates a table is also tuned for each of them; `asked` says what else is wanted. `storage` names
    a study to join (the main tuning only); with `resume` it must be there already.
    """
    asked = asked or Asked()
    shared = None
    if storage is not None:
        from arena.contest import studies

        shared = studies.open_storage(storage)
    began = time.perf_counter()
    with pool_of(workers) as pool:
        training = train_robustly(job.plan, pool)
        table: TunedTable | None = None
        tuned: Tuned | None = None
        if shared is not None and job.axes is not None:
            table = studies.tune_table_shared(
                shared, resume, training, job.contestant, job.axes, pool, job.trials, tell
            )
            mine = table.contestant
        elif job.axes is not None:
            known = [on_axes(job.against, job.axes)] if job.against else []
            table = tune_table(training, job.axes, pool, job.trials, "tuned-table", tell, keep, kept, known)
            mine = table.contestant
        else:
            made = replace(job.contestant, name=f"{job.contestant.name}-tuned")
            if shared is not None:
                tuned = studies.tune_shared(shared, resume, training, made, pool, job.trials, tell)
            else:
                size = min(GENERATION, job.trials)
                tuned = tune(training, [made], job.trials, pool, tell, keep, kept, size)[made.name]
            mine = tuned.contestant
        result = judged(job, training, mine, table, tuned, pool, tell)
        result = answered(result, training, asked, pool, tell, keep, kept)
    return replace(result, seconds=time.perf_counter() - began)


def judged(
    job: Job,
    training: Training,
    mine: Contestant,
    table: TunedTable | None,
    tuned: Tuned | None,
    pool: ThreadPoolExecutor,
    tell: Tell | None = None,
) -> TuningResult:
    """The evidence: fresh worlds, and the same worlds on cars whose core is 10 % off."""
    others = rivals(job)
    field = [mine, *others]
    found = compare(job.plan, play_worlds(job.plan, field, job.replicates, pool, tell), mine.name)
    wrong = {
        words: compare(
            job.plan,
            play_worlds(job.plan, [c for c in field if c.name != "always-off"], job.replicates, pool, tell,
                        core_scaled(factor), f"core {words}"),
            mine.name,
        )
        for words, factor in (("10 % weaker", 0.9), ("10 % stronger", 1.1))
    }  # fmt: skip
    car = job.plan.car.numbers()
    notes = [*job.notes, *freezing_notes(car, job.plan.climates), *notes_on(mine, car)]
    notes += drive_notes([(outing.drive, outing.notes) for outing, _ in training.outings])
    if tuned is not None:
        notes += [f"{bound} of its range" for bound in tuned.at_bounds]
    if table is not None:  # its cells were free to go on from there
        bounds = [bound for setting in SHAPE for bound in at_bound(setting, table.shape[setting.name])]
        notes += [f"shape of the table: {bound} of its range" for bound in bounds]
    return TuningResult(job, table, tuned, found, wrong, resistors(training, mine), 0.0, tuple(notes))


def answered(
    result: TuningResult,
    training: Training,
    asked: Asked,
    pool: ThreadPoolExecutor,
    tell: Tell | None = None,
    keep: Keep | None = None,
    kept: Kept | None = None,
) -> TuningResult:
    """The other answers that were asked for."""
    from arena.contest import aims, foresight, seasonal, tradeoff

    job, table = result.job, result.table
    if asked.foresight:
        field = [result.contestant, *(c for c in rivals(job) if c is not job.against)]
        found = foresight.foresee(job.plan, field, result.contestant.name, pool, tell)
        result = replace(result, foresight=found)
    if table is not None and len(set(job.plan.climate_names())) > 1:
        result = replace(result, seasonal=seasonal.season_by_season(job, training, table, pool, tell, keep, kept))
    if asked.axes and table is not None:
        pairs, car = aims.compare_axes(job, training, pool, tell, keep, kept)[0], job.plan.car.numbers()
        wants = [note for pair in pairs for note in probe_notes(pair.table.contestant, car)]
        result = replace(result, pairs=pairs, notes=tuple(dict.fromkeys([*result.notes, *wants])))
    if asked.aims and table is not None:
        result = replace(result, aims=aims.try_aims(job, training, pool, tell))
    if asked.tradeoff:
        result = replace(result, tradeoff=tradeoff.trade_off(job, training, pool, tell))
    return result


def rivals(job: Job) -> list[Contestant]:
    """What the tuned one is compared with: references, the shipped default, the user's own table."""
    found = [Contestant(n, shipped()[n], reference=True) for n in REFERENCES]
    found.append(replace(job.contestant, name=f"{job.contestant.strategy.name} as shipped"))
    return [*found, *([job.against] if job.against else [])]


def resistors(training: Training, contestant: Contestant) -> tuple[Resistor, ...]:
    """Ohms of a tuned resistor strategy with the watts it turned to heat in the training runs."""
    strategy = contestant.strategy
    if not strategy.ohms:
        return ()
    lanes = lay_out([contestant])
    settings = strategy.make_settings(dict(contestant.settings))
    duty, watts = [], []
    for outing, _ in training.outings:
        played = play(outing.compiled, lanes, trace_lanes=1, trace_columns=at.TRACE_COLUMNS)
        assert played.trace is not None
        duty.append(played.trace[:, 0, at.T_DUTY])
        watts.append(played.trace[:, 0, at.T_RESISTOR_W])
    asked, heat = np.concatenate(duty), np.concatenate(watts)
    steps = ((0.0, 0.5001), (0.5001, 0.999)) if len(strategy.ohms) > 1 else ((0.0, 0.999),)
    out = []
    for name, (low, high) in zip(strategy.ohms, steps, strict=True):
        through = heat[(asked > low) & (asked <= high) & (heat > 0.0)]
        peak, mean = (float(through.max()), float(through.mean())) if through.size else (0.0, 0.0)
        out.append(Resistor(name, float(getattr(settings, name)), peak, mean))
    return tuple(out)
