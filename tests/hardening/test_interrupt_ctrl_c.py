"""Ctrl-C stops a tournament and a tuning at once, says what is kept, and the command it names goes on with it."""

from __future__ import annotations

import shlex
import signal
import time
from pathlib import Path

import pytest
from interrupt_builders import here, kill_script, patience, started, wait_for

kill = kill_script()
SOON_S = 2.0  # with a second to spare
AHEAD = "; go on with: arena "


def stopped(words: list[str], place: Path, after: str) -> list[str]:
    """What it says once it is interrupted, which is when a file by that pattern is there."""
    child = started(words, place)
    wait_for(lambda: list(place.glob(after)), child)
    began = time.monotonic()
    child.send_signal(signal.SIGINT)
    stdout, stderr = child.communicate(timeout=60)
    assert time.monotonic() - began < patience(SOON_S)
    assert child.returncode == 130
    assert stdout == ""
    return stderr.splitlines()


@pytest.mark.parametrize("kind", ["tournament", "tune settings"])
def test_the_command_it_names_goes_on_to_the_same_bytes(
    kind: str, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    words = list(kill.COMMANDS[kind])
    words[words.index("--trials") + 1] = "128"
    place, other = kill.prepared(tmp_path / "here"), kill.prepared(tmp_path / "there")
    said = stopped(words, place, "r.partial/tuning/*.json")
    assert said[-2] == "interrupted"
    assert said[-1].startswith("What was finished is kept in r.partial; go on with: arena t")
    assert not (place / "r").exists()
    assert here(shlex.split(said[-1].split(AHEAD)[1]), place, monkeypatch) == 0
    assert here(words, other, monkeypatch) == 0
    assert kill.different(kill.tree(place / "r"), kill.tree(other / "r")) == []


def test_without_a_folder_nothing_is_kept_and_that_is_said(tmp_path: Path) -> None:
    place = kill.prepared(tmp_path / "here")
    child = started(["tournament", "season.toml", "--trials", "100000"], place)
    assert child.stderr is not None
    assert child.stderr.readline() == "tuning: 6250 steps\n"
    child.send_signal(signal.SIGINT)
    _, stderr = child.communicate(timeout=60)
    assert child.returncode == 130
    assert stderr.splitlines() == ["interrupted", "Nothing was kept: with --out DIR it can be gone on with."]


def test_a_shared_study_is_gone_on_with_by_the_command_it_names(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    place = kill.prepared(tmp_path / "here")
    words = ["tune", "--climate", "hot", "--drive", "pulls.toml", "--strategy", "proportional", "--trials", "384",
             "--replicates", "2", "--no-foresight", "--storage", "study.log"]  # fmt: skip
    child = started(words, place)
    journal = place / "study.log"
    wait_for(lambda: journal.exists() and b'"op_code":4' in journal.read_bytes(), child)
    child.send_signal(signal.SIGINT)
    _, stderr = child.communicate(timeout=60)
    assert child.returncode == 130
    said = stderr.splitlines()[-1]
    assert said.startswith("What was finished is kept in study.log; go on with: arena tune")
    assert here(shlex.split(said.split(AHEAD)[1]), place, monkeypatch) == 0
