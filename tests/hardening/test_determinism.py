"""The same bytes whatever the machine is asked to do it with; and the same figures as were accepted last.

Bytes are promised on one machine with one set of versions. Between machines the last bits may move: numpy's exp and
power are other code with AVX-512 than without, the kernel's own arithmetic is not. So golden figures are compared to
a stated relative difference, and settings, places and ties as they stand.
"""

from __future__ import annotations

import json
import math
import os
import re
import subprocess
import sys
from pathlib import Path
from typing import Any

import pytest
from interrupt_builders import kill_script

from arena.contest.tournament import TournamentResult, hold_tournament

kill = kill_script()
GOLDEN = Path(__file__).with_name("golden_tournament.json")
REL, ABS = 1e-6, 1e-9  # last bits of exp and power, carried through a drive; a change of the physics moves far more
MOVED = (
    "figures have moved; if that is meant: pytest tests/hardening/test_determinism.py --accept-golden, look at the "
    'diff, and write a line under "Changes results" in CHANGELOG.md'
)
THREADS = ("NUMBA_NUM_THREADS", "OMP_NUM_THREADS", "OPENBLAS_NUM_THREADS", "MKL_NUM_THREADS")
FIELD = ("two-speed", "proportional", "gated-table")
SEASON = """
[season]
name = "golden"

[prices]
tracking_per_k_h = 0.1
wear_per_h = 0.04
energy_per_kwh = 0.95

[[outing]]
drive = "hill-pulls"
climate = "hot"
per_year = 20

[[outing]]
drive = "recorded-trip"
climate = "mild"
per_year = 50
"""


@pytest.mark.parametrize("kind", ["tournament", "tune a table"])
def test_same_bytes_whatever_the_threads_the_workers_and_the_hash_seed(kind: str, tmp_path: Path) -> None:
    fewer = {"192": "128", "48": "16"}
    words = [fewer.get(w, w) for w in kill.COMMANDS[kind]]
    found = []
    for count, hash_seed in ((1, "0"), (3, "4242")):
        place = kill.prepared(tmp_path / str(count))
        threads = {name: str(min(count, os.cpu_count() or 1)) for name in THREADS}
        done = subprocess.run(
            [sys.executable, "-m", "arena", *words, "--workers", str(count)], cwd=place, capture_output=True, text=True,
            env={**os.environ, **threads, "PYTHONHASHSEED": hash_seed}, check=False,
        )  # fmt: skip
        assert done.returncode == 0, done.stderr
        found.append(kill.tree(place / "r"))
    for name in ("page.html", "manifest.json"):  # these show the command line
        if name in found[0]:
            found[0][name] = re.sub(rb'(--workers(?:",\s*"| ))1\b', rb"\g<1>3", found[0][name])
    assert kill.different(*found) == []


@pytest.fixture(scope="module")
def result(tmp_path_factory: pytest.TempPathFactory) -> TournamentResult:
    season = tmp_path_factory.mktemp("golden") / "golden.toml"
    season.write_text(SEASON, encoding="utf-8")
    return hold_tournament(season, strategies=FIELD, trials=16, replicates=3)


def golden_of(result: TournamentResult) -> dict[str, Any]:
    """What is held fast of a tournament."""
    settings = {c.name: c.strategy.make_settings(dict(c.settings))._asdict() for c in result.contestants}
    return {
        "about": "Accepted figures; pytest --accept-golden writes them anew, and CHANGELOG.md says what moved",
        "standings": {
            line.contestant: {
                "place": line.place,
                "tied_with": list(line.tied_with),
                "score": line.score,
                "score_low": line.score_low,
                "score_high": line.score_high,
                "settings": settings[line.contestant],
                "figures": {name: value if value is not None and math.isfinite(value) else None
                            for name, value in line.figures.items()},
            }
            for line in result.standings.lines
        },
        "drive_seconds": {f"{o.id} {o.replicate}": o.drive_seconds for o in result.outings},
    }  # fmt: skip


def differences(now: Any, then: Any, place: str = "") -> list[str]:
    """Where two results differ by more than the last figures."""
    if isinstance(now, dict) and isinstance(then, dict):
        keys = {**then, **now}
        gone = "(not there)"
        return [d for k in keys for d in differences(now.get(k, gone), then.get(k, gone), f"{place}/{k}")]
    if isinstance(now, float | int) and isinstance(then, float | int) and not isinstance(now, bool):
        return [] if math.isclose(now, then, rel_tol=REL, abs_tol=ABS) else [f"{place}: {then!r} is now {now!r}"]
    return [] if now == then else [f"{place}: {then!r} is now {now!r}"]


def test_figures_are_those_that_were_accepted(result: TournamentResult, request: pytest.FixtureRequest) -> None:
    """Meant to move them? `pytest tests/hardening/test_determinism.py --accept-golden`, and tell it in CHANGELOG.md."""
    now = golden_of(result)
    if request.config.getoption("--accept-golden"):
        GOLDEN.write_text(json.dumps(now, indent=1, sort_keys=True) + "\n", encoding="utf-8")
        print(
            f"written: {GOLDEN}. Look at its diff, and say under 'Changes results' in CHANGELOG.md what moved and why."
        )
    assert GOLDEN.is_file(), "no golden result: write it with pytest --accept-golden, and look at it"
    moved = differences(now, json.loads(GOLDEN.read_text(encoding="utf-8")))
    assert not moved, "\n".join([MOVED, *moved[:20]])


def test_a_moved_figure_is_noticed(result: TournamentResult) -> None:
    now = golden_of(result)
    moved = json.loads(json.dumps(now))
    moved["standings"]["always-on"]["figures"]["pump_hours"] *= 1.0 + 3.0 * REL
    assert len(differences(moved, now)) == 1
    del moved["standings"]["always-off"]
    assert len(differences(moved, now)) == 2
