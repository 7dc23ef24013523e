"""Notes on drives that make no sense: one a phase, naming it; drives that do make sense get none."""

from __future__ import annotations

from pathlib import Path

import pytest

from arena.scenario.check import check_file
from arena.scenario.drive import load_drive
from arena.scenario.loading import list_all
from arena.scenario.sense import sense_notes

HEAD = '[drive]\nname = "x"\n'


def phase(**keys: object) -> str:
    rows = "".join(f"{key} = {value!r}\n".replace("'", '"') for key, value in keys.items())
    return f"[[phase]]\n{rows}"


CRUISE_80 = phase(do="cruise", speed_kmh=80, seconds=60)
ODD = [
    (CRUISE_80 + phase(do="accelerate", to_kmh=60), "phase[2] (accelerate): to 60 km/h does nothing, the car does 80"),
    (phase(do="accelerate", to_kmh=60, m_s2=7.5), "phase[1] (accelerate): at 7.5 m/s2 is more than road cars manage"),
    (CRUISE_80 + phase(do="brake", to_kmh=90), "phase[2] (brake): to 90 km/h does nothing"),
    (CRUISE_80 + phase(do="pull", to_kmh=70), "phase[2] (pull): to 70 km/h is over at once"),
    (phase(do="pull", to_kmh=200, longest_s=5), "phase[1] (pull): cannot reach 200 km/h from 0 within longest_s = 5"),
    (phase(do="pull", to_kmh=60, throttle_pct=10), "phase[1] (pull): with 10 % throttle hardly boosts"),
    (phase(do="cruise", speed_kmh=300, seconds=9), "phase[1] (cruise): at 300 km/h is faster"),
    (phase(do="cruise", speed_kmh=30, seconds=9, grade_pct=25), "phase[1] (cruise): on a slope of 25 %"),
    (phase(do="descend", speed_kmh=30, seconds=9, grade_pct=0), "phase[1] (descend): on a slope of 0 % hardly goes"),
    (phase(do="traffic", seconds=600, mean_kmh=60, stops_per_km=10), "phase[1] (traffic): cannot average 60 km/h"),
    (phase(do="traffic", seconds=10, mean_kmh=10, stops_per_km=2), "phase[1] (traffic): is over before the first stop"),
    (phase(do="lap", straights_m=[20, 300], corner_kmh=[40, 150]), "straight 1 of 20 m is too short to brake from 150"),
    (phase(do="lap", straights_m=[900], corner_kmh=[220]), "phase[1] (lap): no corner is slower than 220 km/h"),
    (CRUISE_80 + phase(do="park", minutes=0.1), "phase[2] (park): for 0.1 minutes is too short"),
    (
        phase(do="repeat", times=1) + '[[phase.steps]]\ndo = "cruise"\nspeed_kmh = 50\nseconds = 9\n',
        "plays its steps once",
    ),
    (phase(do="stop", seconds=9) + phase(do="idle", seconds=9), "the car never moves in this drive"),
    (CRUISE_80 + phase(do="trace", file="slow.csv"), "begins at 36 km/h; the car is brought there from 80 km/h first"),
    (phase(do="trace", file="still.csv"), "never moves (at most 0.9 km/h): look at the unit"),
]


@pytest.mark.parametrize(("phases", "said"), ODD, ids=[said[:40] for _, said in ODD])
def test_a_phase_that_makes_no_sense_is_remarked_upon_and_still_loads(tmp_path: Path, phases: str, said: str) -> None:
    (tmp_path / "slow.csv").write_text("time_s,speed_kmh\n0,36\n9,36\n", encoding="utf-8")
    (tmp_path / "still.csv").write_text("time_s,speed_kmh\n0,0\n9,0.9\n", encoding="utf-8")
    path = tmp_path / "x.toml"
    path.write_text(HEAD + phases, encoding="utf-8")
    notes = check_file(path).notes
    assert any(said in note for note in notes), notes


def test_a_pull_on_a_cold_engine_is_remarked_upon(tmp_path: Path) -> None:
    path = tmp_path / "x.toml"
    path.write_text(HEAD + 'start = "cold"\n' + phase(do="pull", to_kmh=60), encoding="utf-8")
    assert any("first thing a cold engine" in note for note in check_file(path).notes)


@pytest.mark.parametrize("name", [entry.name for entry in list_all("drives")])
def test_shipped_drives_make_sense(name: str) -> None:
    drive = load_drive(name)
    assert sense_notes(drive.file, drive.traces) == []


def test_steps_are_judged_as_they_follow_on_themselves(tmp_path: Path) -> None:
    path = tmp_path / "x.toml"
    steps = '[[phase.steps]]\ndo = "pull"\nto_kmh = 60\n[[phase.steps]]\ndo = "cruise"\nspeed_kmh = 90\nseconds = 9\n'
    path.write_text(HEAD + phase(do="repeat", times=3) + steps, encoding="utf-8")
    (note,) = check_file(path).notes
    assert note.startswith("phase[1].steps[1] (pull): to 60 km/h is over at once, the car does 90 km/h")
