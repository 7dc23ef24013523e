"""`arena report` and `arena drive --plot` as a user meets them: what they say, write and refuse."""

from __future__ import annotations

import json
import sys
from pathlib import Path
from xml.etree import ElementTree as ET

import pytest

from arena.cli import main


def arena(monkeypatch: pytest.MonkeyPatch, *words: str) -> int:
    monkeypatch.setattr(sys, "argv", ["arena", *words])
    with pytest.raises(SystemExit) as ended:
        main()
    return int(ended.value.code or 0)


def test_report_builds_the_page_again(
    copy: Path, monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    (copy / "page.html").unlink()
    assert arena(monkeypatch, "report", str(copy), "--json") == 0
    told = json.loads(capsys.readouterr().out)
    assert Path(told["page"]) == copy / "page.html"
    assert told["bytes"] == (copy / "page.html").stat().st_size


def test_report_of_no_result_is_bad_input(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    assert arena(monkeypatch, "report", str(tmp_path)) == 2
    said = capsys.readouterr()
    assert said.out == ""
    assert "manifest.json is missing" in said.err
    assert "Traceback" not in said.err
    assert list(tmp_path.iterdir()) == []


def test_drive_draws_in_the_terminal_and_to_a_file(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    picture = tmp_path / "run.svg"
    assert arena(monkeypatch, "drive", "hill-pulls", "--strategy", "proportional", "--plot", str(picture)) == 0
    said = capsys.readouterr().out
    plot = said[said.index("charge temperature") : said.index("figure")]
    assert max(map(len, plot.splitlines())) <= 80
    assert "limit 45" in plot
    assert ET.parse(picture).getroot().tag.endswith("svg")
    missing = tmp_path / "nowhere" / "run.svg"
    assert arena(monkeypatch, "drive", "hill-pulls", "--strategy", "proportional", "--plot", str(missing)) == 2
    assert "cannot be written" in capsys.readouterr().err


@pytest.mark.parametrize(
    "words",
    [
        ("drive", "hill-pulls", "--plot"), ("fit", "no-log.csv", "--plot"), ("parts", "--plot"), ("wiring", "--sketch"),
    ],
)  # fmt: skip
def test_unknown_kind_of_picture_is_refused_before_any_work(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str], words: tuple[str, ...]
) -> None:
    assert arena(monkeypatch, *words, str(tmp_path / "picture.bmp")) == 2
    said = capsys.readouterr()
    assert said.out == "" and f"{words[-1]} " in said.err and "picture.bmp" in said.err
    assert ".svg, .png or .pdf" in said.err
    assert list(tmp_path.iterdir()) == []
