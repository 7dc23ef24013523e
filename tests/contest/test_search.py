"""The search of settings: what is asked, told and kept; kept scores are not worked out again, wrong ones refused."""

from __future__ import annotations

from types import SimpleNamespace
from typing import Any

import numpy as np
import pytest

from arena.contest import tune
from arena.contest.entering import contestant_of
from arena.contest.pool import Progress
from arena.contest.run import Contestant
from arena.contest.tradeoff import ALLOWED_OFF, Point, front_of, named
from arena.contest.tune import GENERATION, Search, Tuned, search_on, with_tuned
from arena.errors import BadInput
from arena.strategies import shipped

NOBODY: Any = None  # no training and no threads: nothing is played


def search(name: str = "proportional", seed: int = 1, size: int = GENERATION) -> Search:
    return Search(Contestant(name, shipped()[name]), seed, size)


def scored(candidates: list[Contestant]) -> list[float]:
    """A made-up score: how far the start temperature is from 38."""
    return [abs(c.settings.get("start_c", 20.0) - 38.0) / 10.0 for c in candidates]


@pytest.fixture(autouse=True)
def nothing_is_played(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(tune, "costs_of", lambda _, candidates, __: scored(candidates))


def test_the_first_candidate_is_the_default_and_every_one_lies_in_range() -> None:
    one = search()
    asked = one.ask(0)
    assert len(asked) == GENERATION and dict(asked[0].settings) == pytest.approx(shipped()["proportional"].defaults())
    for c in asked:
        for s in shipped()["proportional"].settings:
            assert s.low <= c.settings[s.name] <= s.high
            assert c.settings[s.name] == float(f"{c.settings[s.name]:.12g}"), "as one would type it"
    begun = Search(Contestant("p", shipped()["proportional"], {"start_c": 44.0}), 1)
    assert begun.ask(0)[0].settings["start_c"] == 44.0


def test_the_same_seed_asks_the_same_whoever_else_searches() -> None:
    def asked(seed: int, *others: str) -> list[dict[str, float]]:
        mine = search(seed=seed)
        search_on(NOBODY, [search(n) for n in others] + [mine], 3, NOBODY)
        return mine.points

    alone = asked(1)
    assert alone == asked(1, "two-speed", "pi-forward")
    assert alone != asked(2)
    assert len(alone) == 3 * GENERATION and alone[0:GENERATION] != alone[GENERATION : 2 * GENERATION]


def test_a_search_ends_at_the_best_it_has_met() -> None:
    one = search()
    told: list[Progress] = []
    search_on(NOBODY, [one], 4, NOBODY, told.append, stage="looking")
    found = one.result()
    assert found.tried == 4 * GENERATION == len(one.values)
    assert found.score == min(one.values) == one.best_score < found.default_score == one.values[0]
    assert found.contestant.tuned and found.contestant.settings["start_c"] == pytest.approx(
        38.0, abs=10 * found.score + 0.2
    )
    assert [(p.stage, p.done, p.total) for p in told] == [("looking", k, 4) for k in (1, 2, 3, 4)]
    best = [dict(p.standing)["proportional"] for p in told]
    assert best == sorted(best, reverse=True) and best[-1] == found.score
    assert one.last_values() == one.values[-GENERATION:] and one.last_points() == one.points[-GENERATION:]


def test_a_setting_that_ended_at_a_bound_is_named(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(tune, "costs_of", lambda _, cs, __: [c.settings["start_c"] for c in cs])
    one = search()
    search_on(NOBODY, [one], 8, NOBODY)
    assert any(b.startswith("start_c at its lowest") for b in one.result().at_bounds)


def test_kept_scores_are_taken_and_only_the_others_are_worked_out(monkeypatch: pytest.MonkeyPatch) -> None:
    whole = [search("proportional"), search("two-speed")]
    kept: dict[tuple[str, int], list[float]] = {}
    search_on(NOBODY, whole, 3, NOBODY, keep=lambda name, g, values: kept.update({(name, g): values}))
    assert set(kept) == {(n, g) for n in ("proportional", "two-speed") for g in range(3)}
    assert all(len(v) == GENERATION for v in kept.values())
    worked: list[int] = []

    def counted(_: Any, candidates: list[Contestant], __: Any) -> list[float]:
        worked.append(len(candidates))
        return scored(candidates)

    monkeypatch.setattr(tune, "costs_of", counted)
    for key in (("two-speed", 1), ("proportional", 2), ("two-speed", 2)):
        del kept[key]
    again, fresh = [search("proportional"), search("two-speed")], dict(kept)
    search_on(
        NOBODY, again, 3, NOBODY,
        keep=lambda name, g, values: fresh.update({(name, g): values}), kept=lambda name, g: kept.get((name, g)),
    )  # fmt: skip
    assert worked == [GENERATION, 2 * GENERATION]
    for one, other in zip(whole, again, strict=True):
        assert one.points == other.points and one.values == other.values
    assert set(fresh) == {(n, g) for n in ("proportional", "two-speed") for g in range(3)}


def test_kept_scores_of_another_number_are_refused_by_file_and_generation() -> None:
    with pytest.raises(BadInput, match=r"tuning/two-speed.json: keeps 3 scores of generation 2, not 16"):
        search_on(
            NOBODY, [search("proportional"), search("two-speed")], 3, NOBODY,
            kept=lambda name, g: [1.0] * (3 if (name, g) == ("two-speed", 1) else GENERATION),
        )  # fmt: skip


def test_settings_asked_for_by_value_are_held_and_the_others_tuned() -> None:
    mine = contestant_of("proportional+start_c=50")
    free = [s.name for s in shipped()["proportional"].settings if s.name != "start_c"]
    one = Search(mine, 1)
    assert [s.name for s in one.settings] == free
    search_on(NOBODY, [one], 2, NOBODY)
    assert {c.settings["start_c"] for c in one.ask(2)} == {50.0} and all(set(p) == set(free) for p in one.points)
    assert one.result().contestant.settings["start_c"] == 50.0
    whole = {s.name: s.default for s in shipped()["proportional"].settings}
    fixed = contestant_of("+".join(["proportional", *(f"{k}={v:g}" for k, v in whole.items())]))
    training: Any = SimpleNamespace(plan=SimpleNamespace(seed=1))
    assert set(tune.tune(training, [mine, fixed], 16, NOBODY)) == {mine.name}


def test_a_budget_is_rounded_up_to_generations() -> None:
    for trials, size, tried in ((1, 1, 1), (16, 16, 16), (17, 16, 32), (10, 4, 12)):
        made = tune.tune(SimpleNamespace(plan=SimpleNamespace(seed=1)), [Contestant("p", shipped()["proportional"])],  # type: ignore[arg-type]
                         trials, NOBODY, size=size)  # fmt: skip
        assert made["p"].tried == tried
    nothing = tune.tune(
        SimpleNamespace(plan=SimpleNamespace(seed=1)), [Contestant("on", shipped()["always-on"])], 16, NOBODY
    )  # type: ignore[arg-type]
    assert nothing == {}


def test_a_point_another_process_scored_is_met_once() -> None:
    one = search()
    one.ask(0)
    one.tell([1.0] * GENERATION)
    one.meet({"start_c": 31.0}, 0.25)
    one.meet({"start_c": 31.0}, 0.25)
    one.meet(one.points[0], 0.5)
    assert len(one.points) == len(one.values) == GENERATION + 1 and one.best_score == 0.25


def test_the_tuned_stand_beside_their_untuned_twins() -> None:
    field = [Contestant(n, shipped()[n]) for n in ("proportional", "always-on")]
    better = Contestant("proportional", shipped()["proportional"], {"start_c": 40.0}, tuned=True)
    found = with_tuned(field, {"proportional": Tuned(better, 0.1, 0.2, (), 16)})
    assert [(c.name, c.tuned, c.ranked) for c in found] == [
        ("proportional", True, True), ("proportional-untuned", False, False), ("always-on", False, True),
    ]  # fmt: skip
    assert found[1].settings == {}


def point(tracking: float, hours: float, energy: float, hot: float, score: float) -> Point:
    return Point(
        {"x": score}, {"tracking_k_h": tracking, "pump_hours": hours, "energy_wh": energy, "hot_boost_k_h": hot}, score
    )


def test_choices_are_the_cheapest_the_most_sparing_bearable_and_the_coolest() -> None:
    balanced = point(10.0, 5.0, 5.0, 2.0, 0.1)
    bearable = point(ALLOWED_OFF * 10.0 + 0.1, 2.0, 4.0, 3.0, 0.2)
    lavish = point(ALLOWED_OFF * 10.0, 2.0, 6.0, 3.0, 0.2)
    too_far = point(ALLOWED_OFF * 10.0 + 0.2, 1.0, 1.0, 9.0, 0.3)
    coolest = point(12.0, 9.0, 9.0, 0.5, 0.9)
    warmer = point(13.0, 9.0, 9.0, 0.5, 0.8)
    found = named([too_far, warmer, coolest, lavish, bearable, balanced])
    assert found == {"spares the pump": bearable, "balanced": balanced, "coolest on boost": coolest}
    with pytest.raises(BadInput, match="no settings were found"):
        named([])


def test_the_front_leaves_out_the_beaten_and_twins() -> None:
    a, b, twin = point(1.0, 3.0, 2.0, 0.0, 0.5), point(2.0, 1.0, 2.0, 0.0, 0.4), point(2.0, 1.0, 2.0, 0.0, 0.4)
    beaten, partly = point(2.0, 1.0, 2.1, 0.0, 0.4), point(3.0, 4.0, 1.0, 0.0, 0.9)
    assert front_of([partly, a, b, twin, beaten]) == [b, a, partly]
    assert front_of([]) == []


def test_penalties_of_training_worlds_in_the_worst_or_on_average(monkeypatch: pytest.MonkeyPatch) -> None:
    over = [np.array([0.0, 3.0]), np.array([0.0, 1.0])]
    monkeypatch.setattr(tune, "costs", lambda *_: np.array([[1.0], [1.0]]))
    monkeypatch.setattr(tune, "over_limit_k", lambda t: over[t.number])
    tables: Any = [SimpleNamespace(number=k, failed=np.full((2, 1, 1), "", dtype=object)) for k in (0, 1)]
    plan: Any = SimpleNamespace(season=SimpleNamespace(prices=None, wear=None))
    for worst, excess in ((False, 2.0), (True, 3.0)):
        found = tune.scores_of(tune.Training(plan, (), 4.0, 1.0, worst), tables)
        np.testing.assert_allclose(found, [0.5, 0.5 + 10.0 * (excess - 1.0)])
