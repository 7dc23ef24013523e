"""Lists in the documents that must not fall behind: the figures, and the scripts that measure."""

from __future__ import annotations

from pathlib import Path

import pytest

from arena.contest.figures import FIGURES, Figure

ROOT = Path(__file__).parents[2]
SCRIPTS = sorted(p.name for p in (ROOT / "tests" / "bench").glob("*.py") if p.name != "conftest.py")


@pytest.mark.parametrize("figure", FIGURES, ids=lambda f: f.name)
def test_every_figure_is_told(figure: Figure) -> None:
    better = "" if figure.better == "neither" else figure.better
    row = f"| {figure.name} | {figure.unit} | {better} | {figure.over} | {figure.meaning} |"
    assert row in (ROOT / "docs" / "ranking.md").read_text(encoding="utf-8")


def test_no_figure_is_told_that_is_none() -> None:
    told = (ROOT / "docs" / "ranking.md").read_text(encoding="utf-8").split("## The figures")[1]
    assert told.count("\n| ") == len(FIGURES) + 1


@pytest.mark.parametrize("name", [n for n in SCRIPTS if not n.startswith("test_")])
def test_every_script_that_measures_is_named(name: str) -> None:
    text = (ROOT / "DEVELOPERS.md").read_text(encoding="utf-8")
    assert f"`{name}`" in text or f"/{name}" in text
