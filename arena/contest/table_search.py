"""The two searches of a duty table: six numbers that shape it, then its cells by moves that keep it acceptable.

The cells are searched on the grid that the engine computer can hold; only cells the drives visit are searched, the
others follow by rule. Every candidate is scored as it would be typed in.
"""

from __future__ import annotations

import hashlib
from collections.abc import Sequence
from concurrent.futures import ThreadPoolExecutor
from dataclasses import dataclass
from typing import Any

import numpy as np
from numpy.typing import NDArray

from arena.contest.axes import Axes
from arena.contest.run import Contestant
from arena.contest.table_shape import (
    ROUGHNESS_PRICE,
    SHAPE,
    STARTS,
    acceptable,
    contestant_with,
    falling_of,
    filled,
    roughness,
    shaped,
    upright,
)
from arena.contest.table_visits import SEEN_S, visits_of
from arena.contest.tune import Search, Training
from arena.strategies.base import Setting

Floats = NDArray[np.float64]
Mask = NDArray[np.bool_]

TABLE_GENERATION = 64  # candidates at once; more would be asked before the last ones are judged
STEPS = (0.02, 0.05, 0.1, 0.2, 0.4)  # duty moves tried
FINALISTS = 8  # best tables of a stage that are kept and shared
REMEMBERED = 24  # moves that helped, tried again together


class ShapeSearch(Search):
    """First stage: CMA-ES over the six numbers that shape a table."""

    def __init__(self, frame: str, axes: Axes, seed: int) -> None:
        self.frame = frame
        self.axes = axes
        super().__init__(contestant_with(axes, np.zeros(axes.shape), f"{frame}-shape"), seed, TABLE_GENERATION)

    def space(self) -> tuple[Setting, ...]:
        """The numbers searched."""
        return SHAPE

    def starts(self) -> list[dict[str, float]]:
        """The default shape, always on, never on, and on from the target."""
        return [dict(start) for start in STARTS]

    def candidate(self, point: dict[str, float]) -> Contestant:
        """The table of these numbers."""
        return contestant_with(self.axes, shaped(self.axes, point))

    def best(self, count: int) -> list[dict[str, float]]:
        """The best points so far, best first, no two alike."""
        found: list[dict[str, float]] = []
        for k in np.argsort(self.values, kind="stable"):
            if self.points[int(k)] not in found:
                found.append(self.points[int(k)])
        return found[:count]


@dataclass(frozen=True)
class Move:
    """A change of a table: cells of a block raised or lowered, or a line of cells shifted."""

    kind: str  # "raise", "lower", "rows", "columns"
    i: int
    j: int
    amount: float


class CellSearch:
    """Second stage: moves of the best table on the grid of duties; those that helped are tried together."""

    def __init__(
        self, shape: ShapeSearch, training: Training, pool: ThreadPoolExecutor, known: Sequence[Floats] = ()
    ) -> None:
        self.frame = shape.frame
        self.name = f"{shape.frame}-cells"
        self.axes = shape.axes
        self.seed = training.plan.seed
        self.limit_c = training.plan.season.limit_c
        starts = [shaped(self.axes, p) for p in shape.best(FINALISTS)]
        self.falling = falling_of(self.axes, starts[0])
        seen = visits_of(training, [contestant_with(self.axes, c) for c in starts], self.axes, pool)
        self.mask: Mask = seen.max(axis=0) >= SEEN_S
        self.best_cells = filled(self.axes, starts[0], self.mask, self.limit_c, self.falling)
        self.best_value = np.inf
        self.asked: list[tuple[Floats, tuple[Move, ...]]] = []
        self.helped: dict[Move, float] = {}
        self.tried: set[bytes] = set()
        self.queue: list[Move] = []
        self.priced: list[float] = []
        given = [*starts[1:], *(acceptable(self.axes, k, self.falling) for k in known if k.shape == self.axes.shape)]
        plain = [
            filled(self.axes, c, self.mask, self.limit_c, self.falling) for c in (*given, *plain_tables(self.axes))
        ]
        self.known = distinct([self.best_cells, *plain])[1:]

    @property
    def best_score(self) -> float:
        """Lowest told so far, penalty included."""
        return float(self.best_value)

    def ask(self, generation: int) -> list[Contestant]:
        """The best so far, combinations of moves that helped, and moves not tried yet."""
        key = int.from_bytes(hashlib.sha256(self.name.encode()).digest()[:8], "little")
        rng = np.random.Generator(np.random.PCG64(np.random.SeedSequence([self.seed, key, generation])))
        self.asked = []
        if generation == 0:
            self.asked += [(c, ()) for c in (self.best_cells, *self.known)][:TABLE_GENERATION]
        known = sorted(self.helped, key=lambda m: self.helped[m])[:REMEMBERED]
        for count in range(2, len(known) + 1):
            self._propose(tuple(known[:count]))
        for _ in range(TABLE_GENERATION if known else 0):
            if len(self.asked) < TABLE_GENERATION // 3:
                self._propose(self._some(rng, known))
        for _ in range(4 * TABLE_GENERATION):
            if len(self.asked) >= TABLE_GENERATION:
                break
            if not self.queue:
                self.queue = self._moves(rng)
            self._propose((self.queue.pop(),))
        while len(self.asked) < TABLE_GENERATION:  # nothing new to try: the search has settled
            self.asked.append((self.best_cells, ()))
        return [contestant_with(self.axes, cells) for cells, _ in self.asked]

    def tell(self, values: Sequence[float]) -> None:
        """Scores of the generation asked last; the smoothness penalty is added here."""
        priced = [v + ROUGHNESS_PRICE * roughness(cells) for v, (cells, _) in zip(values, self.asked, strict=True)]
        self.priced = priced
        before = self.best_value if np.isfinite(self.best_value) else priced[0]
        for value, (_, moves) in zip(priced, self.asked, strict=True):
            if len(moves) == 1:
                if value < before:
                    self.helped[moves[0]] = value - before
                else:
                    self.helped.pop(moves[0], None)
        place = int(np.argmin(priced))
        if priced[place] < self.best_value:
            self.best_value = priced[place]
            self.best_cells = self.asked[place][0]
            for move in self.asked[place][1]:
                self.helped.pop(move, None)
        self.helped = dict(sorted(self.helped.items(), key=lambda item: item[1])[:REMEMBERED])

    def meet(self, point: Any, value: float) -> None:
        """Take over a table (duties in per cent) that another process has scored, penalty included."""
        if value < self.best_value:
            self.best_value = value
            self.best_cells = 0.01 * np.array(point)

    def last_values(self) -> list[float]:
        """Values of the generation told last, penalty included."""
        return self.priced

    def last_points(self) -> list[list[list[float]]]:
        """Its tables in per cent, in the same order."""
        return [np.round(100.0 * cells, 6).tolist() for cells, _ in self.asked]

    def _propose(self, moves: tuple[Move, ...]) -> None:
        """Add the best table with these moves made, unless that table was tried before or the generation is full."""
        if len(self.asked) >= TABLE_GENERATION:
            return
        cells = self.best_cells
        for move in moves:
            cells = self._moved(cells, move)
        cells = filled(self.axes, cells, self.mask, self.limit_c, self.falling)
        mark = cells.tobytes()
        if mark not in self.tried:
            self.tried.add(mark)
            self.asked.append((cells, moves))

    def _some(self, rng: np.random.Generator, known: list[Move]) -> tuple[Move, ...]:
        """A random handful of moves that helped."""
        count = int(rng.integers(1, len(known) + 1))
        return tuple(known[int(k)] for k in rng.permutation(len(known))[:count])

    def _moves(self, rng: np.random.Generator) -> list[Move]:
        """Every single move once, in random order."""
        rows, columns = self.axes.shape
        seen = upright(self.axes, self.mask, self.falling)
        found = [
            Move(kind, i, j, amount)
            for i in range(rows)
            for j in range(columns)
            if seen[i, j]
            for kind in ("raise", "lower")
            for amount in (*STEPS, 1.0)
        ]
        found += [Move("rows", i, 0, a) for i in range(rows) for a in (-1.0, -0.5, 0.5, 1.0)]
        found += [Move("columns", 0, j, a) for j in range(columns) for a in (-1.0, -0.5, 0.5, 1.0)]
        return [found[int(k)] for k in rng.permutation(len(found))]

    def _moved(self, given: Floats, move: Move) -> Floats:
        """A table with one move made, acceptable again. Raising carries the cells above along, lowering those below."""
        cells = np.array(upright(self.axes, given, self.falling))
        floor, i, j = self.axes.floor(), move.i, move.j
        if move.kind == "raise":
            goal = max(cells[i, j] + move.amount, floor) if move.amount < 1.0 else 1.0
            cells[i:, j:] = np.maximum(cells[i:, j:], min(goal, 1.0))
        elif move.kind == "lower":
            goal = cells[i, j] - move.amount
            goal = goal if goal >= floor else floor if cells[i, j] > floor and move.amount < 1.0 else 0.0
            cells[: i + 1, : j + 1] = np.minimum(cells[: i + 1, : j + 1], goal)
        else:
            cells = shifted(cells, move)
        return acceptable(self.axes, upright(self.axes, cells, self.falling), self.falling)


def plain_tables(axes: Axes) -> list[Floats]:
    """Tables of plain steps, whatever the other axis: off; one duty from a temperature on; and full from a later one.

    The second stage looks at all of these first, so that it does not hang on what the first happened to find.
    """
    heat = len((axes.down, axes.across)[axes.heat].given)
    floor = axes.floor()
    found = [np.zeros(heat)]
    for first in range(heat):
        for level in (floor, 0.5 * (floor + 1.0), 1.0):
            found.append(np.where(np.arange(heat) < first, 0.0, level))
        found += [np.where(np.arange(heat) < last, found[-3], 1.0) for last in range(first + 2, heat, 2)]
    shape = axes.shape
    return [acceptable(axes, np.broadcast_to(row[:, None] if axes.heat == 0 else row[None, :], shape)) for row in found]


def distinct(tables: Sequence[Floats]) -> list[Floats]:
    """Tables in their order, those that are there already left out."""
    return list({t.tobytes(): t for t in tables}.values())


def shifted(cells: Floats, move: Move) -> Floats:
    """Rows from i on (or columns from j on) moved by a share of a breakpoint towards more or less duty."""
    along = cells if move.kind == "rows" else cells.T
    start = move.i if move.kind == "rows" else move.j
    place = np.arange(along.shape[0], dtype=np.float64)
    place[start:] = np.clip(place[start:] + move.amount, 0.0, along.shape[0] - 1.0)
    low = np.floor(place).astype(int)
    high = np.minimum(low + 1, along.shape[0] - 1)
    share = (place - low)[:, None]
    made = (1.0 - share) * along[low] + share * along[high]
    return np.asarray(made if move.kind == "rows" else made.T)
