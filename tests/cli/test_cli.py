"""The commands as a person or a script meets them: exit codes, JSON, errors in one clear line."""

from __future__ import annotations

import json
import subprocess
import sys
from collections.abc import Callable
from pathlib import Path
from typing import Any

import pytest

from arena.cli import main


def arena(*words: str, cwd: Path | None = None) -> subprocess.CompletedProcess[str]:
    return subprocess.run(
        [sys.executable, "-m", "arena", *words], capture_output=True, text=True, timeout=300, cwd=cwd, check=False
    )


def test_list_names_what_is_promised() -> None:
    found = json.loads(arena("list", "--json").stdout)
    names = {kind: {e["name"] for e in entries} for kind, entries in found.items()}
    assert {"cold-start", "commute", "hill-pulls", "track-session", "wltc-3b", "recorded-trip"} <= names["drives"]
    assert {"winter", "mild", "hot"} <= names["climates"]
    assert {"always-on", "always-off", "two-speed", "proportional", "gated-table"} <= names["strategies"]
    assert "invented-2200" in names["cars"]
    assert {"temperate-year", "hot-country", "weekend-track"} <= names["seasons"]


def test_tournament_json_has_what_scripts_read(tmp_path: Path) -> None:
    done = arena(
        "tournament", "weekend-track", "--trials", "0", "--replicates", "2", "--json", "--out", str(tmp_path / "r")
    )
    assert done.returncode == 0, done.stderr
    found = json.loads(done.stdout)
    assert found["schema"] == 1
    assert {"season", "car", "seed", "folder", "seconds", "standings", "beats", "outings", "failed"} <= set(found)
    line = found["standings"][0]
    assert {"place", "tied_with", "contestant", "tuned", "ranked", "score", "score_low", "score_high"} <= set(line)
    assert {"tracking_k_h", "pump_hours", "wear_hours", "energy_wh", "fuel_ml", "boost_p95_c"} <= set(line["figures"])
    assert {"id", "drive", "climate", "replicate", "drive_seconds", "weight"} <= set(found["outings"][0])
    assert (tmp_path / "r" / "standings.csv").is_file()
    assert not (tmp_path / "r.partial").exists()


def test_drive_shows_figures_and_writes_the_trace(tmp_path: Path) -> None:
    out = tmp_path / "t.csv"
    done = arena("drive", "hill-pulls", "--climate", "hot", "--strategy", "proportional", "--trace", str(out), "--json")
    assert done.returncode == 0, done.stderr
    assert json.loads(done.stdout)["figures"]["pump_hours"] > 0
    head = out.read_text(encoding="utf-8").splitlines()
    assert head[0] == (
        "time_s,phase,speed_kmh,pedal_pct,throttle_pct,rpm,map_kpa,air_flow_g_s,ambient_c,bay_c,charger_out_c,iat_c,"
        "probe_c,core_metal_c,coolant_into_core_c,coolant_out_of_core_c,coolant_into_front_c,coolant_out_of_front_c,"
        "tank_c,duty_pct,supply_v,pump_v,pump_a,pump_rpm,flow_l_min,pump_w,resistor_w,heat_from_air_w,heat_to_outside_w"
    )
    assert head[2].startswith("0.1,")


BAD_DRIVE = '[drive]\nname = "x"\n\n[[phase]]\ndo = "cruise"\nspeed_kmh = 50\nsecnds = 20\n'


@pytest.mark.parametrize(
    ("words", "naming"),
    [
        (("drive", "hil-pulls"), "hill-pulls"),
        (("drive", "hill-pulls", "--climate", "nowhere"), "nowhere"),
        (("drive", "hill-pulls", "--car", "no/such.toml"), "no/such.toml"),
        (("drive", "hill-pulls", "--strategy", "proportionl"), "proportional"),
        (("drive", "hill-pulls", "--strategy", "proportional", "--setting", "start=30"), "start"),
        (("drive", "hill-pulls", "--strategy", "proportional", "--setting", "start_c=hot"), "start_c=hot"),
        (("drive", "hill-pulls", "--strategy", "proportional", "--setting", "start_c=300"), "10..55"),
        (("drive", "bad.toml"), "secnds"),
        (("drive", "hill-pulls", "--seed", "-1"), "--seed -1"),
        (("drive", "backwards.csv"), "backwards.csv"),
        (("drive", "empty.csv"), "empty.csv"),
        (("check", "bad.toml"), "seconds"),
        (("tournament", "no-such-season"), "no-such-season"),
        (("tournament", "--spread", "7"), "--spread 7"),
        (("tournament", "--replicates", "0"), "--replicates 0"),
        (("tournament", "--trials", "-1"), "--trials -1"),
        (("tournament", "--workers", "0"), "--workers 0"),
        (("tournament", "--resume", "nothing.partial"), "nothing.partial"),
        (("list", "carz"), "carz"),
        (("nonsense",), "nonsense"),
    ],
)
def test_bad_input_is_one_clear_line_and_exit_code_2(
    tmp_path: Path,
    monkeypatch: pytest.MonkeyPatch,
    capsys: pytest.CaptureFixture[str],
    words: tuple[str, ...],
    naming: str,
) -> None:
    """In this process, which spares each its start; the next test has one as a person meets it."""
    (tmp_path / "bad.toml").write_text(BAD_DRIVE, encoding="utf-8")
    (tmp_path / "backwards.csv").write_text("time_s,speed_kmh\n0,0\n1,10\n0.5,20\n2,20\n", encoding="utf-8")
    (tmp_path / "empty.csv").write_text("", encoding="utf-8")
    monkeypatch.chdir(tmp_path)
    monkeypatch.setattr(sys, "argv", ["arena", *words])
    monkeypatch.setattr("arena.cli.laws.on_code", [])  # what `main` puts there goes with the test
    with pytest.raises(SystemExit) as ended:
        main()
    printed = capsys.readouterr()
    is_refused(int(str(ended.value.code)), printed.out, printed.err, naming)


def test_a_process_ends_with_2_too() -> None:
    done = arena("drive", "hil-pulls")
    is_refused(done.returncode, done.stdout, done.stderr, "hill-pulls")


def is_refused(code: int, out: str, err: str, naming: str) -> None:
    assert code == 2, out + err
    assert naming in err
    assert "Traceback" not in err
    assert out == ""
    assert len(err.strip().splitlines()) <= 4


def test_a_pipe_gets_no_colour_and_no_wrapping() -> None:
    done = arena("tournament", "weekend-track", "--trials", "0", "--replicates", "1")
    assert done.returncode == 0
    assert "\x1b" not in done.stdout + done.stderr
    assert any("always-on" in line and "1.000" in line for line in done.stdout.splitlines())
    assert "Coolant is hot and under pressure" in done.stdout
    assert done.stderr.startswith("ranking: 1 steps")


def test_a_closed_pipe_is_no_fault() -> None:
    child = subprocess.Popen([sys.executable, "-m", "arena", "list"], stdout=subprocess.PIPE, stderr=subprocess.PIPE)
    assert child.stdout is not None and child.stderr is not None
    child.stdout.close()
    error = child.stderr.read()
    child.stderr.close()
    assert child.wait() in {0, 1, 141}
    assert b"Traceback" not in error


def test_a_two_column_trace_nobody_prepared_runs(tmp_path: Path) -> None:
    rows = "\n".join(f"{t},{min(60, 2 * t)}" for t in range(200))
    (tmp_path / "mine.csv").write_text(f"time_s,speed_kmh\n{rows}\n", encoding="utf-8")
    done = arena("drive", "mine.csv", "--json", cwd=tmp_path)
    assert done.returncode == 0, done.stderr
    assert json.loads(done.stdout)["drive_seconds"] > 200


def test_bench_measures_what_it_says(conforms: Callable[[str, Any], None]) -> None:
    found = json.loads(arena("bench", "--json").stdout)
    conforms("bench", found)
    assert found["lane_step_ns"] < found["single_step_ns"]
    assert all(v > 0 for v in found.values())
