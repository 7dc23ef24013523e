"""What a result was made from stands in its folder, whole; what has changed since is noticed on going on."""

from __future__ import annotations

import json
import tomllib
from pathlib import Path
from typing import Any

import pytest
from typer.testing import CliRunner

from arena.cli.base import app
from arena.contest.pool import Progress
from arena.contest.tournament import hold_tournament
from arena.errors import BadInput
from arena.report.page import build_page
from arena.report.result import read_result
from arena.report.wording import scale_of
from arena.strategies.starter import strategy_starter
from arena.units import Units

TABLE = "iat_c \\ throttle_pct,0,50,100\n20,0,0,0\n40,0,30,100\n60,60,100,100\n"
CRUISE = '[drive]\nname = "{}"\nstart = "warm"\n[[phase]]\ndo = "cruise"\nspeed_kmh = {}\nseconds = 60\n'
CLIMATE = '[climate]\nname = "windy"\n[weather]\nfile = "day.epw"\nmonth = 7\n'
SEASON = """[season]
name = "s"
[prices]
tracking_per_k_h = 0.1
tracking_reasoning = "test"
wear_per_h = 0.04
wear_reasoning = "test"
energy_per_kwh = 0.6
energy_reasoning = "test"
"""
OUTING = '[[outing]]\ndrive = "{}"\nclimate = "air/windy.toml"\nper_year = 1\n'


@pytest.fixture
def season(tmp_path: Path) -> Path:
    """Two drives of one file name in two places, and a climate from hourly weather."""
    for place, name, speed in (("a/drives", "one", 60), ("b/drives", "two", 80)):
        (tmp_path / place).mkdir(parents=True)
        (tmp_path / place / "d.toml").write_text(CRUISE.format(name, speed), encoding="utf-8")
    (tmp_path / "air").mkdir()
    (tmp_path / "air" / "windy.toml").write_text(CLIMATE, encoding="utf-8")
    hours = [
        ",".join(["2001", "7", "1", str(h), "60", "-", "25", "5", "60", "99000", *["0"] * 11, "2.5"])
        for h in range(1, 25)
    ]
    head = ["LOCATION,Invented,,,,,,,,"] + ["-"] * 7
    (tmp_path / "air" / "day.epw").write_text("\n".join(head + hours) + "\n", encoding="utf-8")
    path = tmp_path / "s.toml"
    text = SEASON + "".join(OUTING.format(f"{place}/drives/d.toml") for place in "ab")
    path.write_text(text, encoding="utf-8")
    return path


def held(season: Path, out: Path, *strategies: str, **more: Any) -> Path:
    hold_tournament(season, strategies=strategies, trials=0, replicates=2, out=out, **more)
    return out


def test_every_file_is_copied_and_none_covers_another(season: Path, tmp_path: Path) -> None:
    law, table = tmp_path / "mine.py", tmp_path / "mine.csv"
    law.write_text(strategy_starter("mine"), encoding="utf-8")
    table.write_text(TABLE, encoding="utf-8")
    out = held(season, tmp_path / "r", str(law), f"table:{table}")
    copies = {p.read_bytes() for p in (out / "inputs").rglob("*") if p.is_file()}
    used = [
        season,
        law,
        table,
        *(tmp_path / name for name in ("a/drives/d.toml", "b/drives/d.toml", "air/windy.toml", "air/day.epw")),
    ]
    assert all(path.read_bytes() in copies for path in used)
    listed = json.loads((out / "manifest.json").read_text(encoding="utf-8"))["files_sha256"]
    assert len(listed) == len([p for p in (out / "inputs").rglob("*") if p.is_file()])
    assert len([name for name in listed if name.endswith("/d.toml")]) == 2


def test_a_table_that_has_changed_is_not_gone_on_with(season: Path, tmp_path: Path) -> None:
    table = tmp_path / "mine.csv"
    table.write_text(TABLE, encoding="utf-8")

    def stop(progress: Progress) -> None:
        raise KeyboardInterrupt

    with pytest.raises(KeyboardInterrupt):
        held(season, tmp_path / "r", f"table:{table}", tell=stop)
    for words, said in (
        (("--seed", "5"), "was begun with seed 1, not 5"),
        (("--strategy", "proportional"), "was begun with strategy ["),
        (("--out", "elsewhere"), "--out elsewhere: --resume finishes"),
    ):  # options that would do nothing
        refused = CliRunner().invoke(app, ["tournament", "--resume", str(tmp_path / "r.partial"), *words])
        assert isinstance(refused.exception, BadInput) and said in str(refused.exception), refused.output
    table.write_text(TABLE.replace("40,0,30,100", "40,0,90,100"), encoding="utf-8")
    with pytest.raises(BadInput, match="strategy table-mine has changed"):
        hold_tournament(resume=tmp_path / "r.partial")
    table.write_text(TABLE, encoding="utf-8")
    hold_tournament(resume=tmp_path / "r.partial")
    assert (tmp_path / "r" / "standings.csv").is_file()


def test_what_a_contestant_carries_is_among_its_settings(season: Path, tmp_path: Path) -> None:
    out = held(season, tmp_path / "r", "proportional+quiet_cap_pct=40+run_on_s=20")
    (path,) = (p for p in (out / "settings").glob("*.toml") if "quiet" in p.name)
    found = tomllib.loads(path.read_text(encoding="utf-8"))
    assert found["strategy"] == "proportional"
    assert (found["settings"]["quiet_cap_pct"], found["settings"]["run_on_s"]) == (40.0, 20.0)
    assert "# %" in path.read_text(encoding="utf-8")


def test_the_page_and_the_screen_print_in_the_same_units(season: Path, tmp_path: Path) -> None:
    out = held(season, tmp_path / "r", "proportional")
    us = Units("us")
    for unit in ("degC", "K", "K h", "K s", "kPa", "km/h", "km", "m", "L/min", "L", "ml", "g/s", "Wh", "h"):
        for value in (0.0, 1.0, 37.5):
            wanted, label = us.labelled(value, unit)
            assert (scale_of(unit, us).of(value), scale_of(unit, us).unit) == (pytest.approx(wanted), label)
            assert (scale_of(unit, Units()).of(value), scale_of(unit, Units()).unit) == (value, unit)
    text = build_page(out, us).read_text(encoding="utf-8")
    assert " gal of fuel" in text and " L of fuel" not in text
    assert read_result(out).lines
