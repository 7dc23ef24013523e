"""What `arena check` finds out beyond the file: what is worth measuring, and the files only their own readers know."""

from __future__ import annotations

import dataclasses
from pathlib import Path

import pytest

from arena.errors import BadInput
from arena.garage.checking import HOW, Examined, examine
from arena.garage.worth_measuring import sensitivity
from arena.plant.numbers import CarNumbers
from arena.scenario.car import car_toml, load_car
from arena.scenario.car_keys import KEY_OF_NUMBER

LEFT_OUT = ("pump.start_v", "supply.cranking_v", "front.condenser_rise_k")


@pytest.fixture
def nearly_measured(tmp_path: Path) -> Path:
    """A car that gives all numbers but three."""
    lines = car_toml(CarNumbers(), "c", "all but three numbers").split("\n")
    names = [key.split(".")[1] for key in LEFT_OUT]
    kept = [line for line in lines if line.split(" = ")[0] not in names]
    path = tmp_path / "c.toml"
    path.write_text("\n".join(kept), encoding="utf-8")
    assert set(load_car(path).assumed) == set(LEFT_OUT)
    return path


def test_only_assumed_numbers_are_tried_and_the_great_ones_are_told_from_the_small(nearly_measured: Path) -> None:
    found = examine(nearly_measured)
    assert set(found.effects) == set(LEFT_OUT)
    assert found.effects["supply.cranking_v"].change < 0.005, "cranking is over before the drive begins"
    assert found.effects["front.condenser_rise_k"].change > 0.02, "hotter air at the front changes what pumping buys"
    worth = found.worth_measuring()
    assert any(line.startswith("front.condenser_rise_k (") for line in worth)
    assert not any(line.startswith("supply.cranking_v") for line in worth)


def test_the_same_car_gets_the_same_answer_on_any_number_of_threads(nearly_measured: Path) -> None:
    car = load_car(nearly_measured)
    assert sensitivity(car, workers=1) == sensitivity(car, workers=3)


def test_what_is_already_measured_is_not_asked_for_again() -> None:
    """A number estimated from a bucket test is not sent back to the bucket."""
    found = examine_shipped()
    bucket = dataclasses.replace(
        found,
        checked=dataclasses.replace(
            found.checked, rows=(("pump.system_kpa", "30", "estimated from pump.bucket_l_min"),)
        ),
    )
    assert bucket.worth_measuring() == []
    assert found.worth_measuring() == ["pump.system_kpa (bucket test: pump.bucket_l_min, bucket_v, bucket_a)"]


def examine_shipped() -> Examined:
    from arena.garage.worth_measuring import Effect
    from arena.scenario.check import Checked

    rows = (("pump.system_kpa", "30", "assumed: typical, from memory"),)
    return Examined(Checked("car", (), rows), {"pump.system_kpa": Effect("pump.system_kpa", 30, 40, 0.2, False)})


def test_each_way_of_measuring_belongs_to_a_key_of_the_car_file() -> None:
    assert set(HOW) <= set(KEY_OF_NUMBER.values())


def test_a_drive_is_played_once_and_what_the_car_cannot_do_is_said(tmp_path: Path) -> None:
    path = tmp_path / "d.toml"
    path.write_text(
        '[drive]\nname = "d"\n[[phase]]\ndo = "pull"\nto_kmh = 150\ngrade_pct = 25\nlongest_s = 30\n', encoding="utf-8"
    )
    found = examine(path).checked
    assert any("could not reach 150 km/h within 30 s" in note for note in found.notes)
    assert "on boost" in {what for what, _, _ in found.rows}
    assert "on boost" not in {what for what, _, _ in examine(path, quick=True).checked.rows}


BAD = [
    ("s.toml", 'strategy = "proportionl"\n[settings]\nstart_c = 30\n', ["s.toml", "proportionl"]),
    ("s.toml", 'strategy = "proportional"\n[settings]\nstart_c = 300\n', ["s.toml", "start_c", "outside"]),
    ("s.toml", 'strategy = "proportional"\n[settings]\nstrat_c = 30\n', ["s.toml", "strat_c"]),
    ("s.toml", 'strategy = "proportional"\n[settings]\nstart_c = "hot"\n', ["s.toml", "NAME = NUMBER"]),
    ("s.toml", "[settings]\nstart_c = 30\n", ["s.toml", "strategy is missing"]),
    ("s.toml", 'strategy = "proportional"\nextra = 1\n[settings]\nstart_c = 30\n', ["s.toml", "extra is not a key"]),
    ("a.toml", '[axes]\nname = "a"\n[axes.down]\nsense = "iatt"\nbreakpoints = [1, 2]\n', ["a.toml"]),
    ("t.csv", "iat_c \\ throttle_pct,0,50\n20,0,50\n10,20,60\n", ["t.csv", "breakpoints must rise"]),
    ("t.csv", "iat_c \\ throttle_pct,0,50\n20,0,50\n30,20,160\n", ["t.csv", "t.csv:3", "160"]),
    ("l.py", "STRATEGY = 3\n", ["l.py"]),
    ("l.py", "def law(:\n", ["l.py"]),
    ("f.toml", '[fault]\nname = "f"\n', ["f.toml", "breaks nothing"]),
]


@pytest.mark.parametrize(("name", "text", "words"), BAD, ids=[f"{name} {words[-1]}" for name, _, words in BAD])
def test_files_with_readers_of_their_own_are_checked_by_them(
    tmp_path: Path, name: str, text: str, words: list[str]
) -> None:
    (tmp_path / name).write_text(text, encoding="utf-8")
    with pytest.raises(BadInput) as caught:
        examine(tmp_path / name)
    assert caught.value.remedy
    assert any(all(word in line for word in words) for line in caught.value.faults), caught.value.faults


def test_good_settings_and_tables_pass(tmp_path: Path) -> None:
    (tmp_path / "s.toml").write_text('strategy = "proportional"\n[settings]\nstart_c = 30.0\n', encoding="utf-8")
    (tmp_path / "t.csv").write_text("iat_c \\ throttle_pct,0,50\n20,0,50\n30,20,60\n", encoding="utf-8")
    assert examine(tmp_path / "s.toml").checked.kind == "settings"
    assert examine(tmp_path / "t.csv").checked.kind == "table"
