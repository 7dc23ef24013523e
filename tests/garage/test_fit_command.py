"""`arena fit`: what is asked for is done or refused, in the units asked for, and what is said of the file is so."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import replace
from pathlib import Path
from types import SimpleNamespace
from typing import Any

import garage_builders as make
import numpy as np
import pytest
from typer.testing import CliRunner

from arena.cli import app
from arena.errors import BadInput
from arena.garage import fit as fitting
from arena.garage import health, plan
from arena.garage.estimate import pose
from arena.garage.fit import Fit, HeldOut
from arena.garage.identify import Told
from arena.garage.read_log import read_garage_log
from arena.report.garage_text import show_fit
from arena.units import Units

US, METRIC = Units("us"), Units()
ADVICE = plan.Advice(plan.PIECES[:3], 12.0, (("core.air_ha_w_k", "core"),), (1.0,), (0.3,), (False,))


@pytest.mark.parametrize(
    ("words", "faults"),
    [
        (("LOG", "--health", "--plan", "--out", "n.toml", "--plot", "n.svg"), ("--plan", "--out", "--plot")),
        (("LOG", "--health", "--told-only"), ("--told-only",)),
        (("LOG", "--told-only"), ("--told-only",)),
        (("--plan", "--health", "--out", "n.toml", "--plot", "n.svg"), ("--health", "--out", "--plot")),
        (("--plan", "--ambient", "20", "--duty", "50"), ("--ambient", "--duty")),
    ],
)
def test_what_would_do_nothing_is_refused(
    words: tuple[str, ...], faults: tuple[str, ...], tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.chdir(tmp_path)
    got = CliRunner().invoke(app, ["fit", *words])
    assert isinstance(got.exception, BadInput) and got.stdout == ""
    assert [fault.partition(" does nothing ")[0] for fault in got.exception.faults] == list(faults)
    assert list(tmp_path.iterdir()) == []


def fit_of(folder: Path, **changed: Any) -> Fit:
    """A fit as `fit_log` hands it over, of invented numbers: one told, one not."""
    told = Told("core.air_ha_w_k", "core, air side", "W/K", True, 400.0, 350.0, 450.0, "", "")
    untold = Told("pump.head_factor", "pump", "", False, None, None, None, "the pump never changes", "switch it")
    log = SimpleNamespace(name="monday.csv", seconds=300.0, seconds_used=280.0, duty_from="logged", notes=())
    values = {
        "log": log, "base": None, "estimate": None, "car": None, "told": (told, untold), "singular": np.ones(1),
        "rms_k": 0.5, "rms_baseline_k": 2.0, "time_s": np.arange(100.0), "residual_k": np.zeros(100),
        "held_out": HeldOut(0.6, 2.0, 140.0), "out": folder / "mine.toml", "notes": (),
        "guesses": ("pump.head_factor",),
    }  # fmt: skip
    return Fit(**{**values, **changed})


def test_what_is_not_told_is_said_to_stand_where_it_stands(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    moved = fit_of(tmp_path)
    for found, words, last in (
        (moved, "log, in the car file as the fit moved them along, a guess:", "it is marked a guess)"),
        (replace(moved, guesses=()), "log, left as in the car given:", "the rest is as in the car given)"),
        (replace(moved, out=None, guesses=()), "CANNOT be told by this log:", ""),
    ):
        show_fit(found)
        printed = capsys.readouterr().out
        assert words in printed and last in printed and ("car file written" in printed) == bool(last)


def planned(monkeypatch: pytest.MonkeyPatch, found: Fit, *words: str) -> tuple[str, dict[str, Any]]:
    """What `arena fit LOG --plan` prints, and how the log was fitted."""
    asked: dict[str, Any] = {}

    def fit_log(*_: Any, **how: Any) -> Fit:
        asked.update(how)
        return found

    monkeypatch.setattr(fitting, "fit_log", fit_log)
    monkeypatch.setattr(plan, "plan_drive", lambda *_: ADVICE)
    got = CliRunner().invoke(app, ["fit", "monday.csv", "--plan", *words], catch_exceptions=False)
    assert got.exit_code == 0
    return got.stdout, asked


def test_a_plan_writes_no_car_unjudged(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch, conforms: Callable[[str, Any], None]
) -> None:
    import json

    out, drawing = str(tmp_path / "mine.toml"), tmp_path / "left.svg"
    _, asked = planned(monkeypatch, fit_of(tmp_path, out=None))
    assert not asked["hold_out"], "nothing is written, so nothing need be judged"
    printed, asked = planned(monkeypatch, fit_of(tmp_path), "--out", out, "--plot", str(drawing))
    assert asked["hold_out"] and f"car file written: {out}" in printed and drawing.stat().st_size > 1000
    lost = fit_of(tmp_path, out=None, guesses=(), held_out=HeldOut(3.0, 2.0, 140.0))
    printed, _ = planned(monkeypatch, lost, "--out", out)
    assert "DO NOT USE THIS FIT" in printed and "car file written" not in printed
    document = json.loads(planned(monkeypatch, lost, "--out", out, "--json")[0])
    conforms("plan", document)
    assert document["car"] is None


def test_a_plan_speaks_the_units_asked_for(monkeypatch: pytest.MonkeyPatch, tmp_path: Path) -> None:
    # 50 and 100 km/h are 31 and 62 mph: a mile is 1.609344 km.
    printed, _ = planned(monkeypatch, fit_of(tmp_path), "--units", "us")
    assert "hold 62 mph for 120 s, pump off" in printed and "km/h" not in printed
    assert "full throttle from 31 up to 62 mph, pump full" in printed
    printed, _ = planned(monkeypatch, fit_of(tmp_path))
    assert "full throttle from 50 up to 100 km/h, pump full" in printed and "mph" not in printed


def test_health_speaks_the_units_asked_for(tmp_path: Path) -> None:
    log = read_garage_log(make.write_log(tmp_path / "step.csv", make.stepped(plan.PIECES[0], 1.0), 1))
    problem = pose(log, make.base_car())
    at_start = np.zeros(len(problem.items))
    for units, kelvin, factor in ((METRIC, "K", 1.0), (US, "degF", 1.8)):
        (line,) = (x for x in health._evidence(problem, [0.0, 1.0], np.zeros(2), units) if "pump on at" in x)
        drop = float(line.partition("reading ")[2].split()[0])
        assert f"{kelvin} within" in line and drop == pytest.approx(factor * fall(problem), abs=0.06)
        probe = health._probe(problem, at_start, units)[1][0]
        assert f"{kelvin} RMS left unexplained" in probe
    assert "60 to 100 km/h" in health._ask(METRIC) and "37 to 62 mph" in health._ask(US)


def fall(problem: Any) -> float:
    """How the reading moves from the 10 s before the pump is switched on to the second half of the next minute, K."""
    channel = problem.channels[0]
    on = int(np.flatnonzero(np.diff((problem.log.duty > 0.05).astype(int)) > 0)[0])
    seconds = (channel.tick - on) * 0.1
    before, after = (seconds > -10.0) & (seconds <= 0.0), (seconds > 30.0) & (seconds <= 60.0)
    return float(channel.value_k[after].mean() - channel.value_k[before].mean())
