"""Before and after: verdicts agree with a known change or say that they cannot tell; one log twice is no change."""

from __future__ import annotations

from collections.abc import Callable
from pathlib import Path

import garage_builders as make
import pytest

from arena.garage.before_after import Change, compare_logs, document, verdict_of


def found(folder: Path, wanted_k: float, days: tuple[str, str], seed: int = 3) -> dict[str, Change]:
    """Changes by name of a pair whose charge on boost truly moves by about `wanted_k`."""
    car = make.base_car()
    first = make.driven(car, "track-session", days[0], "always-on", seed, exact=False, seconds=700.0)
    changed, _ = make.changed_core(car, first, wanted_k)
    second = make.driven(changed, "track-session", days[1], "always-on", seed + 50, exact=False, seconds=700.0)
    before = make.write_log(folder / "before.csv", first, 1)
    after = make.write_log(folder / "after.csv", second, 2)
    return {c.name: c for c in compare_logs(before, after).changes}


def test_the_same_log_twice_is_no_change(always_full: Path) -> None:
    comparison = compare_logs(always_full, always_full)
    assert comparison.changes
    assert {c.verdict for c in comparison.changes} == {"no change"}
    assert any("same recording" in note for note in comparison.notes)


@pytest.mark.parametrize(("wanted_k", "right"), [(6.0, "worse"), (-6.0, "better")])
def test_a_large_change_is_seen_across_days_of_different_weather(tmp_path: Path, wanted_k: float, right: str) -> None:
    change = found(tmp_path, wanted_k, ("mild", "warm-summer"))["iat_on_boost_k"]
    assert change.verdict == right
    assert change.low is not None and change.high is not None and change.low < wanted_k < change.high + 1.0


def test_another_day_alone_is_neither_better_nor_worse(tmp_path: Path) -> None:
    change = found(tmp_path, 0.0, ("mild", "warm-summer"))["iat_on_boost_k"]
    assert change.verdict in {"no change", "cannot tell"}


def test_pump_hours_are_compared_where_duty_is_logged(tmp_path: Path) -> None:
    car = make.base_car()
    always = make.driven(car, "commute", "mild", "always-on", 4, exact=False, seconds=700.0)
    less = make.driven(car, "commute", "mild", "every_half_minute.py", 4, exact=False, seconds=700.0)
    logs = [make.write_log(tmp_path / f"{k}.csv", truth, k) for k, truth in enumerate((always, less))]
    changes = {c.name: c for c in compare_logs(*logs).changes}
    assert changes["pump_share_pct"].verdict == "better"
    assert changes["pump_share_pct"].change == pytest.approx(-50.0, abs=10.0)
    assert changes["pump_hours_per_100_km"].verdict == "better"


def test_cannot_tell_says_what_would(tmp_path: Path, conforms: Callable[[str, object], None]) -> None:
    car = make.base_car()
    calm = make.driven(car, "commute", "mild", "always-on", 4, exact=False, seconds=200.0)
    hard = make.driven(car, "track-session", "mild", "always-on", 4, exact=False, seconds=400.0)
    logs = [make.write_log(tmp_path / f"{k}.csv", truth, k) for k, truth in enumerate((calm, hard))]
    found = compare_logs(*logs)
    for change in found.changes:
        if change.verdict == "cannot tell":
            assert change.why
    conforms("compare", document(found))


@pytest.mark.parametrize(
    ("low", "high", "verdict"),
    [(0.1, 2.0, "worse"), (-2.0, -0.1, "better"), (-0.5, 0.6, "no change"), (-0.5, 1.6, "cannot tell")],
)
def test_verdicts_from_intervals(low: float, high: float, verdict: str) -> None:
    assert verdict_of(0.5 * (low + high), low, high, 1.0) == verdict
