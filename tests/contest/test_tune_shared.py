"""A study that several processes join: one of them killed, the others finish; a torn journal is mended; resuming."""

from __future__ import annotations

import json
import os
import signal
import subprocess
import sys
import time
from pathlib import Path

import pytest
from tune_drives import DRIVE

from arena.contest.studies import SharedStudy, open_storage
from arena.errors import BadInput

TRIALS = 512


def start(drive: Path, journal: Path, *more: str) -> subprocess.Popen[bytes]:
    words = ["tune", "--climate", "mild", "--drive", str(drive), "--trials", str(TRIALS), "--replicates", "2"]
    words += ["--no-foresight", "--storage", str(journal), "--workers", "1", "--json", *more]
    return subprocess.Popen(
        [sys.executable, "-m", "arena", *words], stdout=subprocess.PIPE, stderr=subprocess.DEVNULL
    )  # fmt: skip


def scored(journal: Path) -> int:
    return journal.read_bytes().count(b'"op_code":4') if journal.exists() else 0


@pytest.mark.slow
def test_two_processes_one_killed_and_resumed(tmp_path: Path) -> None:
    drive, journal = tmp_path / "pulls.toml", tmp_path / "study.log"
    drive.write_text(DRIVE, encoding="utf-8")
    victim, other = start(drive, journal), start(drive, journal)
    until = time.monotonic() + 200
    while time.monotonic() < until and scored(journal) < 128:
        time.sleep(0.05)
    os.kill(victim.pid, signal.SIGKILL)
    victim.communicate()
    output, _ = other.communicate(timeout=280)
    assert other.returncode == 0
    survivor = json.loads(output)
    assert survivor["score"] < 1.0
    assert scored(journal) >= TRIALS
    before = scored(journal)
    resumed, _ = start(drive, journal, "--resume").communicate(timeout=280)
    assert scored(journal) == before  # the budget was spent: nothing is searched again
    assert json.loads(resumed)["table"]["duty_pct"] == survivor["table"]["duty_pct"]


def test_torn_last_line_is_cut_back(tmp_path: Path) -> None:
    journal = tmp_path / "study.log"
    study = SharedStudy(open_storage(str(journal)), "mine")
    study.publish([0.5, 0.25], [{"a": 1.0}, {"a": 2.0}])
    whole = journal.read_bytes()
    journal.write_bytes(whole + b'{"op_code": 4, "wor')
    again = SharedStudy(open_storage(str(journal)), "mine")
    assert journal.read_bytes().startswith(whole)
    assert again.finished == 2 and again.best()[0] == (0.25, {"a": 2.0})


def test_database_keeps_a_study_too(tmp_path: Path) -> None:
    url = f"sqlite:///{tmp_path}/study.db"
    SharedStudy(open_storage(url), "mine").publish([0.5], [{"a": 1.0}])
    assert SharedStudy(open_storage(url), "mine", must_exist=True).best() == [(0.5, {"a": 1.0})]


def test_resume_needs_something_to_resume(tmp_path: Path) -> None:
    with pytest.raises(BadInput, match="holds no study"):
        SharedStudy(open_storage(str(tmp_path / "new.log")), "mine", must_exist=True)


def test_another_file_is_not_taken_for_a_journal(tmp_path: Path) -> None:
    path = tmp_path / "notes.txt"
    path.write_text("milk, eggs\n", encoding="utf-8")
    with pytest.raises(BadInput, match="not a journal"):
        open_storage(str(path))
    assert path.read_text(encoding="utf-8") == "milk, eggs\n"
    with pytest.raises(BadInput, match="cannot be opened"):
        open_storage("nosuch://x/y")
