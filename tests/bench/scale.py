"""Time and memory by the amount of work: outings of fresh worlds streamed past 32 candidates, one thread.

Run from the top folder: `python tests/bench/scale.py [--outings 10,100,1000] [--svg FILE]`. Every world is a car of its
own, drawn from the spread, with its own traffic: played, compiled, run and dropped. Prints processor seconds and the
most memory held at the end of any outing, then what a year of driving (300 h at 10 Hz) costs a candidate with full
lanes.
"""

from __future__ import annotations

import argparse
import itertools
import resource
import sys
import time
from collections.abc import Iterator
from dataclasses import dataclass
from pathlib import Path

sys.path.insert(0, str(Path(__file__).parents[2]))

from arena.contest.run import Contestant, lay_out, play
from arena.contest.tables import judge
from arena.contest.tournament import make_plan
from arena.contest.worlds import Outing, Plan, car_of_world, play_entry
from arena.plant import layout as at
from arena.plant.numbers import CarNumbers
from arena.strategies import shipped

YEAR_H = 300.0


@dataclass(frozen=True)
class Point:
    """What so many outings cost."""

    outings: int
    cpu_s: float
    resident_mb: float  # most at the end of any outing so far; compiling before the first took more


def candidates(count: int) -> list[Contestant]:
    """One law, a start of its own for each."""
    law = shipped()["proportional"]
    return [Contestant(f"p{k}", law, {"start_c": 20.0 + 0.3 * k}) for k in range(count)]


def stream(plan: Plan) -> Iterator[tuple[Outing, CarNumbers]]:
    """Outings of world after world without end."""
    for world in itertools.count():
        numbers = car_of_world(plan, world)
        for entry in range(len(plan.season.entries)):
            yield play_entry(plan, entry, world, numbers), numbers


def resident_mb() -> float:
    """Memory of this process now; where the system does not say, the highest so far."""
    pages = Path("/proc/self/statm")
    if pages.exists():
        return int(pages.read_text(encoding="ascii").split()[1]) * resource.getpagesize() / 1024.0**2
    return resource.getrusage(resource.RUSAGE_SELF).ru_maxrss / (1024.0 if sys.platform != "darwin" else 1024.0**2)


def measure(plan: Plan, sizes: list[int], count: int) -> list[Point]:
    """Cost of each number of outings, counted from the start of one stream."""
    lanes, points = lay_out(candidates(count)), []
    whole, _ = next(stream(plan))
    judge(plan, whole, lanes, plan.car.numbers())  # compiled before the clock starts
    began, most = time.process_time(), 0.0
    for number, (outing, numbers) in enumerate(stream(plan), 1):
        figures = judge(plan, outing, lanes, numbers)
        assert len(figures.failed) == count
        most = max(most, resident_mb())
        if number in sizes:
            points.append(Point(number, time.process_time() - began, most))
            print(f"{number:6d} outings x {count}: {points[-1].cpu_s:8.1f} s, {most:5.0f} MB", flush=True)
        if number >= max(sizes):
            return points
    return points


def year_s(plan: Plan) -> float:
    """Processor seconds a candidate for 300 h of driving, full lanes, inputs compiled."""
    lanes = lay_out(candidates(at.LANES))
    numbers = plan.car.numbers()
    outings = [play_entry(plan, e, 0, numbers).compiled for e in range(len(plan.season.entries))]
    play(outings[0], lanes)
    ticks, began = 0, time.process_time()
    for outing in itertools.cycle(outings):
        play(outing, lanes)
        ticks += outing.ticks
        if ticks * at.TICK_S >= 3600.0 * YEAR_H:
            break
    return (time.process_time() - began) / at.LANES


def picture(points: list[Point], count: int, path: Path) -> None:
    """Draw seconds, with a straight line of slope one beside them, and memory over outings."""
    import matplotlib

    matplotlib.use("svg")
    matplotlib.rcParams.update({"svg.hashsalt": "scale", "font.size": 9})
    from matplotlib import pyplot

    outings = [p.outings for p in points]
    figure, (left, right) = pyplot.subplots(1, 2, figsize=(7.5, 3.0), layout="constrained")
    per = points[-1].cpu_s / points[-1].outings
    left.loglog(outings, [p.cpu_s for p in points], "o-", label="measured")
    left.loglog(outings, [per * n for n in outings], "--", color="0.5", label="in proportion")
    left.set(xlabel=f"outings, {count} candidates each", ylabel="processor seconds")
    left.legend(frameon=False)
    right.semilogx(outings, [p.resident_mb for p in points], "o-", color="tab:orange")
    right.set(xlabel=f"outings, {count} candidates each", ylabel="MB in memory at most", ylim=(0, None))
    figure.savefig(path, metadata={"Date": None})


def main() -> int:
    """Print the table; write the picture if asked."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--outings", default="10,30,100,300", help="sizes, separated by commas")
    parser.add_argument("--candidates", type=int, default=32)
    parser.add_argument("--svg", type=Path)
    asked = parser.parse_args()
    plan = make_plan()
    points = measure(plan, sorted(int(n) for n in asked.outings.split(",")), asked.candidates)
    if asked.svg:
        picture(points, asked.candidates, asked.svg)
    print(f"{YEAR_H:.0f} h at 10 Hz, full lanes: {year_s(plan):.2f} s a candidate on one core")
    return 0


if __name__ == "__main__":
    raise SystemExit(main())
