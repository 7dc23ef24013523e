"""Time and memory by the amount of work: outings of fresh worlds streamed past 32 candidates, one thread.

Run from the top folder: `python tests/bench/scale.py [--outings 10,100,1000] [--svg FILE]`. Every world is a car of its
own, drawn from the spread, with its own traffic: played, compiled, run and dropped. Prints processor seconds and the
highest memory after each size, then what a year of driving (300 h at 10 Hz) costs a candidate with full lanes.
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
    peak_mb: float


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


def peak_mb() -> float:
    """Highest memory of this process so far."""
    return resource.getrusage(resource.RUSAGE_SELF).ru_maxrss / (1024.0 if sys.platform != "darwin" else 1024.0**2)


def measure(plan: Plan, sizes: list[int], count: int) -> list[Point]:
    """Cost of each number of outings, counted from the start of one stream."""
    lanes, points = lay_out(candidates(count)), []
    whole, _ = next(stream(plan))
    judge(plan, whole, lanes, plan.car.numbers())  # compiled before the clock starts
    began = time.process_time()
    for number, (outing, numbers) in enumerate(stream(plan), 1):
        figures = judge(plan, outing, lanes, numbers)
        assert len(figures.failed) == count
        if number in sizes:
            points.append(Point(number, time.process_time() - began, peak_mb()))
            print(f"{number:6d} outings x {count}: {points[-1].cpu_s:8.1f} s, {points[-1].peak_mb:5.0f} MB", flush=True)
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


def picture(points: list[Point], count: int) -> str:
    """Seconds and memory over outings as an SVG, both axes logarithmic, a straight line of slope one beside them."""
    from math import log10

    wide, high, left, foot = 640, 320, 60, 50
    first, last = points[0], points[-1]
    x0, x1 = log10(first.outings), log10(last.outings)
    least = min(first.cpu_s, first.peak_mb)
    y0, y1 = log10(least) - 0.2, log10(max(last.cpu_s, last.peak_mb)) + 0.2

    def place(outings: float, value: float) -> str:
        x = left + (wide - left - 90) * (log10(outings) - x0) / (x1 - x0)
        return f"{x:.1f},{high - foot - (high - foot - 20) * (log10(value) - y0) / (y1 - y0):.1f}"

    def line(values: list[float], colour: str, words: str) -> str:
        marks = [place(p.outings, v) for p, v in zip(points, values, strict=True)]
        x, y = (float(v) for v in marks[-1].split(","))
        dots = "".join('<circle cx="{}" cy="{}" r="3" fill="{}"/>'.format(*m.split(","), colour) for m in marks)
        path = f'<polyline points="{" ".join(marks)}" fill="none" stroke="{colour}"/>'
        return f'{path}{dots}<text x="{x + 8}" y="{y + 4}" fill="{colour}">{words}</text>'

    per = last.cpu_s / last.outings
    ideal = f"{place(first.outings, per * first.outings)} {place(last.outings, last.cpu_s)}"
    ticks = "".join(
        f'<text x="{place(p.outings, 10**y0).split(",")[0]}" y="{high - foot + 18}" text-anchor="middle">'
        f"{p.outings}</text>"
        for p in points
    )
    decades = [10.0**d for d in range(-2, 6) if y0 <= d <= y1]
    levels = "".join(
        f'<text x="{left - 8}" y="{float(place(first.outings, v).split(",")[1]) + 4}" text-anchor="end">{v:g}</text>'
        for v in decades
    )
    return (
        f'<svg xmlns="http://www.w3.org/2000/svg" viewBox="0 0 {wide} {high}" font-family="sans-serif" font-size="12">'
        f'<rect width="{wide}" height="{high}" fill="white"/>'
        f'<polyline points="{ideal}" fill="none" stroke="#999" stroke-dasharray="4 3"/>'
        + line([p.cpu_s for p in points], "#0072b2", "seconds")
        + line([p.peak_mb for p in points], "#d55e00", "MB at most")
        + ticks
        + levels
        + f'<text x="{wide / 2}" y="{high - 10}" text-anchor="middle">outings, {count} candidates each; dashed: '
        "time in proportion to the work</text></svg>\n"
    )


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
        asked.svg.write_text(picture(points, asked.candidates), encoding="utf-8")
    print(f"{YEAR_H:.0f} h at 10 Hz, full lanes: {year_s(plan):.2f} s a candidate on one core")
    return 0


if __name__ == "__main__":
    raise SystemExit(main())
