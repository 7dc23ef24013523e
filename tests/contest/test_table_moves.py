"""Moves of a duty table worked out by hand, the tables a search begins with, and how long each cell is read."""

from __future__ import annotations

from types import SimpleNamespace
from typing import Any

import numpy as np
import pytest

from arena.contest import table_search
from arena.contest.axes import Axes, Axis
from arena.contest.run import lay_out
from arena.contest.table_search import CellSearch, Move, ShapeSearch, distinct, shifted
from arena.contest.table_shape import (
    SHAPE,
    STARTS,
    acceptable,
    contestant_with,
    falling_of,
    filled,
    free,
    monotone,
    output_settings,
    shaped,
    upright,
)
from arena.contest.table_tuning import CELL_GENERATIONS, SHAPE_GENERATIONS, split
from arena.contest.table_visits import visits
from arena.plant import layout as at
from arena.strategies.contract import ask

AXES = Axes("mine", Axis("iat_c", (20.0, 30.0, 40.0)), Axis("throttle_pct", (0.0, 50.0, 100.0)), 0.05, 0.4)
TABLE = np.array([[0.0, 0.0, 0.4], [0.0, 0.5, 0.6], [0.4, 0.7, 1.0]])


def searching(axes: Axes = AXES, mask: np.ndarray | None = None, cells: np.ndarray = TABLE) -> CellSearch:
    """A search of the second stage that holds this table, every cell visited if nothing else is said."""
    seen = np.ones(axes.shape, dtype=bool) if mask is None else mask
    training: Any = SimpleNamespace(plan=SimpleNamespace(seed=1, season=SimpleNamespace(limit_c=200.0)))
    shape = ShapeSearch("any", axes, 1)
    shape.ask(0)
    shape.tell([float(k) for k in range(table_search.TABLE_GENERATION)])
    with pytest.MonkeyPatch.context() as patch:
        patch.setattr(table_search, "visits_of", lambda *_: 60.0 * seen[None])
        made = CellSearch(shape, training, None)  # type: ignore[arg-type]
    made.best_cells = cells
    return made


@pytest.mark.parametrize(
    ("move", "wanted"),
    [
        (Move("raise", 1, 1, 0.1), [[0, 0, 0.4], [0, 0.6, 0.6], [0.4, 0.7, 1]]),
        (Move("raise", 1, 1, 0.2), [[0, 0, 0.4], [0, 0.7, 0.7], [0.4, 0.7, 1]]),  # carried along to the right
        (Move("raise", 0, 0, 0.05), [[0.4, 0.4, 0.4], [0.4, 0.5, 0.6], [0.4, 0.7, 1]]),  # at least the lowest duty
        (Move("raise", 1, 0, 1.0), [[0, 0, 0.4], [1, 1, 1], [1, 1, 1]]),
        (Move("raise", 2, 1, 0.4), [[0, 0, 0.4], [0, 0.5, 0.6], [0.4, 1, 1]]),  # and no more than full
        (Move("lower", 1, 1, 0.05), [[0, 0, 0.4], [0, 0.45, 0.6], [0.4, 0.7, 1]]),
        (Move("lower", 1, 1, 0.4), [[0, 0, 0.4], [0, 0.4, 0.6], [0.4, 0.7, 1]]),  # down to the lowest first
        (Move("lower", 1, 2, 1.0), [[0, 0, 0], [0, 0, 0], [0.4, 0.7, 1]]),  # carried along to the left and above
        (Move("lower", 2, 0, 0.05), [[0, 0, 0.4], [0, 0.5, 0.6], [0, 0.7, 1]]),  # from the lowest on, off
        (Move("rows", 1, 0, -1.0), [[0, 0, 0.4], [0, 0, 0.4], [0, 0.5, 0.6]]),
        (Move("columns", 0, 1, 1.0), [[0, 0.4, 0.4], [0, 0.6, 0.6], [0.4, 1, 1]]),
    ],
)  # fmt: skip
def test_a_move_changes_a_block_and_keeps_the_promises(move: Move, wanted: list[list[float]]) -> None:
    np.testing.assert_allclose(searching()._moved(TABLE, move), wanted, atol=1e-12)


def test_half_a_shift_is_half_way_between_the_lines() -> None:
    np.testing.assert_allclose(shifted(TABLE, Move("rows", 1, 0, 0.5))[1], 0.5 * (TABLE[1] + TABLE[2]))
    np.testing.assert_allclose(shifted(TABLE, Move("rows", 1, 0, 0.5))[[0, 2]], TABLE[[0, 2]])
    np.testing.assert_allclose(shifted(TABLE, Move("columns", 0, 2, -0.5))[:, 2], 0.5 * (TABLE[:, 1] + TABLE[:, 2]))
    np.testing.assert_allclose(shifted(TABLE, Move("columns", 0, 2, -0.5))[:, :2], TABLE[:, :2])


def test_every_single_move_is_of_a_visited_cell_or_a_line_and_comes_once() -> None:
    mask = np.zeros(AXES.shape, dtype=bool)
    mask[1, 2] = mask[2, 0] = True
    moves = searching(mask=mask)._moves(np.random.default_rng(1))
    assert len(moves) == len(set(moves))
    cells = {(m.i, m.j) for m in moves if m.kind in {"raise", "lower"}}
    assert cells == {(1, 2), (2, 0)}
    assert {m.amount for m in moves if m.kind == "raise"} == {*table_search.STEPS, 1.0}
    for kind in ("rows", "columns"):
        assert sorted((m.i + m.j, m.amount) for m in moves if m.kind == kind) == sorted(
            (k, a) for k in range(3) for a in (-1.0, -0.5, 0.5, 1.0)
        )


def test_moves_that_helped_are_remembered_and_the_one_taken_is_done() -> None:
    search = searching()
    assert len(search.ask(0)) == table_search.TABLE_GENERATION
    search.tell([1.0] * len(search.asked))
    search.ask(1)
    singles = [k for k, (_, moves) in enumerate(search.asked) if len(moves) == 1]
    assert len(singles) > 10
    values = [2.0] * len(search.asked)
    best, helped, not_helped = singles[0], singles[1], singles[2]
    values[best], values[helped] = 0.5, 0.7
    moves = [search.asked[k][1][0] for k in (best, helped, not_helped)]
    search.helped = {moves[2]: -0.1}  # helped once, does not now
    taken = search.asked[best][0]
    search.tell(values)
    assert search.helped.keys() == {moves[1]} and search.helped[moves[1]] < 0.0
    assert (search.best_cells == taken).all()
    assert search.best_score == pytest.approx(0.5, abs=0.05), "the penalty for roughness is small"
    assert search.last_values()[best] == search.best_score
    assert search.last_points()[best] == np.round(100.0 * taken, 6).tolist()


def test_a_table_another_process_has_scored_is_taken_over_if_it_is_better() -> None:
    search = searching()
    search.best_value = 0.5
    search.meet([[0.0] * 3, [0.0] * 3, [100.0] * 3], 0.6)
    assert (search.best_cells == TABLE).all()
    search.meet([[0.0] * 3, [0.0] * 3, [100.0] * 3], 0.4)
    np.testing.assert_allclose(search.best_cells, [[0] * 3, [0] * 3, [1] * 3])
    assert search.best_score == 0.4


def test_a_shape_starts_where_it_says_and_is_full_a_span_later() -> None:
    iat = tuple(float(v) for v in range(20, 61, 5))
    axes = Axes("fine", Axis("iat_c", iat), Axis("throttle_pct", (0.0, 25.0, 50.0, 75.0, 100.0)), 0.01, 0.4)
    point = {
        "closed_start_c": 45.0, "open_start_c": 25.0, "span_k": 10.0, "gate_pct": 25.0, "width_pct": 50.0,
        "first_pct": 50.0,
    }  # fmt: skip
    made = shaped(axes, point)
    starts = {0: 45.0, 1: 45.0, 2: 35.0, 3: 25.0, 4: 25.0}  # from 25 % on, over 50 % of the axis
    for column, start in starts.items():
        for row, temperature in enumerate(iat):
            share = (temperature - start) / 10.0
            wanted = 0.0 if share < 0.0 else 0.7 + 0.3 * min(share, 1.0)  # half way from the lowest, 40 %, to full
            assert made[row, column] == pytest.approx(wanted, abs=1e-9), (row, column)
    np.testing.assert_array_equal(shaped(axes.turned(), point), made.T)
    higher = shaped(axes, {**point, "open_start_c": 60.0})
    assert (higher == higher[:, :1]).all(), "more load never starts the pump later"
    by_speed = Axes("speed", axes.down, Axis("speed_kmh", axes.across.given), 0.01, 0.4)
    slow = shaped(by_speed, {**point, "open_start_c": 60.0})
    assert (np.diff(slow, axis=1) <= 0.0).all() and slow[5, 0] > slow[5, 4] == 0.0
    assert falling_of(by_speed, slow) and not falling_of(by_speed, slow[:, ::-1]) and not falling_of(axes, slow)
    assert free(by_speed) and free(by_speed.turned()) and not free(axes)
    assert falling_of(by_speed.turned(), slow.T)
    np.testing.assert_array_equal(upright(by_speed, slow, True), slow[:, ::-1])
    np.testing.assert_array_equal(upright(by_speed.turned(), slow.T, True), slow.T[::-1])


def test_a_search_of_shapes_begins_with_the_plain_ones() -> None:
    search = ShapeSearch("any", AXES, 1)
    asked = search.ask(0)
    names = [s.name for s in SHAPE]
    for start, point in zip(STARTS, search.points, strict=False):
        assert point == pytest.approx({n: float(start[n]) for n in names})
    assert (np.asarray(asked[1].table[2]) == 1.0).all()  # type: ignore[index]
    assert (np.asarray(asked[2].table[2]) == 0.0).all()  # type: ignore[index]
    search.tell([5.0, 1.0, 1.0, *[2.0] * (len(asked) - 3)])
    assert search.best(2) == [search.points[1], search.points[2]]
    assert search.best_score == 1.0


def test_monotone_is_half_way_between_what_stands_above_and_below() -> None:
    np.testing.assert_allclose(monotone(np.array([[0.8, 0.2], [0.4, 1.0]])), [[0.5, 0.5], [0.6, 1.0]])
    rising = np.array([[0.1, 0.2], [0.3, 0.4]])
    np.testing.assert_array_equal(monotone(rising), rising)


def test_duties_below_half_the_lowest_are_off_and_others_are_the_lowest() -> None:
    cells = np.array([[0.1, 0.19, 0.21], [0.1, 0.3, 0.47], [0.1, 0.48, 1.2]])
    np.testing.assert_allclose(acceptable(AXES, cells), [[0, 0, 0.4], [0, 0.4, 0.45], [0, 0.5, 1.0]], atol=1e-12)


def test_cells_no_drive_reads_follow_the_visited_ones_below_and_full_from_the_limit_up() -> None:
    visited = np.array([[0, 0, 0], [1, 0, 1], [0, 0, 1]], dtype=bool)
    cells = np.array([[0.9, 0.9, 0.9], [0.4, 0.9, 0.6], [0.9, 0.9, 0.8]])
    np.testing.assert_allclose(filled(AXES, cells, visited, 60.0), [[0, 0, 0], [0.4, 0.4, 0.6], [0.4, 0.4, 0.8]])
    hot = [[0, 0, 0], [0.4, 0.4, 0.6], [0.8, 0.8, 0.8]]  # from 40 degC on, as far as the visited 80 % allow
    np.testing.assert_allclose(filled(AXES, cells, visited, 40.0), hot)
    np.testing.assert_allclose(filled(AXES.turned(), cells.T, visited.T, 40.0), np.array(hot).T)


def test_what_the_law_knows_of_the_output() -> None:
    assert output_settings(AXES) == {"lowest_pct": 40.0, "hysteresis_pct": 10.0}
    as_read = Axes("mine", AXES.down, AXES.across, 0.05, 0.4, reading="as-read")
    assert output_settings(as_read) == {"lowest_pct": 0.0, "hysteresis_pct": 0.0}


def test_a_budget_is_parted_between_the_stages() -> None:
    both = SHAPE_GENERATIONS + CELL_GENERATIONS
    assert split(both * table_search.TABLE_GENERATION) == (SHAPE_GENERATIONS, CELL_GENERATIONS)
    assert split(1) == (1, 0) and split(65) == (1, 1) and split(0) == (1, 0)
    assert split(both * table_search.TABLE_GENERATION + 1)[0] + split(both * table_search.TABLE_GENERATION + 1)[1] == 21


def test_tables_that_are_there_already_are_left_out() -> None:
    found = distinct([TABLE, TABLE + 0.0, 0.5 * TABLE, TABLE])
    assert len(found) == 2 and found[0] is not None and (found[1] == 0.5 * TABLE).all()


def test_a_cell_is_read_by_as_much_as_it_weighs() -> None:
    """Four ticks: in the middle of four cells, on a breakpoint, beyond the corner, and with the key off."""
    throttle = [25.0, 50.0, 120.0, 25.0]
    x = np.zeros((4, at.X_COLUMNS))
    x[:, at.X_THROTTLE] = throttle
    record = np.zeros((4, at.TRACE_COLUMNS))
    record[:, at.T_READING] = [273.15 + 30.0, 400.0, 273.15 + 25.0, 0.0]  # the law sees that of the tick before
    outing: Any = SimpleNamespace(X=x, start_k=273.15 + 25.0)
    obeyed = np.array([0.1, 0.1, 0.1, 0.0])
    wanted = np.zeros((3, 3))
    wanted[:2, :2] = 0.25 * 0.1  # 25 degC, 25 %
    wanted[1, 1] += 0.1  # 30 degC, 50 %
    wanted[2, 2] += 0.1  # 126 degC, 120 %
    np.testing.assert_allclose(visits(AXES, outing, record, obeyed), wanted, atol=1e-12)
    np.testing.assert_allclose(visits(AXES.turned(), outing, record, obeyed), wanted.T, atol=1e-12)


def test_a_tuned_table_starts_at_the_lowest_duty_and_stays_on_to_the_hysteresis_below() -> None:
    """40 % lowest, 10 % hysteresis; the table reads 20 % at 30 degC and 40 % at 40 degC, full throttle or none."""
    mine = contestant_with(AXES, np.array([[0.0] * 3, [0.2] * 3, [0.4] * 3]))
    strategy, settings = mine.strategy, mine.strategy.make_settings(dict(mine.settings))
    cells, memory = lay_out([mine]).cells, strategy.memory
    for iat, wanted in ((37.0, 0.0), (40.0, 0.4), (36.0, 0.4), (34.9, 0.0), (36.0, 0.0)):
        asked, memory = ask(strategy, (iat, 50.0), settings, memory, cells)
        assert asked == pytest.approx(wanted), iat
