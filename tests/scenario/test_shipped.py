"""The shipped files: all load, the cycles are the published ones, and the default car is the default numbers."""

from __future__ import annotations

import csv
from itertools import pairwise
from pathlib import Path

import numpy as np
import pytest

from arena.plant.numbers import CarNumbers
from arena.scenario.car import load_car
from arena.scenario.check import check_file
from arena.scenario.climate import load_climate
from arena.scenario.drive import Pull, expanded_phases, load_drive, longest_s
from arena.scenario.loading import list_all, shipped_root
from arena.scenario.season import load_season

FILES = sorted([*shipped_root().rglob("*.toml"), *shipped_root().rglob("*.csv")])
OURS = [path for path in FILES if path.parent.name in ("cars", "climates", "drives", "seasons")]


@pytest.mark.parametrize("path", OURS, ids=lambda path: f"{path.parent.name}/{path.name}")
def test_every_shipped_file_passes_its_own_check(path: Path) -> None:
    kind = "log" if path.suffix == ".csv" else path.parent.name.removesuffix("s")
    assert check_file(path).kind == kind


def test_names_promised_to_scripts_are_there() -> None:
    drives = {entry.name for entry in list_all("drives")}
    assert {"cold-start", "commute", "hill-pulls", "track-session", "wltc-3b", "recorded-trip"} <= drives
    climates = list_all("climates")
    assert {"winter", "mild", "hot"} <= {entry.name for entry in climates}
    assert len(climates) >= 10
    for kind in ("cars", "climates", "drives", "seasons"):
        for entry in list_all(kind):
            assert len(entry.summary) > 15, f"{entry.name} needs a line that says what it is"


def test_a_shipped_file_is_called_what_it_says_it_is_called() -> None:
    for entry in list_all("drives"):
        assert load_drive(entry.name).name == entry.name
    for entry in list_all("climates"):
        assert load_climate(entry.name).name == entry.name
    for entry in list_all("seasons"):
        assert load_season(entry.name).name == entry.name


def test_shipped_car_agrees_with_the_default_numbers() -> None:
    car = load_car("invented-2200")
    assert car.numbers() == CarNumbers()
    assert "invented" in car.summary
    assert car.notes == ()
    assert "engine.power_kw" in car.given
    assert car.assumed["charger.efficiency"] == "typical, from memory"
    assert car.assumed["core.metal_kg"].startswith("estimated from core.length_mm")
    assert not car.given & set(car.assumed)


def test_wltc_has_the_regulations_speed_sums() -> None:
    """UN GTR 15, class 3b: sums of the 1 Hz speeds in km/h over the four phases, ending at 589, 1022, 1477, 1800 s."""
    with (shipped_root() / "drives" / "wltc_class3b.csv").open(encoding="utf-8") as file:
        speeds = [float(row["speed_kmh"]) for row in csv.DictReader(file)]
    ends = [0, 590, 1023, 1478, 1801]
    sums = [sum(speeds[low:high]) for low, high in pairwise(ends)]
    assert sums == pytest.approx([11140.3, 17121.2, 25782.2, 29714.9], abs=0.05)


@pytest.mark.parametrize(
    ("name", "seconds", "km", "top_kmh"),
    [
        # trapezium integrals of the regulations' 1 Hz speeds; published: 23.266 km, 7.45 mi (EPA), 10.26 mi, 8.01 mi
        ("wltc-3b", 1800, 23.2663, 131.3),
        ("udds", 1369, 11.9904, 91.25),
        ("hwfet", 765, 16.5068, 96.40),
        ("us06", 600, 12.8876, 129.23),
    ],
)
def test_cycles_have_their_published_length(name: str, seconds: float, km: float, top_kmh: float) -> None:
    (trace,) = load_drive(name).traces.values()
    assert trace.time_s[-1] == seconds
    assert np.trapezoid(trace.speed_m_s, trace.time_s) / 1e3 == pytest.approx(km, abs=2e-4)
    assert trace.speed_m_s.max() * 3.6 == pytest.approx(top_kmh, abs=0.02)


def test_recorded_trip_brings_its_own_rpm_and_manifold_pressure() -> None:
    drive = load_drive("recorded-trip")
    (trace,) = drive.traces.values()
    assert trace.rpm is not None and trace.map_pa is not None and trace.pedal is not None
    assert trace.map_pa.max() > 130e3, "the trip boosts"
    assert trace.pedal.min() == 0.0, "the pedal's rest at 14.1 % has become 0"
    assert np.array_equal(trace.pedal, trace.throttle), "the logged plate of a diesel says nothing"
    assert any("gap of 62.1 s" in note for note in drive.notes)
    assert "CC BY 4.0" in drive.file.drive.source


def test_hill_pulls_pull_six_times_and_the_commute_is_about_25_minutes() -> None:
    assert sum(isinstance(phase, Pull) for phase in expanded_phases(load_drive("hill-pulls").file.phase)) == 6
    assert 20 * 60 < longest_s(load_drive("commute").file.phase, {}) < 32 * 60


def test_default_season_plays_the_six_first_drives_in_three_climates() -> None:
    season = load_season("temperate-year")
    assert len(season.entries) == 18
    assert {entry.climate for entry in season.entries} == {"winter", "mild", "hot"}
    per_drive = {
        drive: sum(e.outings_per_year for e in season.entries if e.drive == drive)
        for drive in ("commute", "track-session")
    }
    assert per_drive["commute"] > 20 * per_drive["track-session"]
    assert "3000" in season.prices.reasoning


def test_attribution_travels_with_the_data() -> None:
    notice = (shipped_root() / "NOTICE.md").read_text(encoding="utf-8")
    for words in (
        "https://doi.org/10.35097/1130",
        "CC BY 4.0",
        "Apache License, Version 2.0",
        "Alliance for Sustainable Energy",
    ):
        assert words in notice
    for path in (shipped_root() / "drives").glob("*.csv"):
        assert path.name in notice, f"{path.name} has no word on where it comes from"
