"""Speed on this machine: the kernel's inner loop, one lane alone, and a small tournament."""

from __future__ import annotations

import resource
import sys
import time
from typing import Any

from arena.contest.run import Contestant, lay_out, play
from arena.contest.single import compile_one
from arena.contest.tournament import entrants, make_plan, rank_season
from arena.plant import layout as at
from arena.plant.compile import Goals
from arena.scenario.car import load_car
from arena.scenario.climate import load_climate
from arena.scenario.drive import load_drive
from arena.strategies import shipped


def measure(repeats: int = 3) -> dict[str, Any]:
    """The figures of `arena bench`: nanoseconds a lane and tick with law and figures, shipped car, one thread."""
    began = time.perf_counter()
    _, outing = compile_one(load_drive("commute"), load_climate("hot"), load_car("invented-2200").numbers(), 1, Goals())
    strategy = shipped()["proportional"]
    full = lay_out([Contestant(f"p{k}", strategy, {"start_c": 25.0 + 0.1 * k}) for k in range(at.LANES)])
    single = lay_out([Contestant("p", strategy)])
    play(outing, full)
    play(outing, single)
    compile_s = time.perf_counter() - began

    def best(lanes: Any) -> float:
        times = []
        for _ in range(repeats):
            start = time.perf_counter()
            play(outing, lanes)
            times.append(time.perf_counter() - start)
        return min(times)

    wide, narrow = best(full), best(single)
    began = time.perf_counter()
    rank_season(make_plan(), entrants(), replicates=1, workers=None)
    tournament_s = time.perf_counter() - began
    import os

    scale = 1024.0 if sys.platform != "darwin" else 1024.0 * 1024.0
    return {
        "lane_step_ns": 1e9 * wide / (outing.ticks * at.LANES),
        "single_step_ns": 1e9 * narrow / outing.ticks,
        "lanes": at.LANES,
        "states": at.ROWS - at.CORE_AT + 6,
        "threads": os.cpu_count() or 1,
        "times_real_time": outing.ticks * 0.1 * at.LANES / wide,
        "compile_s": compile_s,
        "tournament_s": tournament_s,
        "peak_mb": resource.getrusage(resource.RUSAGE_SELF).ru_maxrss / scale,
    }
