"""Files and drives too large to be handled are refused by a limit that is named, quickly and in little memory."""

from __future__ import annotations

import os
import resource
import subprocess
import sys
import time
from collections.abc import Callable
from pathlib import Path
from typing import Any

import numpy as np
import pytest

from arena.contest import worlds_file
from arena.contest.duty_table import read_table
from arena.contest.store import Folder
from arena.errors import BadInput
from arena.garage.read_log import read_garage_log
from arena.report import result
from arena.scenario.car import load_car
from arena.scenario.check import check_file
from arena.scenario.climate import load_climate
from arena.scenario.drive import load_drive
from arena.scenario.loading import TOML_LIMIT_BYTES
from arena.scenario.season import load_season
from arena.scenario.weather import read_weather

DRIVE = '[drive]\nname = "x"\n[[phase]]\n'
GIGABYTE = 1_000_000_000
SPARE_KB = 600_000  # above what importing takes
QUICK_S = 10.0  # of processor time


def refused(load: Callable[[Path], Any], path: Path) -> str:
    """The faults of a file that must be refused soon, and without its size being needed in memory."""
    before, began = resource.getrusage(resource.RUSAGE_SELF).ru_maxrss, time.process_time()
    with pytest.raises(BadInput) as caught:
        load(path)
    assert time.process_time() - began < QUICK_S
    assert resource.getrusage(resource.RUSAGE_SELF).ru_maxrss - before < SPARE_KB
    assert caught.value.remedy
    return "\n".join(caught.value.faults)


@pytest.mark.parametrize(
    ("name", "load", "limit"),
    [
        ("x.toml", load_car, "2 MB"),
        ("x.toml", load_drive, "2 MB"),
        ("x.toml", load_climate, "2 MB"),
        ("x.toml", load_season, "2 MB"),
        ("x.toml", check_file, "2 MB"),
        ("x.csv", load_drive, "50 MB"),
        ("x.csv", check_file, "50 MB"),
        ("x.csv", read_garage_log, "50 MB"),
        ("x.csv", read_table, "1 MB"),
        ("x.csv", read_weather, "50 MB"),
        ("x.epw", read_weather, "50 MB"),
        ("x.xyz", check_file, "50 MB"),
        ("runs.csv", lambda path: list(result._rows(path)), "400 MB"),
    ],
)
def test_a_file_of_a_gigabyte_is_refused_by_its_size(
    tmp_path: Path, name: str, load: Callable[[Path], Any], limit: str
) -> None:
    path = tmp_path / name
    path.touch()
    os.truncate(path, GIGABYTE)  # sparse: it takes no room
    said = refused(load, path)
    assert name in said
    assert limit in said


@pytest.mark.parametrize("name", ["manifest.json", "views.json"])
def test_a_result_with_a_file_of_a_gigabyte_is_refused(tmp_path: Path, name: str) -> None:
    for other in ("manifest.json", "views.json", "standings.csv", "runs.csv"):
        (tmp_path / other).write_text('{"schema": 1}', encoding="utf-8")
    os.truncate(tmp_path / name, GIGABYTE)
    said = refused(result.read_result, tmp_path)
    assert name in said
    assert "over the limit of 50 MB" in said


def test_an_unfinished_result_with_a_manifest_of_a_gigabyte_is_refused(tmp_path: Path) -> None:
    place = tmp_path / "r.partial"
    place.mkdir()
    (place / "manifest.json").touch()
    os.truncate(place / "manifest.json", GIGABYTE)
    folder = Folder.resume(place)
    assert "over the limit of 50 MB" in refused(lambda _: folder.read_manifest(), place)
    folder.lock.release()


def test_kept_runs_that_unpack_to_too_much_are_refused_packed(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    path = tmp_path / "world-0.npz"
    np.savez_compressed(path, names=np.zeros(3_000_000))
    assert path.stat().st_size < 50_000
    monkeypatch.setattr(worlds_file, "MOST_BYTES", 20_000_000)
    with pytest.raises(ValueError, match="the limit of 20 MB"):
        worlds_file.unpacked(path)


def toml(tmp_path: Path, text: str) -> Path:
    path = tmp_path / "x.toml"
    path.write_text(text, encoding="utf-8")
    return path


def test_a_drive_of_ten_million_seconds_is_refused(tmp_path: Path) -> None:
    said = refused(load_drive, toml(tmp_path, DRIVE + 'do = "stop"\nseconds = 1e7\n'))
    assert "phase[1].seconds must lie within 0.1 to 200000" in said
    parked = refused(load_drive, toml(tmp_path, DRIVE + 'do = "park"\nminutes = 200000\n'))
    assert "phase[1].minutes must lie within" in parked
    text = DRIVE + 'do = "repeat"\ntimes = 1000\n[[phase.steps]]\ndo = "stop"\nseconds = 10000\n'
    assert "can last 10000000 s, over the limit of 200000 s" in refused(load_drive, toml(tmp_path, text))
    trace = tmp_path / "t.csv"
    trace.write_text("time_s,speed_kmh\n0,50\n10000000,50\n", encoding="utf-8")
    assert "over the limit of 200000 s" in refused(load_drive, trace)


def test_a_log_of_ten_million_seconds_cannot_be_fitted(tmp_path: Path) -> None:
    path = tmp_path / "log.csv"
    rows = "".join(f"{k * 14},50,2000,100,30,20\n" for k in range(10_000))  # steps that are no gap
    path.write_text("time_s,speed_kmh,rpm,map_kpa,iat_c,ambient_c\n" + rows, encoding="utf-8")
    assert "lasts 139986 s, over the limit of 100000 s" in refused(read_garage_log, path)


@pytest.mark.parametrize("times", [[100, 1000], [10] * 5, [10000, 10000, 10000]])
def test_repeats_are_multiplied_not_played(tmp_path: Path, times: list[int]) -> None:
    """100,000 phases by nested repeats, and a million million: refused by their product."""
    text, product = '[drive]\nname = "x"\n', 1
    for depth, count in enumerate(times):
        text += f"[[phase{'.steps' * depth}]]\ndo = 'repeat'\ntimes = {count}\n"
        product *= count
    text += f"[[phase{'.steps' * len(times)}]]\ndo = 'stop'\nseconds = 1\n"
    said = refused(load_drive, toml(tmp_path, text))
    assert f"comes to {product} phases with its repeats written out, over the limit of 20000" in said


def test_a_million_cells_are_no_key_of_a_car(tmp_path: Path) -> None:
    said = refused(load_car, toml(tmp_path, '[car]\nname = "x"\n[core]\ncells = 1000000\n'))
    assert 'x.toml:4: unknown key "cells" in core' in said


@pytest.mark.parametrize("asked", ["1000000", "0", "-1", "x", "1.5", "9" * 50, "٢"])
@pytest.mark.parametrize("name", ["ARENA_CELL_FACTOR", "ARENA_TICK_SPLIT"])
def test_a_grid_out_of_range_is_refused_by_name(name: str, asked: str, monkeypatch: pytest.MonkeyPatch) -> None:
    from arena.plant import layout

    monkeypatch.setenv(name, asked)
    with pytest.raises(BadInput, match=f"{name}=.*is not a whole number within 1 to 8"):
        layout._asked(name)
    monkeypatch.setenv(name, "2")
    assert layout._asked(name) == 2


def test_a_command_on_a_grid_of_a_million_cells_ends_with_one_line(tmp_path: Path) -> None:
    done = subprocess.run(
        [sys.executable, "-m", "arena", "drive", "hill-pulls"], capture_output=True, text=True, check=False,
        cwd=tmp_path, env={**os.environ, "ARENA_CELL_FACTOR": "1000000"}, timeout=120,
    )  # fmt: skip
    assert done.returncode == 2
    assert done.stderr.startswith("ARENA_CELL_FACTOR='1000000': is not a whole number within 1 to 8")
    assert "Traceback" not in done.stderr


def test_a_csv_of_ten_million_rows_is_refused_by_their_number(tmp_path: Path) -> None:
    path = tmp_path / "x.csv"
    path.write_bytes(b"time_s,speed_kmh\n" + b"1,2\n" * 10_000_000)  # 40 MB: its size alone is allowed
    for load in (load_drive, check_file, read_weather):
        assert "has 10000001 rows, over the limit of 1000000" in refused(load, path)


def test_a_line_of_a_hundred_megabytes_is_refused(tmp_path: Path) -> None:
    path = tmp_path / "x.csv"
    path.write_bytes(b"time_s,speed_kmh\n" + b"1" * 100_000_000)
    assert "over the limit of 50 MB" in refused(load_drive, path)
    path.write_bytes(b"time_s,speed_kmh\n0,1\n" + b"1," * 20_000_000 + b"\n3,4\n")
    for load in (load_drive, read_weather):
        assert "x.csv:3: this row has 40000001 bytes, over the limit of 100000" in refused(load, path)


DEEP = [
    "x = " + "[" * 100_000,
    "x = " + "[" * 200 + "]" * 200,
    "x = " + "{a = " * 100_000,
    "x = " + "{a = " * 200 + "1" + "}" * 200,
    "a." * 100_000 + "a = 1",
    "[" + "a." * 100_000 + "a]",
    "".join(f"[{'.'.join(['a'] * n)}]\n" for n in range(1, 300)),
    '[drive]\nname = "x"\n' + "".join(f"[[phase{'.steps' * d}]]\ndo = 'repeat'\ntimes = 1\n" for d in range(300)),
]


@pytest.mark.parametrize("text", DEEP, ids=range(len(DEEP)))
def test_deep_nesting_is_refused(tmp_path: Path, text: str) -> None:
    assert "is nested deeper than the limit of 64" in refused(load_drive, toml(tmp_path, text))


MANY = {
    "phases that are wrong": DRIVE + 'do = "stop"\nsecs = 1\n[[phase]]\n' * 6_000,
    "unknown keys": '[drive]\nname = "x"\n' + "".join(f"k{n} = 1\n" for n in range(15_000)),
    "tables": "".join(f"[a{n}]\n" for n in range(15_000)),
}


@pytest.mark.parametrize("text", MANY.values(), ids=MANY)
def test_ten_thousand_faults_are_not_all_listed(tmp_path: Path, text: str) -> None:
    assert len(text) < TOML_LIMIT_BYTES
    said = refused(load_drive, toml(tmp_path, text)).split("\n")
    assert len(said) <= 101
    assert "more faults are not listed" in said[-1]


def test_a_season_of_too_many_outings_is_refused(tmp_path: Path) -> None:
    rows = "".join(f'[[outing]]\ndrive = "d{n}"\nclimate = "hot"\nper_year = 1\n' for n in range(1001))
    prices = "[prices]\ntracking_per_k_h = 1\nwear_per_h = 1\nenergy_per_kwh = 1\n"
    said = refused(load_season, toml(tmp_path, f'[season]\nname = "s"\n{prices}{rows}'))
    assert "outing must have at most 1000 entries (given 1001)" in said


def test_a_duty_table_of_a_thousand_columns_is_refused(tmp_path: Path) -> None:
    path = tmp_path / "t.csv"
    head = ",".join(["iat_c \\ throttle_pct", *(str(n) for n in range(1000))])
    path.write_text(f"{head}\n20{',0' * 1000}\n30{',9' * 1000}\n", encoding="utf-8")
    assert "2 rows, 1000 columns; the limit is 64 of each" in refused(read_table, path)


def test_a_device_or_pipe_is_no_file_to_read(tmp_path: Path) -> None:
    """Neither waits for a writer nor reads without end."""
    pipe = tmp_path / "x.toml"
    os.mkfifo(pipe)
    for load in (load_drive, load_car, check_file, read_table):
        assert "plain file" in refused(load, pipe)
    if Path("/dev/zero").exists():
        assert "plain file" in refused(load_drive, Path("/dev/zero"))
