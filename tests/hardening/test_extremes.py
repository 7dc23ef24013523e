"""The ends of what a car meets: ice, boiling, no flow, no speed, engine off, thin air, heat, the pump's lowest duty.

Physics that must hold there, and what the user must be told; the numbers between are tested in tests/plant.
"""

from __future__ import annotations

import json
import subprocess
import sys
from collections.abc import Callable
from pathlib import Path

import numpy as np
import pytest

from arena.contest.entering import contestant_of
from arena.contest.freezing import freezing_notes
from arena.contest.single import SingleRun, drive_once
from arena.contest.tournament import entrants, hold_tournament, make_plan, rank_season
from arena.contest.tuning import Asked, hold_tuning, make_job
from arena.errors import BadInput
from arena.plant import fluids
from arena.report.terminal import failures, ties
from arena.scenario.car import load_car
from arena.scenario.climate import load_climate
from arena.scenario.derived import sure_duty
from arena.units import Units

IAT_C, METAL_C, CORE_IN_C, APPLIED, AMPS, FLOW = 0, 2, 3, 8, 10, 12  # columns of a record
CRUISE = 'do = "cruise"\nspeed_kmh = 60\nseconds = 120\n'
PULLS = (
    'do = "repeat"\ntimes = 6\n[[phase.steps]]\ndo = "pull"\nto_kmh = 140\ngrade_pct = 10\n'
    '[[phase.steps]]\ndo = "brake"\n'
)


@pytest.fixture
def write(tmp_path: Path) -> Callable[..., Path]:
    def write(kind: str, text: str) -> Path:
        path = tmp_path / f"{kind}.toml"
        path.write_text(text, encoding="utf-8")
        return path

    return write


def drive_of(write: Callable[..., Path], phases: str, start: str = "warm") -> Path:
    return write("drive", f'[drive]\nname = "extreme"\nstart = "{start}"\n[[phase]]\n{phases}')


def air_of(write: Callable[..., Path], degc: float, more: str = "") -> Path:
    return write("climate", f'[climate]\nname = "extreme-air"\nair_c = {degc}\n{more}')


def sound(run: SingleRun) -> None:
    """Nothing in a run is without value but what has none by definition, and nothing is off the earth."""
    assert run.record is not None
    assert np.isfinite(run.record).all()
    assert (run.record[:, IAT_C] > 200.0).all() and (run.record[:, IAT_C] < 600.0).all()
    assert (run.record[:, FLOW] >= 0.0).all()
    assert all(value is None or np.isfinite(value) for value in run.figures.values())


# --- ice ---------------------------------------------------------------------------------------------------
NO_GLYCOL = '[car]\nname = "water"\n[loop]\nglycol = "none"\n'


def test_water_at_minus_twenty_does_not_flow_and_it_is_said(write: Callable[..., Path]) -> None:
    run = drive_once(
        drive_of(write, CRUISE, "cold"), air_of(write, -20), write("car", NO_GLYCOL), "always-on", record=True
    )
    sound(run)
    assert run.record is not None
    frozen = run.record[:, CORE_IN_C] < 273.15
    assert frozen[: 60 * 10].all(), "a car that stood at -20 degC is still frozen a minute later"
    assert (run.record[frozen, FLOW] == 0.0).all()
    assert run.record[frozen, AMPS].max() > 2.0, "a pump that ice holds fast draws its stall current"
    assert run.failed == "pump stalled"
    assert run.failed_s > 0.0
    (note,) = [note for note in run.notes if "freezes" in note]
    assert note.startswith("extreme-air: down to -20 degC, but with no antifreeze the coolant freezes at 0 degC")
    assert "ice bursts core and hoses" in note
    assert not any("surely does" in said for said in run.notes), "more duty is no remedy for ice"


def test_whoever_leaves_the_pump_off_is_told_of_the_ice_as_well(write: Callable[..., Path]) -> None:
    run = drive_once(drive_of(write, CRUISE, "cold"), air_of(write, -20), write("car", NO_GLYCOL), "always-off")
    assert run.failed == ""
    assert any("freezes at 0 degC" in note for note in run.notes)


def test_antifreeze_enough_is_not_warned_of(write: Callable[..., Path]) -> None:
    run = drive_once(drive_of(write, CRUISE, "cold"), air_of(write, -20), "invented-2200", "always-on", record=True)
    sound(run)
    assert run.failed == ""
    assert run.record is not None
    assert run.record[:, FLOW].max() * 6e4 > 1.0
    assert not any("freezes" in note for note in run.notes)


def test_the_note_goes_by_the_freezing_point(write: Callable[..., Path]) -> None:
    car = load_car("invented-2200").numbers()
    freezing_c = fluids.freezing_k(car.loop.glycol, car.loop.glycol_volume_fraction) - 273.15
    above, below = (load_climate(air_of(write, freezing_c + d)) for d in (0.5, -0.5))
    assert freezing_notes(car, [above]) == []
    assert len(freezing_notes(car, [below, below])) == 1


def test_a_tournament_and_a_tuning_in_the_frost_say_so(write: Callable[..., Path]) -> None:
    drive_of(write, CRUISE, "cold")
    air_of(write, -20)
    car = write("car", NO_GLYCOL)
    season = write(
        "season",
        '[season]\nname = "frost"\n[prices]\ntracking_per_k_h = 0.1\nwear_per_h = 0.04\nenergy_per_kwh = 0.9\n'
        '[[outing]]\ndrive = "drive.toml"\nclimate = "climate.toml"\nper_year = 5\n',
    )
    found = hold_tournament(season, car, ["two-speed"], trials=0, replicates=1)
    assert any("freezes at 0 degC" in note for note in found.notes)
    assert not any("surely does" in note for note in found.notes)
    assert "always-on" in "\n".join(failures(found))
    job = make_job((), (), str(season), "two-speed", str(car), None, None, 4, 2, 1, 0.0)
    assert any("freezes at 0 degC" in note for note in hold_tuning(job, 1, asked=Asked(foresight=False)).notes)


# --- boiling -----------------------------------------------------------------------------------------------
BOILS = '[car]\nname = "open"\n[loop]\nglycol = "none"\ncap_kpa = 0\n'


def test_boiling_ends_the_run_as_failed_with_its_time(write: Callable[..., Path]) -> None:
    """Water standing in the core on boost, in thin hot air and without pressure, must boil; its run is over."""
    climate = air_of(write, 45, "altitude_m = 4000\n")
    run = drive_once(drive_of(write, PULLS), climate, write("car", BOILS), "always-off", record=True)
    assert run.failed == "coolant boiled in the core"
    first = run.played.score_from * 0.1
    assert first <= run.failed_s <= run.played.ticks * 0.1
    assert run.record is not None
    boiling_k = fluids.boiling_k("none", 0.0, float(load_climate(climate).pressure_pa[0]))
    at = round(run.failed_s * 10)
    assert run.record[max(at - 20, 0) : at + 20, METAL_C].max() > boiling_k - 1.0
    flowing = drive_once(run.drive, climate, run.car, "always-on", record=True)
    assert flowing.failed == "", "with the pump on the same coolant does not boil"


def test_the_command_says_failed_with_the_time_and_ends_with_one(write: Callable[..., Path], tmp_path: Path) -> None:
    """A table of noughts is a ranked contestant: that it FAILED is the exit code, the reason and the time are told."""
    drive_of(write, PULLS)
    air_of(write, 45, "altitude_m = 4000\n")
    write("car", BOILS)
    (tmp_path / "off.csv").write_text("iat_c \\ throttle_pct,0,100\n20,0,0\n90,0,0\n", encoding="utf-8")
    words = ["drive", "drive.toml", "--climate", "climate.toml", "--car", "car.toml", "--strategy", "table:off.csv"]
    as_json, shown = (
        subprocess.run(
            [sys.executable, "-m", "arena", *words, *more], capture_output=True, text=True, check=False, cwd=tmp_path
        )
        for more in (["--json"], [])
    )
    assert as_json.returncode == shown.returncode == 1, as_json.stderr
    found = json.loads(as_json.stdout)["failed"]
    assert found["reason"] == "coolant boiled in the core"
    assert f"FAILED after {found['time_s']:.1f} s: coolant boiled in the core" in shown.stdout


# --- no flow, no speed, no engine, thin air, heat -----------------------------------------------------------
STANDS = 'do = "idle"\nseconds = 120\n'
PARKED = 'do = "cruise"\nspeed_kmh = 50\nseconds = 30\n[[phase]]\ndo = "park"\nminutes = 3\n'
AIRS = {
    "5000 m": (5.0, "altitude_m = 5000\n"),
    "50 degC": (50.0, "humidity_pct = 80\n"),
    "50 degC at 5000 m": (50.0, "altitude_m = 5000\nhumidity_pct = 0\n"),
    "-30 degC, still": (-30.0, "wind_kmh = 0\n"),
    "storm": (20.0, "wind_kmh = 150\nhumidity_pct = 100\nsun_bay_k = 40\n"),
}


@pytest.mark.parametrize("air", AIRS.values(), ids=AIRS)
@pytest.mark.parametrize("phases", [STANDS, PARKED, PULLS], ids=["zero speed", "engine off", "pulls"])
@pytest.mark.parametrize("strategy", ["always-off", "always-on", "gated-table"])
def test_every_end_plays_through_with_finite_numbers(
    write: Callable[..., Path], air: tuple[float, str], phases: str, strategy: str
) -> None:
    run = drive_once(drive_of(write, phases, "cold"), air_of(write, *air), "invented-2200", strategy, record=True)
    sound(run)
    assert run.record is not None
    if strategy == "always-off":
        assert (run.record[:, FLOW] * 6e4 < 3.0).all(), "no more than the thermosiphon"
        assert run.figures["energy_wh"] == 0.0
    coldest = float(run.climate.ambient_k.min())
    assert (run.record[:, IAT_C] > coldest - 1.0).all(), "nothing cools below the air outside"


def test_thin_air_is_thin(write: Callable[..., Path]) -> None:
    """54.0 kPa at 5000 m (U.S. Standard Atmosphere 1976): a turbo cannot make up for all of it."""
    low, high = (
        drive_once(drive_of(write, PULLS), air_of(write, 5, f"altitude_m = {metres}\n"), record=True)
        for metres in (0, 5000)
    )
    assert high.played.ambient_pa == pytest.approx(54.05e3, rel=2e-3)
    assert high.played.air_flow_kg_s.max() < low.played.air_flow_kg_s.max()
    assert high.played.map_pa.max() < low.played.map_pa.max()


def test_a_slope_no_car_can_climb_ends(write: Callable[..., Path]) -> None:
    """A speed that is out of reach is given up, and said: a drive never goes on for ever."""
    phases = 'do = "accelerate"\nto_kmh = 350\nm_s2 = 8\ngrade_pct = 30\n[[phase]]\ndo = "pull"\nto_kmh = 350\n'
    run = drive_once(drive_of(write, phases), air_of(write, 20), record=True)
    sound(run)
    assert run.played.ticks < 40_000
    assert any("350" in note for note in run.played.notes)


# --- the pump's lowest duty ---------------------------------------------------------------------------------
def flat(tmp_path: Path, percent: float) -> Path:
    """A table that asks for one duty everywhere."""
    path = tmp_path / "flat.csv"
    path.write_text(f"iat_c \\ throttle_pct,0,100\n-50,{percent},{percent}\n90,{percent},{percent}\n", encoding="utf-8")
    return path


@pytest.mark.parametrize(("percent", "runs"), [(30.0, True), (30.1, True), (29.9, False), (0.0, False)])
def test_a_duty_at_exactly_the_floor_runs_and_below_it_is_off(
    write: Callable[..., Path], tmp_path: Path, percent: float, runs: bool
) -> None:
    law = f"table:{flat(tmp_path, percent)}+lowest_pct=30"
    run = drive_once(drive_of(write, CRUISE), "mild", strategy=contestant_of(law), record=True)
    sound(run)
    assert run.record is not None
    driven = run.record[run.played.score_from + 100 : run.played.score_from + 1100]
    assert driven[:, APPLIED] == pytest.approx(0.01 * percent if runs else 0.0, abs=1e-9)
    assert (run.figures["pump_hours"] == 0.0) is not runs


@pytest.mark.parametrize("climate", ["winter", "hot"])
def test_the_lowest_running_duty_of_a_car_starts_its_pump(
    write: Callable[..., Path], tmp_path: Path, climate: str
) -> None:
    """Worked out from the car: at exactly that duty the pump turns and coolant flows, cold or hot."""
    floor = sure_duty(load_car("invented-2200").numbers())
    law = f"table:{flat(tmp_path, round(100 * floor, 6))}+lowest_pct={100 * floor:.6f}"
    run = drive_once(drive_of(write, CRUISE, "cold"), climate, strategy=contestant_of(law), record=True)
    assert run.failed == ""
    assert run.record is not None
    driven = run.record[run.played.score_from + 300 : run.played.score_from + 1100]
    assert (driven[:, FLOW] * 6e4 > 0.5).all()


# --- numbers that mean nothing ------------------------------------------------------------------------------
SEASON = (
    '[season]\nname = "few"\n[prices]\ntracking_per_k_h = 0.1\nwear_per_h = 0.04\nenergy_per_kwh = 0.9\n'
    '[[outing]]\ndrive = "drive.toml"\nclimate = "hot"\nper_year = 5\n'
)


def test_a_ranking_from_too_few_outings_says_so(write: Callable[..., Path]) -> None:
    drive_of(write, CRUISE)
    season = write("season", SEASON)
    for replicates, said in ((1, "only 1 replicate:"), (4, "only 4 replicates:"), (5, None)):
        notes = rank_season(make_plan(season), entrants(["two-speed"]), replicates).standings.notes
        told = [note for note in notes if "intervals and ties say little" in note]
        assert [note.startswith(str(said)) for note in told] == ([True] if said else [])


def test_a_difference_whose_interval_holds_zero_is_a_tie_and_shown_as_one(write: Callable[..., Path]) -> None:
    """The same law under two names differs by nothing: whoever stands first, the two tie, and it is written out."""
    drive_of(write, CRUISE)
    season = write("season", SEASON)
    found = hold_tournament(season, strategies=["two-speed", "two-speed+run_on_s=0"], trials=0, replicates=3)
    one, two = (found.standings.line(name) for name in ("two-speed", "two-speed+run_on_s=0"))
    assert one.score == two.score
    assert one.tied_with == (two.contestant,)
    assert two.tied_with == (one.contestant,)
    assert any("two-speed" in line and "run_on_s" in line for line in ties(found.standings, Units()))


def test_failed_runs_are_shown_and_have_no_place(write: Callable[..., Path]) -> None:
    drive_of(write, PULLS)
    air_of(write, 45, "altitude_m = 4000\n")
    season = write("season", SEASON.replace('"hot"', '"climate.toml"'))
    found = hold_tournament(season, write("car", BOILS), ["two-speed"], trials=0, replicates=1, spread=0.0)
    line = found.standings.line("always-off")
    assert line.score is None
    assert line.place is None
    assert line.failed_runs == 1
    (told,) = [said for said in failures(found) if said.startswith("always-off")]
    assert told == "always-off: FAILED 1 runs: coolant boiled in the core"


LAW = """
from typing import NamedTuple

from arena.strategies.base import Setting, Strategy


class Sensed(NamedTuple):
    pass


class Settings(NamedTuple):
    duty_pct: float


class Memory(NamedTuple):
    pass


def duty(sensed: Sensed, settings: Settings, memory: Memory) -> tuple[float, Memory]:
    return 0.01 * settings.duty_pct, memory


STRATEGY = Strategy(
    name="one-duty", summary="one duty at all times", sensed=Sensed, settings_type=Settings, memory=Memory(), law=duty,
    settings=(Setting("duty_pct", "%", 35.0, 60.0, 50.0, "duty, whatever happens"),),
)
"""


def priced(write: Callable[..., Path], tracking: float, wear: float, energy: float, climate: str = "hot") -> Path:
    """The small season with other prices."""
    rows = f"tracking_per_k_h = {tracking}\nwear_per_h = {wear}\nenergy_per_kwh = {energy}\n"
    text = SEASON[: SEASON.index("tracking")] + rows + SEASON[SEASON.index("[[outing]]") :]
    return write("season", text.replace('"hot"', f'"{climate}"'))


def test_a_tuning_that_ends_at_a_bound_names_it(write: Callable[..., Path], tmp_path: Path) -> None:
    """Less pump is always better where energy alone costs: the best is at the end of the range, which is named."""
    law = tmp_path / "law.py"
    law.write_text(LAW, encoding="utf-8")
    drive_of(write, CRUISE)
    season = priced(write, 0.0, 0.0, 1.0, climate="mild")
    found = hold_tournament(season, strategies=[str(law)], trials=64, replicates=1, spread=0.0)
    assert "one-duty: duty_pct at its lowest, 35 % of its range" in found.notes


@pytest.mark.parametrize("trials", [0, 4])
def test_a_yardstick_that_costs_nothing_measures_nothing(write: Callable[..., Path], trials: int) -> None:
    """In the heat nobody is charged for what full pump could not reach: with tracking alone always-on costs nothing."""
    drive_of(write, CRUISE)
    season = priced(write, 1.0, 0.0, 0.0)
    with pytest.raises(BadInput, match="few: at its prices always-on costs 0, so there is nothing to measure by"):
        hold_tournament(season, strategies=["two-speed"], trials=trials, replicates=1, spread=0.0)


def test_a_yardstick_that_failed_is_told(write: Callable[..., Path]) -> None:
    drive_of(write, CRUISE, "cold")
    air_of(write, -20)
    season = write("season", SEASON.replace('"hot"', '"climate.toml"'))
    plan = make_plan(season, write("car", NO_GLYCOL), spread=0.0)
    notes = rank_season(plan, entrants(["two-speed"]), 1).standings.notes
    assert any(note.startswith("always-on, by which all are measured, FAILED 1 run:") for note in notes)


def test_prices_in_another_money_change_nothing(write: Callable[..., Path]) -> None:
    """A season ten thousand times as dear: the same scores and the same settings, while tuning and while ranking."""
    drive_of(write, PULLS)
    found = [
        hold_tournament(
            priced(write, 0.1 * f, 0.04 * f, 0.9 * f), strategies=["two-speed"], trials=16, replicates=1, spread=0.0
        )
        for f in (1.0, 1e4)
    ]
    one, dear = (result.standings.line("two-speed") for result in found)
    assert dear.score == pytest.approx(one.score, rel=1e-9)
    assert found[1].train_scores["two-speed"] == pytest.approx(found[0].train_scores["two-speed"], rel=1e-9)
