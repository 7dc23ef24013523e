"""One run as a picture in each kind of file, and as text in the terminal."""

from __future__ import annotations

import subprocess
import sys
import warnings
from dataclasses import replace
from itertools import pairwise
from pathlib import Path
from xml.etree import ElementTree as ET

import matplotlib
import numpy as np
import pytest

from arena.contest.single import SingleRun
from arena.errors import BadInput
from arena.report.pictures import check_ending, picture_bytes
from arena.report.plots import POINTS, drive_figure, line_of, panels, write_plot
from arena.report.shades import luminance, shade
from arena.report.sparks import BLOCKS, ROWS, blocks, can_show, dots, time_axis, time_plot
from arena.units import Units

SVG = "{http://www.w3.org/2000/svg}"


def drawn(run: SingleRun, units: Units | None = None) -> str:
    return picture_bytes(lambda: drive_figure(run, units or Units()), ".svg", "a title", "what & why").decode()


def words(svg: str) -> list[str]:
    return [t.text or "" for t in ET.fromstring(svg).iter(f"{SVG}text")]


def test_picture_is_whole_and_describes_itself(run: SingleRun, tmp_path: Path) -> None:
    write_plot(run, tmp_path / "run.svg")
    root = ET.parse(tmp_path / "run.svg").getroot()
    assert root.get("role") == "img"
    assert root.find(f"{SVG}title").text == "proportional: hill-pulls in hot"  # type: ignore[union-attr]
    assert "Charge temperature" in (root.find(f"{SVG}desc").text or "")  # type: ignore[union-attr]
    said = words((tmp_path / "run.svg").read_text(encoding="utf-8"))
    for title in ("Charge temperature, degC", "Pump duty, %", "Coolant, degC", "Boost over the outside air, kPa",
                  "Road speed, km/h", "charge air", "probe", "outside air", "limit 45", "target 30"):  # fmt: skip
        assert title in said


def test_line_keeps_every_extreme_and_every_gap() -> None:
    values = 20.0 + np.sin(np.arange(20_000) / 300.0)
    values[7_001] = 80.0
    values[12_000:13_000] = np.nan
    x, y = line_of(values)
    assert len(y) < 1.2 * POINTS
    assert np.nanmax(y) == 80.0 and np.nanmin(y) == np.nanmin(values)
    assert x[np.nanargmax(y)] == pytest.approx(700.1, abs=3.0)  # seconds: 0.1 s a tick, thinned
    assert not ((x > 1201.0) & (x < 1299.0) & np.isfinite(y)).any(), "nothing is drawn where there is nothing"


def test_panels_show_the_run_itself(run: SingleRun) -> None:
    """The lines on the axes hold the extremes of the record, and the axes hold the lines."""
    figure = drive_figure(run, Units())
    for axes, p in zip(figure.axes, panels(run, Units()), strict=True):
        low, high = axes.get_ylim()
        for line, (_, _, values) in zip(axes.lines, p.lines, strict=False):
            y = np.asarray(line.get_ydata(), dtype=float)
            assert np.nanmax(y) == np.nanmax(values) <= high
            assert low <= np.nanmin(y) == np.nanmin(values)


def test_picture_in_us_units(run: SingleRun) -> None:
    text = " ".join(words(drawn(run, Units("us"))))
    assert "degF" in text and "target 86" in text and "psi" in text and "mph" in text
    assert "degC" not in text


def test_picture_of_a_failed_run_says_so(run: SingleRun) -> None:
    failed = replace(run, failed="coolant boiled in the core", failed_s=run.played.score_from * 0.1 + 300.0)
    assert "FAILED: coolant boiled in the core" in words(drawn(failed))
    assert max(len(line) for line in time_plot(failed, 80)) <= 80


@pytest.mark.parametrize(("ending", "magic"), [(".svg", b"<?xml"), (".png", b"\x89PNG"), (".PDF", b"%PDF")])
def test_every_ending_gives_its_kind_of_file_with_the_same_bytes(
    run: SingleRun, tmp_path: Path, ending: str, magic: bytes
) -> None:
    one, other = tmp_path / f"one{ending}", tmp_path / f"other{ending}"
    write_plot(run, one)
    with matplotlib.rc_context({"lines.linewidth": 9.0, "font.size": 30.0, "svg.hashsalt": None}):  # a user's own
        write_plot(run, other)
    assert one.read_bytes().startswith(magic)
    assert one.read_bytes() == other.read_bytes()
    assert len(one.read_bytes()) < 600_000
    assert not list(tmp_path.glob(".*"))


def test_drawing_warns_of_nothing_and_leaves_the_defaults(run: SingleRun) -> None:
    before = dict(matplotlib.rcParams)
    with warnings.catch_warnings():
        warnings.simplefilter("error")
        drawn(run)
    assert dict(matplotlib.rcParams) == before


@pytest.mark.parametrize("name", ["run.jpg", "run", "run.svg.txt"])
def test_unknown_ending_is_bad_input(run: SingleRun, tmp_path: Path, name: str) -> None:
    with pytest.raises(BadInput) as caught:
        write_plot(run, tmp_path / name)
    assert name in caught.value.faults[0] and ".svg, .png or .pdf" in caught.value.remedy
    assert list(tmp_path.iterdir()) == []
    check_ending(None, "--plot")


def test_picture_that_cannot_be_written_is_bad_input(run: SingleRun, tmp_path: Path) -> None:
    with pytest.raises(BadInput, match="cannot be written"):
        write_plot(run, tmp_path / "nowhere" / "x.svg")
    write_plot(run, tmp_path / "x.svg")
    assert [p.name for p in tmp_path.iterdir()] == ["x.svg"]


def test_shades_grow_lighter_with_duty() -> None:
    """Even to every eye: what is read without colour is lightness, and it never falls back."""
    light = [luminance(shade(k / 100.0)) for k in range(101)]
    assert all(b >= a - 1e-3 for a, b in pairwise(light))
    assert light[0] < 0.03 and light[-1] > 0.7
    assert shade(-1.0) == shade(0.0) and shade(7.0) == shade(1.0)


def test_matplotlib_waits_until_a_picture_is_drawn() -> None:
    check = "import sys, arena.cli, arena.report.plots, arena.report.table_picture, arena.report.garage_pictures, " \
        "arena.report.sketch, arena.report.page; sys.exit('matplotlib' in sys.modules)"  # fmt: skip
    assert subprocess.run([sys.executable, "-c", check], check=False).returncode == 0


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


@pytest.mark.parametrize(("encoding", "able"), [("utf-8", True), ("ascii", False), ("latin-1", False), (None, False)])
def test_streams_that_cannot_show_blocks_are_known(encoding: str | None, able: bool) -> None:
    assert can_show(encoding) is able
