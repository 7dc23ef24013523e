"""What the terminal shows besides tables of standings: progress while it works, what a quiet cap costs."""

from __future__ import annotations

import io
import sys

import pytest

from arena.contest.figures import FIGURES
from arena.contest.pool import Progress
from arena.contest.single import drive_once
from arena.report import terminal


class Screen(io.StringIO):
    """A stream that says it is a terminal."""

    def isatty(self) -> bool:
        return True


STEPS = (
    Progress("tuning", 1, 4, standing=(("proportional", 0.412),)),
    Progress("tuning", 2, 4, detail="9 on the front"),
    Progress("ranking", 1, 2),
)


def test_a_terminal_sees_how_far_it_is_and_the_best_so_far(monkeypatch: pytest.MonkeyPatch) -> None:
    screen = Screen()
    monkeypatch.setattr(sys, "stderr", screen)
    monkeypatch.setenv("TERM", "xterm")
    line = terminal.ProgressLine()
    for step in STEPS:
        line(step)
    line.done()
    seen = screen.getvalue()
    assert "tuning: 1/4" in seen and "proportional" in seen and "0.412" in seen
    assert "9 on the front" in seen and "ranking: 1/2" in seen
    assert line.live is None


def test_a_pipe_gets_a_line_a_stage(monkeypatch: pytest.MonkeyPatch) -> None:
    piped = io.StringIO()
    monkeypatch.setattr(sys, "stderr", piped)
    line = terminal.ProgressLine()
    for step in STEPS:
        line(step)
    line.done()
    assert piped.getvalue() == "tuning: 4 steps\nranking: 2 steps\n"
    quiet = terminal.ProgressLine(quiet=True)
    quiet(STEPS[0])
    assert piped.getvalue().count("tuning") == 1


def test_what_a_quiet_cap_costs_is_shown_figure_by_figure(capsys: pytest.CaptureFixture[str]) -> None:
    run = drive_once("hill-pulls", "hot", strategy="always-on+quiet_cap_pct=30")
    assert run.carried_cost is not None
    terminal.drive(run)
    printed = capsys.readouterr().out
    shown = printed[printed.index("quiet cap and run-on change") :]
    for f in FIGURES:
        change = run.carried_cost.get(f.name, 0.0)
        told = [x.split()[:2] for x in shown.splitlines() if x.startswith(f"{f.name} ")]
        assert told == ([[f.name, f"{change:+.2f}"]] if abs(change) >= 0.005 else [])
    terminal.carried_cost({})
    assert "change no figure on this drive" in capsys.readouterr().out
