"""One run as an SVG and as text in the terminal."""

from __future__ import annotations

import re
from dataclasses import replace
from pathlib import Path
from xml.etree import ElementTree as ET

import numpy as np
import pytest

from arena.contest.single import SingleRun
from arena.errors import BadInput
from arena.report.plots import drive_svg, round_steps, write_plot
from arena.report.sparks import BLOCKS, ROWS, blocks, can_show, dots, time_axis, time_plot
from arena.units import Units

SVG = "{http://www.w3.org/2000/svg}"


def test_picture_is_whole_and_describes_itself(run: SingleRun) -> None:
    root = ET.fromstring(drive_svg(run, Units()))
    assert root.find(f"{SVG}title").text == "proportional: hill-pulls in hot"  # type: ignore[union-attr]
    assert "Charge temperature" in (root.find(f"{SVG}desc").text or "")  # type: ignore[union-attr]
    titles = [t.text or "" for t in root.iter(f"{SVG}text") if t.get("class") == "title"]
    assert [t.split(",")[0] for t in titles] == [
        "Charge temperature", "Pump duty", "Coolant", "Boost over the outside air", "Road speed",
    ]  # fmt: skip
    assert "http" not in drive_svg(run, Units()).replace("http://www.w3.org/2000/svg", "")


def test_picture_keeps_inside_its_frame(run: SingleRun) -> None:
    root = ET.fromstring(drive_svg(run, Units()))
    wide, high = float(root.get("width", 0)), float(root.get("height", 0))
    points = [
        tuple(map(float, p.split()))
        for path in root.iter(f"{SVG}path")
        for p in re.findall(r"-?[\d.]+ -?[\d.]+", path.get("d", ""))
    ]
    assert len(points) > 2000
    assert all(0 <= x <= wide and 0 <= y <= high for x, y in points)


def test_picture_in_us_units(run: SingleRun) -> None:
    text = drive_svg(run, Units("us"))
    assert "degF" in text
    assert "target 86" in text
    assert "degC" not in text


def test_picture_of_a_failed_run_says_so(run: SingleRun) -> None:
    failed = replace(run, failed="coolant boiled in the core", failed_s=run.played.score_from * 0.1 + 300.0)
    assert "FAILED: coolant boiled in the core" in drive_svg(failed, Units())
    assert max(len(line) for line in time_plot(failed, 80)) <= 80


def test_picture_that_cannot_be_written_is_bad_input(run: SingleRun, tmp_path: Path) -> None:
    with pytest.raises(BadInput, match="cannot be written"):
        write_plot(run, tmp_path / "nowhere" / "x.svg")
    write_plot(run, tmp_path / "x.svg")
    assert [p.name for p in tmp_path.iterdir()] == ["x.svg"]


@pytest.mark.parametrize("width", [40, 80, 120])
@pytest.mark.parametrize("plain", [False, True])
def test_terminal_plot_fits_the_width(run: SingleRun, width: int, plain: bool) -> None:
    lines = time_plot(run, width, plain=plain)
    assert max(map(len, lines)) <= width
    assert len(lines) == 1 + ROWS + 4
    text = "\n".join(lines)
    assert "limit 45" in text
    assert "target 30" in text
    assert "\x1b" not in text, "no colour is needed to read it"
    if plain:
        text.encode("ascii")


def test_terminal_plot_shows_a_peak_where_it_is() -> None:
    values = np.full(1000, 20.0)
    values[500:505] = 80.0  # half a second of a hundred: thinner than a dot
    drawn = [line[14:] for line in dots(values, 1000, 60, {"limit": 45.0})]
    top = drawn[0].rstrip()
    assert len(top) == 31, "the spike stands in the middle of sixty columns"
    assert top[-1] not in " ╌"
    assert sum(c not in " ╌" for c in drawn[-1]) >= 58, "the rest lies at the bottom"


def test_terminal_plot_leaves_out_what_is_not_there() -> None:
    values = np.full(1000, np.nan)
    values[:500] = 40.0
    drawn = "\n".join(line[14:] for line in dots(values, 1000, 60, {"limit": 45.0}))
    for line in drawn.splitlines():
        assert all(c in " ╌" for c in line[31:])


def test_blocks_go_from_nothing_to_full() -> None:
    row = blocks("duty %", np.repeat([0.0, 2.0, 50.0, 100.0], 10), 40, 4, 100.0, np.mean)
    assert row.startswith("   duty % 100 ")
    assert row[14:] == f" {BLOCKS[1]}{BLOCKS[4]}{BLOCKS[8]}"


def test_time_axis_is_round() -> None:
    assert time_axis(20.0, 66).split() == ["min", "0", "5", "10", "15"] or "20" in time_axis(20.0, 66)
    assert time_axis(0.0, 66).split()[:2] == ["min", "0"]


def test_round_steps_lie_inside() -> None:
    assert round_steps(0.0, 100.0, 5) == [0.0, 20.0, 40.0, 60.0, 80.0, 100.0]
    assert round_steps(-3.0, 7.0, 3) == [0.0, 5.0]


@pytest.mark.parametrize(("encoding", "able"), [("utf-8", True), ("ascii", False), ("latin-1", False), (None, False)])
def test_streams_that_cannot_show_blocks_are_known(encoding: str | None, able: bool) -> None:
    assert can_show(encoding) is able
