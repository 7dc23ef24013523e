"""Standings worked out by hand from made-up runs: scores, places, ties, figures of a year, what-ifs."""

from __future__ import annotations

import numpy as np
import pytest
from standings_builders import WEIGHTS, runs, season

from arena.contest.comparing import compare
from arena.contest.standings import (
    FEW_WORLDS,
    HARD_LIMIT_K,
    RunTable,
    costs,
    notes_on,
    over_limit_k,
    rank,
    resampled,
    share_of_wins,
    widened,
)
from arena.errors import BadInput

FOUR = (1.0, 1.2, 0.9, 1.1)  # always-on's tracking in four worlds


def field(**other: tuple[float, ...]) -> RunTable:
    return runs({"always-on": FOUR, **{k.replace("_", "-"): v for k, v in other.items()}}, unranked=("always-off",))


def times(factor: float) -> tuple[float, ...]:
    return tuple(factor * v for v in FOUR)


def test_a_year_costs_tracking_wear_and_energy_at_their_prices() -> None:
    table = field()
    table.values["energy_wh"][0] = [[100.0] * 4, [10.0] * 4]
    table.values["pump_starts"][0] = [[1.0] * 4, [2.0] * 4]
    table.wear_parts[:, 0] = np.array([[9.0, 9.0], [0.1, 0.2], [7.0, 7.0]])[:, :, None]  # only 1.5 counts
    wear = 20 * (0.1 + 0.5 * 1.0) + 50 * (0.2 + 0.5 * 2.0)
    wanted = [2.0 * 20 * v + 3.0 * wear + 5.0 * (20 * 0.1 + 50 * 0.01) for v in FOUR]
    np.testing.assert_allclose(costs(table, season().prices, season().wear)[0], wanted)


def test_a_score_is_the_share_of_what_always_on_costs_and_the_lowest_comes_first() -> None:
    found = rank(field(dear=times(0.5), cheap=times(0.2), always_off=times(0.1)), season(), 1)
    assert [(x.contestant, x.place) for x in found.lines] == [
        ("always-off", None), ("cheap", 1), ("dear", 2), ("always-on", None),
    ]  # fmt: skip
    assert [x.score for x in found.lines] == pytest.approx([0.1, 0.2, 0.5, 1.0])
    assert [x.ranked for x in found.lines] == [False, True, True, False]
    for line in found.lines:  # the same share in every world: nothing to be unsure of
        assert line.score_low == pytest.approx(line.score) and line.score_high == pytest.approx(line.score)
        assert (line.failed_runs, line.over_limit_k, line.breaks_limit, line.tied_with) == (0, 0.0, False, ())
    assert set(found.beats) == {("cheap", "dear", 1.0), ("dear", "cheap", 0.0)}
    assert found.worlds == 4


def test_an_interval_is_the_middle_of_the_scores_of_worlds_drawn_again() -> None:
    uneven = (0.2, 0.6, 0.1, 0.4)
    table = field(uneven=uneven)
    line = rank(table, season(), 9).line("uneven")
    assert line.score == pytest.approx(sum(uneven) / sum(FOUR))
    assert line.score_low is not None and line.score_high is not None
    drawn = resampled(costs(table, season().prices, season().wear), 0, 9)
    assert drawn.shape[0] == 2 and np.ptp(drawn[0]) == pytest.approx(0.0, abs=1e-12)
    raw = line.score + (drawn[1] - line.score) / widened(4)
    shares = [u / f for u, f in zip(uneven, FOUR, strict=True)]
    assert min(shares) - 1e-9 <= raw.min() < raw.max() <= max(shares) + 1e-9
    assert (line.score_low, line.score_high) == pytest.approx(tuple(np.quantile(drawn[1], (0.025, 0.975))))
    assert line.score_low < line.score < line.score_high


def test_who_cannot_be_told_apart_shares_a_place() -> None:
    """a beats b in two worlds and loses in two; c is worse than both in all; d is a's double."""
    found = rank(
        field(a=(0.2, 0.3, 0.2, 0.3), b=(0.3, 0.2, 0.3, 0.2), c=(0.8, 0.9, 0.8, 0.9), d=(0.2, 0.3, 0.2, 0.3)),
        season(),
        1,
    )
    ties = {n: (found.line(n).place, set(found.line(n).tied_with)) for n in "abcd"}
    assert ties == {"a": (1, {"b", "d"}), "b": (1, {"a", "d"}), "c": (4, set()), "d": (1, {"a", "b"})}
    wins = {(a, b): share for a, b, share in found.beats}
    assert wins["a", "d"] == 0.5 and wins["a", "c"] == 1.0 and wins["c", "b"] == 0.0
    assert wins["a", "b"] + wins["b", "a"] == pytest.approx(1.0)


def test_a_failed_run_costs_the_place_and_the_score() -> None:
    table = field(fails=times(0.1), sound=times(0.5))
    table.failed[1, 1, 2] = "pump stalled"
    found = rank(table, season(), 1)
    line = found.line("fails")
    assert (line.place, line.score, line.score_low, line.score_high, line.failed_runs) == (None, None, None, None, 1)
    assert [x.contestant for x in found.lines] == ["sound", "always-on", "fails"]
    assert found.line("sound").place == 1 and found.beats == () and found.line("fails").tied_with == ()
    assert all(w.order == ("sound",) for w in found.what_if)
    assert found.notes == (f"only 4 replicates: intervals and ties say little below {FEW_WORLDS}",)


@pytest.mark.parametrize(("excess", "breaks"), [(0.99 * HARD_LIMIT_K, False), (1.01 * HARD_LIMIT_K, True)])
def test_who_breaks_the_limit_comes_behind_and_ties_with_nobody(excess: float, breaks: bool) -> None:
    table = field(hot=times(0.1), twin=times(0.1), cold=times(0.5))
    table.values["over_limit_k_s"][1, 0] = 100.0 * excess  # on 100 s of boost an outing
    table.values["over_limit_k_s"][2, 0] = [0.0, 100.0, 0.0, 100.0]
    np.testing.assert_allclose(over_limit_k(table), [0.0, excess, 0.5, 0.0])
    found = rank(table, season(), 1)
    assert found.line("hot").over_limit_k == pytest.approx(excess) and found.line("hot").breaks_limit == breaks
    assert found.line("hot").score == pytest.approx(0.1)
    assert found.line("hot").place == (3 if breaks else 1) and found.line("twin").place == 1
    assert found.line("hot").tied_with == (() if breaks else ("twin",))
    assert all(w.order[-1] == ("hot" if breaks else "cold") for w in found.what_if)
    made = compare_lines(table, "cold")
    assert [x.breaks_limit for x in made] == [False, breaks, False, False]


def compare_lines(table: RunTable, mine: str) -> list:  # type: ignore[type-arg]
    class Plan:
        season = season()
        seed = 1

    return list(compare(Plan(), table, mine).lines)  # type: ignore[arg-type]


def test_a_season_without_boost_cannot_be_over_its_limit() -> None:
    table = field(one=times(0.5))
    table.limit_s[:] = 0.0
    assert over_limit_k(table).tolist() == [0.0, 0.0]


def test_figures_of_a_year_are_sums_or_means_by_outings() -> None:
    table = field(one=times(0.5))
    table.values["pump_hours"][1] = [[1.0, 2.0, 3.0, 4.0], [0.5, 0.5, 0.5, 0.5]]
    table.values["boost_p95_c"][1] = [[40.0, 42.0, 44.0, 46.0], [np.nan, np.nan, np.nan, 30.0]]
    table.values["minutes_to_target"][1] = np.nan
    table.wear_parts[1, 1] = [[0.1, 0.1, 0.1, 0.5], [0.0, 0.0, 0.0, 0.0]]
    table.values["pump_starts"][1, 0] = 2.0
    figures = rank(table, season(), 1).line("one").figures
    assert figures["pump_hours"] == pytest.approx(20 * 2.5 + 50 * 0.5)
    warm = 20 * (40 + 42 + 44 + 46) + 50 * 30
    assert figures["boost_p95_c"] == pytest.approx(warm / (4 * 20 + 50))
    assert figures["minutes_to_target"] is None
    assert figures["wear_hours"] == pytest.approx(20 * (0.2 + 0.5 * 2.0))
    assert figures["energy_wh"] == 0.0


def test_what_ifs_change_one_price_or_the_wear_law() -> None:
    """`tracks` costs by tracking alone, `wears` by wear: at 1.5 and 0.5 h a start as much as half of always-on."""
    table = field(tracks=times(0.5), wears=times(0.0))
    year = 2.0 * WEIGHTS[0] * np.mean(FOUR)  # always-on's, tracking only
    table.values["pump_starts"][2, 0] = 1.0
    table.wear_parts[:, 2, 0] = np.array([0.06, 0.04, 0.02])[:, None]
    table.values["energy_wh"][2, 0] = 40.0

    def wears(wear: float, energy: float = 1.0) -> float:
        return float((3.0 * 20 * wear + energy * 5.0 * 20 * 0.04) / year)

    found = {w.what: dict(zip(w.order, w.scores, strict=True)) for w in rank(table, season(), 1).what_if}
    usual = 0.04 + 0.5
    wanted = {
        "tracking price halved": (0.5, 2.0 * wears(usual)),
        "tracking price doubled": (0.5, 0.5 * wears(usual)),
        "wear price halved": (0.5, wears(0.5 * usual)),
        "wear price doubled": (0.5, wears(2.0 * usual)),
        "energy price halved": (0.5, wears(usual, 0.5)),
        "energy price doubled": (0.5, wears(usual, 2.0)),
        "wear exponent 1, 0 h a start": (0.5, wears(0.06)),
        "wear exponent 1, 0.05 h a start": (0.5, wears(0.06 + 0.05)),
        "wear exponent 2, 0 h a start": (0.5, wears(0.02)),
        "wear exponent 2, 0.05 h a start": (0.5, wears(0.02 + 0.05)),
    }
    assert list(found) == list(wanted)
    for what, (tracks, worn) in wanted.items():
        assert found[what]["tracks"] == pytest.approx(tracks), what
        assert found[what]["wears"] == pytest.approx(worn), what
        assert list(found[what].values()) == sorted(found[what].values()), "best first"


def test_exact_draws_count_half() -> None:
    assert share_of_wins(np.array([1.0, 2.0, 3.0, 4.0]), np.array([1.0, 3.0, 2.0, 5.0])) == pytest.approx(2.5 / 4)


def test_where_always_on_costs_nothing_there_is_no_score() -> None:
    table = field(one=times(0.5))
    table.values["tracking_k_h"][:] = 0.0
    with pytest.raises(BadInput, match="nothing to measure by"):
        rank(table, season(), 1)


def test_few_worlds_and_a_failed_yardstick_are_told() -> None:
    assert notes_on(FEW_WORLDS) == []
    assert notes_on(1) == [f"only 1 replicate: intervals and ties say little below {FEW_WORLDS}"]
    one, two = notes_on(FEW_WORLDS, 1)[0], notes_on(FEW_WORLDS, 2)[0]
    assert "FAILED 1 run:" in one and "FAILED 2 runs:" in two


def test_deviations_of_few_worlds_are_widened_as_students_t_says() -> None:
    """t at 97.5 % with 1, 3 and 5 degrees of freedom: 12.706, 3.182, 2.571 (any table of Student's t); normal 1.960."""
    assert widened(1) == 1.0
    for worlds, quantile in ((2, 12.706), (4, 3.182), (6, 2.571)):
        assert widened(worlds) == pytest.approx(np.sqrt(worlds / (worlds - 1)) * quantile / 1.960, rel=1e-3)


def test_a_comparison_is_by_pairs_with_the_chosen_one() -> None:
    """`mine` costs half of always-on in every world; `other` a little more or less, by turns."""
    other = (0.6, 0.4, 0.6, 0.5)
    table = field(mine=times(0.5), other=other)
    table.values["pump_hours"][1, 0], table.values["pump_hours"][2, 0] = 1.0, 3.0
    table.failed[2, 0, 1] = "pump stalled"
    yard, mine, its = compare_lines(table, "mine")
    assert (yard.contestant, mine.contestant, its.contestant) == ("always-on", "mine", "other")
    assert (yard.score.value, mine.score.value) == pytest.approx((1.0, 0.5))
    assert its.score.value == pytest.approx(sum(other) / sum(FOUR))
    assert its.difference.value == pytest.approx(0.5 - sum(other) / sum(FOUR))
    assert its.difference.low < its.difference.value < its.difference.high
    assert (yard.difference.low, yard.difference.high) == pytest.approx((-0.5, -0.5))
    assert (mine.difference.value, mine.difference.low, mine.difference.high) == (0.0, 0.0, 0.0)
    assert (yard.wins, mine.wins) == (1.0, 0.5) and 0.0 < its.wins < 1.0
    assert its.figures["pump_hours"].value == pytest.approx(60.0)
    assert its.figure_differences["pump_hours"].value == pytest.approx(20.0 - 60.0)
    assert (yard.failed, its.failed) == ((), ("pump stalled",))
