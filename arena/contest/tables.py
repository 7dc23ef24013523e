"""From the figures of batches to tables of runs: one world at a time, then side by side."""

from __future__ import annotations

from collections.abc import Sequence
from typing import Any

import numpy as np

from arena.contest.figures import NAMES, RunFigures, figures_of
from arena.contest.run import Contestant, play
from arena.contest.standings import RunTable
from arena.contest.worlds import Outing, Plan


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
        limit_s[e, 0] = outing.limit_s
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
