"""Learn a car from a log: `fit_log` reads, fits, says what the log can and cannot tell, and writes the car file.

The parts: read_log and inputs (the log), predict (the plant driven by it), parameters, estimate, identify, car_file.
"""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass, replace
from pathlib import Path
from typing import Any

import numpy as np
from numpy.typing import NDArray

from arena.errors import BadInput
from arena.garage.car_file import write_car
from arena.garage.estimate import Channel, Estimate, Problem, estimate, pose, refine
from arena.garage.identify import Told, interval_in_z, singular_values, tell_all
from arena.garage.parameters import moved
from arena.garage.read_log import GarageLog, read_garage_log
from arena.plant.numbers import CarNumbers
from arena.scenario.car import Car, load_car
from arena.scenario.log_columns import Columns

Floats = NDArray[np.float64]

GOOD_K = 1.0  # a plant within this is of use even where a constant does as well


@dataclass(frozen=True)
class HeldOut:
    """A fit of the first half alone, predicting the second: RMS in K, and that of "ambient plus a constant"."""

    rms_k: float
    baseline_k: float
    seconds: float

    @property
    def follows(self) -> bool:
        """Whether the plant predicts better than the baseline, or well enough anyway."""
        return self.rms_k <= max(self.baseline_k, GOOD_K)


@dataclass(frozen=True)
class Fit:
    """What a log came to. `time_s`, `residual_k` (readings,) of the charge temperature; `singular` largest first."""

    log: GarageLog
    base: Car
    estimate: Estimate
    car: CarNumbers  # the base car with the numbers told, and those alone; `estimate.car` has the guesses too
    told: tuple[Told, ...]
    singular: Floats
    rms_k: float
    rms_baseline_k: float
    time_s: Floats
    residual_k: Floats
    held_out: HeldOut | None
    out: Path | None  # the file written
    notes: tuple[str, ...]
    guesses: tuple[str, ...] = ()  # keys of what the file has as the fit moved it, untold


def fit_log(
    path: str | Path,
    car: str | Path | Car = "invented-2200",
    columns: Columns | None = None,
    ambient_c: float | None = None,
    duty_pct: float | None = None,
    out: Path | None = None,
    hold_out: bool = False,
    told_only: bool = False,
    tell: Callable[[str], None] | None = None,
) -> Fit:
    """Fit a car to a log. `out`: car file to write, not there yet; `hold_out`: also judge on the second half.

    The file takes the numbers told, and what the fit moved along untold, marked as guesses: together they predict best.
    `told_only` leaves those as in the base car. With `hold_out` no file is written for a plant that does not follow
    its log.
    Raises BadInput for a log or car that cannot be used, or an `out` that exists.
    """
    if out is not None and out.exists():
        raise BadInput(f"{out}: is already there", "Give another name for --out, or move the file away.")
    base = car if isinstance(car, Car) else load_car(car)
    log = read_garage_log(path, columns, ambient_c, duty_pct)
    found = estimate(pose(log, base.numbers()), tell=tell)
    told = tuple(tell_all(found))
    channel = found.problem.channels[0]
    held = judge_second_half(log, base.numbers(), tell) if hold_out else None
    follows = held is None or held.follows
    if not follows:
        told = tuple(not_followed(t) for t in told)
    result = Fit(
        log, base, found, told_car(found, told), told, singular_values(found.jacobian), found.rms_k,
        baseline_rms_k(log, channel), channel.time_s, found.residual_k["iat"], held, out if follows else None,
        log.notes, () if told_only or out is None or not follows else guessed(found, told),
    )  # fmt: skip
    if result.out is not None:
        write_car(result.base, result.car if told_only else found.car, told, result.out, log.name, result.guesses)
    return result


def told_car(found: Estimate, told: Sequence[Told]) -> CarNumbers:
    """The base car with what the log told; everything else as it was.

    Each number told stands where it fits best while the numbers not told stay at the base car's, since a file without
    those needs it there to predict well: within its interval, not always at its middle.
    """
    names = {t.name for t in told if t.identified}
    whole = found.problem
    kept = [k for k, item in enumerate(whole.items) if item.side == "start" or (item.headline and item.key in names)]
    if not names:
        return whole.car
    again = replace(whole, items=tuple(whole.items[k] for k in kept), slopes={})
    bound_low, bound_high = interval_in_z(found, told)
    z = refine(again, found.z[kept], bound_low[kept], bound_high[kept])
    return moved(whole.car, again.items, z)


def guessed(found: Estimate, told: Sequence[Told]) -> tuple[str, ...]:
    """Keys of the numbers that the fit moved and the log does not tell."""
    known = {t.name for t in told if t.identified}
    return tuple(i.key for i in found.problem.items if i.side != "start" and i.key not in known)


def not_followed(told: Told) -> Told:
    """A number of a plant that does not follow its log: not told."""
    why = "the plant fitted to the first half predicts the second worse than ambient plus a constant"
    if not told.identified:
        return told
    advice = "compare what the base car's file says of engine, charger and cooler with the car, and log the pump's duty"
    return replace(told, identified=False, value=None, low=None, high=None, z=None, why=why, advice=advice)


def baseline_rms_k(log: GarageLog, channel: Channel) -> float:
    """What "ambient plus the best constant" leaves of the charge temperature, K."""
    over = channel.value_k - log.ambient_k[channel.tick]
    return float(np.std(over))


def judge_second_half(log: GarageLog, car: CarNumbers, tell: Callable[[str], None] | None = None) -> HeldOut | None:
    """Fit the usable first half, predict the second; None where a half is too short."""
    moments = np.flatnonzero(log.usable)
    middle = int(moments[len(moments) // 2])
    first, second = log.part(0, middle), log.part(middle, log.ticks)
    if min(first.seconds_used, second.seconds_used) < 90.0:
        return None
    early = estimate(pose(first, car), tell=None if tell is None else lambda text: tell(f"first half, {text}"))
    there: Problem = replace(early.problem, log=log, channels=pose(log, car, early.problem.items).channels)
    late = there.channels[0].tick >= middle
    residual = there.residuals(early.z)["iat"][late]
    over = there.channels[0].value_k - log.ambient_k[there.channels[0].tick]
    constant = float(np.mean(over[~late]))
    return HeldOut(
        float(np.sqrt(np.mean(residual**2))),
        float(np.sqrt(np.mean((over[late] - constant) ** 2))),
        second.seconds_used,
    )


def document(result: Fit) -> dict[str, Any]:
    """`arena fit --json`."""
    return {
        "schema": 1,
        "log": result.log.name,
        "parameters": [
            {
                "name": t.name, "value": t.value, "low": t.low, "high": t.high, "unit": t.unit,
                "identified": t.identified, "why_not": t.why, "drive_that_would_tell": t.advice,
            }
            for t in result.told
        ],
        "rms_k": result.rms_k,
        "rms_baseline_k": result.rms_baseline_k,
        "held_out": None if result.held_out is None else vars(result.held_out),
        "usable": result.held_out is None or result.held_out.follows,
        "seconds_used": result.log.seconds_used,
        "duty_from": result.log.duty_from,
        "singular_values": [float(v) for v in result.singular],
        "car": str(result.out) if result.out else None,
        "notes": list(result.notes),
    }  # fmt: skip
