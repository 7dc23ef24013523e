"""Prints how well fits find the numbers of cars they have never seen, and predict another drive.

Run from the top folder: `python tests/bench/recovery.py [CARS] [FIRST] [--ordinary]`; under a minute a car on one core.
The log is the drive that `arena fit --plan` advises, or with --ordinary a commute, hill pulls or a track session; the
other drive is one of these three on a warmer day, pump off and full in turn. Each car differs from the base car in all
numbers of the fit. Logs come from the differential equations (scipy's DOP853) with sensor noise of 0.15 K, 1 Hz
polling, 0.5 K steps. Promised: 90 % intervals hold the truth 80 to 97 % of the time, pooled; the predicted charge
temperature of another drive within 1 K RMS. Intervals as the noise alone makes them held 78 % of cars 101 to 130: fits
lean towards a better core on the air side, why is not known. identify.WIDER was chosen on these; cars 201 to 214 had no
part in it.
"""

from __future__ import annotations

import sys
import tempfile
import time
from functools import cache
from pathlib import Path

ROOT = Path(__file__).parents[2]
sys.path[:0] = [str(ROOT), str(ROOT / "tests" / "garage")]

import garage_builders as make  # noqa: E402
import numpy as np  # noqa: E402

from arena.garage.fit import fit_log  # noqa: E402
from arena.garage.plan import Piece, plan_drive  # noqa: E402
from arena.scenario.car import load_car  # noqa: E402

DRIVES = ("hill-pulls", "commute", "track-session")
LAWS = ("proportional", "every_half_minute.py", "gated-table")
SECONDS = 700.0
PLANNED = "--ordinary" not in sys.argv


@cache
def whole_plan() -> Piece:
    """What `arena fit --plan` prints for the shipped car, as one drive."""
    return Piece("plan", tuple(step for piece in plan_drive("invented-2200").pieces for step in piece.steps))


def one_car(seed: int, folder: Path) -> tuple[list[bool], float, float]:
    """Whether each interval told holds the truth; RMS on another drive, K; the same with guesses."""
    began = time.monotonic()
    true, _ = make.drawn_car(seed)
    drive, other = DRIVES[seed % 3], DRIVES[(seed + 1) % 3]
    strategy = LAWS[(seed // 3) % 3]
    if PLANNED:
        drive, strategy = "the planned drive", "pump states as planned"
        run = make.planned(true, whole_plan())
    else:
        run = make.driven(true, drive, "mild", strategy, seed, seconds=SECONDS)
    log = make.write_log(folder / f"{seed}.csv", run, seed)
    found = fit_log(log, "invented-2200", out=folder / f"{seed}.toml")
    inside = []
    for told in found.told:
        if told.identified:
            assert told.low is not None and told.high is not None
            real = make.number_of(true, told.name)
            inside.append(told.low <= real <= told.high)
            mark = " " if inside[-1] else "*"
            print(f"  {mark} {told.name:24s} {told.low:9.4g} .. {told.value:9.4g} .. {told.high:9.4g}  true {real:.4g}")
        else:
            print(f"    {told.name:24s} not told: {told.why}")
    truth = make.driven(true, other, "warm-summer", "every_half_minute.py", seed + 500, seconds=SECONDS, exact=False)
    cars = (load_car(folder / f"{seed}.toml").numbers(), found.estimate.car, make.base_car())
    rms, with_all, before = (make.error_k(truth, car) for car in cars)
    print(
        f"car {seed} {drive}/{strategy}: {sum(inside)} of {len(inside)} inside; {other} {rms:.2f} K RMS "
        f"({with_all:.2f} with guesses, {before:.2f} unfitted); fit RMS {found.estimate.rms_k:.2f} K; "
        f"{time.monotonic() - began:.0f} s",
        flush=True,
    )
    return inside, rms, with_all


def main() -> None:
    """All cars, then the pooled figures."""
    given = [int(word) for word in sys.argv[1:] if not word.startswith("-")]
    cars, first = (*given, *(30, 101)[len(given) :])[:2]
    pooled: list[bool] = []
    errors, guessed = [], []
    with tempfile.TemporaryDirectory() as folder:
        for seed in range(first, first + cars):
            inside, rms, with_all = one_car(seed, Path(folder))
            pooled += inside
            errors.append(rms)
            guessed.append(with_all)
    share = 100.0 * float(np.mean(pooled))
    print(f"{len(pooled)} intervals of {cars} cars: {share:.1f} % hold the truth (promised 80 to 97)")
    for name, values in (("told numbers alone", errors), ("with guesses", guessed)):
        under = sum(value < 1.0 for value in values)
        print(
            f"another drive, {name}: median {np.median(values):.2f} K, worst {max(values):.2f} K RMS, {under} under 1 K"
        )


if __name__ == "__main__":
    main()
