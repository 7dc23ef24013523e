"""Tournament and tuning killed (SIGKILL) at random moments, gone on with, and compared with a run left alone.

Half of the kills come at a random moment of the run, half within 20 ms of a random change in the result folder, where
files are being written. After each kill the result must be whole, or DIR.partial, or not begun (then nothing stands
under either name); it is gone on with, killed again, at last let finish, and compared byte by byte.

    python tests/bench/kill.py --kills 60 --seed 1      # some ten minutes on an idle machine
"""

from __future__ import annotations

import argparse
import os
import random
import signal
import subprocess
import sys
import tempfile
import time
from collections import Counter
from dataclasses import dataclass, field
from pathlib import Path

DRIVE = """
[drive]
name = "pulls"

[[phase]]
do = "cruise"
speed_kmh = 60
seconds = 15

[[phase]]
do = "pull"
throttle_pct = 100
to_kmh = 110
"""
SEASON = """
[season]
name = "one-drive"

[prices]
tracking_per_k_h = 0.1
wear_per_h = 0.04
energy_per_kwh = 0.9

[[outing]]
drive = "pulls.toml"
climate = "hot"
per_year = 50
"""
TUNE = ("tune", "--climate", "hot", "--drive", "pulls.toml", "--replicates", "2", "--no-foresight", "--out", "r")
COMMANDS: dict[str, tuple[str, ...]] = {
    "tournament": (
        "tournament", "season.toml", "--strategy", "two-speed", "--strategy", "proportional", "--trials", "48",
        "--replicates", "4", "--out", "r",
    ),
    "tune a table": (*TUNE, "--trials", "192"),
    "tune settings": (*TUNE, "--trials", "192", "--strategy", "proportional"),
}  # fmt: skip
KILLS_IN_A_ROW = 4  # then it is let finish
LIMIT_S = 600.0


@dataclass
class Count:
    """What was met."""

    kills: Counter[str] = field(default_factory=Counter)  # by what stood there afterwards
    finished_before_the_kill: int = 0
    compared: int = 0  # finished folders compared with the undisturbed one
    faults: list[str] = field(default_factory=list)

    @property
    def killed(self) -> int:
        """Kills in all."""
        return sum(self.kills.values())


def begin(words: tuple[str, ...], place: Path) -> subprocess.Popen[bytes]:
    """A process of the arena's in its working folder."""
    with (place / "log").open("ab") as log:
        return subprocess.Popen(
            [sys.executable, "-m", "arena", *words], cwd=place, stdout=subprocess.DEVNULL, stderr=log
        )


def prepared(place: Path) -> Path:
    """A working folder with the scenario files in it."""
    place.mkdir(parents=True)
    (place / "pulls.toml").write_text(DRIVE, encoding="utf-8")
    (place / "season.toml").write_text(SEASON, encoding="utf-8")
    return place


def undisturbed(words: tuple[str, ...], place: Path, runs: int) -> tuple[dict[str, bytes], float]:
    """The result of a run left alone, and the time of the last of them (the first may have had to compile)."""
    found: dict[str, bytes] = {}
    for number in range(runs):
        here = prepared(place / f"whole-{number}")
        began = time.monotonic()
        if begin(words, here).wait(LIMIT_S) != 0:
            raise SystemExit((here / "log").read_text(encoding="utf-8"))
        took = time.monotonic() - began
        before, found = found, tree(here / "r")
        if number and before != found:
            raise SystemExit(f"two undisturbed runs differ: {different(before, found)}")
    return found, took


def tree(folder: Path) -> dict[str, bytes]:
    """Every file below a folder, hidden ones as well."""
    return {str(p.relative_to(folder)): p.read_bytes() for p in sorted(folder.rglob("*")) if p.is_file()}


def different(one: dict[str, bytes], other: dict[str, bytes]) -> list[str]:
    """Names of files that are in one only, or differ."""
    return sorted(name for name in {*one, *other} if one.get(name) != other.get(name))


def kill_somewhere(child: subprocess.Popen[bytes], place: Path, took: float, draw: random.Random) -> bool:
    """Kill it at a random moment, or soon after a random change of what it writes; False if it finished before."""
    changes = draw.randint(1, 14) if draw.random() < 0.5 else 0
    until = time.monotonic() + (LIMIT_S if changes else draw.uniform(0.0, took))
    before: list[tuple[str, int]] = []
    while time.monotonic() < until and child.poll() is None:
        if changes:
            now = seen(place)
            changes -= now != before and bool(before)
            before = now
            if not changes:
                time.sleep(draw.uniform(0.0, 0.02))
                break
        time.sleep(0.001)
    if child.poll() is not None:
        return False
    os.kill(child.pid, signal.SIGKILL)
    child.wait()
    return True


def seen(place: Path) -> list[tuple[str, int]]:
    """Names and sizes below the working folder, as far as they hold still for a look."""
    found = []
    for folder, _, names in os.walk(place):
        for name in names:
            try:
                found.append((f"{folder}/{name}", os.stat(f"{folder}/{name}").st_size))
            except OSError:  # moved on meanwhile
                continue
    return sorted(found)


def chain(
    words: tuple[str, ...], whole: dict[str, bytes], took: float, place: Path, draw: random.Random, count: Count
) -> None:
    """One result folder: killed some times, gone on with each time, at last let finish and compared."""
    prepared(place)
    final, partial = place / "r", place / "r.partial"
    doing = words
    for _ in range(draw.randint(1, KILLS_IN_A_ROW)):
        child = begin(doing, place)
        if not kill_somewhere(child, place, took, draw):
            count.finished_before_the_kill += 1
            if child.returncode != 0:
                count.faults.append(f"{place.name}: exit code {child.returncode}: {last_words(place)}")
                return
            break
        if final.exists():
            count.kills["whole"] += 1
            break
        if partial.exists():
            count.kills["partial"] += 1
            if not (partial / "manifest.json").is_file():
                count.faults.append(f"{place.name}: a .partial without manifest")
            doing = ("tournament", "--resume", "r.partial") if words[0] == "tournament" else (*words, "--resume")
        else:
            count.kills["not begun"] += 1
            doing = words
    if not final.exists() and begin(doing, place).wait(LIMIT_S) != 0:
        count.faults.append(f"{place.name}: could not be gone on with: {last_words(place)}")
        return
    found = tree(final)
    count.compared += 1
    if found != whole:
        count.faults.append(f"{place.name}: differs in {different(found, whole)}")
    left = sorted(p.name for p in place.iterdir() if p.name not in {"pulls.toml", "season.toml", "log", "r"})
    if left:
        count.faults.append(f"{place.name}: left behind: {left}")


def last_words(place: Path) -> str:
    """The end of what was said on stderr."""
    return " / ".join((place / "log").read_text(encoding="utf-8").splitlines()[-3:])


def rounds(kinds: dict[str, int], seed: int, place: Path, runs: int = 2) -> dict[str, Count]:
    """At least so many kills of each kind; `runs` are left alone first."""
    found = {}
    for kind, kills in kinds.items():
        draw, count = random.Random(f"{seed} {kind}"), Count()
        here = place / kind.replace(" ", "-")
        whole, took = undisturbed(COMMANDS[kind], here, runs)
        number = 0
        while count.killed < kills and not count.faults:
            number += 1
            chain(COMMANDS[kind], whole, took, here / f"chain-{number}", draw, count)
        found[kind] = count
    return found


def main() -> None:
    """Kill, count, print."""
    parser = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter)
    parser.add_argument("--kills", type=int, default=60, help="kills in all, half of them of tournaments")
    parser.add_argument("--seed", type=int, default=1)
    given = parser.parse_args()
    kinds = dict(zip(COMMANDS, (given.kills // 2, given.kills // 4, given.kills // 4), strict=True))
    with tempfile.TemporaryDirectory() as place:
        found = rounds(kinds, given.seed, Path(place))
    for kind, count in found.items():
        met = ", ".join(f"{n} {state}" for state, n in sorted(count.kills.items()))
        print(f"{kind}: {count.killed} kills ({met}), {count.compared} results compared, {len(count.faults)} faults")
        for fault in count.faults:
            print(f"  {fault}")
    raise SystemExit(any(count.faults for count in found.values()))


if __name__ == "__main__":
    main()
