"""One table for all climates against one a climate, and how each does in a climate it was not tuned for."""

from __future__ import annotations

import re
from collections.abc import Sequence
from concurrent.futures import ThreadPoolExecutor
from dataclasses import dataclass, replace
from itertools import count

import numpy as np
from numpy.typing import NDArray

from arena.contest.comparing import Draw, Interval, play_worlds
from arena.contest.pool import Tell
from arena.contest.run import Contestant
from arena.contest.standings import YARDSTICK, costs
from arena.contest.table_tuning import TunedTable, tune_table
from arena.contest.tune import Keep, Kept, Training, measured
from arena.contest.tuning import Job
from arena.contest.worlds import Plan
from arena.errors import BadInput
from arena.strategies import shipped

Floats = NDArray[np.float64]


@dataclass(frozen=True)
class Abroad:
    """A table in one climate: its score there, and how it differs from the table tuned for that climate."""

    table: str
    climate: str
    score: Interval
    less_own: Interval
    failed: int


@dataclass(frozen=True)
class Seasonal:
    """Tables by climate and all that was found of them; `one` is the table for all climates."""

    tables: dict[str, TunedTable]
    one: TunedTable
    cells: tuple[Abroad, ...]  # every table in every climate
    one_costs: Interval  # score of the one table less that of each climate's own, over all outings
    own_score: Interval
    one_score: Interval


def season_by_season(
    job: Job,
    training: Training,
    one: TunedTable,
    pool: ThreadPoolExecutor,
    tell: Tell | None = None,
    keep: Keep | None = None,
    kept: Kept | None = None,
) -> Seasonal:
    """Tune a table for each climate with the same budget, then play all tables in all climates on fresh worlds."""
    assert job.axes is not None
    entries = np.array(job.plan.climate_names())
    tables: dict[str, TunedTable] = {}
    for climate in dict.fromkeys(entries.tolist()):
        name = unlike(f"table-{short(climate)}", [t.name for t in tables.values()])
        try:
            its = within(training, climate, pool)
        except BadInput:  # always-on costs nothing there: nothing to tune by
            continue
        tables[climate] = tune_table(its, job.axes, pool, job.trials, name, tell, keep, kept)
    yard = Contestant(YARDSTICK, shipped()[YARDSTICK], reference=True)
    field = [one.contestant, *(t.contestant for t in tables.values()), yard]
    runs = play_worlds(job.plan, field, job.replicates, pool, tell, stage="every table in every climate")
    law, prices = job.plan.season.wear, job.plan.season.prices
    draw = Draw(job.replicates, job.plan.seed)
    found: list[Abroad] = []
    elsewhere = runs.only_entries(~np.isin(entries, list(tables)))
    own = costs(elsewhere, prices, law)[elsewhere.index(one.name)]
    for climate, table in tables.items():
        part = runs.only_entries(entries == climate)
        cost = costs(part, prices, law)
        base, mine = cost[part.index(YARDSTICK)], cost[part.index(table.name)]
        own += mine
        for other in (one, *tables.values()):
            c = part.index(other.name)
            point = float(cost[c].sum() / base.sum())
            differ = draw.interval_of(draw.ratio(cost[c] - mine, base), float((cost[c] - mine).sum() / base.sum()))
            score = draw.interval_of(draw.ratio(cost[c], base), point)
            found.append(Abroad(other.name, climate, score, differ, int((part.failed[c] != "").sum())))
    cost = costs(runs, prices, law)
    base, all_year = cost[runs.index(YARDSTICK)], cost[runs.index(one.name)]
    return Seasonal(
        tables,
        one,
        tuple(found),
        _share(draw, all_year - own, base),
        _share(draw, own, base),
        _share(draw, all_year, base),
    )


def _share(draw: Draw, top: Floats, bottom: Floats) -> Interval:
    return draw.interval_of(draw.ratio(top, bottom), float(top.sum() / bottom.sum()))


def within(training: Training, climate: str, pool: ThreadPoolExecutor) -> Training:
    """The training outings of one climate alone, always-on of those being 1. Raises BadInput if that costs nothing."""
    keep = [k for k, name in enumerate(training.plan.climate_names()) if name == climate]
    plan = part_of(training.plan, keep)
    outings = tuple(o for o in training.outings if o[0].entry in keep)
    return measured(replace(training, plan=plan, outings=outings), pool)


def part_of(plan: Plan, keep: list[int]) -> Plan:
    """A plan with some of its entries."""
    season = replace(plan.season, entries=tuple(plan.season.entries[k] for k in keep))
    return replace(
        plan,
        season=season,
        drives=tuple(plan.drives[k] for k in keep),
        climates=tuple(plan.climates[k] for k in keep),
        faults=tuple(plan.faults[k] for k in keep) if plan.faults else (),
    )


def short(climate: str) -> str:
    """A climate's name as it may stand in a file name."""
    return re.sub(r"[^a-z0-9._-]+", "-", climate.lower()).strip(".")[:30]


def unlike(name: str, taken: Sequence[str]) -> str:
    """A name that is not taken: itself, or with the first number that makes it so."""
    number = next(k for k in count(1) if (name if k == 1 else f"{name}-{k}") not in taken)
    return name if number == 1 else f"{name}-{number}"
