"""What a page is drawn from, by hand: visits of cells, histograms, phases and pauses, records that end early."""

from __future__ import annotations

from types import SimpleNamespace
from typing import Any

import numpy as np
import pytest

from arena.contest import views
from arena.contest.run import Contestant
from arena.contest.views import FEWEST_POINTS, LANE_LINES, NUMBERS, POINTS, line, room, thin, thinning
from arena.plant import layout as at
from arena.strategies import shipped
from arena.units import ZERO_C_K


def test_visits_are_minutes_nearest_to_a_cell_while_the_engine_ran() -> None:
    """A table of two rows (20, 40 degC) and three columns (0, 50, 100 %): five ticks, the last with the engine off."""
    table = ((20.0, 40.0), (0.0, 50.0, 100.0), np.zeros((2, 3)))
    mine = Contestant("mine", shipped()["gated-table"], table=table)
    x = np.zeros((6, at.X_COLUMNS))
    x[:, at.X_THROTTLE] = [99.0, 10.0, 26.0, 74.0, 76.0, 0.0]
    x[:, at.X_ENGINE] = [1.0, 1.0, 1.0, 1.0, 1.0, 0.0]
    record = np.zeros((6, at.TRACE_COLUMNS))
    record[:, at.T_READING] = ZERO_C_K + np.array([29.0, 31.0, 20.0, 60.0, 20.0, 20.0])  # met a tick later
    outing: Any = SimpleNamespace(X=x, start_k=ZERO_C_K)
    found = 600.0 * views._visits(mine, outing, record, slice(1, 6))  # ticks
    np.testing.assert_allclose(found, [[1, 1, 0], [0, 1, 1]])  # 29 & 10, 20 & 74 | 31 & 26, 60 & 76
    assert views._visits(Contestant("bare", shipped()["always-on"]), outing, record, slice(1, 6)).shape == (0, 0)


def test_a_record_is_held_where_the_run_ended_and_is_finite_everywhere() -> None:
    record = np.arange(10.0)[:, None] * np.ones(3)
    np.testing.assert_array_equal(views._ended(record, 4)[:, 0], [0, 1, 2, 3, 3, 3, 3, 3, 3, 3])
    np.testing.assert_array_equal(views._ended(record, 10), record)
    record[3] = [np.nan, np.inf, -np.inf]
    np.testing.assert_allclose(views._ended(record, 4)[9], [ZERO_C_K, 533.15, 233.15])  # the ends of the histogram


def test_phases_and_pauses_in_seconds() -> None:
    phase = np.array([2, 2, 2, 0, 0, 1], np.int32)
    assert views._phases(["pull", "hold", "idle"], phase) == [[0.0, "idle"], [0.3, "pull"], [0.5, "hold"]]
    assert views._spans(np.array([True, True, False, True])) == [[0.0, 0.2], [0.3, 0.4]]
    assert views._spans(np.zeros(3, dtype=bool)) == []


def test_a_histogram_is_cut_to_the_bins_that_are_used() -> None:
    assert views._span([np.array([0.0, 0.0, 1.0, 0.0]), np.array([0.0, 2.0, 0.0, 0.0])]) == (1, 3)
    assert views._span([np.zeros(4)]) == (0, 1)
    np.testing.assert_allclose(views._summed([np.array([1.0, 2.0]), np.array([3.0, 0.0])], [2.0, 0.5]), [3.5, 4.0])


def test_minutes_on_boost_by_temperature(monkeypatch: pytest.MonkeyPatch) -> None:
    """Two contestants over eight ticks scored from the second; the one FAILED at the sixth, which counts no more."""
    x = np.zeros((8, at.X_COLUMNS))
    x[:, at.X_BOOST] = [1.0, 1.0, 0.5, 0.0, 1.0, 1.0, 1.0, 1.0]
    trace = np.zeros((8, 2, at.TRACE_COLUMNS))
    trace[:, 0, at.T_IAT] = ZERO_C_K + 30.5
    trace[:, 1, at.T_IAT] = ZERO_C_K + np.array([0.5, 40.5, 41.5, 42.5, 43.5, 300.0, 44.5, 44.5])
    trace[:, :, [at.T_CORE_IN, at.T_CORE_OUT]] = ZERO_C_K + 20.0
    trace[:, :, at.T_DUTY] = 0.25
    played = SimpleNamespace(trace=trace, row=lambda _: np.array([-1.0, 6.0]))
    monkeypatch.setattr(views, "play", lambda *_, **__: played)
    outing: Any = SimpleNamespace(X=x, score_from=1, start_k=ZERO_C_K)
    pair = [Contestant(name, shipped()["always-on"]) for name in ("one", "two")]
    lanes: Any = [SimpleNamespace(contestants=pair)]
    found = views._recorded(outing, lanes, 100)
    bins = {
        name: {int(k) - 40: round(600.0 * h[k], 6) for k in np.flatnonzero(h)} for name, h in found["histogram"].items()
    }
    assert bins["one"] == {30: 5.5}
    assert bins["two"] == {40: 1.0, 41: 0.5, 43: 1.0, 259: 1.0}, "what lies beyond the last bin counts in it"
    assert found["failed_s"] == {"two": 0.5}
    assert set(found["lines"]["one"]) == set(LANE_LINES)
    assert np.cumsum(found["lines"]["one"]["duty_pct"]).tolist() == [25] * 8
    assert np.cumsum(found["lines"]["two"]["iat_c"]).tolist()[-1] == 3000
    assert views._recorded(outing, lanes, 0)["lines"] == {}


def test_thinning_keeps_two_points_a_bucket() -> None:
    assert thinning(2400, 1200) == (4, 0.2) and thinning(100, 1200) == (2, 0.1) and thinning(2401, 1200) == (5, 0.25)
    np.testing.assert_array_equal(thin(np.array([1.0, 5.0, 2.0, 9.0, 0.0, 3.0]), 4), [1, 5, 9, 0])
    np.testing.assert_array_equal(thin(np.array([1.0, 5.0, 2.0, 9.0, 0.0]), 4), [1, 5, 9, 0])
    assert line(np.array([1.04, 1.16, 0.9, 0.9]), 4, 0.1) == [10, 2, -3, 0]


def test_what_fits_the_page_is_the_most_frequent() -> None:
    def plan(*weights: float) -> Any:
        return SimpleNamespace(season=SimpleNamespace(entries=weights), weights=np.array(weights))

    assert room(plan(1.0, 2.0), 4) == (POINTS, frozenset({0, 1}))
    contestants = NUMBERS // (4 * FEWEST_POINTS) // 3  # three outings would take the last of the room
    points, kept = room(plan(5.0, 9.0, 1.0, 9.0), contestants)
    assert points == FEWEST_POINTS and kept < {0, 1, 3} and 1 in kept
    assert room(plan(1.0, 2.0), 10 * contestants) == (FEWEST_POINTS, frozenset({1}))
