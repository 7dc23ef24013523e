"""What people mix up: a name that is no file, a file of another kind, centimetres in a key of millimetres."""

from __future__ import annotations

from pathlib import Path

import pytest

from arena.errors import BadInput
from arena.report.check_text import TELLING, show_check
from arena.scenario.car import load_car
from arena.scenario.check import Checked, check_file
from arena.scenario.climate import load_climate
from arena.scenario.drive import load_drive
from arena.scenario.season import load_season
from arena.scenario.starters import car_starter, climate_starter, drive_starter, season_starter

STARTERS = {"car": car_starter, "climate": climate_starter, "drive": drive_starter, "season": season_starter}
LOADERS = {"car": load_car, "climate": load_climate, "drive": load_drive, "season": load_season}


@pytest.mark.parametrize("wanted", LOADERS)
@pytest.mark.parametrize("given", LOADERS)
def test_a_file_of_another_kind_is_told_in_one_line(wanted: str, given: str, tmp_path: Path) -> None:
    path = tmp_path / f"my-{given}.toml"
    path.write_text(STARTERS[given]())
    if wanted == given:
        LOADERS[wanted](path)
        return
    with pytest.raises(BadInput) as caught:
        LOADERS[wanted](path)
    assert len(caught.value.faults) == 1
    assert caught.value.faults[0].endswith(f"my-{given}.toml: is a {given} file, where a {wanted} is wanted")
    assert f"arena new {wanted}" in caught.value.remedy


@pytest.mark.parametrize("name", ["comute.toml", "mylog.csv", "my.town/comute.toml"])
def test_a_name_with_an_ending_is_a_file_that_is_not_there(name: str, tmp_path: Path) -> None:
    with pytest.raises(BadInput) as caught:
        load_drive(name)
    assert f"{name}: there is no such file" in caught.value.faults[0]
    assert ('did you mean "commute"?' in caught.value.faults[0]) == ("comute" in name)
    with pytest.raises(BadInput, match='unknown drive "comute", did you mean "commute"'):
        load_drive("comute")


def test_centimetres_for_millimetres_are_noted(tmp_path: Path) -> None:
    path = tmp_path / "car.toml"
    path.write_text(car_starter())
    assert load_car(path).notes == ()
    text = path.read_text().replace("width_mm = 500", "width_mm = 50").replace("height_mm = 300", "height_mm = 30")
    path.write_text(text)
    assert [note.split(" is unusual")[0] for note in load_car(path).notes] == [
        "front.width_mm = 50", "front.height_mm = 30",
    ]  # fmt: skip


def test_what_was_typed_is_listed_as_given_though_it_only_leads_to_numbers(tmp_path: Path) -> None:
    path = tmp_path / "car.toml"
    path.write_text(car_starter())
    given = {what: value for what, value, known in check_file(path).rows if known == "measured (given)"}
    assert given["pump.bucket_l_min"] == "14.0" and given["core.size"] == "medium"
    assert "pump.system_l_min" not in given


def test_numbers_that_hardly_move_the_score_run_on_and_whole_gives_each_its_row(
    tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    from arena.garage.checking import Examined
    from arena.garage.worth_measuring import Effect

    path = tmp_path / "car.toml"
    path.write_text(car_starter())
    checked: Checked = check_file(path)
    moves = {"probe.tau_s": 2 * TELLING, "probe.boss_share": TELLING / 2}
    found = Examined(checked, {key: Effect(key, 1.0, 2.0, change, turns=False) for key, change in moves.items()})
    show_check(path, found)
    short = capsys.readouterr().out
    show_check(path, found, whole=True)
    long = capsys.readouterr().out
    assert "probe.tau_s" in short and "probe.boss_share" not in short and "boss_share 0.15" in short
    assert "probe.boss_share" in long and "engine.kind" in long and "engine.kind" not in short
