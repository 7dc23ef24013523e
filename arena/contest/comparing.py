"""Contestants side by side on fresh worlds: every figure with its interval, and the paired difference from one of them.

Whole worlds are drawn again (all contestants meet the same ones), so that traffic, noise and the spread of the car's
assumed numbers are all in the intervals.
"""

from __future__ import annotations

from collections.abc import Callable, Sequence
from concurrent.futures import ThreadPoolExecutor
from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray

from arena.contest.figures import FIGURES, RunFigures
from arena.contest.pool import Progress, Tell, in_order
from arena.contest.run import Contestant
from arena.contest.standings import (
    HARD_LIMIT_K,
    INTERVAL,
    RESAMPLES,
    YARDSTICK,
    RunTable,
    costs,
    over_limit_k,
    widened,
    yearly,
)
from arena.contest.tables import join_worlds, judge, table_of
from arena.contest.worlds import Outing, Plan, batches, car_of_world, play_entry, without_arrays
from arena.plant.numbers import CarNumbers

Floats = NDArray[np.float64]
Change = Callable[[CarNumbers], CarNumbers]


@dataclass(frozen=True)
class Interval:
    """A value with its 95 % interval; nan where nothing applies."""

    value: float
    low: float
    high: float

    def excludes(self, value: float) -> bool:
        """Whether a value lies outside."""
        return bool(value < self.low or value > self.high)


@dataclass(frozen=True)
class Line:
    """One contestant: score and figures (a year's sum, or a mean), and how the chosen one differs from it."""

    contestant: str
    score: Interval
    figures: dict[str, Interval]
    difference: Interval  # score of the chosen one less this one's
    figure_differences: dict[str, Interval]
    wins: float  # share of resamples in which the chosen one costs less
    failed: tuple[str, ...]  # reasons, one a FAILED run
    over_limit_k: float
    breaks_limit: bool


@dataclass(frozen=True)
class Comparison:
    """All lines in the order given; `mine` is the chosen one."""

    mine: str
    lines: tuple[Line, ...]
    worlds: int
    table: RunTable

    def line(self, contestant: str) -> Line:
        """The line of one contestant."""
        return next(x for x in self.lines if x.contestant == contestant)


def play_worlds(
    plan: Plan,
    contestants: Sequence[Contestant],
    replicates: int,
    pool: ThreadPoolExecutor,
    tell: Tell | None = None,
    change: Change | None = None,
    stage: str = "comparing on fresh worlds",
) -> RunTable:
    """All contestants over fresh worlds 0..replicates-1; `change` alters each world's car."""
    lanes = batches(list(contestants))
    place = {c.name: k for k, c in enumerate(contestants)}
    assert len(place) == len(contestants), "two contestants of one name"
    parts = []
    for world in range(replicates):
        numbers = car_of_world(plan, world)
        numbers = change(numbers) if change else numbers

        def one(
            entry: int, world: int = world, numbers: CarNumbers = numbers
        ) -> tuple[Outing, list[tuple[list[int], RunFigures]]]:
            outing = play_entry(plan, entry, world, numbers)
            figures = [([place[c.name] for c in b.contestants], judge(plan, outing, b, numbers)) for b in lanes]
            return without_arrays(outing), figures

        parts.append(table_of(plan, contestants, in_order(pool, one, range(len(plan.season.entries)))))
        if tell:
            tell(Progress(stage, world + 1, replicates))
    return join_worlds(parts)


def compare(plan: Plan, table: RunTable, mine: str) -> Comparison:
    """Figures with intervals and differences from `mine`, from runs that include always-on."""
    draw = Draw(table.failed.shape[2], plan.seed)
    cost = costs(table, plan.season.prices, plan.season.wear)
    yard, chosen = table.index(YARDSTICK), table.index(mine)
    excess = over_limit_k(table)
    figures = {f.name: by_world(table, f.name, f.over) for f in FIGURES}
    figures["wear_hours"] = yearly(table, table.values["wear_hours"])
    lines = []
    for c, name in enumerate(table.contestants):
        mine_drawn, drawn = draw.ratio(cost[chosen], cost[yard]), draw.ratio(cost[c], cost[yard])
        lines.append(
            Line(
                name,
                draw.interval_of(drawn, float(cost[c].sum() / cost[yard].sum())),
                {n: draw.mean(v[c]) for n, v in figures.items()},
                draw.interval_of(mine_drawn - drawn, float((cost[chosen] - cost[c]).sum() / cost[yard].sum())),
                {n: draw.mean(v[chosen] - v[c]) for n, v in figures.items()},
                float(np.mean((mine_drawn < drawn) + 0.5 * (mine_drawn == drawn))),
                tuple(str(r) for r in table.failed[c].ravel() if r),
                float(excess[c]),
                bool(excess[c] > HARD_LIMIT_K),
            )
        )
    return Comparison(mine, tuple(lines), table.failed.shape[2], table)


class Draw:
    """Worlds drawn again with replacement; deviations widened for few worlds as in `standings.widened`."""

    def __init__(self, worlds: int, seed: int) -> None:
        rng = np.random.Generator(np.random.PCG64(np.random.SeedSequence([seed, 0xB007])))
        counts = rng.multinomial(worlds, np.full(worlds, 1.0 / worlds), size=RESAMPLES)
        self.counts = counts.astype(np.float64)
        self.widen = widened(worlds)

    def mean(self, by_world: Floats) -> Interval:
        """Mean over worlds of a figure (worlds,), worlds without it left out."""
        known = np.isfinite(by_world)
        if not known.any():
            return Interval(float("nan"), float("nan"), float("nan"))
        weight = self.counts[:, known].sum(axis=1)
        summed = self.counts[:, known] @ by_world[known]
        drawn = summed[weight > 0] / weight[weight > 0]
        point = float(by_world[known].mean())
        return self.interval_of(point + (drawn - point) * self.widen, point)

    def ratio(self, top: Floats, bottom: Floats) -> Floats:
        """Sum over drawn worlds of one cost over that of another, (resamples,), around the point estimate."""
        below = self.counts @ bottom
        point = top.sum() / bottom.sum() if bottom.sum() > 0.0 else np.nan
        drawn = np.divide(self.counts @ top, below, out=np.full(len(below), np.nan), where=below > 0.0)
        return np.asarray(point + (drawn - point) * self.widen)

    def interval_of(self, drawn: Floats, value: float) -> Interval:
        """Point value with the middle 95 % of the resamples."""
        low, high = np.quantile(drawn, INTERVAL)
        return Interval(value, float(low), float(high))


def by_world(table: RunTable, name: str, over: str) -> Floats:
    """A figure for a year by [contestant, world]: a sum, or a mean weighted by outings; nan where none applies."""
    values = table.values[name]
    known = np.isfinite(values)
    weights = known * table.weights[None, :, None]
    total = np.sum(np.where(known, values, 0.0) * weights, axis=1)
    if over == "sum":
        return np.asarray(np.where(known.any(axis=1), total, np.nan))
    whole = weights.sum(axis=1)
    return np.asarray(np.divide(total, whole, out=np.full_like(total, np.nan), where=whole > 0.0))


def core_scaled(factor: float) -> Change:
    """A core that passes more or less heat than the car's numbers say, on both sides."""

    def change(numbers: CarNumbers) -> CarNumbers:
        core = numbers.core
        scaled = replace(core, air_ha_w_k=core.air_ha_w_k * factor, coolant_ha_w_k=core.coolant_ha_w_k * factor)
        return replace(numbers, core=scaled)

    return change
