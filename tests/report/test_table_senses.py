"""A duty table by other senses than charge temperature and throttle goes through a result folder under their names.

One small tournament with such a table, on a drive with a pull that the car cannot do.
"""

from __future__ import annotations

import json
import shutil
from collections.abc import Callable
from dataclasses import replace
from pathlib import Path
from typing import Any, NamedTuple

import numpy as np
import pytest

from arena.contest.duty_table import read_table
from arena.contest.run import Contestant
from arena.contest.single import SingleRun, drive_once
from arena.contest.store import table_csv
from arena.contest.tournament import TournamentResult, hold_tournament
from arena.contest.worlds import drive_notes
from arena.errors import BadInput
from arena.plant import layout as at
from arena.plant.compile import TICK_S
from arena.report import terminal
from arena.report.documents import tournament_document
from arena.report.page import build_page, page_html
from arena.report.result import read_result
from arena.strategies import shipped
from arena.strategies.base import declaration_faults
from arena.units import Units

TABLE = "coolant_c \\ speed_kmh,0,33.3333,90\n30.5,0,0,0\n40,0,33.3333,66.6667\n60,50,100,100\n"
DRIVE = """
[drive]
name = "short"

[[phase]]
do = "cruise"
speed_kmh = 50
seconds = 60

[[phase]]
do = "pull"
to_kmh = 250
longest_s = 5
"""
SEASON = """
[season]
name = "one-road"

[prices]
tracking_per_k_h = 0.1
wear_per_h = 0.04
energy_per_kwh = 0.9

[[outing]]
drive = "short.toml"
climate = "hot"
per_year = 20
"""


@pytest.fixture(scope="module")
def made(tmp_path_factory: pytest.TempPathFactory) -> tuple[TournamentResult, Path]:
    place = tmp_path_factory.mktemp("senses")
    for name, text in (("short.toml", DRIVE), ("season.toml", SEASON), ("loop.csv", TABLE)):
        (place / name).write_text(text, encoding="utf-8")
    table = f"table:{place / 'loop.csv'}"
    result = hold_tournament(
        place / "season.toml", strategies=[table], trials=0, replicates=2, seed=3, out=place / "done", dress=build_page
    )
    return result, place


def about(place: Path) -> tuple[dict[str, Any], list[list[float]]]:
    """The table's contestant in views.json, and its visits."""
    views = json.loads((place / "done" / "views.json").read_text(encoding="utf-8"))
    found = next(c for c in views["contestants"] if c["name"].startswith("table-loop"))
    return found, views["visits"][found["name"]]


def test_the_table_written_reads_back_as_the_one_entered(made: tuple[TournamentResult, Path]) -> None:
    (path,) = (made[1] / "done" / "tables").glob("table-loop*.csv")
    assert path.read_text(encoding="utf-8") == TABLE
    assert read_table(path) == read_table(made[1] / "loop.csv")


def test_any_cells_read_back_to_six_digits(tmp_path: Path) -> None:
    cells = np.random.Generator(np.random.PCG64(1)).uniform(0.0, 1.0, (3, 4))
    path = tmp_path / "t.csv"
    path.write_text(table_csv(("ambient_c", "iat_c"), (-7.25, 0.1, 3.0), (20.0, 25.5, 30.0, 1 / 0.03), cells))
    table = read_table(path)
    assert (table.row_sense, table.column_sense, table.rows) == ("ambient_c", "iat_c", (-7.25, 0.1, 3.0))
    assert table.columns == pytest.approx((20.0, 25.5, 30.0, 1 / 0.03), rel=1e-9)
    assert np.array(table.cells) == pytest.approx(cells, rel=5.1e-6)


def test_views_name_the_senses_and_count_by_them(
    made: tuple[TournamentResult, Path], conforms: Callable[[str, Any], None]
) -> None:
    """The minutes nearest to each column and row are those of a run of the same drive and seed, counted plainly."""
    found, visits = about(made[1])
    conforms("views", json.loads((made[1] / "done" / "views.json").read_text(encoding="utf-8")))
    assert found["table"]["down"] == "coolant_c" and found["table"]["across"] == "speed_kmh"
    assert found["table"]["down_breakpoints"] == [30.5, 40.0, 60.0]
    assert found["table"]["across_breakpoints"] == [0.0, 33.3333, 90.0]
    run = drive_once(made[1] / "short.toml", "hot", strategy=f"table:{made[1] / 'loop.csv'}", seed=3, record=True)
    running = run.played.engine_on[run.played.score_from :] > 0.5
    speed = 3.6 * run.played.speed_m_s[run.played.score_from :][running]
    coolant = coolant_read(run)[running]
    minutes = 20.0 * TICK_S / 60.0
    across = [np.sum(speed <= 16.66665), np.sum((speed > 16.66665) & (speed <= 61.66665)), np.sum(speed > 61.66665)]
    down = [np.sum(coolant <= 35.25), np.sum((coolant > 35.25) & (coolant <= 50.0)), np.sum(coolant > 50.0)]
    assert not run.failed and min(across) > 0 and sum(n > 0 for n in down) > 1
    assert np.sum(visits, axis=0) == pytest.approx(minutes * np.array(across), rel=1e-4)
    assert np.sum(visits, axis=1) == pytest.approx(minutes * np.array(down), rel=1e-4)


def coolant_read(run: SingleRun) -> np.ndarray:
    """The coolant probe as the law saw it, of the tick before, degC, over the scored ticks."""
    assert run.record is not None
    return np.asarray(run.record[run.played.score_from - 1 : -1, at.T_CORE_IN] - 273.15)


def test_the_page_names_the_senses_in_either_units(made: tuple[TournamentResult, Path]) -> None:
    result = read_result(made[1] / "done")
    assert "coolant, degC \\ road speed, km/h</th>" in page_html(result, Units())
    us = page_html(result, Units("us"))
    assert "coolant, degF \\ road speed, mph</th>" in us
    assert '<th scope="row" class="r">86.9</th>' in us  # 30.5 degC
    assert '<th scope="col" class="r">55.92</th>' in us  # 90 km/h


@pytest.mark.parametrize(
    ("change", "said"),
    [
        (lambda v: v.update(schema=1), "views.json: schema 1, this version reads 2"),
        (lambda v: v["contestants"][0]["table"].update(down="loudness"), r"contestants\[1\].table.down"),
    ],
)
def test_views_of_another_kind_are_refused_in_one_line(
    made: tuple[TournamentResult, Path], tmp_path: Path, change: Callable[[Any], None], said: str
) -> None:
    copy = Path(shutil.copytree(made[1] / "done", tmp_path / "done"))
    views = json.loads((copy / "views.json").read_text(encoding="utf-8"))
    views["contestants"].sort(key=lambda c: c["table"] is None)
    change(views)
    (copy / "views.json").write_text(json.dumps(views), encoding="utf-8")
    with pytest.raises(BadInput, match=said) as raised:
        read_result(copy)
    assert len(raised.value.faults) == 1


def test_a_law_with_a_table_declares_what_its_axes_go_by() -> None:
    class Sensed(NamedTuple):
        iat_c: float

    gated = shipped()["gated-table"]
    assert gated.table_senses == ("iat_c", "throttle_pct")
    assert declaration_faults(replace(gated, sensed=Sensed)) == [
        "a table goes by the first two senses, and Sensed declares fewer"
    ]


def test_a_pull_that_could_not_be_done_is_told_once(
    made: tuple[TournamentResult, Path], capsys: pytest.CaptureFixture[str]
) -> None:
    result = made[0]
    said = "short: phase 2 (pull) could not reach 250 km/h within 5 s, it got to "
    terminal.tournament(result)
    lines = [line for line in capsys.readouterr().out.splitlines() if "could not reach" in line]
    assert len(lines) == 1 and lines[0].startswith(said) and lines[0].endswith(" (2 of 2 playings)")
    assert [note for note in tournament_document(result)["notes"] if "could not reach" in note] == lines


def test_remarks_on_drives_are_cut_short() -> None:
    one = ("a", ["1", "2", "3", "4", "5"])
    assert drive_notes([("a", ["x"]), one, ("a", []), ("b", [])]) == ["a: 1; 2; 3; 2 more remarks (2 of 3 playings)"]
    many = drive_notes([(f"d{k}", ["slow"]) for k in range(12)])
    assert many[0] == "d0: slow (1 of 1 playings)" and many[10:] == ["2 more drives have remarks"]


def test_a_contestants_own_table_is_the_one_told(tmp_path: Path) -> None:
    from arena.contest.run import table_read

    own = ((0.0, 1.0), (0.0, 1.0), ((0.0, 0.5), (0.5, 1.0)))
    assert table_read(Contestant("mine", shipped()["gated-table"], table=own)) == own
    assert table_read(Contestant("none", shipped()["two-speed"])) is None
