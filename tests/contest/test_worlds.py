"""Worlds: cars drawn from the spread, seeds keyed by circumstance, the attainable envelope."""

from __future__ import annotations

from pathlib import Path

import numpy as np

from arena.contest.outings import envelope
from arena.contest.run import Contestant, lay_out, play
from arena.contest.tournament import make_plan
from arena.contest.worlds import CARS, SPREAD, TRAIN_FROM, car_of_world, latin_draws, play_entry
from arena.plant import layout as at
from arena.strategies import shipped


def test_a_block_of_cars_is_a_latin_hypercube() -> None:
    """Every number has one draw in each of as many equal slices as there are cars; the next block differs."""
    draws = np.array([latin_draws(1, k, len(SPREAD)) for k in range(CARS)])
    slices = np.floor((draws + 1.0) / 2.0 * CARS).astype(int)
    for column in slices.T:
        assert sorted(column) == list(range(CARS))
    assert not np.array_equal(draws[0], latin_draws(1, CARS, len(SPREAD)))
    assert not np.array_equal(draws[0], latin_draws(2, 0, len(SPREAD)))


def test_numbers_given_vary_less_than_numbers_assumed(small_season: Path) -> None:
    plan = make_plan(small_season, spread=0.1)
    base = plan.car.numbers()
    cars = [car_of_world(plan, k) for k in range(60)]
    widest = {
        (s, k): max(abs(getattr(getattr(c, s), k) / getattr(getattr(base, s), k) - 1.0) for c in cars) / (0.1 * factor)
        for s, k, factor in SPREAD
    }
    given = [w for (s, k), w in widest.items() if plan.car.origin.get(f"{s}.{k}") == "given"]
    assumed = [w for (s, k), w in widest.items() if plan.car.origin.get(f"{s}.{k}") != "given"]
    assert given and assumed
    assert max(given) <= 0.3 + 1e-9
    assert 0.9 < max(assumed) <= 1.0 + 1e-9


def test_training_worlds_are_none_of_the_ranking(small_season: Path) -> None:
    plan = make_plan(small_season)
    assert car_of_world(plan, 0) != car_of_world(plan, TRAIN_FROM)
    here, there = play_entry(plan, 0, 0, plan.car.numbers()), play_entry(plan, 0, TRAIN_FROM, plan.car.numbers())
    assert not np.array_equal(here.compiled.X[:2000, at.X_NOISE], there.compiled.X[:2000, at.X_NOISE])


def test_nobody_is_charged_for_the_impossible(small_season: Path) -> None:
    """In a hot climate always-on is the coldest that can be had, so it tracks without a fault while on boost."""
    outing = play_entry(make_plan(small_season, spread=0.0), 1, 0, make_plan(small_season).car.numbers())
    low, high = envelope(outing.compiled)
    assert np.all(low <= high)
    assert low.max() > 273.15 + 33.0, "warmer than the target of 30 degC and its band at times"
    lanes = lay_out([Contestant("always-on", shipped()["always-on"])])
    assert play(outing.compiled, lanes).row(at.HOT_BOOST)[0] == 0.0
    assert np.all(outing.compiled.X[:, at.X_HOT_T] >= low + 3.0 - 1e-9)
    assert np.all(outing.compiled.X[:, at.X_LIMIT_T] >= low - 1e-9)


def test_outings_go_by_names_not_by_paths(small_season: Path, tmp_path: Path) -> None:
    """The same files elsewhere are the same outings with the same seeds; two files of one name are told apart."""
    drive = '[drive]\nname = "mine"\nsource = "invented"\n[[phase]]\ndo = "cruise"\nspeed_kmh = 50\nseconds = 60\n'
    head = small_season.read_text(encoding="utf-8").split("[[outing]]")[0]
    row = '\n[[outing]]\ndrive = "{}"\nclimate = "mild"\nper_year = 1\n'
    plans = []
    for folder in ("here", "there"):
        place = tmp_path / folder
        place.mkdir()
        (place / "a.toml").write_text(drive, encoding="utf-8")
        (place / "b.toml").write_text(drive.replace("60", "70"), encoding="utf-8")
        rows = row.format(place / "a.toml") + row.format(place / "b.toml")
        (place / "s.toml").write_text(head + rows, encoding="utf-8")
        plans.append(make_plan(place / "s.toml"))
    assert [plans[0].outing_id(e) for e in (0, 1)] == ["mine/mild", "mine/mild~2"]
    assert [plans[1].outing_id(e) for e in (0, 1)] == ["mine/mild", "mine/mild~2"]
    worlds = [play_entry(plan, 0, 0, plan.car.numbers()).compiled.X for plan in plans]
    np.testing.assert_array_equal(worlds[0], worlds[1])
