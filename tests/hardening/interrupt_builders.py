"""For the tests of interruption: a season that plays in a second, the command in a process of its own, a folder that
cannot be written even by the superuser.
"""

from __future__ import annotations

import importlib.util
import os
import resource
import shutil
import signal
import subprocess
import sys
import time
from collections.abc import Callable, Iterator, Sequence
from contextlib import contextmanager
from pathlib import Path
from types import ModuleType

import pytest

from arena.cli import main

BARE = "-dac_override,-dac_read_search"  # without these the superuser heeds permissions as anyone does


def kill_script() -> ModuleType:
    """tests/bench/kill.py as a module."""
    path = Path(__file__).parents[1] / "bench" / "kill.py"
    spec = importlib.util.spec_from_file_location("kill_script", path)
    assert spec is not None and spec.loader is not None
    module = importlib.util.module_from_spec(spec)
    sys.modules["kill_script"] = module
    spec.loader.exec_module(module)
    return module


def arena(
    *words: str, cwd: Path, bare: bool = False, env: dict[str, str] | None = None
) -> subprocess.CompletedProcess[str]:
    """A command of the arena's run to its end in a process of its own, if need be without the superuser's rights."""
    wrapper = ["setpriv", f"--bounding-set={BARE}", f"--inh-caps={BARE}"] if bare and os.geteuid() == 0 else []
    return subprocess.run(
        [*wrapper, sys.executable, "-m", "arena", *words], cwd=cwd, capture_output=True, text=True, timeout=300,
        check=False, env={**os.environ, **(env or {})}, encoding="utf-8",
    )  # fmt: skip


def here(words: Sequence[str], cwd: Path, monkeypatch: pytest.MonkeyPatch) -> int:
    """A command of the arena's in this process; its exit code."""
    monkeypatch.chdir(cwd)
    monkeypatch.setattr(sys, "argv", ["arena", *words])
    with pytest.raises(SystemExit) as ended:
        main()
    return int(ended.value.code or 0)


@contextmanager
def files_up_to(size: int) -> Iterator[None]:
    """No file of this process may grow over a size: what is written then meets a full disk."""
    before = resource.getrlimit(resource.RLIMIT_FSIZE)
    resource.setrlimit(resource.RLIMIT_FSIZE, (size, before[1]))
    try:
        yield
    finally:
        resource.setrlimit(resource.RLIMIT_FSIZE, before)


def patience(seconds: float) -> float:
    """A time limit for an idle machine, lengthened on a busy one."""
    return seconds * max(1.0, os.getloadavg()[0] / (os.cpu_count() or 1))


def started(words: list[str], cwd: Path) -> subprocess.Popen[str]:
    """A command of the arena's begun; ctrl-C reaches it even where these tests run in the background."""
    return subprocess.Popen(
        [sys.executable, "-m", "arena", *words], cwd=cwd, stdout=subprocess.PIPE, stderr=subprocess.PIPE, text=True,
        preexec_fn=lambda: signal.signal(signal.SIGINT, signal.default_int_handler),  # noqa: PLW1509
    )  # fmt: skip


def wait_for(found: Callable[[], object], child: subprocess.Popen[str]) -> None:
    """Until something is there; fails if the process ends before."""
    until = time.monotonic() + 200
    while not found():
        assert child.poll() is None, child.communicate()[1]
        assert time.monotonic() < until
        time.sleep(0.005)


def permissions_hold() -> None:
    """Skips the test where a read-only folder cannot be made."""
    if os.geteuid() != 0:
        return
    if shutil.which("setpriv") is None:
        pytest.skip("the superuser writes everywhere, and setpriv is not there to take that away")
    done = subprocess.run(["setpriv", f"--bounding-set={BARE}", "true"], capture_output=True, check=False)
    if done.returncode != 0:
        pytest.skip("the superuser writes everywhere, and may not give that up here")
