"""A first-time user's evening: every command of docs/your-car.md, in its order, in an empty folder."""

from __future__ import annotations

import re
import shlex
from pathlib import Path

import pytest
from evening_builders import phone_log, run

from arena.scenario.car import load_car

GUIDE = Path(__file__).parents[2] / "docs" / "your-car.md"
README = Path(__file__).parents[2] / "README.md"
MEASURED = {  # what the user types over in the starting car file
    r"power_kw = \d+": "power_kw = 150",
    r"(?m)^size = .*": "# size",
    r"# (length_mm = 125)": r"\1",
    r"# (width_mm = 115)": r"\1",
    r"# (height_mm = 240)": r"\1",
    r"hose_total_m = 6.0": "hose_total_m = 5.2",
    r"total_fill_l = 5.5": "total_fill_l = 5.0",
    r"bucket_l_min = 14": "bucket_l_min = 12.5",
}


def commands(guide: Path) -> list[list[str]]:
    """The indented commands of a guide."""
    found = re.findall(r"(?m)^    arena (.+?)(?:\s+#.*)?$", guide.read_text(encoding="utf-8"))
    return [shlex.split(line) for line in found]


def made_small(words: list[str]) -> list[str]:
    """The same command on a smaller scale, so that the test is quick."""
    if words[0] == "tournament":
        return [*words, "--trials", "16", "--replicates", "2", "--strategy", "proportional", "--strategy", "two-speed"]
    return [*words, "--quick"] if words[:2] == ["check", "mycar.toml"] else words


@pytest.mark.slow
def test_the_guide_runs_from_an_empty_folder_to_standings(
    tmp_path: Path, capsys: pytest.CaptureFixture[str], monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.chdir(tmp_path)
    phone_log(tmp_path / "mylog.csv")
    for day, fast in ((1, False), (2, True), (3, False)):
        phone_log(tmp_path / "logs" / f"trip-2024-03-{day:02d}.csv", fast=fast, air_f=50.0 + day)
    todo = commands(GUIDE)
    assert {words[0] for words in todo} == {"new", "check", "drive", "tournament"}
    out = ""
    for words in todo:
        code, out, error = run(made_small(words), capsys, monkeypatch)
        assert code == 0, f"arena {shlex.join(words)}: {error}"
        if words[:2] == ["new", "car"]:
            measure(tmp_path / "mycar.toml")
        if words[:2] == ["check", "mycar.toml"]:
            assert "engine.power_kw" in out and "pump at half duty" in out
        if words[:2] == ["check", "mylog.csv"]:
            assert '"GPS Speed [mph]" in mph (in the header)' in out
            assert 'speed_kmh = { header = "GPS Speed [mph]", unit = "mph" }' in out
    assert "always-on" in out and "proportional" in out and "car mycar" in out
    assert (tmp_path / "results-myyear" / "standings.csv").is_file()


def measure(path: Path) -> None:
    """Type the measurements in."""
    text = path.read_text(encoding="utf-8")
    for pattern, typed in MEASURED.items():
        text, changed = re.subn(pattern, typed, text, count=1)
        assert changed == 1, pattern
    path.write_text(text, encoding="utf-8")
    car = load_car(path)
    assert car.numbers().engine.peak_power_w == 150e3
    assert car.assumed["core.air_ha_w_k"].startswith("estimated from core.length_mm")
    assert car.assumed["pump.system_kpa"].startswith("estimated from pump.bucket_l_min")


def test_the_readme_shows_only_commands_of_the_guide() -> None:
    text = README.read_text(encoding="utf-8")
    section = text.split("## Your car in an evening", 1)[1].split("\n## ", 1)[0]
    shown = re.findall(r"(?m)^    arena (\S+ \S+)", section)
    known = {" ".join(words[:2]) for words in commands(GUIDE)}
    assert len(shown) >= 4
    assert set(shown) <= known
