"""Starting files: each passes its check and runs as it is, nothing is written over, bad wishes get one clear line."""

from __future__ import annotations

import json
from pathlib import Path

import pytest
from evening_builders import phone_log, run

from arena.errors import BadInput
from arena.plant.numbers import CarNumbers
from arena.scenario.car import car_toml, load_car
from arena.scenario.season import load_season
from arena.scenario.starters import KINDS, name_from, new_file, season_with

PATHS = {kind: f"my-{kind}.py" if kind == "strategy" else f"my-{kind}.toml" for kind in KINDS}
Capture = pytest.CaptureFixture[str]
Patch = pytest.MonkeyPatch


@pytest.mark.parametrize("kind", KINDS)
def test_a_starting_file_passes_its_check_as_it_is(
    tmp_path: Path, kind: str, capsys: Capture, monkeypatch: Patch
) -> None:
    monkeypatch.chdir(tmp_path)
    assert run(["new", kind, PATHS[kind]], capsys, monkeypatch)[0] == 0
    code, out, error = run(["check", "--quick", PATHS[kind], "--json"], capsys, monkeypatch)
    assert code == 0, error
    (found,) = json.loads(out)["files"]
    assert found["kind"] == kind
    assert found["notes"] == [], "a starting file should not be remarked upon"


def test_starting_files_run_as_they_are(tmp_path: Path, capsys: Capture, monkeypatch: Patch) -> None:
    monkeypatch.chdir(tmp_path)
    for kind in KINDS:
        assert run(["new", kind, PATHS[kind]], capsys, monkeypatch)[0] == 0
    words = ["drive", PATHS["drive"], "--climate", PATHS["climate"], "--car", PATHS["car"]]
    code, out, error = run([*words, "--strategy", PATHS["strategy"], "--json"], capsys, monkeypatch)
    assert code == 0, error
    run_ = json.loads(out)
    assert (run_["drive"], run_["climate"], run_["car"]) == ("my-drive", "my-climate", "my-car")
    assert run_["figures"]["pump_hours"] > 0.0
    assert run_["notes"] == []
    assert run([*words, "--fault", PATHS["fault"]], capsys, monkeypatch)[0] == 0
    tournament = ["tournament", PATHS["season"], "--trials", "0", "--replicates", "1", "--strategy", "proportional"]
    code, out, error = run([*tournament, "--json"], capsys, monkeypatch)
    assert code == 0, error
    assert json.loads(out)["season"] == "my-season"


def test_a_file_name_may_hold_any_letter(tmp_path: Path, monkeypatch: Patch) -> None:
    monkeypatch.chdir(tmp_path)
    for name in ("way \U0001f600.csv", 'say "so" \\ é.csv', "del\x7f.csv"):
        Path(name).write_text("time,speed\n" + "".join(f"{t},{min(t, 50)}\n" for t in range(120)), "utf-8")
        maker = season_with(Path("year.toml"), [name], ["mild"])
        Path("year.toml").write_text(maker("year"), "utf-8")
        assert Path(load_season("year.toml").entries[0].drive).name == name
    Path("car.toml").write_text(car_toml(CarNumbers(), "my \U0001f697", ""), "utf-8")
    assert load_car("car.toml").name == "my \U0001f697"


def test_a_text_that_cannot_be_written_leaves_no_file(tmp_path: Path) -> None:
    with pytest.raises(BadInput, match="cannot be written"):
        new_file(tmp_path / "x.toml", "\udcff")
    assert not (tmp_path / "x.toml").exists()


def test_a_new_drive_in_a_season_competes_at_once(tmp_path: Path, capsys: Capture, monkeypatch: Patch) -> None:
    monkeypatch.chdir(tmp_path)
    phone_log(tmp_path / "two-columns.csv")
    (tmp_path / "plain.csv").write_text("time,speed\n" + "".join(f"{t},{min(t, 50)}\n" for t in range(120)), "utf-8")
    assert run(["new", "drive", "mydrive.toml"], capsys, monkeypatch)[0] == 0
    words = ["new", "season", "year.toml", "--drive", "mydrive.toml", "--drive", "plain.csv", "--climate", "hot"]
    assert run(words, capsys, monkeypatch)[0] == 0
    words = ["tournament", "year.toml", "--trials", "0", "--replicates", "1", "--strategy", "two-speed", "--json"]
    code, out, error = run(words, capsys, monkeypatch)
    assert code == 0, error
    found = json.loads(out)
    assert {Path(o["drive"]).name for o in found["outings"]} == {"mydrive", "plain"}


def test_nothing_is_written_over(tmp_path: Path, capsys: Capture, monkeypatch: Patch) -> None:
    monkeypatch.chdir(tmp_path)
    (tmp_path / "mine.toml").write_text("precious", encoding="utf-8")
    code, out, error = run(["new", "car", "mine.toml"], capsys, monkeypatch)
    assert (code, out) == (2, "")
    assert "mine.toml: is there already" in error
    assert (tmp_path / "mine.toml").read_text(encoding="utf-8") == "precious"


@pytest.mark.parametrize(
    ("words", "said"),
    [
        (["new", "cra", "x.toml"], 'unknown kind "cra", did you mean "car"?'),
        (["new", "car", "x.txt"], "x.txt: a car file ends in .toml"),
        (["new", "strategy", "x.toml"], "x.toml: a strategy file ends in .py"),
        (["new", "car", "no/such/x.toml"], "no/such/x.toml: cannot be written"),
        (["new", "car", "x.toml", "--drive", "commute"], "belong to a season"),
        (["new", "season", "x.toml", "--drive", "comute"], 'did you mean "commute"'),
        (["new", "season", "x.toml", "--from-logs", "nowhere"], "nowhere: is no folder"),
        (["new", "season", "x.toml", "--from-logs", "."], "holds no log"),
        (["check", "x.toml", "--units", "imperial"], "--units imperial"),
        (["check", "x.toml", "--columns", "nocolumns.toml"], "nocolumns.toml"),
        (["drive", "commute", "--columns", "speed_kmh=Speed"], "names the columns of its traces itself"),
        (["drive", "commute", "--columns", "sped_kmh=Speed"], 'did you mean "speed_kmh"'),
        (["drive", "commute", "--columns", "=Speed"], "not of the form NAME=HEADER"),
    ],
)
def test_a_wish_that_cannot_be_met(
    tmp_path: Path, words: list[str], said: str, capsys: Capture, monkeypatch: Patch
) -> None:
    monkeypatch.chdir(tmp_path)
    code, out, error = run(words, capsys, monkeypatch)
    assert (code, out) == (2, "")
    assert said in error
    assert len(error.strip().splitlines()) >= 2, "a fault, and what to do"
    assert not (tmp_path / "x.toml").exists()


@pytest.mark.parametrize(
    ("path", "name"),
    [
        ("My Car.toml", "my-car"),
        ("2024.toml", "my-2024"),
        ("--x--.toml", "x"),
        ("ärger.toml", "rger"),
        ("_.toml", "my"),
    ],
)
def test_names_come_from_the_file(path: str, name: str) -> None:
    assert name_from(Path(path)) == name


def test_the_starting_car_is_the_invented_car_in_other_words(
    tmp_path: Path, capsys: Capture, monkeypatch: Patch
) -> None:
    """Its bucket test, tank and sizes are those of a plausible car: within a fifth of the default's."""
    monkeypatch.chdir(tmp_path)
    run(["new", "car", "c.toml"], capsys, monkeypatch)
    ours, theirs = load_car("c.toml").numbers(), load_car("invented-2200").numbers()
    assert ours.pump.system_pa == pytest.approx(theirs.pump.system_pa * (14 / 15) ** 1.9, rel=0.3)
    assert ours.loop.tank_m3 == pytest.approx(theirs.loop.tank_m3, rel=0.05)
    assert ours.front.air_ha_w_k == pytest.approx(theirs.front.air_ha_w_k, rel=0.05)


def test_us_units_when_printing(tmp_path: Path, capsys: Capture, monkeypatch: Patch) -> None:
    monkeypatch.chdir(tmp_path)
    run(["new", "climate", "c.toml"], capsys, monkeypatch)
    out = run(["check", "c.toml", "--units", "us"], capsys, monkeypatch)[1]
    assert "75.2 degF" in out and "psi" in out and "mph" in out and "degC" not in out
    words = ["drive", "us06", "--units", "us"]
    out = run(words, capsys, monkeypatch)[1]
    metric = run(words[:2], capsys, monkeypatch)[1]
    line = next(line for line in out.splitlines() if line.startswith("boost_p95_c"))
    same = next(line for line in metric.splitlines() if line.startswith("boost_p95_c"))
    assert line.split()[2] == "degF" and same.split()[2] == "degC"
    assert float(line.split()[1]) == pytest.approx(float(same.split()[1]) * 1.8 + 32.0, abs=0.02)


def test_wiring_in_us_units(capsys: Capture, monkeypatch: Patch) -> None:
    us, metric = (run(["wiring", *more], capsys, monkeypatch)[1] for more in (["--units", "us"], []))
    assert "L/min" not in us and "gpm" in us and "gpm" not in metric
    ours, theirs = (
        next(line for line in out.splitlines() if line.strip().startswith("13.8 V")).split() for out in (us, metric)
    )
    assert float(ours[2]) * 3.785411784 == pytest.approx(float(theirs[2]), abs=0.08)
