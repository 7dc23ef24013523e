"""Tuning a duty table in two stages, on the user's own axes: its shape, then its cells; and what came of it."""

from __future__ import annotations

import math
from collections.abc import Sequence
from concurrent.futures import ThreadPoolExecutor
from dataclasses import dataclass, field, replace

import numpy as np
from numpy.typing import NDArray

from arena.contest.axes import Axes
from arena.contest.pool import Tell
from arena.contest.run import Contestant
from arena.contest.table_search import TABLE_GENERATION, CellSearch, ShapeSearch
from arena.contest.table_shape import contestant_with, filled, roughness
from arena.contest.table_visits import SEEN_S, visits_of
from arena.contest.tune import Keep, Kept, Training, costs_of, measured, search_on, train_on
from arena.contest.worlds import Plan

Floats = NDArray[np.float64]
Mask = NDArray[np.bool_]

SHAPE_GENERATIONS = 8
CELL_GENERATIONS = 12
TABLE_TRIALS = TABLE_GENERATION * (SHAPE_GENERATIONS + CELL_GENERATIONS)
TRAIN_WORLDS = 3
MOST_OVER_K = 1.0  # mean excess over the limit a candidate may have in its worst training world; no place beyond 2 K


@dataclass(frozen=True)
class TunedTable:
    """A tuned duty table. `cells` and `visits_s` have the shape of the axes; duties 0..1."""

    axes: Axes
    cells: Floats
    visits_s: Floats  # seconds a cell is read by, weighted as interpolated, over all training outings
    falling: bool  # duty falls along the second axis (road speed only)
    score: float  # on the training worlds, against always-on; without the smoothness penalty
    shape_score: float  # after the first stage
    default_score: float  # the shape as it starts
    roughness: float
    shape: dict[str, float]
    tried: int
    world_scores: tuple[float, ...] = ()
    name: str = "tuned-table"
    notes: tuple[str, ...] = field(default=())

    @property
    def visited(self) -> Mask:
        """Cells that the training drives read."""
        return self.visits_s >= SEEN_S

    @property
    def never_runs(self) -> bool:
        """Whether every visited cell is off: the pump never runs on these drives."""
        return bool((self.cells[self.visited] == 0.0).all())

    @property
    def contestant(self) -> Contestant:
        """It as a contestant."""
        return replace(contestant_with(self.axes, self.cells, self.name), tuned=True)


def tune_table(
    training: Training,
    axes: Axes,
    pool: ThreadPoolExecutor,
    trials: int = TABLE_TRIALS,
    name: str = "tuned-table",
    tell: Tell | None = None,
    keep: Keep | None = None,
    kept: Kept | None = None,
    known: Sequence[Floats] = (),
) -> TunedTable:
    """Tune one table. The same training, axes, trials and name give the same table.

    `known` are tables (rows, columns) to begin the second stage with beside the best shape.
    """
    return tune_tables(training, {name: axes}, pool, trials, tell, keep, kept, known)[name]


def tune_tables(
    training: Training,
    frames: dict[str, Axes],
    pool: ThreadPoolExecutor,
    trials: int = TABLE_TRIALS,
    tell: Tell | None = None,
    keep: Keep | None = None,
    kept: Kept | None = None,
    known: Sequence[Floats] = (),
) -> dict[str, TunedTable]:
    """Tune a table on each of several axes side by side, the same budget each; name -> table."""
    first, second = split(trials)
    shapes = [ShapeSearch(name, axes, training.plan.seed) for name, axes in frames.items()]
    search_on(training, shapes, first, pool, tell, keep, kept, "shape of the table")
    cells = [CellSearch(s, training, pool, known) for s in shapes]
    if second:
        search_on(training, cells, second, pool, tell, keep, kept, "cells of the table")
    return {c.frame: finish(training, c, s, pool) for c, s in zip(cells, shapes, strict=True)}


def train_robustly(plan: Plan, pool: ThreadPoolExecutor, worlds: int = TRAIN_WORLDS) -> Training:
    """Training worlds for settings that must hold on a car unlike the assumed one: several, each its own car.

    The limit must be kept in the worst of them, with half of what the ranking allows.
    """
    return replace(train_on(plan, pool, worlds), most_over_k=MOST_OVER_K, worst_world=True)


def split(trials: int) -> tuple[int, int]:
    """Generations of the two stages for a budget: about a third for the shape, at least one."""
    whole = max(math.ceil(trials / TABLE_GENERATION), 1)
    first = max(round(whole * SHAPE_GENERATIONS / (SHAPE_GENERATIONS + CELL_GENERATIONS)), 1)
    return first, whole - first


def finish(training: Training, cells: CellSearch, shape: ShapeSearch, pool: ThreadPoolExecutor) -> TunedTable:
    """The tuned table: cells its own drives do not visit filled by rule, then scored as it stands."""
    axes, best = cells.axes, cells.best_cells
    visits = visits_of(training, [contestant_with(axes, best)], axes, pool)[0]
    made = filled(axes, best, visits >= SEEN_S, cells.limit_c, cells.falling)
    off = filled(axes, np.zeros(axes.shape), visits >= SEEN_S, cells.limit_c, cells.falling)
    scores = costs_of(training, [contestant_with(axes, c) for c in (made, best, off)], pool)
    if scores[2] <= min(scores[:2]) + 1e-12:  # the pump never ran anyhow: say so plainly
        made = off
    elif scores[0] > scores[1] + 1e-3:  # filling changed what the drives meet: keep what was scored
        made = best
    final = contestant_with(axes, made, cells.frame)
    visits = visits_of(training, [final], axes, pool)[0]
    return TunedTable(
        axes=axes,
        cells=made,
        visits_s=visits,
        falling=cells.falling,
        score=costs_of(training, [final], pool)[0],
        shape_score=shape.best_score,
        default_score=shape.values[0],
        roughness=roughness(made),
        shape=shape.best(1)[0],
        tried=len(shape.values) + len(cells.tried),
        world_scores=tuple(world_scores(training, final, pool)),
        name=cells.frame,
    )


def world_scores(training: Training, contestant: Contestant, pool: ThreadPoolExecutor) -> list[float]:
    """Score of one contestant on each training world by itself, always-on of that world being 1."""
    entries = len(training.plan.season.entries)
    found = []
    for first in range(0, len(training.outings), entries):
        part = measured(replace(training, outings=training.outings[first : first + entries]), pool)
        found += costs_of(part, [contestant], pool)
    return found
