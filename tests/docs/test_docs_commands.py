"""Every command the documents show is run as it stands, page by page, in a folder with the files a reader would have.

Only budgets are cut: fewer candidates, worlds and minutes of log. What other tests run in full is not run twice: the
guide of docs/your-car.md (tests/scenario/test_evening.py) and `arena bench` (tests/cli).
"""

from __future__ import annotations

import itertools
import re
import shlex
import shutil
import signal
import subprocess
import sys
import time
from pathlib import Path

import pytest

ROOT = Path(__file__).parents[2]
PAGES = [
    page
    for page in sorted([ROOT / "README.md", *(ROOT / "docs").glob("*.md")])
    if "\n    arena " in page.read_text("utf-8") and page.name != "your-car.md"
]
SMALLER = {
    "tournament": ["--trials", "8", "--replicates", "1", "--strategy", "proportional"],
    "tune": ["--trials", "32", "--replicates", "2", "--no-foresight"],
    "parts": ["myyear.toml", "--replicates", "1", "--pairs", "0", "--strategy", "always-on"],  # the season above
    "check": ["--quick"],
}
LOG_SHARE = 0.2  # of the measured log: some three minutes
LOGS = ("mylog.csv", "drive.csv", "before.csv", "after.csv", "logs/2017-07-14.csv", "logs/2017-07-15.csv")
ELSEWHERE = {"arena bench"}  # tests/cli runs it


def commands(page: Path) -> list[str]:
    """Every `arena ...` line that stands in an indented block, in order."""
    found = re.findall(r"^    (arena [^#\n]*)", page.read_text(encoding="utf-8"), re.M)
    return [c.strip() for c in found if c.strip() not in ELSEWHERE]


def arena(words: list[str], folder: Path) -> subprocess.CompletedProcess[str]:
    """Run a command in a folder."""
    return subprocess.run(
        [sys.executable, "-m", "arena", *words], cwd=folder, capture_output=True, text=True, check=False
    )


def have(name: str, folder: Path) -> None:
    """A file a reader would have by now, if it is not there: a log, or a starting file."""
    path = folder / name
    kinds = {"mycar.toml": "car", "mydrive.toml": "drive", "fitted.toml": "car"}
    if path.exists():
        return
    if name in LOGS:
        path.parent.mkdir(exist_ok=True)
        rows = (ROOT / "scenarios" / "drives" / "kit-2017-07-14.csv").read_text(encoding="utf-8").splitlines()
        path.write_text("\n".join(rows[: int(len(rows) * LOG_SHARE)]), encoding="utf-8")
    elif name in kinds:
        assert arena(["new", kinds[name], name], folder).returncode == 0


def interrupted(words: list[str], folder: Path) -> None:
    """Start a tournament and stop it by ctrl-C while it tunes."""
    shutil.rmtree(folder / "results", ignore_errors=True)
    process = subprocess.Popen(
        [sys.executable, "-m", "arena", *words], cwd=folder, stderr=subprocess.DEVNULL,
        preexec_fn=lambda: signal.signal(signal.SIGINT, signal.SIG_DFL),  # noqa: PLW1509  (run in the background, it is ignored)
    )  # fmt: skip
    try:
        until = time.monotonic() + 60.0
        while time.monotonic() < until and not list(folder.glob("results/hot.partial/tuning/*")):
            assert process.poll() is None, "it ended before it could be interrupted"
            time.sleep(0.05)
        process.send_signal(signal.SIGINT)
        assert process.wait(30.0) == 130
    finally:
        process.kill()
        process.wait()


@pytest.mark.parametrize("page", PAGES, ids=lambda p: p.name)
def test_every_command_shown_runs(page: Path, tmp_path: Path) -> None:
    shown = commands(page)
    for command, following in itertools.zip_longest(shown, shown[1:], fillvalue=""):
        words = shlex.split(command)[1:]
        smaller = [] if "--resume" in words or "--trials" in words else SMALLER.get(words[0], [])
        if words[0] == "new":
            (tmp_path / words[2]).unlink(missing_ok=True)
        for before_it, word in itertools.pairwise(words):
            if before_it != "--out" and words[0] != "new":
                have(word, tmp_path)
        for name in LOGS[-2:] if "logs" in words else ():
            have(name, tmp_path)
        if "--resume" in following:  # the next line goes on with it
            interrupted([*words, "--trials", "128", "--replicates", "1", "--strategy", "proportional"], tmp_path)
            continue
        done = arena([*words, *smaller], tmp_path)
        assert done.returncode == 0, f"{page.name}: {command}\n{done.stderr}"
        assert done.stdout.strip(), f"{page.name}: {command} says nothing"
