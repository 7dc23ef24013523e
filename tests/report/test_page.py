"""The page as text and the data under it: self-contained, the same every time, faithful to the result folder."""

from __future__ import annotations

import csv
import hashlib
import json
import re
from dataclasses import replace
from pathlib import Path
from typing import Any

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from arena.contest.tournament import make_plan
from arena.contest.views import FEWEST_POINTS, NUMBERS, line, room, thin, thinning
from arena.errors import BadInput
from arena.report.page import MOST_BYTES, PLOTLY, build_page, chart_library, command_line, page_html
from arena.report.result import read_result
from arena.report.wording import cost_parts, front, number, scale_of, verdict
from arena.units import Units


def test_folder_of_a_tournament_holds_its_page(folder: Path) -> None:
    assert (folder / "page.html").stat().st_size < MOST_BYTES


def test_page_fetches_nothing(folder: Path) -> None:
    text = (folder / "page.html").read_text(encoding="utf-8")
    library = chart_library()[1]
    assert text.count(library) == 1
    text = text.replace(library, "")  # holds addresses in comments; the browser tests show that none is asked
    outside = [u for u in re.findall(r"https?://[^\s\"'<>)]+", text) if not u.startswith("http://www.w3.org/2000/svg")]
    assert outside == []
    assert re.findall(r"<(?:link|img|iframe|script)[^>]+(?:src|href)=(?!\"data:)", text) == []
    assert "default-src 'none'" in text


def test_chart_library_is_the_published_file() -> None:
    """plotly-basic.min.js of the npm package plotly.js-basic-dist-min 4.1.1, unchanged."""
    published = "99784e3abfb07b142a15e521a439e6d9addceadb3f79553fd24c72774f0649ba"
    assert hashlib.sha256(PLOTLY.read_bytes()).hexdigest() == published
    assert chart_library()[0] == "4.1.1"
    assert "MIT License" in (PLOTLY.parent / "LICENSE").read_text(encoding="utf-8")


def test_page_is_built_from_the_folder_alone_and_the_same_again(copy: Path) -> None:
    before = (copy / "page.html").read_bytes()
    (copy / "page.html").unlink()
    assert build_page(copy).read_bytes() == before
    assert not list(copy.glob(".*.new"))


def test_page_answers_who_and_how_sure_first(folder: Path) -> None:
    text = (folder / "page.html").read_text(encoding="utf-8")
    result = read_result(folder)
    header = text[text.index('<header id="answer">') : text.index("</header>")]
    for words in ("By how much", "How sure", "Why", "What to type in", "Read the cautions"):
        assert words in header
    assert result.ranked[0].contestant.replace("-", "\u2011") in header


def test_every_figure_of_standings_csv_is_on_the_page(folder: Path) -> None:
    text = (folder / "page.html").read_text(encoding="utf-8")
    with (folder / "standings.csv").open(encoding="utf-8", newline="") as handle:
        for row in csv.DictReader(handle):
            assert row["contestant"] in text
            assert f"{float(row['score']):.3f}" in text
            assert number(float(row["energy_wh"]), 0) in text


def test_parts_of_the_cost_add_up_to_the_score(folder: Path) -> None:
    result = read_result(folder)
    for entry in result.lines:
        assert entry.score is not None
        assert sum(cost_parts(result, entry).values()) == pytest.approx(entry.score, rel=1e-6)


def test_front_is_who_nobody_beats_in_all_three(folder: Path) -> None:
    result = read_result(folder)

    def made(name: str, tracking: float, hours: float, energy: float, ranked: bool = True) -> Any:
        figures = {**result.lines[0].figures, "tracking_k_h": tracking, "pump_hours": hours, "energy_wh": energy}
        return replace(result.lines[0], contestant=name, figures=figures, ranked=ranked, failed_runs=0)

    lines = (
        made("cool", 1.0, 9.0, 9.0), made("short", 9.0, 1.0, 9.0), made("beaten", 9.0, 9.0, 9.5),
        made("twin", 1.0, 9.0, 9.0), made("reference", 0.0, 0.0, 0.0, ranked=False),
    )  # fmt: skip
    assert front(replace(result, lines=lines)) == {"cool", "short", "twin"}


def test_tie_and_failure_are_called_so(folder: Path) -> None:
    result = read_result(folder)
    first, second = result.ranked[:2]
    tied = tuple(
        replace(x, tied_with=(second.contestant,)) if x is first else replace(x, place=1) if x is second else x
        for x in result.lines
    )
    assert "no telling them apart" in verdict(replace(result, lines=tied), Units())["headline"]
    broken = tuple(replace(x, failed_runs=1, place=None, score=None, low=None, high=None) for x in result.lines)
    answer = verdict(replace(result, lines=broken), Units())
    assert answer["winner"] is None
    assert "FAILED" in answer["headline"]


def test_failed_runs_stand_on_the_page_with_their_reason(copy: Path) -> None:
    path = copy / "views.json"
    content = json.loads(path.read_text(encoding="utf-8"))
    content["failed"] = [
        {"contestant": "proportional", "outing": "hill-pulls/mild", "replicate": 2,
         "reason": "coolant boiled in the core", "time_s": 412.3}
    ]  # fmt: skip
    path.write_text(json.dumps(content), encoding="utf-8")
    text = build_page(copy).read_text(encoding="utf-8")
    assert "coolant boiled in the core" in text
    assert "412.3" in text
    assert "No run FAILED" not in text


def test_page_in_us_units(folder: Path) -> None:
    text = page_html(read_result(folder), Units("us"))
    assert "aiming at 86 degF" in text
    assert "no more than 113 degF" in text
    assert "degC" not in re.sub(
        r"<(details|ul)>.*?</\1>", "", text[text.index("<main>") : text.index('id="rests"')], flags=re.S
    )


def test_scale_of_temperature_and_difference() -> None:
    us = Units("us")
    assert scale_of("degC", us).of(100.0) == pytest.approx(212.0)
    assert scale_of("K", us).of(10.0) == pytest.approx(18.0)
    assert scale_of("K h", us).of(10.0) == pytest.approx(18.0)
    assert scale_of("kPa", us).of(100.0) == pytest.approx(14.50377, rel=1e-5)  # NIST SP 811: 1 psi = 6.894757 kPa
    assert scale_of("Wh", us).of(5.0) == 5.0


@pytest.mark.parametrize(
    ("spoil", "said"),
    [
        (lambda f: (f / "runs.csv").unlink(), "runs.csv is missing"),
        (lambda f: (f / "views.json").write_text("{", encoding="utf-8"), "views.json: damaged"),
        (lambda f: (f / "views.json").write_text('{"schema": 99}', encoding="utf-8"), "schema 99"),
        (lambda f: (f / "standings.csv").write_text("place\n1\n", encoding="utf-8"), 'no column "contestant"'),
        (lambda f: (f / "standings.csv").write_text("", encoding="utf-8"), "has no contestant"),
    ],
)
def test_damaged_folder_is_refused_by_name(copy: Path, spoil: Any, said: str) -> None:
    spoil(copy)
    before = (copy / "page.html").read_bytes()
    with pytest.raises(BadInput) as caught:
        build_page(copy)
    assert any(said in fault for fault in caught.value.faults)
    assert (copy / "page.html").read_bytes() == before


def test_unfinished_folder_is_told_how_to_go_on(tmp_path: Path) -> None:
    unfinished = tmp_path / "x.partial"
    unfinished.mkdir()
    with pytest.raises(BadInput) as caught:
        build_page(unfinished)
    assert "--resume" in caught.value.remedy
    with pytest.raises(BadInput, match="no such folder"):
        build_page(tmp_path / "nowhere")


def test_command_leaves_the_folder_out() -> None:
    words = ["tournament", "my season", "--out", "results/x", "--seed", "3", "--resume=y"]
    assert command_line(words) == "arena tournament 'my season' --seed 3"


@given(
    st.lists(st.floats(-50.0, 150.0), min_size=1, max_size=700).map(np.array),
    st.integers(min_value=4, max_value=300),
)
def test_thinning_keeps_every_extreme(values: np.ndarray, points: int) -> None:
    kept = thin(values, points)
    width, step = thinning(len(values), points)
    assert len(kept) <= points + 2
    assert kept.max() == values.max()
    assert kept.min() == values.min()
    assert step == pytest.approx(0.05 * width)
    for k in range(0, len(kept), 2):  # each pair lies inside its own stretch of time, in the order it came
        stretch = list(values[k // 2 * width : (k // 2 + 1) * width])
        assert kept[k] in stretch
        assert kept[k + 1] in stretch
        assert stretch.index(kept[k]) <= len(stretch) - 1 - stretch[::-1].index(kept[k + 1])


@given(st.lists(st.floats(-40.0, 150.0), min_size=1, max_size=300).map(np.array))
def test_line_read_back_is_within_half_a_quantum(values: np.ndarray) -> None:
    back = np.cumsum(line(values, 1200, 0.1)) * 0.1
    assert np.abs(back - thin(values, 1200)).max() <= 0.05 + 1e-9


def test_many_outings_keep_the_page_small() -> None:
    plan = make_plan()
    entries = tuple(
        replace(e, outings_per_year=float(1 + (k * 7) % 400)) for k, e in enumerate(plan.season.entries * 40)
    )
    crowded = replace(plan, season=replace(plan.season, entries=entries))
    points, kept = room(crowded, contestants=16)
    assert points == FEWEST_POINTS
    assert 0 < len(kept) * points * (4 * 16 + 3) <= NUMBERS
    least = min(entries[e].outings_per_year for e in kept)
    assert all(e.outings_per_year <= least for k, e in enumerate(entries) if k not in kept)
    assert room(plan, 5)[0] == 1200


def test_views_add_up_to_the_year(folder: Path) -> None:
    """Visits are the engine-on time of a year; histograms of all contestants hold the same boost time."""
    content = json.loads((folder / "views.json").read_text(encoding="utf-8"))
    totals = {name: sum(minutes) for name, minutes in content["histogram"]["minutes"].items()}
    assert len(totals) == len(content["contestants"])
    assert min(totals.values()) > 0.0
    assert max(totals.values()) == pytest.approx(min(totals.values()), rel=1e-4)
    year = sum(v["per_year"] * v["seconds"] / 60.0 for v in content["views"])
    for cells in content["visits"].values():
        total = sum(map(sum, cells))
        assert 0.3 * year < total < year


def test_views_show_the_run_that_the_drive_command_plays(folder: Path) -> None:
    from arena.contest.single import drive_once
    from arena.contest.views import POINTS

    content = json.loads((folder / "views.json").read_text(encoding="utf-8"))
    view = next(v for v in content["views"] if v["outing"] == "cold-start/winter")
    run = drive_once("cold-start", "winter", strategy="always-on", seed=3, record=True)
    assert run.record is not None
    played, scored = run.played, slice(run.played.score_from, None)
    shared = {
        "speed_kmh": 3.6 * played.speed_m_s, "boost_kpa": 1e-3 * (played.map_pa - played.ambient_pa),
        "ambient_c": played.ambient_k - 273.15,
    }  # fmt: skip
    assert view["shared"] == {n: line(v[scored], POINTS, content["quantum"][n]) for n, v in shared.items()}
    iat = run.record[scored, 0] - 273.15
    assert view["lines"]["always-on"]["iat_c"] == line(iat, POINTS, 0.1)
