"""The other answers of a tuning: pairs of axes, targets and limits, a trade-off; what is printed of them."""

from __future__ import annotations

import re
from pathlib import Path
from types import SimpleNamespace
from typing import Any

import numpy as np
import pytest
from tune_drives import DRIVE

import arena
from arena.contest import aims, tradeoff, tuning
from arena.contest.duty_table import read_table
from arena.contest.entering import contestant_of, settings_shown
from arena.contest.studies import study_name
from arena.contest.tuning import Asked, Job, TuningResult, hold_tuning, make_job
from arena.contest.tuning_files import open_folder, write_tuning
from arena.errors import BadInput
from arena.plant import layout as at
from arena.report.tune_document import tuning_document
from arena.report.tune_text import show_settings, show_tuning
from arena.scenario.season import load_season
from arena.units import Units

OFF = 4.0  # K: the farthest target tried


@pytest.fixture(scope="module")
def result(tmp_path_factory: pytest.TempPathFactory) -> TuningResult:
    """A small tuning on a short drive that answers everything but foresight."""
    drive = tmp_path_factory.mktemp("drives") / "pulls.toml"
    drive.write_text(DRIVE, encoding="utf-8")
    with pytest.MonkeyPatch.context() as patch:
        patch.setattr(tradeoff, "GENERATIONS", 2)
        patch.setattr(aims, "AIM_GENERATIONS", 1)
        patch.setattr(aims, "PAIRS", (("iat", "throttle"), ("iat", "speed"), ("iat", "coolant")))
        patch.setattr(aims, "TARGETS_K", (-OFF, 0.0, OFF))
        job = make_job(["mild"], [str(drive)], trials=16, replicates=2)
        return hold_tuning(job, 2, None, None, None, Asked(False, True, True, True))


@pytest.fixture
def printed(result: TuningResult, capsys: pytest.CaptureFixture[str]) -> str:
    show_tuning(result, Units())
    return capsys.readouterr().out


def test_a_season_is_tuned_on_whole_from_python_too(monkeypatch: pytest.MonkeyPatch) -> None:
    """`arena.tune` leaves nothing of a season out that it was not told to."""
    monkeypatch.setattr(tuning, "hold_tuning", lambda job, workers: job)
    made: Any = arena.tune(season="temperate-year", strategy="proportional")
    assert made.plan.season.entries == load_season("temperate-year").entries
    made = arena.tune(["hot"], strategy="proportional")
    assert [(e.drive, e.climate) for e in made.plan.season.entries] == [("commute", "hot"), ("hill-pulls", "hot")]


def test_what_was_not_asked_for_is_not_answered(result: TuningResult) -> None:
    assert result.foresight is None and result.seasonal is None and result.pairs and result.aims and result.tradeoff


def test_every_pair_has_its_own_table_and_the_first_is_no_different_from_itself(result: TuningResult) -> None:
    pairs = {p.pair: p for p in result.pairs}
    assert list(pairs) == [f"iat by {other}" for other in ("throttle", "speed", "coolant")]
    first = pairs["iat by throttle"]
    assert (first.less_first.value, first.less_first.low, first.less_first.high) == (0.0, 0.0, 0.0)
    for name, pair in pairs.items():
        assert f"{pair.table.axes.down.sense.name} by {pair.table.axes.across.sense.name}" == name
        assert pair.less_first.value == pytest.approx(pair.score.value - first.score.value, abs=1e-9)
        assert pair.less_first.low <= pair.less_first.value <= pair.less_first.high
    assert [n for n in result.notes if "coolant_probe" in n], "one of the pairs wants a probe the car has not"


def test_targets_and_limits_stand_about_the_seasons_own(result: TuningResult) -> None:
    season = result.job.plan.season
    tried = [(a.target_c, a.limit_c) for a in result.aims]
    assert tried == sorted(tried) and (season.target_c, season.limit_c) in tried
    assert (season.target_c - OFF, season.limit_c) in tried and (season.target_c, season.limit_c + 5.0) in tried
    own = result.aims[tried.index((season.target_c, season.limit_c))]
    assert own.less_own.value == 0.0 and own.flat
    for aim in result.aims:
        assert aim.less_own.value == pytest.approx(aim.score.value - own.score.value, abs=1e-9)
        assert aim.pump_hours.low <= aim.pump_hours.value <= aim.pump_hours.high


def test_aiming_warmer_runs_the_pump_less(result: TuningResult) -> None:
    season = result.job.plan.season
    by_target = {a.target_c: a.pump_hours.value for a in result.aims if a.limit_c == season.limit_c}
    assert by_target[season.target_c + OFF] < by_target[season.target_c - OFF]


def test_everything_answered_stands_in_the_folder(result: TuningResult, tmp_path: Path) -> None:
    folder = open_folder(result.job, tmp_path / "r", False, {"trials": 16}, [])
    assert folder is not None and result.table is not None and result.tradeoff is not None
    out = write_tuning(folder, result, lambda path, _: (path / "drawn").write_text("by the report")).folder
    assert out is not None and (out / "drawn").is_file()
    names = {p.stem for p in (out / "tables").iterdir()}
    mine = {f"{t}{end}" for t in ("tuned-table", *(p.pair.replace(" ", "-") for p in result.pairs))
            for end in ("", "-turned", "-visits")}  # fmt: skip
    assert names == mine | {n.replace(" ", "-") for n in result.tradeoff.contestants}
    for name, made in result.tradeoff.contestants.items():
        assert made.table is not None
        assert read_table(out / "tables" / f"{name.replace(' ', '-')}.csv").cells == pytest.approx(
            np.asarray(made.table[2])
        )
    with (out / "tradeoff.csv").open(encoding="utf-8") as lines:
        assert len(list(lines)) == 1 + len(result.tradeoff.front)


def test_choices_lie_on_the_front_and_are_what_they_are_called(result: TuningResult) -> None:
    found = result.tradeoff
    assert found is not None and len(found.front) > 1
    front = {tuple(p.settings.items()): p.figures for p in found.front}
    assert all(tuple(c.settings.items()) in front for c in found.choices.values())
    hours, off = ([f[name] for f in front.values()] for name in ("pump_hours", "tracking_k_h"))
    assert hours == sorted(hours), "by rising pump hours"
    for one in front.values():
        better = [o for o in front.values() if all(o[a] < one[a] for a in tradeoff.AIMS)]
        assert not better, "nothing on the front is beaten in everything"
    spares = found.choices["spares the pump"].figures
    assert spares["pump_hours"] == min(h for h, t in zip(hours, off, strict=True) if t <= spares["tracking_k_h"] + 1e-9)
    assert found.choices["coolest on boost"].figures[tradeoff.HOT] == min(f[tradeoff.HOT] for f in front.values())


def test_the_screen_tells_all_of_it(result: TuningResult, printed: str) -> None:
    assert all(p.pair in printed for p in result.pairs)
    assert "Shapes tuned for other targets and limits" in printed and "Flat (surely within 0.02" in printed
    assert result.tradeoff is not None
    for name, point in result.tradeoff.choices.items():
        assert f"{name}: " in printed, point
    shown = printed[printed.index("Pairs of axes") :]
    assert "no difference to be told" in shown or "worse" in shown or "better" in shown


def test_the_document_tells_it_too(result: TuningResult, conforms) -> None:  # type: ignore[no-untyped-def]
    document = tuning_document(result)
    conforms("tune", document)
    assert [p["pair"] for p in document["axes"]] == [p.pair for p in result.pairs]


def test_what_a_strategy_carries_is_tuned_with_it(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    drive = tmp_path / "pulls.toml"
    drive.write_text(DRIVE, encoding="utf-8")

    def job(strategy: str) -> Job:
        return make_job(["mild"], [str(drive)], strategy=strategy, trials=16, replicates=2)

    plain, capped = job("proportional"), job("proportional+quiet_cap_pct=40+run_on_s=60")
    assert (capped.contestant.name, capped.contestant.quiet_cap_pct, capped.contestant.run_on_s) == (
        "proportional",
        40.0,
        60.0,
    )
    names = [study_name(j.plan, j.contestant, None, "main") for j in (plain, capped)]
    assert names[0] != names[1], "two studies: what they find is not the same"
    with pytest.raises(BadInput, match="start_c is what tuning looks for"):
        job("proportional+start_c=35")
    with pytest.raises(BadInput, match="tuned carrying nothing"):
        job("gated-table+quiet_cap_pct=40")
    result = hold_tuning(capped, workers=1)
    assert (result.contestant.quiet_cap_pct, result.contestant.run_on_s) == (40.0, 60.0)
    assert settings_shown(result.contestant)["quiet_cap_pct"] == 40.0
    show_settings(result)
    screen = capsys.readouterr().out
    assert re.search(r"quiet_cap_pct\W+40\W+100\b", screen) and re.search(r"run_on_s\W+60\W+0\b", screen)
    assert settings_shown(job("proportional+quiet_cap_pct=28").contestant)["quiet_cap_pct"] == 28.0, "to the bit"


def test_what_hardware_cannot_hold_and_decimal_commas_are_told_with_a_tuning(tmp_path: Path) -> None:
    drive, mine = tmp_path / "pulls.toml", tmp_path / "mine.csv"
    drive.write_text(DRIVE, encoding="utf-8")
    mine.write_text("iat_c \\ throttle_pct;0;50\n20;0;12,5\n60;60;90\n", encoding="utf-8")
    job = make_job(["mild"], [str(drive)], strategy="two-speed+quiet_cap_pct=40", trials=4, replicates=2)
    assert any("its hardware cannot hold a duty of 40 %" in note for note in hold_tuning(job, workers=1).notes)
    drive.write_text(DRIVE.replace("to_kmh = 120", "to_kmh = 290\n  longest_s = 5"), encoding="utf-8")
    job = make_job(["mild"], [str(drive)], against=mine, trials=4, replicates=2)
    mine.unlink()
    result = hold_tuning(job, 2, asked=Asked(foresight=False))
    assert any(note.startswith("pulls: ") and "290" in note for note in result.notes), result.notes
    assert f"{mine}: decimal commas are read as decimal points" in result.notes
    mine.write_text("rpm \\ throttle_pct,0,50\n800,0,12\n6000,60,90\n", encoding="utf-8")
    with pytest.raises(BadInput, match="neither axis is a temperature"):
        make_job(["mild"], [str(drive)], against=mine, trials=4, replicates=2)


def test_watts_of_a_resistor_are_those_of_its_own_step_while_it_is_warm(monkeypatch: pytest.MonkeyPatch) -> None:
    """Two outings: off, on through one resistor, through the other (three-speed), full; peak and mean of each."""
    duty = ([0.0, 0.33, 0.33, 0.66, 1.0], [0.33, 0.33, 0.66, 0.66, 0.66])
    watts = ([7.0, 0.0, 0.5, 9.0, 99.0], [20.0, 40.0, 0.0, 1.0, 5.0])
    traces = {}
    for k in range(2):
        traces[k] = np.zeros((5, 1, at.TRACE_COLUMNS))
        traces[k][:, 0, at.T_DUTY], traces[k][:, 0, at.T_RESISTOR_W] = duty[k], watts[k]
    monkeypatch.setattr(tuning, "play", lambda outing, *_, **__: SimpleNamespace(trace=traces[outing]))
    training: Any = SimpleNamespace(outings=[(SimpleNamespace(compiled=k), 0) for k in range(2)])
    three = contestant_of("three-speed")
    first, second = tuning.resistors(training, three)
    assert (first.setting, second.setting) == three.strategy.ohms
    assert (first.peak_w, first.mean_on_w) == (40.0, pytest.approx((0.5 + 20 + 40) / 3))
    assert (second.peak_w, second.mean_on_w) == (9.0, 5.0)
    (only,) = tuning.resistors(training, contestant_of("two-speed"))
    assert (only.peak_w, only.mean_on_w) == (40.0, pytest.approx((0.5 + 9 + 20 + 40 + 1 + 5) / 6))
    shipped = contestant_of("two-speed").strategy
    assert only.ohm == next(s.default for s in shipped.settings if s.name == shipped.ohms[0])
    assert tuning.resistors(training, contestant_of("proportional")) == ()


def test_aims_move_target_or_limit_never_both(result: TuningResult) -> None:
    season = result.job.plan.season
    wanted = {(season.target_c + t, season.limit_c) for t in (-OFF, 0.0, OFF)}
    wanted |= {(season.target_c, season.limit_c + k) for k in aims.LIMITS_K}
    assert {(a.target_c, a.limit_c) for a in result.aims} == wanted
