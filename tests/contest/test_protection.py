"""What is counted of a fault, by hand on made-up runs: worst charge, seconds over, duty, and what was noticed."""

from __future__ import annotations

from types import SimpleNamespace
from typing import Any

import numpy as np
import pytest

from arena.contest.protection import CHANGED, FULL, _noticed, _onset_share, _Run, _see, _Seen, _summed
from arena.contest.spans import Span, SpannedOuting, spans_of
from arena.plant.compile import TICK_S
from arena.units import ZERO_C_K

LIMIT_K = 320.0


def run_of(boost_tick: list[int], boost_k: list[list[float]], ticks: int = 100, score_from: int = 20) -> _Run:
    """Two contestants: the first at half duty throughout, the second at duty tick / 100; key off at the end."""
    duty = np.stack([np.full(ticks, 0.5), np.arange(ticks) / 100.0], axis=1).astype(np.float32)
    key = np.arange(ticks) < ticks - 10
    return _Run(score_from, np.array(boost_tick), np.array(boost_k, np.float32), duty, key, ("", "pump stalled"))


def test_only_what_comes_after_the_onset_counts() -> None:
    run = run_of([30, 59, 60, 61, 62], [[340, 300], [335, 300], [321, 320], [325, 319], [320, 318]])
    seen = _see(run, LIMIT_K, 0.5)  # the scored part is ticks 20 to 99: half of it begins at 60
    np.testing.assert_array_equal(seen.worst_k, [325.0, 320.0])
    np.testing.assert_allclose(seen.seconds, [2 * TICK_S, 0.0])
    np.testing.assert_allclose(seen.duty, [0.5, np.mean(np.arange(60, 90)) / 100.0], rtol=1e-6)
    assert seen.failed == ("", "pump stalled")
    whole = _see(run, LIMIT_K, 0.0)
    np.testing.assert_allclose(whole.seconds, [4 * TICK_S, 0.0])
    np.testing.assert_allclose(whole.duty, [0.5, np.mean(np.arange(20, 90)) / 100.0], rtol=1e-6)


def test_without_boost_or_key_after_the_onset_there_is_nothing_to_count() -> None:
    seen = _see(run_of([30], [[340, 340]]), LIMIT_K, 0.95)  # from tick 96: no boost, key off
    assert np.isnan(seen.worst_k).all()
    assert seen.seconds.tolist() == [0.0, 0.0] and seen.duty.tolist() == [0.0, 0.0]


def spanned(*later: Span) -> SpannedOuting:
    """An outing of 100 ticks, scored from the 20th, its tables called by letters."""
    fields: dict[str, Any] = dict.fromkeys(SpannedOuting.__dataclass_fields__, None)
    own = {"P": "p", "duty_table": "d", "flow_table": "f", "exchanger_table": "x", "ticks": 100, "score_from": 20}
    return SpannedOuting(**{**fields, **own, "later": later})


@pytest.mark.parametrize(("first", "share"), [(0, 0.0), (20, 0.0), (60, 0.5), (84, 0.8)])
def test_the_onset_is_a_share_of_the_scored_part(first: int, share: float) -> None:
    assert _onset_share(spanned(Span(first, "later"))) == pytest.approx(share)  # type: ignore[arg-type]


@pytest.mark.parametrize(
    ("failsafe", "duty", "usual", "said"),
    [
        (True, 1.0, 1.0, "fail-safe"),
        (False, FULL, FULL, "full already"),
        (False, 1.0, FULL - 0.01, "more"),
        (False, FULL - 0.01, 1.0, "less"),
        (False, 0.5 + CHANGED + 1e-9, 0.5, "more"),
        (False, 0.5 + 0.9 * CHANGED, 0.5, "no"),
        (False, 0.5 - 0.9 * CHANGED, 0.5, "no"),
        (False, 0.5 - CHANGED - 1e-9, 0.5, "less"),
    ],
)
def test_what_a_law_noticed_shows_in_its_duty(failsafe: bool, duty: float, usual: float, said: str) -> None:
    assert _noticed(failsafe, duty, usual) == said


def seen(worst: float, seconds: float, duty: float, failed: str = "") -> _Seen:
    """Of two contestants the second; the first is there to be mistaken for it."""
    return _Seen(np.array([999.0, worst]), np.array([77.0, seconds]), np.array([0.77, duty]), ("other", failed))


def test_a_contestant_is_summed_over_faults_and_averaged_over_worlds() -> None:
    faults = [SimpleNamespace(name="locked", probe_fails=False), None, SimpleNamespace(name="open", probe_fails=True)]
    plan: Any = SimpleNamespace(fault_of=lambda e: faults[e], outing_id=lambda e: f"outing {e}")
    mine: Any = SimpleNamespace(name="mine", ranked=True, strategy=SimpleNamespace(senses=("iat_c",)))
    found = {
        0: [(seen(330.0, 4.0, 0.8), seen(310.0, 1.0, 0.5)), (seen(340.0, 8.0, 0.6), seen(311.0, 2.0, 0.3))],
        2: [
            (seen(np.nan, 0.0, 1.0, "pump stalled"), seen(np.nan, 0.0, 0.4)),
            (seen(np.nan, 0.0, 1.0), seen(0, 0, 0.4)),
        ],
    }
    made = _summed(plan, mine, 1, [0, 2], found)
    locked, opened = made.runs
    assert (locked.outing, locked.fault, locked.noticed, locked.failed) == ("outing 0", "locked", "more", "")
    assert locked.worst_c == pytest.approx(340.0 - ZERO_C_K)
    assert (locked.seconds_over, locked.added_seconds) == (6.0, 4.5)
    assert (locked.duty, locked.added_duty) == pytest.approx((0.7, 0.3))
    assert (opened.worst_c, opened.noticed, opened.failed) == (None, "fail-safe", "pump stalled")
    assert (opened.duty, opened.added_duty) == pytest.approx((1.0, 0.6))
    assert (made.worst_c, made.worst_fault) == (locked.worst_c, "locked")
    assert (made.seconds_over, made.added_seconds, made.noticed, made.failed) == (6.0, 4.5, 2, 1)
    blind: Any = SimpleNamespace(name="mine", ranked=True, strategy=SimpleNamespace(senses=("map_kpa",)))
    assert _summed(plan, blind, 1, [2], found).runs[0].noticed == "more", "no fail-safe without the probe"


def test_spans_follow_one_another_to_the_end() -> None:
    """The kernel is run over every tick once, each with what holds there."""
    whole = ("p", "d", "f", "x")
    for later, wanted in (
        ((), [(0, 100, whole)]),
        ((Span(30, "a"), Span(60, "b")), [(0, 30, whole), (30, 60, "a"), (60, 100, "b")]),  # type: ignore[arg-type]
        ((Span(0, "a"),), [(0, 100, "a")]),  # type: ignore[arg-type]
        ((Span(100, "a"),), [(0, 100, whole)]),  # type: ignore[arg-type]
    ):
        assert list(spans_of(spanned(*later))) == wanted
