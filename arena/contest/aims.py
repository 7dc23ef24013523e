"""What else an owner asks: which pair of axes is worth having, and which target and limit the score is flat around."""

from __future__ import annotations

from collections.abc import Sequence
from concurrent.futures import ThreadPoolExecutor
from dataclasses import dataclass, replace

from arena.contest.axes import Axes, default_axes
from arena.contest.comparing import Comparison, Interval, compare, play_worlds
from arena.contest.outings import envelope
from arena.contest.pool import Progress, Tell
from arena.contest.run import Contestant
from arena.contest.standings import YARDSTICK
from arena.contest.table_search import ShapeSearch
from arena.contest.table_shape import contestant_with, shaped
from arena.contest.table_tuning import TunedTable, tune_tables
from arena.contest.tune import Keep, Kept, Training, measured, search_on
from arena.contest.tuning import Job
from arena.plant.compile import set_goals
from arena.strategies import shipped

PAIRS = (("iat", "throttle"), ("iat", "pedal"), ("iat", "map"), ("iat", "speed"), ("iat", "coolant"))
TARGETS_K = (-4.0, -2.0, -1.0, 0.0, 1.0, 2.0, 4.0)
LIMITS_K = (-5.0, 0.0, 5.0)
FLAT = 0.02  # of always-on's cost: less than this off the best is called flat
AIM_GENERATIONS = 6


@dataclass(frozen=True)
class PairResult:
    """A pair of axes: its tuned table, its score on fresh worlds, and how it differs from the first pair."""

    pair: str
    table: TunedTable
    score: Interval
    less_first: Interval
    better_share: float  # of resamples in which it costs less than the first pair


@dataclass(frozen=True)
class Aim:
    """A shape tuned for another target and limit, scored with the season's own on fresh worlds."""

    target_c: float
    limit_c: float
    score: Interval
    less_own: Interval  # score less that of the shape tuned for the season's own target and limit
    boost_p95_c: Interval
    pump_hours: Interval
    failed: int
    over_limit_k: float

    @property
    def flat(self) -> bool:
        """Whether aiming there costs nothing to speak of."""
        return not self.failed and self.less_own.high < FLAT


def compare_axes(
    job: Job,
    training: Training,
    pool: ThreadPoolExecutor,
    tell: Tell | None = None,
    keep: Keep | None = None,
    kept: Kept | None = None,
) -> tuple[tuple[PairResult, ...], Comparison]:
    """Tune a table on each pair of axes with the same budget, then play them on the same fresh worlds.

    With an axes file its frame comes first, and its duty step, lowest duty and reading hold for all pairs.
    """
    assert job.axes is not None
    frames = frames_of(job.axes)
    tables = tune_tables(training, frames, pool, job.trials, tell, keep, kept)
    yard = Contestant(YARDSTICK, shipped()[YARDSTICK], reference=True)
    field = [*(t.contestant for t in tables.values()), yard]
    runs = play_worlds(job.plan, field, job.replicates, pool, tell, stage="pairs of axes on fresh worlds")
    first = next(iter(tables))
    found = compare(job.plan, runs, first)
    pairs = []
    for name, table in tables.items():
        line = found.line(name)
        away = Interval(-line.difference.value, -line.difference.high, -line.difference.low)
        pairs.append(PairResult(name, table, line.score, away, 1.0 - line.wins))
    return tuple(pairs), found


def frames_of(axes: Axes) -> dict[str, Axes]:
    """The axes given and the other pairs on default breakpoints, all with the same pump output."""
    frames = {f"{axes.down.sense.name} by {axes.across.sense.name}": axes}
    for down, across in PAIRS:
        if {down, across} != {axes.down.sense.name, axes.across.sense.name}:
            made = default_axes(down, across)
            frames[made.name] = replace(axes, name=made.name, down=made.down, across=made.across)
    return frames


def try_aims(job: Job, training: Training, pool: ThreadPoolExecutor, tell: Tell | None = None) -> tuple[Aim, ...]:
    """Tune a shape for each of several targets and limits, and score all with the season's own: where is it flat?"""
    assert job.axes is not None
    season = job.plan.season
    aims = [
        (season.target_c + t, season.limit_c + k)
        for t in TARGETS_K
        for k in LIMITS_K
        if (t == 0.0 or k == 0.0) and season.target_c + t < season.limit_c + k
    ]
    field: list[Contestant] = []
    for number, (target, limit) in enumerate(aims):
        aimed = aiming_at(training, target, limit, pool)
        search = ShapeSearch(aim_name(target, limit), job.axes, job.plan.seed)
        search_on(aimed, [search], AIM_GENERATIONS, pool)
        cells = shaped(job.axes, search.best(1)[0])
        field.append(contestant_with(job.axes, cells, aim_name(target, limit)))
        if tell:
            tell(Progress("targets and limits", number + 1, len(aims), detail=f"{search.best_score:.3f}"))
    field.append(Contestant(YARDSTICK, shipped()[YARDSTICK], reference=True))
    runs = play_worlds(job.plan, field, job.replicates, pool, tell, stage="targets and limits on fresh worlds")
    own = aim_name(season.target_c, season.limit_c)
    found = compare(job.plan, runs, own)
    return tuple(_aim(found, target, limit) for target, limit in sorted(aims))


def _aim(found: Comparison, target: float, limit: float) -> Aim:
    line = found.line(aim_name(target, limit))
    away = Interval(-line.difference.value, -line.difference.high, -line.difference.low)
    figures = line.figures
    return Aim(
        target,
        limit,
        line.score,
        away,
        figures["boost_p95_c"],
        figures["pump_hours"],
        len(line.failed),
        line.over_limit_k,
    )


def aim_name(target_c: float, limit_c: float) -> str:
    """What the table tuned for this target and limit is called."""
    return f"target {target_c:g}, limit {limit_c:g}"


def aiming_at(training: Training, target_c: float, limit_c: float, pool: ThreadPoolExecutor) -> Training:
    """The same outings judged by another target and limit."""
    plan = training.plan
    aimed = replace(plan, season=replace(plan.season, target_c=target_c, limit_c=limit_c))
    outings = []
    for outing, numbers in training.outings:
        compiled = replace(outing.compiled, X=outing.compiled.X.copy(), P=outing.compiled.P.copy())
        set_goals(compiled, aimed.goals, *envelope(compiled))
        outings.append((replace(outing, compiled=compiled), numbers))
    return measured(replace(training, plan=aimed, outings=tuple(outings)), pool)


def flat_span(aims: Sequence[Aim], season_target_c: float, season_limit_c: float) -> dict[str, tuple[float, float]]:
    """Lowest and highest target (and limit) around the season's own that cost nothing to speak of."""
    out = {}
    for key, own, other in (("target_c", season_target_c, "limit_c"), ("limit_c", season_limit_c, "target_c")):
        fixed = season_limit_c if other == "limit_c" else season_target_c
        line = sorted((getattr(a, key), a.flat) for a in aims if getattr(a, other) == fixed)
        values = [v for v, _ in line]
        flat = {v: f or v == own for v, f in line}
        k = values.index(own)
        low = high = k
        while low > 0 and flat[values[low - 1]]:
            low -= 1
        while high + 1 < len(values) and flat[values[high + 1]]:
            high += 1
        out[key] = (values[low], values[high])
    return out
