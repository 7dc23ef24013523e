"""Files of a result folder by hand: CSVs, kept worlds and generations, and what of them is refused."""

from __future__ import annotations

import csv
import io
import json
from dataclasses import replace
from pathlib import Path
from types import SimpleNamespace
from typing import Any

import numpy as np
import pytest
import tomlkit
from standings_builders import runs, season

from arena.contest import store
from arena.contest.axes import Axes, Axis
from arena.contest.comparing import Interval
from arena.contest.figures import NAMES
from arena.contest.freezing import freezes_in, freezing_notes
from arena.contest.locks import FileLock
from arena.contest.run import Contestant
from arena.contest.standings import RunTable, rank
from arena.contest.store import Folder, number, own_files, readable, runs_csv, standings_csv, table_csv
from arena.contest.tradeoff import Point
from arena.contest.tuning_files import cells_csv, comparison_csv, front_csv, table_toml, visits_csv
from arena.contest.worlds_file import OUTING_KEYS, packed, unpacked
from arena.errors import BadInput
from arena.plant.numbers import CarNumbers
from arena.strategies import shipped

VERSIONS = store.versions()


def rows_of(text: str) -> list[dict[str, str]]:
    return list(csv.DictReader(io.StringIO(text)))


@pytest.fixture
def table() -> RunTable:
    """Two contestants, two outings, two worlds; the second FAILED once."""
    made = runs({"always-on": (1.0, 1.5), "mine": (0.5, 0.25)})
    made.values["pump_hours"][1] = [[1.0, 2.0], [1.0 / 3.0, np.nan]]
    made.failed[1, 1, 1], made.failed_s[1, 1, 1] = "pump stalled", 12.3
    return made


def test_numbers_have_ten_digits_and_none_is_empty() -> None:
    assert [number(v) for v in (None, float("nan"), float("inf"), 1.0 / 3.0, 0.0, 1e-12, 123456789012.0)] == [
        "", "", "", "0.3333333333", "0", "1e-12", "1.23456789e+11",
    ]  # fmt: skip


def test_runs_are_listed_by_contestant_outing_and_world(table: RunTable) -> None:
    rows = rows_of(runs_csv(table, ["a/hot", "b/hot"]))
    assert [(r["contestant"], r["outing"], r["replicate"]) for r in rows] == [
        (c, o, w) for c in ("always-on", "mine") for o in ("a/hot", "b/hot") for w in ("0", "1")
    ]
    assert (rows[4]["pump_hours"], rows[6]["pump_hours"], rows[7]["pump_hours"]) == ("1", "0.3333333333", "")
    assert (rows[7]["failed"], rows[7]["failed_s"], rows[6]["failed"], rows[6]["failed_s"]) == (
        "pump stalled", "12.3", "", "",
    )  # fmt: skip
    assert set(rows[0]) == {"contestant", "outing", "replicate", "failed", "failed_s", *NAMES}


def test_standings_are_listed_best_first(table: RunTable) -> None:
    table.failed[1, 1, 1] = ""
    found = rank(table, season(), 1)
    rows = rows_of(standings_csv(found, {"mine": True}, {"mine": 0.125}))
    assert [r["contestant"] for r in rows] == ["mine", "always-on"]
    mine, yard = rows
    assert (mine["place"], mine["ranked"], mine["tuned"], mine["tuning_gap"]) == ("1", "1", "1", "0.125")
    assert (yard["place"], yard["ranked"], yard["tuned"], yard["tuning_gap"]) == ("", "0", "0", "")
    assert float(mine["score"]) == pytest.approx(0.75 / 2.5) and float(mine["score_low"]) < float(mine["score_high"])
    assert (mine["failed_runs"], mine["over_limit_k"]) == ("0", "0")
    table.failed[1, 1, 1] = "pump stalled"
    last = rows_of(standings_csv(rank(table, season(), 1), {}, {}))[-1]
    assert (last["contestant"], last["place"], last["score"], last["failed_runs"]) == ("mine", "", "", "1")


OUTING = {
    "id": "a/hot",
    "drive": "a",
    "climate": "hot",
    "replicate": 0,
    "drive_seconds": 60.0,
    "weight": 20.0,
    "notes": [],
}


def one_world(table: RunTable) -> RunTable:
    return replace(
        table, values={n: v[:, :, :1] for n, v in table.values.items()}, wear_parts=table.wear_parts[..., :1],
        failed=table.failed[:, :, 1:], failed_s=table.failed_s[:, :, 1:], limit_s=table.limit_s[:, :1],
    )  # fmt: skip


def test_a_kept_world_is_read_back_to_the_bit(table: RunTable, tmp_path: Path) -> None:
    whole, path = one_world(table), tmp_path / "world-0.npz"
    path.write_bytes(packed(whole, [OUTING, OUTING]))
    read, outings = unpacked(path)
    assert outings == [OUTING, OUTING]
    assert (read.contestants, read.ranked) == (whole.contestants, whole.ranked)
    for name in NAMES:
        np.testing.assert_array_equal(read.values[name], whole.values[name])
    np.testing.assert_array_equal(read.failed, whole.failed)
    for name in ("wear_parts", "failed_s", "weights", "limit_s"):
        np.testing.assert_array_equal(getattr(read, name), getattr(whole, name))


@pytest.mark.parametrize(
    ("change", "said"),
    [
        ({"weights": np.array([20.0])}, "of shape"),
        ({"limit_s": np.zeros((2, 2))}, "limit_s is float64 of shape"),
        ({"limit_s": np.zeros(2)}, "limit_s is float64 of shape"),
        ({"ranked": (True,)}, "ranked is bool of shape"),
        ({"wear_parts": np.zeros((2, 2, 2, 1))}, "wear is float64"),
        ({"failed_s": np.zeros((2, 2, 1), dtype=int)}, "failed_s is int"),
        ({"weights": np.array([20.0, np.inf])}, "not finite"),
        ({"limit_s": np.array([[np.nan], [0.0]])}, "not finite"),
        ({"wear_parts": np.full((3, 2, 2, 1), np.nan)}, "not finite"),
    ],
)
def test_a_kept_world_of_another_form_is_refused(
    table: RunTable, tmp_path: Path, change: dict[str, Any], said: str
) -> None:
    path = tmp_path / "world-0.npz"
    path.write_bytes(packed(replace(one_world(table), **change), [OUTING, OUTING]))
    with pytest.raises(ValueError, match=said):
        unpacked(path)


def test_infinite_figures_are_refused_and_missing_ones_taken(table: RunTable, tmp_path: Path) -> None:
    path, world = tmp_path / "world-0.npz", one_world(table)
    world.values["pump_hours"][0, 0, 0] = np.nan
    world.wear_parts[:, 1, 1, 0] = np.nan  # of the run that FAILED
    path.write_bytes(packed(world, [OUTING, OUTING]))
    assert np.isnan(unpacked(path)[0].values["pump_hours"][0, 0, 0])
    world.values["pump_hours"][0, 0, 0] = np.inf
    path.write_bytes(packed(world, [OUTING, OUTING]))
    with pytest.raises(ValueError, match="not finite"):
        unpacked(path)


@pytest.mark.parametrize(
    ("outings", "said"),
    [
        ([OUTING], "do not go with the weights"),
        ([OUTING] * 3, "do not go with the weights"),
        ({"a": 1}, "must be a list of"),
        ([OUTING, "b"], "must be a list of"),
        ([OUTING, {**OUTING, "more": 1}], "must be a list of"),
        ([OUTING, {k: v for k, v in OUTING.items() if k != "weight"}], "must be a list of"),
        *(([OUTING, {**OUTING, key: None}], "holds what it cannot") for key in OUTING_KEYS),
    ],
)
def test_outings_of_a_kept_world_are_looked_at_one_by_one(
    table: RunTable, tmp_path: Path, outings: Any, said: str
) -> None:
    path = tmp_path / "world-0.npz"
    path.write_bytes(packed(one_world(table), outings))
    with pytest.raises(ValueError, match=said):
        unpacked(path)


def test_generations_are_kept_one_after_the_other(tmp_path: Path) -> None:
    folder = Folder.new(tmp_path / "out")
    assert folder.kept_generation("mine", 0) is None
    for generation, values in enumerate(([1.0, 2.0], [3.0, 4.0], [5.0, 6.0])):
        folder.keep_generation("mine", generation, values)
    assert [folder.kept_generation("mine", k) for k in range(4)] == [[1.0, 2.0], [3.0, 4.0], [5.0, 6.0], None]
    folder.keep_generation("mine", 1, [7.0])  # done again: what followed from it is gone
    assert [folder.kept_generation("mine", k) for k in range(3)] == [[1.0, 2.0], [7.0], None]
    assert folder.kept_generation("other", 0) is None
    path = folder.path / "tuning" / "mine.json"
    for spoilt in ({"generations": [[1.0, float("inf")]]}, {"generations": [["x"]]}, {"generations": 3}, {}, []):
        path.write_text(json.dumps(spoilt), encoding="utf-8")
        with pytest.raises(BadInput, match=r"tuning/mine.json: damaged") as caught:
            folder.kept_generation("mine", 0)
        assert caught.value.remedy == "Remove that file: what it held is done again."
    folder.lock.release()


def test_another_version_or_strategy_is_not_gone_on_with(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    from arena.contest.tournament import make_plan

    plan = make_plan("weekend-track")
    field = [Contestant(n, shipped()[n]) for n in ("proportional", "always-on")]
    folder = Folder.new(tmp_path / "out")
    folder.write("manifest.json", store.manifest(plan, field, {"seed": 1}, ["arena"], {}))
    store.same_inputs(folder, plan, field)
    store.same_inputs(folder, plan, field[::-1])
    with pytest.raises(BadInput, match="season, car, drives or climates have changed"):
        store.same_inputs(folder, replace(plan, seed=2), field)
    with pytest.raises(BadInput, match="strategy always-on has changed"):
        store.same_inputs(folder, plan, field[:1])
    monkeypatch.setattr(store, "versions", lambda: {**VERSIONS, "numpy": "0.1"})
    with pytest.raises(BadInput, match=r"was begun with numpy .*, this is 0.1") as caught:
        store.same_inputs(folder, plan, field)
    assert len(caught.value.faults) == 1
    folder.lock.release()


def test_versions_of_what_is_not_there_are_said_to_be_missing(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(store, "PACKAGES", ("numpy", "no-such-package"))
    assert store.versions().keys() == {"python", "numpy", "no-such-package"}
    assert store.versions()["no-such-package"] == "not installed" and store.versions()["numpy"] == np.__version__


def test_only_the_users_own_files_are_copied() -> None:
    law = shipped()["proportional"]
    mine = replace(law, name="mine", path="/somewhere/mine.py")
    read = replace(law, name="table-x", data=("/somewhere/x.csv",))
    field = [Contestant("p", law), Contestant("mine", mine), Contestant("x", read)]
    assert own_files(field) == [Path("/somewhere/x.csv"), Path("/somewhere/mine.py")]


def test_words_that_are_no_unicode_are_shown_with_question_marks() -> None:
    assert readable("Grün") == "Grün" and readable("a\udcffb") == "a?b"


def test_a_lock_is_one_writers_and_is_let_go_of(tmp_path: Path) -> None:
    first, second = FileLock(tmp_path / "lock"), FileLock(tmp_path / "lock")
    assert first.handle == second.handle == -1
    assert first.acquire(wait=False) and first.in_place() and first.handle >= 0
    assert not second.acquire(wait=False) and second.handle == -1
    first.release()
    assert first.handle == -1
    first.release()
    assert second.acquire(wait=False) and second.in_place()
    (tmp_path / "lock").rename(tmp_path / "elsewhere")
    assert not second.in_place(), "its folder has moved on"
    (tmp_path / "lock").write_bytes(b"")
    assert not second.in_place(), "another file is there now"
    second.release()


AXES = Axes("mine", Axis("iat_c", (20.0, 40.5)), Axis("throttle_pct", (0.0, 100.0 / 3.0, 100.0)), 0.05, 0.33, 0.08)
CELLS = np.array([[0.0, 0.35, 0.5], [0.4, 0.55, 1.0]])


def test_tables_are_written_with_ten_digit_breakpoints_and_duties_in_per_cent() -> None:
    assert cells_csv(AXES, CELLS) == ("iat_c \\ throttle_pct,0,33.33333333,100\n20,0,35,50\n40.5,40,55,100\n")
    assert table_csv(("a", "b"), (1.0,), (2.0,), [[1.0 / 3.0]]) == "a \\ b,2\n1,33.3333\n"
    assert visits_csv(AXES, 10.0 * CELLS).splitlines()[2] == "40.5,4.0,5.5,10.0"
    with pytest.raises(ValueError, match="shorter"):
        table_csv(("a", "b"), (1.0, 2.0), (2.0,), [[0.5]])


def test_a_tuned_table_as_settings() -> None:
    table: Any = SimpleNamespace(axes=AXES, cells=CELLS, shape={"span_k": 12.3456789})
    found = tomlkit.parse(table_toml(table)).unwrap()
    settings = found["settings"]
    assert found["strategy"] == "duty-table" and found["shape"] == {"span_k": 12.3457}
    assert (settings["duty_step_pct"], settings["lowest_pct"], settings["hysteresis_pct"]) == (5.0, 35.0, 8.0)
    assert (settings["down"], settings["across"], settings["below_lowest"]) == ("iat_c", "throttle_pct", "off")
    assert settings["down_breakpoints"] == [20.0, 40.5] and settings["across_breakpoints"] == [0.0, 100.0 / 3.0, 100.0]
    assert settings["duty_pct"] == [[0.0, 35.0, 50.0], [40.0, 55.0, 100.0]]


def test_the_front_names_its_choices() -> None:
    points = [Point({"x": float(k)}, {"pump_hours": 10.0 - k, "energy_wh": 2.0}, 0.1 * k) for k in range(3)]
    found: Any = SimpleNamespace(front=tuple(points), choices={"a": points[1], "b": points[2], "c": points[2]})
    rows = rows_of(front_csv(found))
    assert [r["choice"] for r in rows] == ["", "a", "b / c"]
    assert [(r["pump_hours"], r["x"], r["energy_wh"]) for r in rows] == [
        ("10", "0", "2"),
        ("9", "1", "2"),
        ("8", "2", "2"),
    ]
    assert [float(r["score"]) for r in rows] == pytest.approx([0.0, 0.1, 0.2])


def test_a_comparison_has_a_row_a_figure() -> None:
    line: Any = SimpleNamespace(
        contestant="on", score=Interval(1.0, 0.9, 1.1), difference=Interval(-0.5, -0.6, -0.4), failed=("x", "y"),
        figures={"pump_hours": Interval(3.0, 2.0, 4.0)}, figure_differences={"pump_hours": Interval(1.0, 0.5, 1.5)},
    )  # fmt: skip
    found: Any = SimpleNamespace(lines=(line,))
    score, hours = rows_of(comparison_csv(found))
    assert list(score.values()) == ["on", "score", "1", "0.9", "1.1", "-0.5", "-0.6", "-0.4", "2"]
    assert list(hours.values()) == ["on", "pump_hours", "3", "2", "4", "1", "0.5", "1.5", "2"]


def test_coolant_that_freezes_is_told_of_by_climate() -> None:
    base = CarNumbers()
    water = replace(base, loop=replace(base.loop, glycol="none", glycol_volume_fraction=0.0))
    mixed = replace(base, loop=replace(base.loop, glycol="ethylene", glycol_volume_fraction=0.375))  # to -22.3 degC
    cold: Any = SimpleNamespace(name="cold", ambient_k=np.array([260.0, 253.15]))
    colder: Any = SimpleNamespace(name="colder", ambient_k=np.array([260.0, 250.0]))
    warm: Any = SimpleNamespace(name="warm", ambient_k=np.array([274.0, 300.0]))
    assert [freezes_in(water, c) for c in (cold, colder, warm)] == [True, True, False]
    assert [freezes_in(mixed, c) for c in (cold, colder, warm)] == [False, True, False]
    first, second = freezing_notes(water, [cold, warm, colder])
    assert first.startswith("cold: down to -20 degC, but with no antifreeze the coolant freezes at 0 degC")
    assert second.startswith("colder: down to -23 degC")
    assert "with 38 % antifreeze the coolant freezes at -22 degC" in freezing_notes(mixed, [colder])[0]


def test_a_folder_is_made_with_all_above_it_and_again_over_a_beginning_that_was_cut_off(tmp_path: Path) -> None:
    out = tmp_path / "a" / "b" / "out"
    first = Folder.new(out)
    first.write("half", "written")
    with pytest.raises(BadInput, match="another process is writing there"):
        Folder.new(out)
    first.lock.release()
    again = Folder.new(out)
    assert not (again.path / "half").exists()
    again.write("manifest.json", "{}")
    again.begin()
    assert again.finish() == out and (out / "manifest.json").is_file()
