"""A folder of logs becomes a season: kinds of drive, weights that add up, files that pass their check."""

from __future__ import annotations

from collections.abc import Callable
from pathlib import Path

import numpy as np
import pytest

from arena.errors import BadInput
from arena.garage.season_from_logs import season_from_logs
from arena.report.season_text import season_document
from arena.scenario.check import check_file
from arena.scenario.climate import load_climate
from arena.scenario.drive import load_drive
from arena.scenario.season import load_season


def log(path: Path, fast: bool, air_c: float | None = 15.0, engine_c: float = 85.0, seconds: int = 300) -> None:
    """An invented drive at 1 Hz: town at 35 km/h with a stop, or a fast road with a fifth of the time on boost."""
    t = np.arange(seconds)
    kmh = np.full(seconds, 110.0) if fast else np.where((t > 100) & (t < 120), 0.0, 35.0)
    kpa = np.where(fast & (t % 50 < 10), 180, 60)
    head, row = "time_s,speed_kmh,rpm,map_kpa,engine_coolant_c", "{},{},2000,{},{}"
    if air_c is not None:
        head, row = head + ",ambient_c", row + f",{air_c}"
    path.parent.mkdir(exist_ok=True)
    lines = [row.format(a, b, c, engine_c) for a, b, c in zip(t, kmh, kpa, strict=True)]
    path.write_text("\n".join([head, *lines]) + "\n", encoding="utf-8")


@pytest.fixture
def month(tmp_path: Path) -> Path:
    for day in range(1, 9):
        log(tmp_path / "logs" / f"town-2024-05-{day:02d}.csv", fast=False, air_c=8.0 + day)
    for day in (11, 20, 30):
        log(tmp_path / "logs" / f"road-2024-05-{day:02d}.csv", fast=True, air_c=25.0, seconds=900)
    log(tmp_path / "logs" / "cold-2024-05-15.csv", fast=False, air_c=10.0, engine_c=15.0)
    return tmp_path / "logs"


def test_kinds_counts_boost_and_temperatures(
    month: Path, tmp_path: Path, conforms: Callable[[str, object], None]
) -> None:
    made = season_from_logs(month, tmp_path / "year.toml")
    by_count = {len(kind.drives): kind for kind in made.kinds}
    assert set(by_count) == {8, 3, 1}
    assert by_count[3].model.boost_share == pytest.approx(0.2, abs=0.01)
    assert by_count[8].model.boost_share == 0.0
    assert by_count[8].model.stops == 1
    assert by_count[1].model.cold and by_count[1].name.startswith("cold-")
    assert by_count[3].model.ambient_c == pytest.approx(25.0)
    assert made.days == 30.0 and made.days_from == "by the dates in their names"
    conforms("season-from-logs", season_document(made))


def test_every_log_is_weighed_and_every_file_passes_its_check(month: Path, tmp_path: Path) -> None:
    made = season_from_logs(month, tmp_path / "year.toml")
    assert sum(row.logs for row in made.rows) == 12
    season = load_season(tmp_path / "year.toml")
    assert sum(e.outings_per_year for e in season.entries) == pytest.approx(12 * 365 / 30, abs=0.5)
    for path in made.written:
        assert check_file(path).kind in ("season", "drive", "climate", "log")
    for entry in season.entries:
        assert load_drive(entry.drive).file.drive.source == "own log"
    degrees = {round(float(load_climate(e.climate).ambient_k[0]) - 273.15, 1) for e in season.entries}
    assert 25.0 in degrees and len(degrees) >= 2


def test_what_is_played_is_what_was_recorded(month: Path, tmp_path: Path) -> None:
    made = season_from_logs(month, tmp_path / "year.toml")
    kind = next(kind for kind in made.kinds if len(kind.drives) == 3)
    (trace,) = load_drive(tmp_path / f"year-{kind.name}.toml").traces.values()
    np.testing.assert_allclose(trace.speed_m_s, kind.model.trace.speed_m_s, atol=0.002)
    assert trace.map_pa is not None and kind.model.trace.map_pa is not None
    np.testing.assert_allclose(trace.map_pa, kind.model.trace.map_pa, atol=50.0)


def test_logs_that_cannot_be_used_are_named_and_the_rest_goes_on(month: Path, tmp_path: Path) -> None:
    (month / "broken.csv").write_text("time_s,speed_kmh\n0,1\n1,fast\n", encoding="utf-8")
    (month / "short.csv").write_text("time_s,speed_kmh\n0,10\n20,30\n", encoding="utf-8")
    (month / "parked.csv").write_text("time_s,speed_kmh\n0,0\n300,0\n", encoding="utf-8")
    made = season_from_logs(month, tmp_path / "year.toml")
    assert len(made.drives) == 12
    said = "\n".join(made.left_out)
    assert "broken.csv:3" in said and '"fast" is not a number' in said
    assert "short lasts under 60 s" in said and "parked never moves" in said


def test_a_long_gap_parts_two_drives(tmp_path: Path) -> None:
    rows = "".join(f"{t},40\n" for t in [*range(0, 200), *range(4000, 4200)])
    (tmp_path / "logs").mkdir()
    (tmp_path / "logs" / "day.csv").write_text("time_s,speed_kmh\n" + rows, encoding="utf-8")
    made = season_from_logs(tmp_path / "logs", tmp_path / "year.toml", days=10.0)
    assert [d.name for d in made.drives] == ["day-1", "day-2"]
    assert [row.per_year for row in made.rows] == [73.0]
    assert made.rows[0].climate == "mild", "no temperature was logged"
    assert any("no log has an outside temperature" in note for note in made.notes)


def test_what_only_the_second_drive_logs_is_the_seconds(tmp_path: Path) -> None:
    rows = [f"{t},40,," for t in range(0, 200)] + [f"{t},40,30,20" for t in range(2000, 2200)]
    (tmp_path / "logs").mkdir()
    text = "\n".join(["time_s,speed_kmh,ambient_c,engine_coolant_c", *rows]) + "\n"
    (tmp_path / "logs" / "day.csv").write_text(text, encoding="utf-8")
    made = season_from_logs(tmp_path / "logs", tmp_path / "year.toml", days=10.0)
    found = {d.name: (d.cold, d.ambient_c) for d in made.drives}
    assert found == {"day-1": (False, None), "day-2": (True, pytest.approx(30.0))}


def test_a_column_that_is_empty_or_wrong_leaves_the_drive_in(tmp_path: Path) -> None:
    (tmp_path / "logs").mkdir()
    for name, air, engine in (("empty", "", "90"), ("wrong", "15", "99999")):
        rows = "".join(f"{t},40,{air},{engine},\n" for t in range(200))
        text = "time_s,speed_kmh,ambient_c,engine_coolant_c,iat_c\n" + rows
        (tmp_path / "logs" / f"{name}.csv").write_text(text, encoding="utf-8")
    made = season_from_logs(tmp_path / "logs", tmp_path / "year.toml", days=10.0)
    assert {d.name: d.ambient_c for d in made.drives} == {"empty": None, "wrong": pytest.approx(15.0)}
    assert not made.left_out and not any(d.cold for d in made.drives)
    said = [note for note in made.notes if note.endswith("taken as not logged")]
    assert len(said) == 2 and "empty all the way down" in said[0] and "wrong.csv" in said[1]


def test_the_same_logs_give_the_same_season(month: Path, tmp_path: Path) -> None:
    texts = []
    for name in ("a", "b"):
        (tmp_path / name).mkdir()
        made = season_from_logs(month, tmp_path / name / "year.toml")
        texts.append({path.name: path.read_bytes() for path in made.written})
    assert texts[0] == texts[1]


def test_nothing_is_written_where_something_would_be_lost(month: Path, tmp_path: Path) -> None:
    (tmp_path / "year-logs-cool.toml").write_text("precious", encoding="utf-8")
    with pytest.raises(BadInput, match=r"year-logs-cool\.toml: is there already"):
        season_from_logs(month, tmp_path / "year.toml")
    assert not (tmp_path / "year.toml").exists()


def test_no_usable_log_says_why_for_each(tmp_path: Path) -> None:
    (tmp_path / "logs").mkdir()
    (tmp_path / "logs" / "a.csv").write_text("time_s,rpm\n0,1\n1,2\n", encoding="utf-8")
    (tmp_path / "logs" / "b.csv").write_text("", encoding="utf-8")
    with pytest.raises(BadInput) as caught:
        season_from_logs(tmp_path / "logs", tmp_path / "year.toml")
    assert len(caught.value.faults) == 3
    assert "a.csv:1: no column for speed_kmh" in caught.value.faults[1]
    assert "b.csv: the file is empty" in caught.value.faults[2]
    with pytest.raises(BadInput, match="--days 0"):
        season_from_logs(tmp_path / "logs", tmp_path / "year.toml", days=0.0)
