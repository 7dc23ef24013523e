"""Laws on a played drive: a user's own, what any can carry, and what stands between the law and the pump."""

from __future__ import annotations

import subprocess
import sys
from dataclasses import replace
from functools import cache
from pathlib import Path
from typing import Any

import numpy as np
import pytest

from arena.contest.entering import contestant_of, settings_shown
from arena.contest.laws import law_of
from arena.contest.run import Contestant, lay_out, play
from arena.contest.single import SingleRun, compile_one, drive_once
from arena.contest.tournament import entrants, hold_tournament
from arena.contest.worlds import batches
from arena.errors import BadInput
from arena.plant import layout as at
from arena.plant.compile import CompiledOuting
from arena.plant.numbers import CarNumbers, Control, Goals, Probe
from arena.scenario.car import load_car
from arena.scenario.climate import load_climate
from arena.scenario.drive import load_drive
from arena.strategies import strategy_named

DUTY, READING = 8, 1  # columns of a recorded run


@cache
def outing(control: Control | None = None, probe: Probe | None = None, climate: str = "mild") -> CompiledOuting:
    numbers = load_car("invented-2200").numbers()
    numbers = replace(numbers, control=control or numbers.control, probe=probe or numbers.probe)
    return compile_one(load_drive("hill-pulls"), load_climate(climate), numbers, 1, Goals())[1]


def recorded(contestant: Contestant, compiled: CompiledOuting | None = None) -> tuple[Any, Any]:
    """(ticks, columns) of one contestant, and the inputs it met."""
    compiled = compiled or outing()
    found = play(compiled, lay_out([contestant]), trace_lanes=1, trace_columns=at.TRACE_COLUMNS)
    assert found.trace is not None
    return found.trace[:, 0, :], compiled.X


def starts_of(duty: Any) -> int:
    return int(((duty[1:] > 0.0) & (duty[:-1] == 0.0)).sum())


# --- a user's own law --------------------------------------------------------------------------------


def test_a_user_law_runs_compiled_and_as_it_does_interpreted(law_file: Any) -> None:
    mine = Contestant("mine", strategy_named(str(law_file())))
    assert law_of(mine.strategy).compiled
    fast, slow = (play(outing(), lay_out([mine], interpret), 1, at.TRACE_COLUMNS) for interpret in (False, True))
    np.testing.assert_allclose(fast.rows, slow.rows, rtol=1e-9, atol=1e-9)
    assert fast.trace is not None and slow.trace is not None
    np.testing.assert_allclose(fast.trace, slow.trace, rtol=1e-9, atol=1e-9)


@pytest.mark.parametrize(
    "written", ["STRATEGY: Strategy = Strategy(", "WARM = Setting('a', 'K', 0.0, 1.0, 0.5, 'b')\nSTRATEGY = Strategy("]
)
def test_a_law_beside_its_declarations_is_compiled_however_they_are_written(law_file: Any, written: str) -> None:
    assert law_of(strategy_named(str(law_file(("STRATEGY = Strategy(", written))))).compiled


def test_a_law_may_work_out_its_numbers_with_its_own_functions(law_file: Any) -> None:
    """What is compiled for the loop is called from Python here, in a line at the top of the file; a process of its own,
    since such a call once ended it.
    """
    from_half = "def half(x: float) -> float:\n    return 0.5 * x\n\n\nHALF = half(1.0)\n\n\nSTRATEGY = Strategy("
    path = law_file(("STRATEGY = Strategy(", from_half))
    code = (
        "import sys; from arena.contest.laws import law_of; from arena.strategies import strategy_named; "
        "print(law_of(strategy_named(sys.argv[1])).compiled)"
    )
    done = subprocess.run([sys.executable, "-c", code, str(path)], capture_output=True, text=True, check=False)
    assert (done.returncode, done.stdout.strip()) == (0, "True"), done.stderr


def test_a_table_law_reads_the_same_table_interpreted() -> None:
    gated = contestant_of("gated-table")
    np.testing.assert_allclose(
        play(outing(), lay_out([gated])).rows,
        play(outing(), lay_out([gated], interpret=True)).rows,
        rtol=1e-9,
        atol=1e-9,
    )


def test_what_does_not_compile_runs_interpreted_with_a_note_naming_the_line(law_file: Any) -> None:
    path = law_file(("running = memory.running", 'running = float(f"{memory.running:.3f}")'))
    run = drive_once("hill-pulls", strategy=str(path))
    plain = drive_once("hill-pulls", strategy=str(law_file()))
    assert not run.failed
    assert run.figures == plain.figures
    assert any("runs interpreted, slower" in note and "line 37" in note for note in run.notes)
    assert not any("interpreted" in note for note in plain.notes)


ROAD = "    if sensed.throttle_pct > 99.97 and sensed.throttle_pct < 99.99:\n        "  # met on the road only


@pytest.mark.parametrize(
    ("what", "said"),
    [
        ('raise ValueError("odd throttle")', "ValueError: odd throttle"),
        ("return 1.5, memory", "returns 1.5 for the duty"),
        ('return float("nan"), memory', "returns NaN for the duty"),
    ],
)
def test_a_law_that_fails_on_the_road_is_failed_with_line_and_cause(law_file: Any, what: str, said: str) -> None:
    path = law_file(("running = memory.running\n", f"running = memory.running\n{ROAD}{what}\n"))
    run = drive_once("hill-pulls", strategy=str(path))
    told = "\n".join(run.notes)
    assert run.failed == "law returned no usable number"
    assert run.failed_s > 0.0
    assert f"{path}: line 39: {said}" in told
    assert "throttle_pct 99.9" in told


def test_a_division_by_zero_on_the_road_is_told_though_compiled_it_goes_on(law_file: Any) -> None:
    what = "running = 1.0 / (memory.running - memory.running)"
    run = drive_once("hill-pulls", strategy=str(law_file(("= memory.running\n", f"= memory.running\n{ROAD}{what}\n"))))
    assert any("line 39: ZeroDivisionError" in note for note in run.notes)
    sound = drive_once("hill-pulls", strategy=str(law_file()))
    assert sound.notes == sound.played.notes


def test_a_user_law_is_tuned_and_ranked_with_the_rest(law_file: Any, small_plan: Path) -> None:
    path = str(law_file())
    result = hold_tournament(small_plan, strategies=[path, "two-speed"], trials=32, replicates=1, spread=0.0)
    line = result.standings.line("mine")
    assert line.place is not None
    assert line.score is not None
    assert result.train_scores["mine"] < result.default_train_scores["mine"]


def test_many_laws_of_users_compete_at_once(law_file: Any) -> None:
    mine = [contestant_of(str(law_file(name=f"law-{k}"))) for k in range(20)]
    found = batches([*mine, *(replace(c, name=f"{c.name}-again") for c in mine)])
    assert sorted(c.name for lanes in found for c in lanes.contestants) == sorted(
        f"law-{k}{end}" for k in range(20) for end in ("", "-again")
    )
    first = play(outing(), found[0]).rows
    assert len({first[:, k].tobytes() for k in range(first.shape[1])}) == 1


def test_a_law_that_fails_in_a_tournament_is_last_with_its_cause(law_file: Any, small_plan: Path) -> None:
    path = law_file(("running = memory.running\n", f"running = memory.running\n{ROAD}return 2.0, memory\n"))
    result = hold_tournament(small_plan, strategies=[str(path), "two-speed"], trials=0, replicates=1, spread=0.0)
    assert result.standings.line("mine").score is None
    assert any("line 39: returns 2 for the duty" in note for note in result.notes)


@pytest.fixture
def small_plan(tmp_path: Path) -> Path:
    path = tmp_path / "pulls.toml"
    path.write_text(
        '[season]\nname = "pulls"\nsource = "invented"\n[prices]\ntracking_per_k_h = 0.1\nwear_per_h = 0.04\n'
        'energy_per_kwh = 0.95\n[[outing]]\ndrive = "hill-pulls"\nclimate = "mild"\nper_year = 10\n',
        encoding="utf-8",
    )
    return path


# --- what any strategy can carry ---------------------------------------------------------------------


@pytest.mark.parametrize("name", ["always-on", "proportional", "gated-table", "pi-forward", "reserve-keeper"])
def test_the_quiet_cap_holds_at_low_speed_and_only_there(name: str) -> None:
    hot = outing(climate="hot")
    trace, x = recorded(contestant_of(f"{name}+quiet_cap_pct=30"), hot)
    free, _ = recorded(contestant_of(name), hot)
    slow = x[:, at.X_SPEED] <= 10.0
    settled = slow & np.r_[False, slow[:-1]]
    assert trace[settled, DUTY].max() <= 0.3
    assert free[settled, DUTY].max() > 0.3
    assert trace[~slow, DUTY].max() > 0.3


@pytest.mark.parametrize(
    ("name", "cap", "held"), [("hysteresis-switch", 60, 0.0), ("three-speed", 60, 0.5), ("three-speed", 80, 0.75),
                              ("two-speed", 60, 0.5), ("two-speed", 40, 0.0), ("two-speed", 100, 1.0)]
)  # fmt: skip
def test_a_switch_is_held_to_what_it_can_hold_and_that_is_said(name: str, cap: float, held: float) -> None:
    run = drive_once("hill-pulls", "hot", strategy=name, settings={"quiet_cap_pct": cap}, record=True)
    assert run.record is not None
    slow = run.compiled.X[:, at.X_SPEED] <= 10.0
    assert run.record[slow & np.r_[False, slow[:-1]], DUTY].max() == held
    assert any("cannot hold a duty" in note for note in run.notes) == (held != cap / 100.0)


def test_run_on_keeps_the_pump_going_after_key_off_for_as_long_as_said() -> None:
    trace, x = recorded(contestant_of("always-on+run_on_s=12"))
    off = x[:, at.X_KEY] == 0.0
    ran = off & (trace[:, DUTY] > 0.0)
    assert off.sum() > 200
    assert ran.sum() in {119, 120}
    assert x[ran, at.X_KEY_OFF_S].max() < 12.0
    plain, _ = recorded(contestant_of("always-on"))
    assert (plain[off, DUTY] == 0.0).all()


def test_a_law_that_wants_no_pump_gets_none_in_its_run_on() -> None:
    trace, _x = recorded(contestant_of("always-off+run_on_s=30"))
    assert (trace[:, DUTY] == 0.0).all()


def test_what_carrying_costs_is_told_by_the_same_run_without() -> None:
    capped = drive_once("commute", "hot", strategy="proportional", settings={"quiet_cap_pct": 20})
    free = drive_once("commute", "hot", strategy="proportional")
    assert free.carried_cost is None
    assert capped.carried_cost is not None
    assert capped.carried_cost["quiet_minutes"] < 0.0
    for name, cost in capped.carried_cost.items():
        assert capped.figures[name] - free.figures[name] == pytest.approx(cost, abs=1e-9)
    assert settings_shown(capped.contestant)["quiet_cap_pct"] == 20.0


def test_carried_settings_are_checked_like_others() -> None:
    with pytest.raises(BadInput, match=r"quiet_cap_pct=120: outside 0..100 %"):
        contestant_of("proportional", {"quiet_cap_pct": 120.0})
    with pytest.raises(BadInput, match="unknown setting 'quite_cap_pct'"):
        contestant_of("proportional", {"quite_cap_pct": 50.0})
    with pytest.raises(BadInput, match=r"start_c=90: outside 10..55 degC"):
        contestant_of("proportional+start_c=90")


def test_the_same_strategy_can_enter_with_and_without_a_cap() -> None:
    names = [c.name for c in entrants(["proportional", "proportional+quiet_cap_pct=40"])]
    assert names == ["proportional", "proportional+quiet_cap_pct=40", "always-on", "always-off"]
    with pytest.raises(BadInput, match="entered twice"):
        entrants(["proportional", "proportional"])


# --- between the law and the pump, as the car's file says ----------------------------------------------


def test_a_slower_control_rate_asks_the_law_less_often() -> None:
    trace, x = recorded(contestant_of("proportional+floor_pct=30"), outing(Control(period_ticks=20)))
    fell = np.r_[False, np.diff(trace[:, DUTY]) < -1e-9]  # downwards: upwards the soft start takes its time
    asked = np.flatnonzero(fell & (x[:, at.X_KEY] > 0.0))
    assert len(asked) > 20
    assert set(asked % 20) == {0}


@pytest.mark.parametrize("step", [0.05, 0.25])
def test_duty_comes_in_the_steps_the_computer_can_hold(step: float) -> None:
    trace, _ = recorded(contestant_of("proportional"), outing(Control(duty_step=step)))
    down = np.r_[False, np.diff(trace[:, DUTY]) <= 0.0]  # not while the soft start rises
    held = trace[down, DUTY] / step
    assert np.abs(held - np.round(held)).max() < 1e-9
    assert len(set(np.round(held))) > 2


def test_the_start_delay_holds_back_every_start() -> None:
    late, _ = recorded(contestant_of("hysteresis-switch"), outing(Control(start_delay_s=1.5)))
    soon, _ = recorded(contestant_of("hysteresis-switch"), outing(Control(start_delay_s=0.0)))
    first = [int(np.flatnonzero(trace[:, DUTY] > 0.0)[0]) for trace in (late, soon)]
    assert first[0] - first[1] == 15


def test_reading_comes_in_the_steps_of_the_computer_and_with_its_noise() -> None:
    fine, _ = recorded(contestant_of("always-on"), outing(probe=Probe(step_k=0.0, noise_k=0.0)))
    coarse, _ = recorded(contestant_of("always-on"), outing(probe=Probe(step_k=2.0, noise_k=0.0)))
    noisy, _ = recorded(contestant_of("always-on"), outing(probe=Probe(step_k=0.0, noise_k=0.5)))
    steps = (coarse[:, READING] - 273.15) / 2.0
    assert np.abs(steps - np.round(steps)).max() < 1e-6
    assert np.abs(coarse[:, READING] - fine[:, READING]).max() <= 1.0 + 1e-6
    assert np.std(noisy[:, READING] - fine[:, READING]) == pytest.approx(0.5, rel=0.03)


def test_control_and_probe_are_keys_of_the_car_file(tmp_path: Path) -> None:
    path = tmp_path / "slow.toml"
    path.write_text(
        '[car]\nname = "slow"\n[control]\nperiod_s = 0.5\nduty_step_pct = 10\nstart_delay_s = 1\n'
        "[probe]\nstep_k = 1\nnoise_k = 0.3\n",
        encoding="utf-8",
    )
    numbers: CarNumbers = load_car(path).numbers()
    assert numbers.control == Control(5, 0.1, 1.0)
    assert (numbers.probe.step_k, numbers.probe.noise_k) == (1.0, 0.3)


def test_starts_in_the_figures_are_those_of_the_pump_and_keep_to_the_limit() -> None:
    def run(limit: float) -> SingleRun:
        settings = {"starts_per_hour": limit, "on_c": 32.0, "hysteresis_k": 0.5}
        return drive_once("commute", "mild", strategy="hysteresis-switch", settings=settings, record=True)

    few, many = run(6), run(600)
    for one in (few, many):
        assert one.record is not None
        duty = one.record[:, DUTY][one.compiled.score_from - 1 :]
        assert one.figures["pump_starts"] == starts_of(duty)
    hours = (few.compiled.ticks - few.compiled.score_from) / 36000
    keys = starts_of(few.compiled.X[few.compiled.score_from - 1 :, at.X_KEY])  # a restart of the engine starts it too
    assert few.figures["pump_starts"] <= 6 * hours + 1 + keys
    assert many.figures["pump_starts"] > few.figures["pump_starts"]
