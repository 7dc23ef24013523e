"""One small tournament with its result folder, one recorded run, and a browser: shared by the tests of reports."""

from __future__ import annotations

import csv
import json
import os
import shutil
import subprocess
from collections.abc import Iterator
from pathlib import Path

import pytest
from browser import Browser, browser_path

from arena.contest.single import SingleRun, drive_once
from arena.contest.tournament import hold_tournament
from arena.report.page import build_page

SEASON = """
[season]
name = "two-roads"
summary = "invented: <b>two</b> roads & a broken probe"
target_c = 30
limit_c = 45
band_k = 3

[prices]
tracking_per_k_h = 0.10
wear_per_h = 0.04
energy_per_kwh = 0.95

[[outing]]
drive = "hill-pulls"
climate = "mild"
per_year = 10

[[outing]]
drive = "cold-start"
climate = "winter"
per_year = 60

[[outing]]
drive = "hill-pulls"
climate = "mild"
fault = "probe-open"
per_year = 1
"""

NAMES_OF_MANY = [
    (f"a-strategy-with-a-long-name-{n}", ("proportional", "gated-table", "always-off")[n % 3]) for n in range(10)
]


@pytest.fixture(scope="session")
def folder(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """The result folder of a small tournament, page and all. Tests that change it work on a copy."""
    place = tmp_path_factory.mktemp("result")
    season = place / "two-roads.toml"
    season.write_text(SEASON, encoding="utf-8")
    result = hold_tournament(
        season, "invented-2200", ["gated-table", "proportional"], trials=6, replicates=3, seed=3,
        out=place / "done", command=["tournament", "two-roads", "--out", "done", "--seed", "3"], dress=build_page,
    )  # fmt: skip
    assert result.folder is not None
    return result.folder


@pytest.fixture(scope="session")
def crowded(folder: Path, tmp_path_factory: pytest.TempPathFactory) -> Path:
    """The same with sixteen contestants of long names: every contestant there is, again and again."""
    place = Path(shutil.copytree(folder, tmp_path_factory.mktemp("crowded") / "done"))
    views = json.loads((place / "views.json").read_text(encoding="utf-8"))
    for file in ("standings.csv", "runs.csv"):
        with (place / file).open(encoding="utf-8", newline="") as handle:
            rows = list(csv.DictReader(handle))
        with (place / file).open("w", encoding="utf-8", newline="") as handle:
            writer = csv.DictWriter(handle, rows[0])
            writer.writeheader()
            writer.writerows(rows)
            for new, old in NAMES_OF_MANY:
                writer.writerows({**r, "contestant": new} for r in rows if r["contestant"] == old)
    for new, old in NAMES_OF_MANY:
        about = next(c for c in views["contestants"] if c["name"] == old)
        views["contestants"].append({**about, "name": new})
        views["histogram"]["minutes"][new] = views["histogram"]["minutes"][old]
        views["protection"] += [{**p, "contestant": new} for p in views["protection"] if p["contestant"] == old]
        for view in views["views"]:
            view["lines"][new] = view["lines"][old]
    (place / "views.json").write_text(json.dumps(views), encoding="utf-8")
    build_page(place)
    return place


@pytest.fixture
def copy(folder: Path, tmp_path: Path) -> Path:
    """A copy of the result folder to be changed."""
    return Path(shutil.copytree(folder, tmp_path / "copy"))


@pytest.fixture(scope="session")
def run() -> SingleRun:
    """One recorded run of hill pulls."""
    return drive_once("hill-pulls", "hot", strategy="proportional", record=True)


def missing(what: str) -> None:
    """Skip with a reason, but not where everything must be run."""
    if os.environ.get("CI"):
        pytest.fail(what)
    pytest.skip(what)


@pytest.fixture(scope="session")
def browser() -> Iterator[Browser]:
    """A headless browser."""
    program = browser_path()
    if program is None:
        missing("no Chromium on this machine: apt-get install chromium")
    assert program is not None
    with Browser(program) as made:
        yield made


@pytest.fixture(scope="session")
def axe(tmp_path_factory: pytest.TempPathFactory) -> str:
    """The script of axe-core: from the file AXE_JS names, else fetched with npm."""
    given = os.environ.get("AXE_JS")
    if given:
        return Path(given).read_text(encoding="utf-8")
    npm = shutil.which("npm")
    if npm is None:
        missing("no accessibility checker: install npm, or name axe.min.js in AXE_JS")
    assert npm is not None
    place = tmp_path_factory.mktemp("axe")
    command = [npm, "install", "--prefix", str(place), "--no-audit", "--no-fund", "--ignore-scripts", "axe-core@4"]
    done = subprocess.run(command, capture_output=True, text=True, timeout=120, check=False)
    script = place / "node_modules" / "axe-core" / "axe.min.js"
    if not script.is_file():
        missing(f"axe-core could not be installed: {done.stderr.strip()[-300:]}")
    return script.read_text(encoding="utf-8")
