"""The journal of a shared study after a kill: no lock is waited for, and a torn line harms nobody."""

from __future__ import annotations

import os
import signal
import subprocess
import sys
import threading
import time
from pathlib import Path

import pytest

from arena.contest.locks import LOCKS, FileLock, JournalLock
from arena.contest.studies import SharedStudy, open_storage

pytestmark = pytest.mark.skipif(not LOCKS, reason="no lock of the system's here")
HOLDER = """
import sys, time
from pathlib import Path
from arena.contest.locks import JournalLock
lock = JournalLock(Path(sys.argv[1]))
lock.acquire()
print("held", flush=True)
time.sleep(600)
"""
AT_ONCE_S = 2.0  # Optuna's own lock is stale for 30 s


def test_a_lock_whose_holder_was_killed_does_not_stall(tmp_path: Path) -> None:
    """Killed while it holds the lock, that is while it writes; what Optuna's own lock would have left is there too."""
    journal = tmp_path / "study.log"
    SharedStudy(open_storage(str(journal)), "mine").publish([0.5], [{"a": 1.0}])
    os.symlink(journal, f"{journal}.lock")
    holder = subprocess.Popen([sys.executable, "-c", HOLDER, str(journal)], stdout=subprocess.PIPE, text=True)
    assert holder.stdout is not None and holder.stdout.readline() == "held\n"
    assert not JournalLock(journal).acquire(wait=False)
    os.kill(holder.pid, signal.SIGKILL)
    holder.communicate()
    began = time.monotonic()
    study = SharedStudy(open_storage(str(journal)), "mine", must_exist=True)
    study.publish([0.25], [{"a": 2.0}])
    assert study.finished == 2
    assert time.monotonic() - began < AT_ONCE_S


def test_a_line_torn_while_others_work_is_cut_off_by_the_next_writer(tmp_path: Path) -> None:
    journal = tmp_path / "study.log"
    study = SharedStudy(open_storage(str(journal)), "mine")
    study.publish([0.5], [{"a": 1.0}])
    with journal.open("ab") as handle:
        handle.write(b'{"op_code":4,"worker_id":"x","study_i')
    assert study.finished == 1
    study.publish([0.25], [{"a": 2.0}])
    assert study.finished == 2
    assert SharedStudy(open_storage(str(journal)), "mine").best()[0] == (0.25, {"a": 2.0})


@pytest.mark.parametrize("size", [0, 10, 200_000])
def test_only_the_torn_line_is_cut_off(tmp_path: Path, size: int) -> None:
    path = tmp_path / "journal"
    path.write_bytes(b"whole\n" * 3 + b"x" * size)
    JournalLock(path).acquire()
    assert path.read_bytes() == b"whole\n" * 3
    path.write_bytes(b"x" * size)
    JournalLock(path).acquire()
    assert path.read_bytes() == b""


def test_a_held_lock_is_waited_for(tmp_path: Path) -> None:
    first, second = FileLock(tmp_path / "lock"), FileLock(tmp_path / "lock")
    assert first.acquire()
    assert not second.acquire(wait=False)
    timer = threading.Timer(0.2, first.release)
    timer.start()
    began = time.monotonic()
    assert second.acquire()
    assert 0.1 < time.monotonic() - began < 30.0
    timer.join()


def test_a_lock_on_a_file_that_has_moved_on_is_not_in_place(tmp_path: Path) -> None:
    lock = FileLock(tmp_path / "lock")
    assert lock.acquire() and lock.in_place()
    (tmp_path / "lock").rename(tmp_path / "other")
    assert not lock.in_place()
    (tmp_path / "lock").touch()
    assert not lock.in_place()
