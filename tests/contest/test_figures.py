"""Figures from what the kernel accumulated, worked out by hand; and what foresight's runs come to."""

from __future__ import annotations

import math
from dataclasses import replace
from types import SimpleNamespace
from typing import Any

import numpy as np
import pytest

from arena.contest.figures import NAMES, RunFigures, figures_of, time_to_target, weighted_quantile
from arena.contest.foresight import LEVELS, WINDOWS_S, Foreseen, _summed, _window
from arena.contest.run import Accumulated
from arena.plant import layout as at
from arena.plant.numbers import CarNumbers, Goals

TICKS, FROM = 400, 100
ROWS = {  # of two contestants, as the kernel adds them up tick by tick of 0.1 s
    at.HOT_BOOST: (36000.0, 0.0), at.HOT_CRUISE: (18000.0, 3600.0), at.COLD_CRUISE: (0.0, 7200.0),
    at.SQUARES: (1200.0, 300.0), at.OVER: (50.0, 0.0), at.REACHED: (160.0, -1.0), at.PUMP_TICKS: (300.0, 0.0),
    at.WEAR_1: (100.0, 10.0), at.WEAR_15: (90.0, 9.0), at.WEAR_2: (80.0, 8.0), at.STARTS: (3.0, 0.0),
    at.ENERGY: (72000.0, 3600.0), at.POWER_KEPT: (76.0, 80.0), at.CONDENSING: (60.0, 0.0), at.QUIET: (30.0, 6.0),
    at.FAILED: (-1.0, 250.0), at.REASON: (0.0, 2.0),
}  # fmt: skip


def outing(**other: Any) -> Any:
    X = np.zeros((TICKS, at.X_COLUMNS))
    X[100:200, at.X_BOOST], X[200:400, at.X_CRUISE], X[150, at.X_REACH] = 1.0, 1.0, 1.0
    return SimpleNamespace(**{"X": X, "ticks": TICKS, "score_from": FROM, "boost_weight": np.full(80, 1.0), **other})


def played(**other: Any) -> Accumulated:
    rows = np.zeros((at.FIGURES_TO - at.FIGURES_FROM, 2))
    for row, values in ROWS.items():
        rows[row - at.FIGURES_FROM] = values
    boost = np.stack([np.linspace(310.0, 389.0, 80), np.full(80, 320.0)], axis=1).astype(np.float32)
    return replace(Accumulated(rows, boost, None, np.full((at.ROWS, at.LANES), 300.0)), **other)


def made(run: Accumulated | None = None, where: Any = None, exponent: float = 1.5) -> RunFigures:
    return figures_of(run or played(), where or outing(), CarNumbers(), Goals(), exponent, 0.25)


def test_every_figure_from_its_rows() -> None:
    found = made().values
    assert set(found) == set(NAMES)
    p95 = 310.0 + 75.0 - 273.15  # the 76th of 80 equal weights is the first to hold 95 %
    efficiency = CarNumbers().supply.alternator_efficiency * CarNumbers().engine.indicated_efficiency
    wanted = {
        "hot_boost_k_h": (1.0, 0.0), "hot_cruise_k_h": (0.5, 0.1), "cold_cruise_k_h": (0.0, 0.2),
        "tracking_k_h": (1.25, 0.11), "tracking_rms_k": (2.0, 1.0), "over_limit_k_s": (5.0, 0.0),
        "boost_p95_c": (p95, 320.0 - 273.15), "octane_over_limit": ((p95 - 45.0) / 7.0, 1.85 / 7.0),
        "minutes_to_target": (0.1, 0.5), "target_reached_share": (1.0, 0.0), "pump_hours": (30 / 3600, 0.0),
        "wear_hours": (9 / 3600 + 0.75, 0.9 / 3600), "pump_starts": (3.0, 0.0), "energy_wh": (2.0, 0.1),
        "power_kept_pct": (95.0, 100.0), "condensing_minutes": (0.1, 0.0), "quiet_minutes": (0.05, 0.01),
    }  # fmt: skip
    for name, values in wanted.items():
        np.testing.assert_allclose(found[name], values, rtol=1e-6, atol=1e-6, err_msg=name)
    per_wh = 3600.0 / efficiency / 43e6 / 0.745 * 1e3  # petrol, from memory: 43 MJ/kg, 0.745 kg/L
    np.testing.assert_allclose(found["fuel_ml"], (2.0 * per_wh, 0.1 * per_wh), rtol=0.01)
    assert set(found) - set(wanted) == {"fuel_ml"}


def test_wear_at_other_exponents_and_why_a_run_failed() -> None:
    found = made(exponent=2.0)
    np.testing.assert_allclose(found.values["wear_hours"], (8 / 3600 + 0.75, 0.8 / 3600))
    np.testing.assert_allclose(found.wear_parts * 3600.0, [[10.0, 1.0], [9.0, 0.9], [8.0, 0.8]])
    assert found.failed == ("", at.REASONS[2])
    assert math.isnan(found.failed_s[0]) and found.failed_s[1] == 25.0
    for row, lane in ((at.CORE_AT, 0), (at.ROWS - 1, 0)):
        state = np.full((at.ROWS, at.LANES), 300.0)
        state[row, lane] = math.nan
        assert made(played(state=state)).failed == ("temperatures are no longer finite", at.REASONS[2])
    assert made(played(state=state)).failed_s.tolist() == [TICKS * at.TICK_S, 25.0], "found at the end"
    spoilt = played()
    spoilt.rows[at.HOT_BOOST - at.FIGURES_FROM, 0] = math.inf
    assert made(spoilt).failed[0] == "temperatures are no longer finite"


def test_what_does_not_apply_is_not_a_number() -> None:
    never = outing(X=np.zeros((TICKS, at.X_COLUMNS)), boost_weight=np.zeros(0))
    found = made(played(boost_k=np.zeros((0, 2), np.float32)), never).values
    for name in ("minutes_to_target", "target_reached_share", "tracking_rms_k", "boost_p95_c", "power_kept_pct"):
        assert np.isnan(found[name]).all(), name


def test_the_time_to_target_counts_from_the_first_scored_tick_to_the_end_at_most() -> None:
    minutes, share = time_to_target(np.array([FROM, FROM + 60.0, 0.0, -1.0]), outing())
    np.testing.assert_allclose(minutes, [0.0, 0.1, -10.0 / 60.0, 30.0 / 60.0])
    np.testing.assert_array_equal(share, [1.0, 1.0, 1.0, 0.0])


@pytest.mark.parametrize(
    ("share", "wanted"), [(0.05, 1.0), (0.1, 1.0), (0.11, 2.0), (0.6, 3.0), (0.61, 4.0), (1.0, 4.0)]
)
def test_a_weighted_quantile_is_the_first_value_that_holds_the_share(share: float, wanted: float) -> None:
    values = np.array([[4.0], [2.0], [1.0], [3.0]], np.float32)
    assert weighted_quantile(values, np.array([4.0, 2.0, 1.0, 3.0]), share) == [wanted]
    assert np.isnan(weighted_quantile(values, np.zeros(4), share)).all()


def test_what_foresight_comes_to() -> None:
    """Two worlds of two outings, the second driven three times as often; costs always-on, tuned, foresight."""
    plan: Any = SimpleNamespace(weights=np.array([1.0, 3.0]), seed=1, outing_id=lambda e: f"o{e}")
    costs = [(10.0, 8.0, 6.0), (4.0, 4.0, 4.0), (12.0, 9.0, 6.0), (5.0, 5.0, 5.0)]
    names = [f for f in Foreseen.__dataclass_fields__ if f not in {"always_on", "tuned", "foresight"}]
    found = [Foreseen(**dict.fromkeys(names, 0), always_on=a, tuned=b, foresight=c) for a, b, c in costs]
    made = _summed(plan, found, 2)
    assert made.score.value == pytest.approx((6 + 12 + 6 + 15) / (10 + 12 + 12 + 15))
    assert made.tuned_score.value == pytest.approx((8 + 12 + 9 + 15) / 49)
    assert made.share.value == pytest.approx((2 + 3) / (4 + 6))
    assert made.by_outing == {"o0": pytest.approx(0.5), "o1": 1.0}, "nothing to gain is all of it"
    assert made.outings == tuple(found)
    idle = [replace(f, tuned=f.always_on, foresight=f.always_on) for f in found]
    assert math.isnan(_summed(plan, idle, 2).share.value)


def test_windows_of_a_schedule_lie_on_the_drive_and_try_levels_and_neighbours() -> None:
    ticks = 5000
    schedule, rng = np.linspace(0.001, 0.999, ticks), np.random.default_rng(1)
    met, lengths = set(), set()
    for _ in range(4000):
        first, last, duty = _window(rng, ticks, schedule)
        assert 0 <= first < last <= ticks
        lengths.add(last - first) if first > 0 and last < ticks else None
        if duty in LEVELS:
            met.add(duty)
        else:
            before, behind = float(schedule[max(first - 1, 0)]), float(schedule[min(last, ticks - 1)])
            assert duty in (before, behind)
            met.add("before" if duty == before else "behind")
    assert met == {*LEVELS, "before", "behind"}
    assert lengths == {round(s / at.TICK_S) for s in WINDOWS_S if s / at.TICK_S < ticks}
