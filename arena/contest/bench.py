"""Speed on this machine: the kernel's inner loop, one lane alone, compiling once, and a small tournament."""

from __future__ import annotations

import os
import resource
import subprocess
import sys
import tempfile
import time
from pathlib import Path
from typing import Any

from arena.contest.run import Contestant, Lanes, lay_out, play
from arena.contest.single import compile_one
from arena.contest.tournament import entrants, make_plan, rank_season
from arena.plant import layout as at
from arena.plant.compile import CompiledOuting
from arena.plant.numbers import Goals
from arena.scenario.car import load_car
from arena.scenario.climate import load_climate
from arena.scenario.drive import load_drive
from arena.strategies import shipped

_COMPILE_AFRESH = "from arena.contest.bench import compile_afresh; print(compile_afresh())"


def measure(repeats: int = 5) -> dict[str, Any]:
    """The figures of `arena bench`: nanoseconds a lane and tick with law and figures, shipped car, one thread.

    `compile_s` is processor time of the very first drive on a new machine, from an empty cache: the kernel,
    the timetable's, the coolant's tables. `tournament_s` is the wall time of the shipped season ranked once.
    """
    outing, full, single = _outing_and_lanes()
    wide, narrow = _best(outing, full, repeats), _best(outing, single, repeats)
    began = time.perf_counter()
    rank_season(make_plan(), entrants(), replicates=1, workers=None)
    tournament_s = time.perf_counter() - began
    scale = 1024.0 if sys.platform != "darwin" else 1024.0 * 1024.0
    return {
        "lane_step_ns": 1e9 * wide / (outing.ticks * at.LANES),
        "single_step_ns": 1e9 * narrow / outing.ticks,
        "lanes": at.LANES,
        "states": at.ROWS - at.CORE_AT + 6,
        "threads": os.cpu_count() or 1,
        "times_real_time": outing.ticks * at.TICK_S * at.LANES / wide,
        "compile_s": _first_drive_s(),
        "tournament_s": tournament_s,
        "peak_mb": resource.getrusage(resource.RUSAGE_SELF).ru_maxrss / scale,
    }


def compile_afresh() -> float:
    """Processor seconds until a full batch and a single lane have run once; what the cache holds is not compiled."""
    began = time.process_time()
    outing, full, single = _outing_and_lanes()
    play(outing, full)
    play(outing, single)
    return time.process_time() - began


def _outing_and_lanes() -> tuple[CompiledOuting, Lanes, Lanes]:
    """A shipped drive on the shipped car, a full batch and a single lane."""
    _, outing = compile_one(load_drive("commute"), load_climate("hot"), load_car("invented-2200").numbers(), 1, Goals())
    law = shipped()["proportional"]
    full = lay_out([Contestant(f"p{k}", law, {"start_c": 25.0 + 0.1 * k}) for k in range(at.LANES)])
    return outing, full, lay_out([Contestant("p", law)])


def _best(outing: CompiledOuting, lanes: Lanes, repeats: int) -> float:
    """Least processor time of several runs, after one that may have to load the kernel."""
    play(outing, lanes)
    times = []
    for _ in range(repeats):
        start = time.process_time()
        play(outing, lanes)
        times.append(time.process_time() - start)
    return min(times)


def _first_drive_s() -> float:
    """`compile_afresh` in a process of its own with an empty cache."""
    top = str(Path(__file__).parents[2])
    path = os.pathsep.join([top, *filter(None, [os.environ.get("PYTHONPATH")])])
    with tempfile.TemporaryDirectory() as empty:
        environment = {**os.environ, "ARENA_CACHE_DIR": empty, "PYTHONPATH": path}
        done = subprocess.run(
            [sys.executable, "-P", "-c", _COMPILE_AFRESH], check=True, capture_output=True, text=True, env=environment
        )
    return float(done.stdout)
