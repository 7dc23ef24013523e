"""Intervals and differences of a comparison, worked out by hand from made-up runs."""

from __future__ import annotations

import math
from types import SimpleNamespace
from typing import Any

import numpy as np
import pytest

from arena.contest import table_tuning, tune
from arena.contest.comparing import Draw, Interval, by_world, core_scaled
from arena.contest.standings import HARD_LIMIT_K, RunTable, widened
from arena.plant.numbers import CarNumbers

WORLDS = 4


@pytest.fixture
def table() -> RunTable:
    """Two contestants, two outings (20 and 50 a year), four worlds; in one the second has no `warm`."""
    hours = np.array([[[1.0, 2, 3, 4], [0.5, 0.5, 0.5, 0.5]], [[2.0, 2, 2, 2], [1, 1, 1, 1]]])
    warm = np.array([[[40.0, 41, 42, 43], [30, 30, 30, 30]], [[50.0, 50, 50, np.nan], [20, 20, 20, np.nan]]])
    shape = hours.shape
    return RunTable(
        ("a", "b"), (True, True), {"pump_hours": hours, "warm": warm}, np.zeros((3, *shape)),
        np.full(shape, "", dtype=object), np.zeros(shape), np.array([20.0, 50.0]), np.ones(shape[1:]),
    )  # fmt: skip


def test_a_year_is_every_outing_times_its_number(table: RunTable) -> None:
    np.testing.assert_allclose(by_world(table, "pump_hours", "sum"), [[45, 65, 85, 105], [90, 90, 90, 90]])


def test_a_mean_over_the_year_goes_by_the_number_of_outings(table: RunTable) -> None:
    found = by_world(table, "warm", "mean")
    np.testing.assert_allclose(found[0], (20 * np.array([40.0, 41, 42, 43]) + 50 * 30) / 70)
    np.testing.assert_allclose(found[1], [2000 / 70] * 3 + [math.nan])


def test_a_figure_missing_in_a_world_leaves_that_world_out(table: RunTable) -> None:
    draw = Draw(WORLDS, 1)
    found = draw.mean(by_world(table, "warm", "mean")[1])
    assert found.value == found.low == found.high == pytest.approx(2000 / 70)
    nothing = draw.mean(np.full(WORLDS, np.nan))
    assert all(math.isnan(v) for v in (nothing.value, nothing.low, nothing.high))


def test_an_interval_is_the_middle_of_the_drawn_means_widened_for_few_worlds() -> None:
    values = np.array([1.0, 2.0, 4.0, 9.0])
    draw = Draw(WORLDS, 7)
    assert draw.counts.sum(axis=1) == pytest.approx(WORLDS)
    means = draw.counts @ values / WORLDS
    low, high = np.quantile(4.0 + (means - 4.0) * widened(WORLDS), [0.025, 0.975])
    found = draw.mean(values)
    assert (found.value, found.low, found.high) == (4.0, pytest.approx(low), pytest.approx(high))
    assert widened(WORLDS) > 1.0


def test_a_ratio_is_of_sums_and_has_none_where_nothing_is_below() -> None:
    top, bottom, draw = np.array([1.0, 2.0, 3.0, 4.0]), np.array([2.0, 4.0, 6.0, 8.0]), Draw(WORLDS, 3)
    np.testing.assert_allclose(draw.ratio(top, bottom), 0.5)
    drawn = draw.ratio(top, np.array([1.0, 1.0, 1.0, 2.0]))
    assert drawn.min() < 2.0 < drawn.max() and np.isfinite(drawn).all()
    assert np.isnan(draw.ratio(top, np.zeros(WORLDS))).all()


def test_the_same_seed_draws_the_same_worlds_and_another_does_not() -> None:
    assert np.array_equal(Draw(WORLDS, 1).counts, Draw(WORLDS, 1).counts)
    assert not np.array_equal(Draw(WORLDS, 1).counts, Draw(WORLDS, 2).counts)


@pytest.mark.parametrize(("low", "high", "excludes"), [(-1, 1, False), (0, 1, False), (0.1, 1, True), (-1, -0.1, True)])
def test_an_interval_that_holds_zero_is_no_difference(low: float, high: float, excludes: bool) -> None:
    assert Interval(0.5 * (low + high), low, high).excludes(0.0) == excludes


def test_a_weaker_core_is_weaker_on_both_sides() -> None:
    car = CarNumbers()
    weak = core_scaled(0.9)(car)
    assert weak.core.air_ha_w_k == pytest.approx(0.9 * car.core.air_ha_w_k)
    assert weak.core.coolant_ha_w_k == pytest.approx(0.9 * car.core.coolant_ha_w_k)
    assert weak.front == car.front


def test_a_sum_takes_what_is_known_and_has_none_where_nothing_is(table: RunTable) -> None:
    values = table.values["warm"]
    values[0, :, 0] = math.nan
    values[0, 1, 1] = math.nan
    np.testing.assert_allclose(
        by_world(table, "warm", "sum"), [[math.nan, 820, 840 + 1500, 860 + 1500], [2000, 2000, 2000, math.nan]]
    )


def test_training_worlds_price_cost_failures_and_the_limit(monkeypatch: pytest.MonkeyPatch) -> None:
    """Two worlds; candidates: sound, over the limit in one world, failing twice, without a finite cost, very dear."""
    cost = {0: [2.0, 2.0, 2.0, math.nan, 1e9], 1: [4.0, 4.0, 4.0, 4.0, 1e9]}
    over = {0: [0.0, 1.0, 0.0, 0.0, 0.0], 1: [0.0, 3.0, 0.0, 0.0, 0.0]}
    failed = np.full((5, 1, 2), "", dtype=object)
    failed[2, 0, :] = "pump stalled"
    monkeypatch.setattr(tune, "costs", lambda t, *_: np.array(cost[t.number])[:, None])
    monkeypatch.setattr(tune, "over_limit_k", lambda t: np.array(over[t.number]))
    tables: Any = [SimpleNamespace(number=0, failed=failed), SimpleNamespace(number=1, failed=failed[:, :, :0])]
    plan: Any = SimpleNamespace(season=SimpleNamespace(prices=None, wear=None))
    lenient = tune.Training(plan, (), 12.0, most_over_k=0.5)
    bad = tune.FAILED_SCORE
    np.testing.assert_allclose(tune.scores_of(lenient, tables), [0.5, 0.5 + 10 * 1.5, bad + 2, bad, bad])
    monkeypatch.setattr(table_tuning, "train_on", lambda plan, pool, worlds: lenient)
    strict = table_tuning.train_robustly(plan, None, 2)  # type: ignore[arg-type]
    assert strict.most_over_k == 0.5 * HARD_LIMIT_K
    np.testing.assert_allclose(tune.scores_of(strict, tables)[:2], [0.5, 0.5 + 10 * (3.0 - strict.most_over_k)])
