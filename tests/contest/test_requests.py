"""What is asked of a tuning and a tournament before anything is played, and what comes of tables read elsewhere."""

from __future__ import annotations

import time
from dataclasses import replace
from pathlib import Path
from types import SimpleNamespace
from typing import Any

import numpy as np
import pytest

from arena.contest import tuning
from arena.contest.axes import Axes, Axis
from arena.contest.entering import check_settings, contestant_of, notes_on, stall_note, table_notes
from arena.contest.pool import in_order, pool_of
from arena.contest.run import Contestant
from arena.contest.table_shape import contestant_with
from arena.contest.tournament import MOST_REPLICATES, MOST_TRIALS, entrants, hold_tournament, make_plan
from arena.contest.tuning import make_job, on_axes, resistors, season_of
from arena.errors import BadInput
from arena.plant import layout as at
from arena.plant.numbers import CarNumbers
from arena.scenario.derived import sure_duty
from arena.strategies import shipped

FINE = Axes("fine", Axis("iat_c", (20.0, 30.0, 40.0)), Axis("throttle_pct", (0.0, 25.0, 100.0)), 0.01, 0.35)


@pytest.mark.parametrize(
    ("words", "fault"),
    [
        ({"trials": 0}, "--trials 0 is outside 1.."),
        ({"trials": MOST_TRIALS + 1}, f"--trials {MOST_TRIALS + 1} is outside"),
        ({"replicates": 1}, "--replicates 1 is outside 2..1000"),
        ({"replicates": 1001}, "--replicates 1001 is outside 2..1000"),
        ({"spread": -0.01}, "--spread -0.01 is outside 0..0.3"),
        ({"spread": 0.31}, "--spread 0.31 is outside 0..0.3"),
        ({"seed": -1}, "--seed -1 is outside"),
        ({"seed": 2**63}, "is outside 0..2"),
        ({"strategy": "two-speed", "aside": "--best-axes"}, "--best-axes: two-speed has no table"),
    ],
)
def test_a_tuning_beyond_its_limits_is_refused(words: dict[str, Any], fault: str) -> None:
    with pytest.raises(BadInput, match=fault.replace("+", r"\+")):
        make_job(["mild"], **words)


@pytest.mark.parametrize("words", [{"trials": 1}, {"trials": MOST_TRIALS}, {"replicates": 2}, {"replicates": 1000},
                                   {"spread": 0.0}, {"spread": 0.3}, {"seed": 0}, {"seed": 2**63 - 1}])  # fmt: skip
def test_the_limits_themselves_are_taken(words: dict[str, Any]) -> None:
    job = make_job(["mild"], ["commute"], **words)
    for name, value in words.items():
        assert getattr(job if name in {"trials", "replicates"} else job.plan, name) == value
    assert job.axes is not None and job.against is None and job.contestant.name == "gated-table"


@pytest.mark.parametrize(("trials", "replicates"), [(-1, 6), (MOST_TRIALS + 1, 6), (0, 0), (0, MOST_REPLICATES + 1)])
def test_a_tournament_beyond_its_limits_is_refused(trials: int, replicates: int) -> None:
    with pytest.raises(BadInput, match=r"--(trials|replicates) -?\d+ is outside"):
        hold_tournament(trials=trials, replicates=replicates)


def test_the_season_of_a_tuning_is_what_was_asked_for() -> None:
    made, path = season_of(["commute", "hill-pulls", "commute"], ["hot", "winter"])
    pairs = [(e.drive, e.climate, e.outings_per_year) for e in made.entries]
    assert pairs == [(d, c, 1.0) for c in ("hot", "winter") for d in ("commute", "hill-pulls")] and path is None
    assert made.name == "commute, hill-pulls in hot, winter"
    whole, _ = season_of(season="temperate-year")
    part, file = season_of(["commute"], ["hot"], "temperate-year")
    assert [(e.drive, e.climate) for e in part.entries] == [("commute", "hot")] and file is not None
    assert len(whole.entries) > len(season_of(["commute"], [], "temperate-year")[0].entries) > 1
    assert len({whole.digest, part.digest, made.digest}) == 3
    assert (part.prices, part.target_c) == (whole.prices, whole.target_c) == (made.prices, made.target_c)


def table_by(down: str, across: str, cells: Any) -> Contestant:
    axes = Axes("t", Axis(down, (20.0, 40.0)), Axis(across, (0.0, 100.0)), 0.01, 0.35)
    return contestant_with(axes, np.asarray(cells), "theirs")


def test_a_table_is_read_at_the_breakpoints_of_others_axes() -> None:
    cells = [[0.0, 0.4], [0.6, 1.0]]
    wanted = [[0.0, 0.1, 0.4], [0.3, 0.4, 0.7], [0.6, 0.7, 1.0]]
    np.testing.assert_allclose(on_axes(table_by("iat_c", "throttle_pct", cells), FINE), wanted)
    turned = table_by("throttle_pct", "iat_c", np.transpose(cells))  # its breakpoints are those of the other sense
    turned = Contestant("t", turned.strategy, table=((0.0, 100.0), (20.0, 40.0), np.transpose(cells)))
    np.testing.assert_allclose(on_axes(turned, FINE), wanted)
    np.testing.assert_allclose(on_axes(turned, FINE.turned()), np.transpose(wanted))
    assert not on_axes(table_by("iat_c", "map_kpa", cells), FINE).any()
    assert not on_axes(table_by("coolant_c", "throttle_pct", cells), FINE).any()


def resistor_runs(monkeypatch: pytest.MonkeyPatch, duty: list[float], watts: list[float]) -> Any:
    trace = np.zeros((len(duty), 1, at.TRACE_COLUMNS))
    trace[:, 0, at.T_DUTY], trace[:, 0, at.T_RESISTOR_W] = duty, watts
    monkeypatch.setattr(tuning, "play", lambda *_, **__: SimpleNamespace(trace=trace))
    return SimpleNamespace(outings=((SimpleNamespace(compiled=None), None),) * 2)


def test_heat_of_a_resistor_is_that_of_its_own_step(monkeypatch: pytest.MonkeyPatch) -> None:
    training = resistor_runs(monkeypatch, [0.0, 0.5, 0.5, 0.75, 1.0, 0.5], [0.0, 10.0, 20.0, 7.0, 0.0, 0.0])
    three = shipped()["three-speed"]
    low, high = resistors(training, Contestant("three", three, dict(zip(three.ohms, (2.0, 0.7), strict=True))))
    assert (low.setting, low.ohm, low.peak_w, low.mean_on_w) == (three.ohms[0], 2.0, 20.0, 15.0)
    assert (high.setting, high.ohm, high.peak_w, high.mean_on_w) == (three.ohms[1], 0.7, 7.0, 7.0)
    two = shipped()["two-speed"]
    (only,) = resistors(training, Contestant("two", two, {two.ohms[0]: 1.5}))
    assert (only.peak_w, only.mean_on_w) == (20.0, pytest.approx(37.0 / 3.0))
    idle = resistor_runs(monkeypatch, [0.0, 1.0], [0.0, 0.0])
    assert [(r.peak_w, r.mean_on_w) for r in resistors(idle, Contestant("two", two))] == [(0.0, 0.0)]
    assert resistors(idle, Contestant("p", shipped()["proportional"])) == ()


def test_a_table_is_read_with_the_cars_lowest_duty_unless_it_says(tmp_path: Path) -> None:
    path = tmp_path / "mine.csv"
    path.write_text("iat_c \\ throttle_pct,0,100\n20,0,20\n40,60,100\n", encoding="utf-8")
    car = CarNumbers()
    surely = round(100.0 * sure_duty(car), 6)
    (note,) = table_notes(contestant_of(f"table:{path}", car=car))
    assert f"under {surely:g} %" in note and f"down to {surely - 10.0:g} %" in note
    assert "1 of its 4 cells lie between" in note
    assert table_notes(contestant_of(f"table:{path}")) == [], "without a car it is read as it stands"
    assert table_notes(contestant_of(f"table:{path}+lowest_pct=20", car=car)) == []
    assert table_notes(contestant_of(f"table:{path}+lowest_pct=0", car=car)) == []
    assert table_notes(contestant_of("gated-table", car=car)) == []


def test_settings_at_the_ends_of_their_range_are_taken_and_all_faults_told() -> None:
    law = shipped()["proportional"]
    for s in law.settings:
        check_settings(law, {s.name: s.low})
        check_settings(law, {s.name: s.high})
    first, second = law.settings[:2]
    with pytest.raises(BadInput) as caught:
        check_settings(law, {first.name: first.low - 1.0, second.name: second.high + 1.0, "none": 0.0})
    assert len(caught.value.faults) == 3


def test_a_pump_that_did_not_start_is_told_what_to_do() -> None:
    car, stalled = CarNumbers(), at.REASONS[2]
    assert stall_note(Contestant("p", shipped()["proportional"]), at.REASONS[1], car) == []
    (note,) = stall_note(Contestant("p", shipped()["proportional"]), stalled, car)
    assert f"{100.0 * sure_duty(car):.0f} % surely does" in note and "hang" not in note
    (note,) = stall_note(Contestant("two", shipped()["two-speed"]), stalled, car)
    assert "resistance" in note


def test_work_is_given_back_in_its_order_and_a_failure_calls_the_rest_off() -> None:
    with pool_of(2) as pool:
        assert in_order(pool, lambda k: k * k, range(20)) == [k * k for k in range(20)]
        done: list[int] = []

        def work(k: int) -> None:
            if k == 0:
                raise RuntimeError("broken")
            time.sleep(0.01)
            done.append(k)

        with pytest.raises(RuntimeError, match="broken"):
            in_order(pool, work, range(500))
    assert len(done) < 250
    for workers in (0, 257, -1):
        with pytest.raises(BadInput, match=f"--workers {workers} is outside 1..256"):
            pool_of(workers)
    for workers in (1, 256):
        pool_of(workers).shutdown()


def test_a_plan_knows_the_files_it_came_from() -> None:
    names = {f"{p.parent.name}/{p.name}" for p in make_plan("weekend-track").sources}
    assert {"seasons/weekend-track.toml", "cars/invented-2200.toml"} <= names
    assert any(n.startswith("drives/") for n in names) and any(n.startswith("climates/") for n in names)


def test_a_strategy_may_not_be_called_like_anothers_twin(tmp_path: Path) -> None:
    from arena.strategies.starter import strategy_starter

    path = tmp_path / "mine.py"
    path.write_text(strategy_starter("mine").replace('name="mine"', 'name="proportional-untuned"'), encoding="utf-8")
    assert entrants([str(path)])[0].name == "proportional-untuned"
    with pytest.raises(BadInput, match="untuned twin of proportional"):
        entrants([str(path), "proportional"])


def test_resistors_on_a_pump_that_takes_a_signal_are_said_to_be_none() -> None:
    car = CarNumbers()
    signal = replace(car, pump=replace(car.pump, kind="signal"))
    two = Contestant("two", shipped()["two-speed"])
    assert any("takes a signal" in note for note in notes_on(two, signal))
    assert notes_on(two, car) == [] == notes_on(Contestant("p", shipped()["proportional"]), signal)
