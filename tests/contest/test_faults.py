"""What a fault does to a run: sound up to its onset, broken from there on, and what the laws make of it."""

from __future__ import annotations

from functools import cache
from pathlib import Path
from typing import Any

import numpy as np
import pytest

from arena.contest.single import SingleRun, drive_once
from arena.contest.spans import SpannedOuting, spans_of
from arena.contest.tournament import hold_tournament
from arena.errors import BadInput
from arena.plant import layout as at
from arena.plant.numbers import Goals
from arena.report import terminal
from arena.scenario.fault import load_fault
from arena.strategies import shipped

IAT, READING, INTO_CORE, DUTY, CURRENT, SPEED, FLOW = 0, 1, 3, 8, 10, 11, 12
SENSING = [name for name, s in shipped().items() if "iat_c" in s.senses]
SHIPPED_FAULTS = [
    "air-locked", "alternator-off", "blocked-front", "coolant-low", "fan-dead", "hot-restart", "probe-open",
    "probe-short", "probe-slow", "pump-stalled", "weak-pump",
]  # fmt: skip


@cache
def run(strategy: str = "always-on", fault: str = "", climate: str = "mild", drive: str = "hill-pulls") -> SingleRun:
    return drive_once(drive, climate, strategy=strategy, record=True, fault=fault or None)


def onset(broken: SingleRun) -> int:
    assert isinstance(broken.compiled, SpannedOuting)
    return broken.compiled.later[0].first


def recorded(one: SingleRun) -> Any:
    assert one.record is not None
    return one.record


@pytest.mark.parametrize("fault", ["probe-open", "probe-short", "pump-stalled", "air-locked", "alternator-off"])
def test_up_to_the_onset_it_is_the_sound_run_bit_for_bit(fault: str) -> None:
    whole, broken = run("proportional"), run("proportional", fault)
    first = onset(broken)
    assert whole.compiled.score_from < first < whole.compiled.ticks
    assert np.array_equal(recorded(whole)[:first], recorded(broken)[:first])
    assert not np.array_equal(recorded(whole)[first:], recorded(broken)[first:])


@pytest.mark.parametrize("fault", SHIPPED_FAULTS)
def test_temperatures_stay_between_the_weather_and_the_charger_with_a_fault(fault: str) -> None:
    trace = recorded(run("proportional", fault))
    assert np.isfinite(trace).all()
    path = run("proportional", fault).compiled.air
    assert trace[:, IAT].min() >= 288.0
    assert trace[:, IAT].max() < max(path.charger_out_k.max(), path.bay_k.max())


@pytest.mark.parametrize("fault", ["probe-open", "probe-short"])
@pytest.mark.parametrize("strategy", SENSING)
def test_every_fail_safe_is_kept_from_the_tick_after_the_probe_failed(strategy: str, fault: str) -> None:
    broken = run(strategy, fault, climate="winter")
    trace, x = recorded(broken), broken.compiled.X
    first = onset(broken) + 1 + 10  # the reading of a tick is looked at in the next; the soft start takes half a second
    key = x[first:, at.X_KEY] > 0.0
    wanted = shipped()[strategy].failsafe_duty
    assert (trace[first:, DUTY][key] == wanted).all()
    sound = recorded(run(strategy, climate="winter"))
    assert sound[first:, DUTY][key].mean() < 0.9, "in winter the sound law holds back, so that the above says something"


@pytest.mark.parametrize("cap", [20.0])
def test_a_failed_probe_puts_the_quiet_cap_aside(cap: float) -> None:
    broken = drive_once(
        "hill-pulls", strategy="proportional", settings={"quiet_cap_pct": cap}, record=True, fault="probe-open"
    )
    first = onset(broken) + 11
    key = broken.compiled.X[first:, at.X_KEY] > 0.0
    slow = broken.compiled.X[first:, at.X_SPEED] < 5.0
    assert (key & slow).sum() > 100
    assert (recorded(broken)[first:, DUTY][key & slow] == 1.0).all()


def test_a_user_law_with_no_fail_safe_is_shown_for_what_it_is(tmp_path: Path) -> None:
    from arena.strategies.starter import strategy_starter

    path = tmp_path / "bare.py"
    path.write_text(strategy_starter("bare").replace("failsafe_duty=1.0", "failsafe_duty=0.0"), encoding="utf-8")
    bare = drive_once("hill-pulls", "warm-summer", strategy=str(path), fault="probe-open")
    safe = drive_once("hill-pulls", "warm-summer", strategy="two-speed", fault="probe-open")
    assert bare.figures["boost_p95_c"] > safe.figures["boost_p95_c"] + 20.0  # type: ignore[operator]


def test_a_stalled_pump_draws_its_stall_current_and_moves_nothing() -> None:
    broken = run(fault="pump-stalled")
    after = recorded(broken)[onset(broken) + 30 :]
    key = broken.compiled.X[onset(broken) + 30 :, at.X_KEY] > 0.0
    assert (after[:, FLOW] == 0.0).all()
    pump, supply = broken.car.numbers().pump, broken.car.numbers().supply
    engine = broken.compiled.X[onset(broken) + 30 :, at.X_ENGINE] > 0.0
    expected = (supply.running_v - pump.brush_v) / (pump.resistance_ohm + supply.lead_ohm)
    assert after[key & engine, CURRENT].max() == pytest.approx(expected, rel=0.01)
    assert not broken.failed, "the stall is the fault, not a failing of the law"


def test_a_worn_pump_moves_less_and_an_air_lock_nothing_while_it_spins_faster() -> None:
    whole, weak, locked = run(), run(fault="weak-pump"), run(fault="air-locked")
    late = slice(whole.compiled.ticks // 2, whole.compiled.ticks // 2 + 600)
    flow = [float(recorded(r)[late, FLOW].mean()) for r in (whole, weak, locked)]
    # at one speed flow goes as head^(1/1.9): 0.76 of it; the lighter load lets the motor turn a little faster
    assert 0.76 <= flow[1] / flow[0] < 0.9
    assert flow[2] == 0.0
    speed = [float(recorded(r)[late, SPEED].mean()) for r in (whole, weak, locked)]
    assert speed[0] < speed[1] < speed[2]
    assert np.mean(recorded(locked)[late, CURRENT]) < np.mean(recorded(whole)[late, CURRENT])


def test_without_an_alternator_the_battery_falls_at_the_given_rate() -> None:
    broken = run(fault="alternator-off")
    first, x = onset(broken), broken.compiled.X
    off_v = broken.car.numbers().supply.off_v
    assert x[first, at.X_SUPPLY] == pytest.approx(off_v)
    assert x[first + 6000, at.X_SUPPLY] == pytest.approx(off_v - 1.5 * 600.0 / 3600.0)
    assert recorded(broken)[first + 600, FLOW] < recorded(run())[first + 600, FLOW]


def test_a_blocked_front_and_a_dead_fan_leave_less_air() -> None:
    whole = recorded(run(climate="hot"))
    blocked = recorded(run(fault="blocked-front", climate="hot"))
    late = slice(12000, 18000)
    assert blocked[late, INTO_CORE].mean() > whole[late, INTO_CORE].mean() + 1.0
    turning = run(climate="desert-extreme", drive="closed-road")
    dead = run(fault="fan-dead", climate="desert-extreme", drive="closed-road")
    on = turning.played.fan_on > 0.0
    assert on.sum() > 600
    assert (dead.played.fan_on == 0.0).all()
    air, still = (r.compiled.X[:, at.X_FRONT_A] for r in (turning, dead))
    assert (still[on] < 0.5 * air[on]).all()
    assert np.array_equal(still[~on], air[~on])


def test_less_coolant_heats_up_faster_in_a_pull() -> None:
    whole, low = recorded(run()), recorded(run(fault="coolant-low"))
    first = run().compiled.score_from
    assert low[first:, INTO_CORE].max() > whole[first:, INTO_CORE].max() + 0.5
    _, _, tables = next(spans_of(run(fault="coolant-low").compiled))
    assert tables[0][at.P_LINK_W] == pytest.approx(0.15 * run().compiled.P[at.P_LINK_W])


def test_a_slow_probe_lags_but_the_air_is_the_same_under_a_law_that_does_not_look() -> None:
    whole, slow = recorded(run()), recorded(run(fault="probe-slow"))
    assert np.array_equal(whole[:, IAT], slow[:, IAT])
    assert slow[:, READING].max() < whole[:, READING].max() - 3.0


def test_a_hot_restart_finds_the_core_and_the_bay_hotter() -> None:
    whole, hot = run(), run(fault="hot-restart")
    begin = [r.compiled.score_from for r in (whole, hot)]
    metal = [recorded(r)[b, 2] for r, b in zip((whole, hot), begin, strict=True)]
    assert metal[1] > metal[0] + 10.0
    extra = (hot.compiled.ticks - begin[1]) - (whole.compiled.ticks - begin[0])
    assert 0 < extra < 100, "the drive itself is the same but for the seconds of starting the engine"


def test_what_begins_after_the_end_is_bad_input(tmp_path: Path) -> None:
    path = tmp_path / "late.toml"
    path.write_text('[fault]\nname = "late"\nfrom_s = 50000\n[pump]\nstalled = true\n', encoding="utf-8")
    with pytest.raises(BadInput, match="begins 50000 s into a drive of"):
        drive_once("hill-pulls", fault=path)
    path.write_text('[fault]\nname = "late"\nfrom_s = 100\n[pump]\nstalled = true\n', encoding="utf-8")
    broken = drive_once("hill-pulls", fault=path)
    assert onset(broken) == broken.compiled.score_from + 1000
    assert any(e.source == "fault" and e.tick == onset(broken) for e in broken.played.events)


def test_a_fault_plays_the_same_bytes_twice() -> None:
    once = drive_once("hill-pulls", strategy="pi-forward", fault="coolant-low", record=True)
    again = drive_once("hill-pulls", strategy="pi-forward", fault=load_fault("coolant-low"), record=True)
    assert recorded(once).tobytes() == recorded(again).tobytes()
    assert once.figures == again.figures


SEASON = """
[season]
name = "three faults"
source = "invented"
[prices]
tracking_per_k_h = 0.1
wear_per_h = 0.04
energy_per_kwh = 0.95
"""


@pytest.fixture(scope="module")
def faulty(tmp_path_factory: pytest.TempPathFactory) -> Path:
    path = tmp_path_factory.mktemp("faulty") / "three.toml"
    rows = "".join(
        f'[[outing]]\ndrive = "hill-pulls"\nclimate = "warm-summer"\nper_year = 1\nfault = "{fault}"\n'
        for fault in ("probe-open", "air-locked", "weak-pump")
    )
    path.write_text(SEASON + rows, encoding="utf-8")
    return path


def test_the_standings_of_a_faults_season_say_who_protects(
    faulty: Path, tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    from arena.strategies.starter import strategy_starter

    path = tmp_path / "bare.py"
    path.write_text(strategy_starter("bare").replace("failsafe_duty=1.0", "failsafe_duty=0.0"), encoding="utf-8")
    names = ["always-on", "proportional", str(path)]
    result = hold_tournament(faulty, strategies=names, trials=0, replicates=1, spread=0.0)
    found = {p.contestant: p for p in result.protection}
    assert [p.contestant for p in result.protection][-1] == "always-off"
    assert found["proportional"].seconds_over < found["bare"].seconds_over
    runs = {r.fault: r for r in found["proportional"].runs}
    assert list(runs) == ["probe-open", "air-locked", "weak-pump"]
    assert runs["probe-open"].noticed == "fail-safe"
    assert runs["air-locked"].noticed in {"more", "full already"}
    assert runs["air-locked"].worst_c > runs["weak-pump"].worst_c + 20.0  # type: ignore[operator]
    assert runs["air-locked"].seconds_over > 0.0
    assert all(r.noticed == "full already" for r in found["always-on"].runs)
    terminal.tournament(result, per_climate=True)
    printed = capsys.readouterr().out
    assert "in warm-summer alone:" in printed and "Who protects the engine: on boost after the fault" in printed
    for fault, run in runs.items():
        line = next(x for x in printed.splitlines() if x.startswith(f"{fault} "))
        mark = {"fail-safe": "f", "more": "+", "less": "-", "full already": "=", "no": "."}[run.noticed]
        assert f" {terminal.figure(run.seconds_over, 0)}{mark}" in line, "seconds over, and what the law made of it"
    assert all(r.noticed in {"no", "fail-safe"} for r in found["always-off"].runs)
    worst = {r.fault: r.worst_c for r in found["always-on"].runs}
    alone = drive_once("hill-pulls", "warm-summer", fault="air-locked", goals=Goals())
    assert worst["air-locked"] is not None
    assert worst["air-locked"] >= alone.figures["boost_p95_c"]  # type: ignore[operator]


def test_a_season_without_faults_has_no_such_table(small_season: Path) -> None:
    result = hold_tournament(small_season, strategies=["two-speed"], trials=0, replicates=1, spread=0.0)
    assert result.protection == ()


def test_one_worker_protects_as_two_do(faulty: Path) -> None:
    def held(workers: int) -> Any:
        return hold_tournament(
            faulty, strategies=["two-speed", "reserve-keeper"], trials=0, replicates=2, workers=workers
        ).protection

    assert held(1) == held(2)
