"""Tuning a duty table keeps its promises on real drives: acceptable, repeatable, read back the same."""

from __future__ import annotations

from concurrent.futures import ThreadPoolExecutor
from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest
from tune_drives import ARCTIC, DRIVE, GENTLE

from arena.contest.axes import default_axes
from arena.contest.comparing import compare, play_worlds
from arena.contest.entering import contestant_of
from arena.contest.foresight import foresee
from arena.contest.run import Contestant
from arena.contest.table_shape import contestant_with, filled, is_acceptable
from arena.contest.table_tuning import TunedTable, train_robustly, tune_table
from arena.contest.table_visits import visits_of
from arena.contest.tradeoff import AIMS, Point, front_of, named
from arena.contest.tune import Training, costs_of
from arena.contest.tuning import Job, against_table, hold_tuning, make_job, season_of
from arena.contest.tuning_files import cells_csv
from arena.errors import BadInput
from arena.report.table_picture import write_table
from arena.report.table_text import show_table, table_words
from arena.report.tune_document import tuning_document
from arena.report.tune_text import show_comparison
from arena.strategies import shipped
from arena.units import Units

TRIALS = 256


@pytest.fixture(scope="module")
def pulls(tmp_path_factory: pytest.TempPathFactory) -> str:
    path = tmp_path_factory.mktemp("drives") / "pulls.toml"
    path.write_text(DRIVE, encoding="utf-8")
    return str(path)


@pytest.fixture(scope="module")
def pool():  # type: ignore[no-untyped-def]
    with ThreadPoolExecutor(2) as made:
        yield made


def tuned(climate: str, drive: str, pool: ThreadPoolExecutor) -> tuple[Job, Training, TunedTable]:
    job = make_job([climate], [drive], trials=TRIALS, replicates=2)
    training = train_robustly(job.plan, pool, 2)
    assert job.axes is not None
    return job, training, tune_table(training, job.axes, pool, TRIALS)


@pytest.fixture(scope="module")
def mild(pulls: str, pool: ThreadPoolExecutor) -> tuple[Job, Training, TunedTable]:
    return tuned("mild", pulls, pool)


@pytest.fixture(scope="module")
def hot(pulls: str, pool: ThreadPoolExecutor) -> tuple[Job, Training, TunedTable]:
    return tuned("hot", pulls, pool)


def test_tuned_table_is_acceptable_and_better_than_where_it_began(mild: tuple[Job, Training, TunedTable]) -> None:
    _, _, table = mild
    assert is_acceptable(table.axes, table.cells, table.falling)
    assert table.score < table.default_score < 1.0
    assert table.score <= table.shape_score + 1e-3


def test_same_table_again_whatever_the_number_of_workers(mild: tuple[Job, Training, TunedTable]) -> None:
    job, _, table = mild
    assert job.axes is not None
    with ThreadPoolExecutor(1) as alone:
        again = tune_table(train_robustly(job.plan, alone, 2), job.axes, alone, TRIALS)
    assert again.cells.tobytes() == table.cells.tobytes() and again.score == table.score


def test_cells_without_visits_have_no_influence(
    mild: tuple[Job, Training, TunedTable], pool: ThreadPoolExecutor
) -> None:
    _, training, table = mild
    never = visits_of(training, [table.contestant], table.axes, pool)[0] == 0.0
    assert never.any() and not never.all()
    other = np.where(never, 0.5, table.cells)
    scores = costs_of(training, [table.contestant, contestant_with(table.axes, other, "other")], pool)
    assert scores[0] == scores[1]
    ruled = filled(table.axes, table.cells, table.visited, training.plan.season.limit_c)
    assert (ruled[~table.visited] == table.cells[~table.visited]).all()


def test_visits_add_up_to_the_time_with_the_key_on(mild: tuple[Job, Training, TunedTable]) -> None:
    from arena.plant import layout as at

    _, training, table = mild
    on = sum(0.1 * float((o.compiled.X[:, at.X_KEY] > 0).sum()) for o, _ in training.outings)
    assert table.visits_s.sum() == pytest.approx(on, rel=1e-9)


@pytest.mark.parametrize("turned", [False, True])
def test_exported_and_read_back_it_gives_the_same_figures(
    mild: tuple[Job, Training, TunedTable], pool: ThreadPoolExecutor, tmp_path: Path, turned: bool
) -> None:
    job, _, table = mild
    path = tmp_path / "mine.csv"
    axes, cells = (table.axes.turned(), table.cells.T) if turned else (table.axes, table.cells)
    path.write_text(cells_csv(axes, cells), encoding="utf-8")
    against = against_table(path, table.axes)  # as --against reads it
    entered = contestant_of(f"table:{path}", car=job.plan.car.numbers())  # as `arena tournament` and `drive` do
    yard = Contestant("always-on", shipped()["always-on"])
    found = compare(job.plan, play_worlds(job.plan, [table.contestant, against, entered, yard], 2, pool), table.name)
    mine = found.line(table.name)
    same = 1e-9 if turned else 0.0  # turned, the same table is interpolated in the other order
    for theirs in (found.line(against.name), found.line(entered.name)):
        np.testing.assert_allclose(list(vars(theirs.score).values()), list(vars(mine.score).values()), rtol=same)
        for name, interval in mine.figures.items():
            np.testing.assert_allclose(
                list(vars(theirs.figures[name]).values()), list(vars(interval).values()), rtol=same, atol=same
            )


def test_hotter_climate_runs_the_pump_longer_and_no_later(
    mild: tuple[Job, Training, TunedTable], hot: tuple[Job, Training, TunedTable], pulls: str, pool: ThreadPoolExecutor
) -> None:
    """From common sense: the hotter the air, the more the pump has to do."""
    _, _, winter = tuned("winter", pulls, pool)
    hours = {}
    cold = make_job(["winter"], [pulls], trials=TRIALS, replicates=2)
    for name, (job, table) in {"winter": (cold, winter), "mild": mild[::2], "hot": hot[::2]}.items():
        yard = Contestant("always-on", shipped()["always-on"])
        runs = play_worlds(job.plan, [table.contestant, yard], 2, pool)
        hours[name] = compare(job.plan, runs, table.name).line(table.name).figures["pump_hours"].value
    assert hours["winter"] < hours["mild"] < hours["hot"]


def test_so_cold_that_the_pump_never_runs_says_so(tmp_path: Path, pool: ThreadPoolExecutor) -> None:
    climate, drive = tmp_path / "arctic.toml", tmp_path / "gentle.toml"
    climate.write_text(ARCTIC, encoding="utf-8")
    drive.write_text(GENTLE, encoding="utf-8")
    _, _, table = tuned(str(climate), str(drive), pool)
    assert table.never_runs
    assert (table.cells[table.visited] == 0.0).all()
    assert table_words(table)[0].startswith("THE PUMP NEVER RUNS")


def test_foresight_is_never_worse_than_what_it_started_from(
    mild: tuple[Job, Training, TunedTable], pool: ThreadPoolExecutor
) -> None:
    job, _, table = mild
    field = [table.contestant, Contestant("always-on", shipped()["always-on"])]
    found = foresee(job.plan, field, table.name, pool, worlds=1, generations=3)
    for outing in found.outings:
        assert outing.foresight <= min(outing.tuned, outing.always_on)
    assert 0.0 < found.share.value <= 1.0


def test_front_holds_only_what_nothing_beats() -> None:
    rng = np.random.default_rng(1)
    points = []
    for k, v in enumerate(rng.random((60, 3))):
        figures = {**dict(zip(AIMS, map(float, v), strict=True)), "hot_boost_k_h": float(v[0])}
        points.append(Point({"x": float(k)}, figures, float(v.sum())))
    front = front_of(points)
    for mine in front:
        for other in points:
            values = [(other.figures[a], mine.figures[a]) for a in AIMS]
            assert not (all(o <= m for o, m in values) and any(o < m for o, m in values))
    choices = named(front)
    assert set(choices) == {"spares the pump", "balanced", "coolest on boost"}
    assert choices["balanced"].score == min(p.score for p in front)


def test_picture_shows_every_cell_and_marks_the_unvisited(
    mild: tuple[Job, Training, TunedTable], tmp_path: Path
) -> None:
    import xml.etree.ElementTree as ET

    table = mild[2]
    write_table(table, "a <table> & more", tmp_path / "mine")
    assert (tmp_path / "mine.png").read_bytes().startswith(b"\x89PNG")
    drawn = ET.parse(tmp_path / "mine.svg").getroot()
    texts = [t.text or "" for t in drawn.iter("{http://www.w3.org/2000/svg}text")]
    assert "a <table> & more" in texts
    assert sum(t.startswith("(") and t.endswith(")") for t in texts) == int((~table.visited).sum())


def test_us_units_are_the_same_table_and_figures(
    mild: tuple[Job, Training, TunedTable], pool: ThreadPoolExecutor, capsys: pytest.CaptureFixture[str]
) -> None:
    job, _, table = mild
    field = [table.contestant, Contestant("always-on", shipped()["always-on"])]
    found = compare(job.plan, play_worlds(job.plan, field, 2, pool), table.name)
    boost = found.line(table.name).figures["boost_p95_c"].value
    screens = {}
    for units in (Units("metric"), Units("us")):
        show_table(table, units)
        show_comparison(found, units)
        screens[units.us] = capsys.readouterr().out
    assert f"{boost:.1f} (" in screens[False] and f"{1.8 * boost + 32.0:.1f} (" in screens[True]
    assert "degC" in screens[False] and "degF h" in screens[True]
    assert "degC" not in screens[True] and "K h" not in screens[True]
    rows = {
        us: [line.split() for line in text.splitlines()[2 : 2 + table.axes.shape[0]]] for us, text in screens.items()
    }
    assert [row[1:] for row in rows[True]] == [row[1:] for row in rows[False]]
    assert [float(row[0]) for row in rows[True]] == [1.8 * v + 32.0 for v in table.axes.down.given]


def test_other_strategies_get_settings_and_a_resistor_gets_watts(pulls: str) -> None:
    job = make_job(["hot"], [pulls], strategy="two-speed", trials=64, replicates=2)
    from arena.contest.tuning import Asked

    result = hold_tuning(job, 2, asked=Asked(foresight=False))
    (resistor,) = result.resistors
    assert resistor.ohm > 0.0 and 0.0 < resistor.mean_on_w <= resistor.peak_w < 200.0
    document = tuning_document(result)
    assert document["table"] is None and document["settings"]["resistor_ohm"] == resistor.ohm


@pytest.mark.parametrize(
    ("words", "said"),
    [
        ({"climates": ["hott"]}, "hott"),
        ({}, "nothing to tune on"),
        ({"climates": ["hot"], "strategy": "always-on"}, "no settings"),
        ({"climates": ["hot"], "trials": 0}, "--trials 0"),
        ({"climates": ["hot"], "strategy": "two-speed", "axes": "x.toml"}, "--axes"),
        ({"season": "temperate-year", "climates": ["desert-extreme"]}, "no outing is left"),
    ],
)
def test_bad_requests_are_refused_by_name(words, said) -> None:  # type: ignore[no-untyped-def]
    with pytest.raises(BadInput) as fault:
        make_job(**words)
    assert said in "\n".join(fault.value.faults)


def test_a_season_can_be_cut_down_to_a_climate() -> None:
    season, path = season_of((), ["hot"], "temperate-year")
    assert {e.climate for e in season.entries} == {"hot"} and path is not None
    assert sum(e.outings_per_year for e in season.entries) == pytest.approx(20 + 40 + 6 + 2 + 12 + 15)


def test_default_axes_take_the_lowest_duty_from_the_pump() -> None:
    from arena.contest.tournament import make_plan

    axes = default_axes().for_car(make_plan().car.numbers())
    assert 0.25 <= axes.floor() <= 0.40


def test_interrupted_and_resumed_gives_the_same_files(pulls: str, tmp_path: Path) -> None:
    from arena.contest.pool import Progress
    from arena.contest.tuning import Asked
    from arena.contest.tuning_files import open_folder, write_tuning

    job = make_job(["mild"], [pulls], trials=192, replicates=2)
    plain = Asked(foresight=False)

    def run(out: Path, resume: bool, stop: int) -> int:
        steps = 0

        def tell(_: Progress) -> None:
            nonlocal steps
            steps += 1
            if steps == stop:
                raise KeyboardInterrupt

        folder = open_folder(job, out, resume, {"trials": job.trials}, [])
        assert folder is not None
        result = hold_tuning(job, 2, tell, folder.keep_generation, folder.kept_generation, plain)
        write_tuning(folder, result)
        return steps

    run(tmp_path / "whole", False, 0)
    with pytest.raises(KeyboardInterrupt):
        run(tmp_path / "cut", False, 2)
    assert not (tmp_path / "cut").exists() and (tmp_path / "cut.partial").is_dir()
    with pytest.raises(BadInput, match="unfinished"):
        run(tmp_path / "cut", False, 0)
    run(tmp_path / "cut", True, 0)
    for path in sorted((tmp_path / "whole").rglob("*.*")):
        if path.is_file():
            assert path.read_bytes() == (tmp_path / "cut" / path.relative_to(tmp_path / "whole")).read_bytes()


def test_wrong_request_on_resuming_is_named(pulls: str, tmp_path: Path) -> None:
    from arena.contest.tuning_files import open_folder

    job = make_job(["mild"], [pulls], trials=64, replicates=2)
    open_folder(job, tmp_path / "r", False, {"trials": 64}, [])
    with pytest.raises(BadInput, match="trials was 64"):
        open_folder(job, tmp_path / "r", True, {"trials": 128}, [])


def test_edited_axes_or_table_are_not_gone_on_with(pulls: str, tmp_path: Path) -> None:
    from arena.contest.axes import axes_starter
    from arena.contest.tuning_files import open_folder

    axes, table = tmp_path / "axes.toml", tmp_path / "mine.csv"

    def begin(out: str, resume: bool) -> None:
        job = make_job(["mild"], [pulls], axes=axes, against=table, trials=64, replicates=2)
        folder = open_folder(job, tmp_path / out, resume, {"trials": 64}, [])
        assert folder is not None
        folder.lock.release()

    first = "iat_c \\ throttle_pct,0,100\n20,0,40\n40,60,100\n"
    axes.write_text(axes_starter(), encoding="utf-8")
    table.write_text(first, encoding="utf-8")
    begin("r", False)
    begin("r", True)
    for path, text in ((axes, axes_starter().replace("10, 20,", "12, 20,", 1)), (table, first.replace("60", "70"))):
        before = path.read_text(encoding="utf-8")
        path.write_text(text, encoding="utf-8")
        with pytest.raises(BadInput, match="the axes file or the table of --against has changed"):
            begin("r", True)
        path.write_text(before, encoding="utf-8")


def test_two_climates_of_one_name_have_each_its_table(
    pulls: str, pool: ThreadPoolExecutor, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    from arena.contest import seasonal
    from arena.scenario.loading import find

    mine = tmp_path / "hot.toml"
    text = find("climates", "hot").read_text(encoding="utf-8")
    mine.write_text(text + "# another\n", encoding="utf-8")
    job = make_job(["hot", str(mine)], [pulls], trials=64, replicates=2)
    training = train_robustly(job.plan, pool, 1)
    assert job.axes is not None
    one = tune_table(training, job.axes, pool, 64)
    names = iter(("table-hot", "table-hot-2"))
    monkeypatch.setattr(seasonal, "tune_table", lambda *a: replace(one, name=a[4]))
    found = seasonal.season_by_season(job, training, one, pool)
    assert [(climate, t.name) for climate, t in found.tables.items()] == [
        ("hot", next(names)), ("hot~2", next(names)),
    ]  # fmt: skip
    assert all(np.isfinite(c.score.value) for c in found.cells) and np.isfinite(found.own_score.value)


def test_one_table_against_one_a_climate(pulls: str, pool: ThreadPoolExecutor) -> None:
    from arena.contest.seasonal import season_by_season

    job = make_job(["winter", "hot"], [pulls], trials=128, replicates=2)
    training = train_robustly(job.plan, pool, 1)
    assert job.axes is not None
    one = tune_table(training, job.axes, pool, 128)
    found = season_by_season(job, training, one, pool)
    assert set(found.tables) == {"winter", "hot"}
    assert len(found.cells) == 3 * 2
    for cell in found.cells:
        if cell.table == f"table-{cell.climate}":
            assert cell.less_own.value == 0.0
    assert found.one_costs.value == pytest.approx(found.one_score.value - found.own_score.value)
