"""Climates over the day and from hourly weather, the look-up of names, and the conversions at the edges."""

from __future__ import annotations

import os
import shutil
import subprocess
import sys
from pathlib import Path

import numpy as np
import pytest

from arena import units
from arena.errors import BadInput
from arena.scenario import loading
from arena.scenario.check import check_file
from arena.scenario.climate import load_climate
from arena.scenario.drive import load_drive
from arena.scenario.loading import find, index_lines, list_all, shipped_root
from arena.scenario.season import load_season


def write(path: Path, text: str) -> Path:
    path.parent.mkdir(parents=True, exist_ok=True)
    path.write_text(text, encoding="utf-8")
    return path


def test_altitude_gives_the_standard_atmosphere(tmp_path: Path) -> None:
    """U.S. Standard Atmosphere 1976: 84 559.7 Pa at 1500 m."""
    path = write(tmp_path / "c.toml", '[climate]\nname = "c"\nair_c = 20\naltitude_m = 1500\n')
    assert load_climate(path).pressure_pa[0] == pytest.approx(84559.7, rel=1e-4)


def test_a_day_curve_runs_round_midnight(tmp_path: Path) -> None:
    rows = "".join(f"[[hour]]\nhour = {hour}\nair_c = {air}\n" for hour, air in ((6, 10), (18, 22)))
    climate = load_climate(write(tmp_path / "c.toml", '[climate]\nname = "c"\nstart_hour = 23\n' + rows))
    air = climate.at(np.array([0.0, 3600.0, 7 * 3600.0]))
    np.testing.assert_allclose(air.ambient_k - 273.15, [17.0, 16.0, 10.0])


def epw(folder: Path, damage: str = "") -> Path:
    """Two invented 31-day months: January -5 degC, July 20 degC by night and 30 by day, one hot week from day 10."""
    lines = ["LOCATION,Invented,,,,,,,,"] + ["-"] * 7
    for month in (1, 7):
        for day in range(1, 32):
            for hour in range(1, 25):
                air = -5.0 if month == 1 else 30.0 if 8 <= hour <= 20 else 20.0
                air += 6.0 if month == 7 and 10 <= day < 17 else 0.0
                cells = ["2001", str(month), str(day), str(hour), "60", "-", str(air), "5", "60", "99000"]
                cells += ["0"] * 11 + ["2.5"]
                lines.append(",".join(cells))
    text = "\n".join(lines) + "\n"
    return write(
        folder / "w.epw", text.replace("2001,7,3,5,60,-,20.0", f"2001,7,3,5,60,-,{damage}") if damage else text
    )


def test_hourly_weather_gives_the_mean_day_of_a_month_and_the_hottest_week(tmp_path: Path) -> None:
    epw(tmp_path)
    head = '[climate]\nname = "c"\n[weather]\nfile = "w.epw"\n'
    winter = load_climate(write(tmp_path / "a.toml", head + "month = 1\nhour = 8\n"))
    np.testing.assert_allclose(winter.ambient_k - 273.15, -5.0)
    assert (winter.start_hour, len(winter.hours)) == (8.0, 24)
    np.testing.assert_allclose(winter.pressure_pa, 99000.0)
    hottest = load_climate(write(tmp_path / "b.toml", head + 'period = "hottest-week"\n'))
    assert hottest.ambient_k.max() - 273.15 == pytest.approx(36.0)
    assert hottest.ambient_k.min() - 273.15 == pytest.approx(26.0)
    coldest = load_climate(write(tmp_path / "d.toml", head + 'period = "coldest-week"\n'))
    np.testing.assert_allclose(coldest.ambient_k - 273.15, -5.0)
    assert check_file(tmp_path / "w.epw").kind == "weather"


def test_a_bad_weather_row_is_named(tmp_path: Path) -> None:
    epw(tmp_path, damage="warm")
    path = write(tmp_path / "a.toml", '[climate]\nname = "c"\n[weather]\nfile = "w.epw"\nmonth = 7\n')
    with pytest.raises(BadInput, match=r'w\.epw:805: field 7 \(air\) is "warm"'):
        load_climate(path)


def test_names_are_looked_up_as_path_then_here_then_shipped(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.chdir(tmp_path)
    assert find("climates", "mild") == shipped_root() / "climates" / "mild.toml"
    here = write(
        tmp_path / "scenarios" / "climates" / "mild.toml", '[climate]\nname = "mild"\nsummary = "mine"\nair_c = 12\n'
    )
    assert find("climates", "mild").resolve() == here
    assert next(entry.summary for entry in list_all("climates") if entry.name == "mild") == "mine"
    path = write(tmp_path / "other.toml", '[climate]\nname = "other"\nair_c = 1\n')
    assert find("climates", str(path)) == path
    assert find("climates", "other.toml") == Path("other.toml")


def test_a_folder_called_like_a_name_does_not_hide_it(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.chdir(tmp_path)
    (tmp_path / "mild").mkdir()
    assert find("climates", "mild") == shipped_root() / "climates" / "mild.toml"


def test_a_season_may_name_files_beside_it(tmp_path: Path) -> None:
    climate = write(tmp_path / "garden.toml", '[climate]\nname = "garden"\nair_c = 12\n')
    season = write(
        tmp_path / "s.toml",
        '[season]\nname = "s"\n[prices]\ntracking_per_k_h = 1\nwear_per_h = 1\nenergy_per_kwh = 1\n'
        '[[outing]]\ndrive = "commute"\nclimate = "garden"\nper_year = 3\n',
    )
    write(tmp_path / "mine" / "lap.csv", "time_s,speed_kmh\n0,10\n1,10\n")
    write(
        season,
        season.read_text(encoding="utf-8") + '[[outing]]\ndrive = "mine/lap.csv"\nclimate = "mild"\nper_year = 1\n',
    )
    entry, other = load_season(season).entries
    assert (other.drive, other.climate) == (str(tmp_path / "mine" / "lap.csv"), "mild")
    assert (entry.drive, entry.climate) == ("commute", str(climate))
    assert load_climate(entry.climate).name == "garden"


def test_a_broken_file_does_not_stop_a_listing(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.chdir(tmp_path)
    write(tmp_path / "scenarios" / "cars" / "broken.toml", "[car\n")
    broken = next(entry for entry in list_all("cars") if entry.name == "broken")
    assert "cannot be read" in broken.summary


def test_an_unknown_kind_is_refused() -> None:
    with pytest.raises(BadInput, match='did you mean "cars"'):
        list_all("car")


def test_lines_are_found_through_tables_rows_and_inline_tables() -> None:
    text = (
        'a = 1\n[t]\nb = """\nx = 3\n"""\nc = 2\n[[p]]\nd = 1\n[[p]]\n  [[p.s]]\n  e = 1\n  [[p.s]]\n  e = 2\n'
        "[u]\nq = [\n  { f = 1 },\n  { f = 2 },\n]\nr = 5 # [x]\n"
    )
    lines = index_lines(text)
    assert lines[("a",)] == 1
    assert ("t", "x") not in lines, "a line inside a text is no key"
    assert lines[("t", "c")] == 6
    assert lines[("p", 1, "s", 1, "e")] == 13
    assert lines[("u", "q", 1, "f")] == 17
    assert lines[("u", "r")] == 19


def test_digest_keeps_its_parts_apart() -> None:
    assert loading.digest_of("ab", "c") != loading.digest_of("a", "bc")


@pytest.mark.parametrize(
    ("got", "expected"),
    [
        (units.c_to_k(25.0), 298.15),
        (units.f_to_k(212.0), 373.15),
        (units.k_to_f(273.15), 32.0),
        (units.psi_to_pa(14.695948775), 101325.0),  # one standard atmosphere
        (units.mph_to_m_s(60.0), 26.8224),
        (units.kmh_to_m_s(36.0), 10.0),
        (units.gpm_to_m3_s(1.0) * 60000.0, 3.785411784),
        (units.l_min_to_m3_s(60.0), 1e-3),
        (units.Units("us").temperature(310.92777777777775), 100.0),
        (units.Units("us").difference(10.0), 18.0),
        (units.Units("metric").flow(0.00025), 15.0),
        (units.Units("us").speed(44.704), 100.0),
    ],
)
def test_conversions_at_the_edges(got: float, expected: float) -> None:
    assert got == pytest.approx(expected, rel=1e-9)


def test_shipped_files_are_found_in_an_installed_package(tmp_path: Path) -> None:
    """A wheel carries them inside the package, as `arena/_scenarios`; no checkout is near it then."""
    package = Path(loading.__file__).parent.parent
    shutil.copytree(package, tmp_path / "site" / "arena", ignore=shutil.ignore_patterns("__pycache__", "_scenarios"))
    shutil.copytree(shipped_root(), tmp_path / "site" / "arena" / "_scenarios")
    code = "from arena.scenario.drive import load_drive; d = load_drive('wltc-3b'); print(len(d.traces), d.digest)"
    run = subprocess.run(
        [sys.executable, "-c", code], cwd=tmp_path, env={**os.environ, "PYTHONPATH": str(tmp_path / "site")},
        capture_output=True, text=True, check=True,
    )  # fmt: skip
    assert run.stdout.split() == ["1", load_drive("wltc-3b").digest]
