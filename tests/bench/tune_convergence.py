"""Is the default budget of `arena tune` enough: its score against what ten times the budget finds, and where time goes.

    python tests/bench/tune_convergence.py [--times 10] [DRIVE[,DRIVE]/CLIMATE ...]

Prints, for each set, the score on the worlds it was tuned on (what the search sees, penalty left out) at the default
budget and at so many times it, the same on fresh worlds, and the optimiser's share of the time. Exits 1 if a set is
more than 2 % worse than the longer search, or if the optimiser takes longer than the simulation.
"""

from __future__ import annotations

import argparse
import sys
import time
from concurrent.futures import ThreadPoolExecutor

from arena.contest import table_tuning, tune
from arena.contest.comparing import compare, play_worlds
from arena.contest.run import Contestant
from arena.contest.table_tuning import TABLE_TRIALS, train_robustly, tune_table
from arena.contest.tuning import make_job
from arena.strategies import shipped

SETS = ("commute,hill-pulls/hot", "commute,hill-pulls/mild", "recorded-trip,track-session/winter")
ALLOWED = 0.02


def main() -> int:
    """Measure and print."""
    parser = argparse.ArgumentParser(description=__doc__.splitlines()[0])
    parser.add_argument("--times", type=float, default=10.0)
    parser.add_argument("--workers", type=int, default=2)
    parser.add_argument("sets", nargs="*", default=SETS)
    asked = parser.parse_args()
    print(f"{'set':38s}{'default':>9s}{asked.times:>8g}x  worse by    fresh    fresh      s  optimiser")
    bad = 0
    for words in asked.sets:
        drives, climate = words.split("/")
        job = make_job([climate], drives.split(","), replicates=4)
        assert job.axes is not None
        with ThreadPoolExecutor(asked.workers) as pool:
            training = train_robustly(job.plan, pool)
            clock = Clock()
            began = time.perf_counter()
            short = tune_table(training, job.axes, pool, TABLE_TRIALS)
            took = time.perf_counter() - began
            share = (took - clock.stop()) / took
            long = tune_table(training, job.axes, pool, int(asked.times * TABLE_TRIALS), "longer")
            field = [short.contestant, long.contestant, Contestant("always-on", shipped()["always-on"])]
            found = compare(job.plan, play_worlds(job.plan, field, job.replicates, pool), short.name)
        worse = short.score / long.score - 1.0
        fresh = [found.line(t.name).score.value for t in (short, long)]
        print(
            f"{words:38s}{short.score:9.4f}{long.score:9.4f}  {100 * worse:7.2f}%{fresh[0]:9.4f}{fresh[1]:9.4f}"
            f"{took:7.1f}{100 * share:10.0f}%"
        )
        bad += worse > ALLOWED or share > 0.5
    return 1 if bad else 0


class Clock:
    """Time spent scoring candidates while it runs; the rest of a search is the optimiser's."""

    def __init__(self) -> None:
        self.spent = 0.0
        self.real = tune.costs_of

        def timed(*words: object, **more: object) -> object:
            began = time.perf_counter()
            try:
                return self.real(*words, **more)  # type: ignore[arg-type]
            finally:
                self.spent += time.perf_counter() - began

        tune.costs_of = table_tuning.costs_of = timed  # type: ignore[assignment]

    def stop(self) -> float:
        """Seconds, and the clock taken off again."""
        tune.costs_of = table_tuning.costs_of = self.real
        return self.spent


if __name__ == "__main__":
    sys.exit(main())
