"""Fits: numbers of a car never seen are found within their intervals, and what a log cannot tell is not reported."""

from __future__ import annotations

import math
from collections.abc import Callable
from dataclasses import replace
from pathlib import Path
from typing import Any

import garage_builders as make
import numpy as np
import pytest

from arena.errors import BadInput
from arena.garage.car_file import write_car
from arena.garage.fit import Fit, document, fit_log
from arena.garage.identify import covariance
from arena.garage.noise import Noise, Unseen, choose_noise, whiten
from arena.garage.parameters import moved, parameters_for
from arena.report.garage_pictures import write_residuals
from arena.report.garage_text import show_fit
from arena.scenario.car import load_car
from arena.scenario.check import check_file
from arena.units import Units


@pytest.fixture(scope="module")
def fitted(pulled: Path, tmp_path_factory: pytest.TempPathFactory) -> Fit:
    """The pulled log fitted, with its car file."""
    return fit_log(pulled, "invented-2200", out=tmp_path_factory.mktemp("cars") / "fitted.toml")


@pytest.fixture(scope="module")
def untold(always_full: Path) -> Fit:
    """A log in which the pump never changes, fitted."""
    return fit_log(always_full, "invented-2200")


def test_intervals_hold_most_of_the_truth(fitted: Fit) -> None:
    true, _ = make.drawn_car(7)
    told = [t for t in fitted.told if t.identified]
    inside = [t.low <= make.number_of(true, t.name) <= t.high for t in told]
    assert len(told) >= 2
    assert sum(inside) >= len(told) - 1  # one of several 90 % intervals may miss


def test_left_unexplained_is_little_more_than_the_probe(fitted: Fit) -> None:
    assert fitted.rms_k < 1.0
    assert fitted.rms_k < 0.3 * fitted.rms_baseline_k


def test_another_drive_is_predicted_within_a_kelvin(fitted: Fit) -> None:
    truth = make.driven(
        make.drawn_car(7)[0], "commute", "warm-summer", "every_half_minute.py", 99, exact=False, seconds=600.0
    )
    error = make.error_k(truth, fitted.estimate.car)
    assert error < 1.0
    assert error < make.error_k(truth, make.base_car())


def test_car_file_keeps_comments_and_says_what_is_measured_and_what_a_guess(fitted: Fit) -> None:
    assert fitted.out is not None
    text = fitted.out.read_text(encoding="utf-8")
    assert "filled with a measuring jug" in text
    again = load_car(fitted.out)
    told = {t.name for t in fitted.told if t.identified}
    untold = {i.key for i in fitted.estimate.problem.items if i.side != "start"} - told
    assert text.count("# measured: fitted to") == len(told)
    assert text.count("# guess, not told") == len(untold)
    known = {what: known for what, _, known in check_file(fitted.out).rows}
    for t in fitted.told:
        if t.identified:
            assert t.low is not None and t.high is not None
            assert t.low * 0.999 <= make.number_of(again.numbers(), t.name) <= t.high * 1.001
            assert known[t.name].startswith("measured: fitted to pulled.csv, 90 % interval")
    assert told <= again.given and untold <= set(again.assumed)
    assert all(known[key].startswith("assumed: guess: moved along in the fit to pulled.csv") for key in untold)
    assert known["body.bay_rise_soak_k"].startswith("assumed: guess: scaled along with body.bay_rise_cruise_k")


def test_the_car_file_predicts_as_the_fit_does(fitted: Fit) -> None:
    assert fitted.out is not None
    numbers, fit = load_car(fitted.out).numbers(), fitted.estimate.car
    for item in fitted.estimate.problem.items:
        if item.side != "start":
            section, field = item.name.split(".")
            written, found = getattr(getattr(numbers, section), field), getattr(getattr(fit, section), field)
            assert written == pytest.approx(found, rel=1e-9)


def test_told_only_leaves_the_rest_as_in_the_base_car(fitted: Fit, pulled: Path, tmp_path: Path) -> None:
    out = tmp_path / "told.toml"
    write_car(fitted.base, fitted.car, fitted.told, out, pulled.name)
    again = load_car(out)
    assert "guess, not told" not in out.read_text(encoding="utf-8")
    for told in fitted.told:
        if not told.identified:
            before = make.number_of(make.base_car(), told.name)
            assert make.number_of(again.numbers(), told.name) == pytest.approx(before)


def test_a_mark_falls_with_its_number(fitted: Fit, tmp_path: Path) -> None:
    assert fitted.out is not None
    told = next(t for t in fitted.told if t.identified)
    field = told.name.split(".")[1]
    lines = fitted.out.read_text(encoding="utf-8").split("\n")
    at = next(k for k, line in enumerate(lines) if line.startswith(f"{field} =") and "# measured" in line)
    lines[at] = f"{field} = {1.01 * make.number_of(load_car(fitted.out).numbers(), told.name):.6g}"
    mine = tmp_path / "mine.toml"
    mine.write_text("\n".join(lines), encoding="utf-8")
    car = load_car(mine)
    assert {what: known for what, _, known in check_file(mine).rows}[told.name] == "measured (given)"
    assert any(told.name in note and "passed over" in note for note in car.notes)


def test_other_ways_of_giving_a_part_are_spelt_out_and_stay_assumed(tmp_path: Path) -> None:
    mine = tmp_path / "mine.toml"
    mine.write_text(
        """[car]
name = "mine"  # my own
[core]
size = "medium"
[loop]
total_fill_l = 6.0  # from empty
[pump]
max_head_kpa = 60
max_flow_l_min = 35
bucket_l_min = 14
bucket_v = 13.2
bucket_a = 3.8
[probe]
type = "open"
""",
        encoding="utf-8",
    )
    base = load_car(mine)
    items = parameters_for(base.numbers())
    numbers = moved(base.numbers(), items, 0.3 * np.random.default_rng(1).standard_normal(len(items)))
    out = tmp_path / "out.toml"
    write_car(base, numbers, [], out, "monday.csv", [i.key for i in items if i.side != "start"])
    text, again = out.read_text(encoding="utf-8"), load_car(out)
    assert "# my own" in text and "stood here: bucket_l_min = 14" in text
    for item in items:
        if item.side != "start":
            assert item.key in again.assumed
            assert make.number_of(again.numbers(), item.key) == pytest.approx(make.number_of(numbers, item.key))
    assert "pump.rated_a" in again.assumed and "loop.glycol_pct" in again.assumed


def test_a_curve_that_the_file_would_no_longer_say_is_written_out(tmp_path: Path) -> None:
    mine = tmp_path / "mine.toml"
    mine.write_text(
        """[car]
name = "mine"
[pump]
curve = [{ flow_l_min = 0, head_kpa = 60 }, { flow_l_min = 20, head_kpa = 40 }, { flow_l_min = 40, head_kpa = 5 }]
curve_v = 10
bucket_l_min = 14
bucket_v = 13.2
bucket_a = 5
""",
        encoding="utf-8",
    )
    base, out = load_car(mine), tmp_path / "out.toml"
    pump = base.numbers().pump
    meant = replace(base.numbers(), pump=replace(pump, system_pa=1.1 * pump.system_pa))
    write_car(base, meant, [], out, "monday.csv", ["pump.system_kpa"])
    found = load_car(out).numbers().pump
    assert found.head_pa == pytest.approx(pump.head_pa) and found.head_flow_m3_s == pytest.approx(pump.head_flow_m3_s)
    assert found.system_pa == pytest.approx(1.1 * pump.system_pa)


def test_an_existing_car_file_is_not_overwritten(pulled: Path, tmp_path: Path) -> None:
    there = tmp_path / "mine.toml"
    there.write_text("mine", encoding="utf-8")
    with pytest.raises(BadInput, match="already there"):
        fit_log(pulled, "invented-2200", out=there)
    assert there.read_text(encoding="utf-8") == "mine"


def test_pump_that_never_changes_tells_nothing_of_the_coolant_side(untold: Fit) -> None:
    coolant = {"core.coolant_ha_w_k", "loop.tank_l", "pump.head_factor"}
    found = {t.name: t for t in untold.told}
    assert coolant <= set(found)
    for name in coolant:
        assert not found[name].identified
        assert "never changes" in found[name].why
        assert "pump off" in found[name].advice


def test_a_number_not_told_is_never_reported(untold: Fit, conforms: Callable[[str, Any], None]) -> None:
    conforms("fit", document(untold))
    for entry in document(untold)["parameters"]:
        if not entry["identified"]:
            assert entry["value"] is None and entry["low"] is None and entry["high"] is None
            assert entry["why_not"] and entry["drive_that_would_tell"]


def test_the_screen_tells_what_is_told_and_what_cannot_be(
    fitted: Fit, untold: Fit, capsys: pytest.CaptureFixture[str]
) -> None:
    show_fit(fitted)
    printed = capsys.readouterr().out
    assert f"left unexplained {fitted.rms_k:.2f} K RMS" in printed
    assert all((t.name in printed) for t in fitted.told) and str(fitted.out) in printed
    show_fit(untold, Units("us"))
    printed = capsys.readouterr().out
    cannot = printed[printed.index("CANNOT be told by this log") :]
    assert all(f"({t.name}): {t.why}" in cannot for t in untold.told if not t.identified)
    assert f"left unexplained {1.8 * untold.rms_k:.2f} {Units('us').difference_unit} RMS" in printed


def test_residuals_are_drawn(fitted: Fit, tmp_path: Path) -> None:
    write_residuals(fitted, tmp_path / "left.svg")
    text = (tmp_path / "left.svg").read_text(encoding="utf-8")
    assert f"{fitted.rms_k:.2f} K RMS" in text and text.count("<path") > 5
    with pytest.raises(BadInput, match=r"left\.doc"):
        write_residuals(fitted, tmp_path / "left.doc")


def test_whitened_drift_is_white() -> None:
    rng = np.random.default_rng(4)
    n, tau = 4000, 20.0
    drift = np.zeros(n)
    keep = math.exp(-1.0 / tau)
    for k in range(1, n):
        drift[k] = keep * drift[k - 1] + math.sqrt(1.0 - keep**2) * rng.standard_normal()
    series = (0.5 * drift + 0.2 * rng.standard_normal(n))[:, None]
    white = whiten(series, np.arange(float(n)), Noise(0.2, 0.5, tau, np.ones(n)))[:, 0]
    assert np.std(white) == pytest.approx(1.0, abs=0.05)
    assert abs(np.corrcoef(white[1:], white[:-1])[0, 1]) < 0.05


def test_noise_is_found_behind_what_the_car_explains() -> None:
    rng = np.random.default_rng(5)
    n = 600
    known = np.sin(np.arange(n) / 40.0)[:, None]
    residual = 3.0 * known[:, 0] + 0.3 * rng.standard_normal(n)
    noise = choose_noise(residual, 5.0 * known, np.arange(float(n)), 0.1, Unseen.none(n))
    assert noise.size_k == pytest.approx(0.3, rel=0.25)


def test_what_the_log_does_not_move_stays_open() -> None:
    jacobian = np.zeros((50, 2))
    jacobian[:, 0] = 3.0
    spread = np.sqrt(np.diag(covariance(jacobian)))
    assert spread[0] == pytest.approx(1.0 / math.sqrt(1.0 + 50 * 9.0))
    assert spread[1] == pytest.approx(1.0)
