"""Which numbers a log can tell, and how well: scaled Jacobian, a profile of each number, and what polling does to it.

A number is told only if the log shrinks what was believed before to less than half, the fit does not lie at a bound,
the cost really rises on both sides, and the pump was seen in more than one state where nothing else can tell it.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from arena.garage.estimate import Estimate
from arena.garage.parameters import Parameter, in_file_unit, value_si
from arena.garage.polls import poll_error

Floats = NDArray[np.float64]

SHRINK = 0.5  # of the spread believed before the log
Z90 = 1.6449  # two-sided 90 %
WIDER = (
    1.4  # intervals, calibrated on synthetic cars whose fits lean one way (why is not known): tests/bench/recovery.py
)
FLAT = 0.35  # of the rise a parabola would show: less is no minimum
COOLANT_ADVICE = "hold 100 km/h two minutes with the pump off, then two minutes with it full, off boost"
PULLS = "six pulls to the speed limit, pump full, half a minute of cruise between them, logged faster than 1 Hz"
ADVICE = {
    "core.air_ha_w_k": PULLS,
    "front.air_ha_w_k": "hold 80 to 100 km/h two minutes right after six pulls, pump full",
    "charger.efficiency": PULLS,
    "probe.tau_s": "short pulls and lift-offs with the pump full: the reading's lag shows when the load steps",
    "body.bay_rise_cruise_k": "stand idling three minutes with the pump off, then hold 60 km/h three minutes",
}


@dataclass(frozen=True)
class Told:
    """One headline number in the unit of the car file; value, low and high are None unless the log tells it."""

    name: str
    say: str
    unit: str
    identified: bool
    value: float | None
    low: float | None
    high: float | None
    why: str  # why not, or ""
    advice: str  # which drive would tell it, or ""
    z: tuple[float, float] | None = None  # low and high in spreads from the base car


def covariance(jacobian: Floats) -> Floats:
    """Of z after the log, in units of what was believed before: (J'J + 1)^-1."""
    _, singular, axes = np.linalg.svd(jacobian, full_matrices=False)
    shrunk = 1.0 / (1.0 + singular**2)
    return np.asarray(np.eye(jacobian.shape[1]) + (axes.T * (shrunk - 1.0)) @ axes)


def singular_values(jacobian: Floats) -> Floats:
    """Of the Jacobian with each column scaled by its spread: directions below 1 are told by belief, not by the log."""
    return np.asarray(np.linalg.svd(jacobian, compute_uv=False))


def tell_all(found: Estimate) -> list[Told]:
    """Every headline number: told with its 90 % interval, or why it is not."""
    c, polls = covariance(found.jacobian), poll_error(found)
    return [_one(found, k, item, c, float(polls[k])) for k, item in enumerate(found.problem.items) if item.headline]


def interval_in_z(found: Estimate, told: Sequence[Told]) -> tuple[Floats, Floats]:
    """Bounds of every item of the fit in z: the interval of those told, what is possible for the others."""
    low, high = found.low.copy(), found.high.copy()
    by_name = {t.name: t.z for t in told}
    for k, item in enumerate(found.problem.items):
        span = by_name.get(item.key)
        if span is not None:
            low[k], high[k] = max(low[k], span[0]), min(high[k], span[1])
    return low, high


def _one(found: Estimate, k: int, item: Parameter, c: Floats, polls: float) -> Told:
    spread = float(np.hypot(np.sqrt(c[k, k]), polls))
    why, below, above = _refusal(found, k, item, spread), 0.0, 0.0
    if not why:
        below, above = (float(np.hypot(_profile(found, k, c, side), Z90 * polls)) for side in (-1.0, 1.0))
        below, above = WIDER * below, WIDER * above
        if not np.isfinite(below + above):
            why = "the fit is as good with quite other values"
    if why:
        advice = COOLANT_ADVICE if item.side == "coolant" else ADVICE.get(item.name, COOLANT_ADVICE)
        return Told(item.key, item.say, item.unit, False, None, None, None, why, advice)
    z, car = float(found.z[k]), found.problem.car

    def shown(at: float) -> float:
        return in_file_unit(item, value_si(car, item, at))

    return Told(
        item.key,
        item.say,
        item.unit,
        True,
        shown(z),
        shown(z - below),
        shown(z + above),
        "",
        "",
        (z - below, z + above),
    )


def _refusal(found: Estimate, k: int, item: Parameter, spread: float) -> str:
    """Why a number cannot be told at all, or nothing."""
    log = found.problem.log
    if item.side == "coolant" and not log.pump_changes:
        return "the pump never changes in this log" if log.duty is not None else "the pump's duty is not known"
    if item.side == "front" and log.duty is not None and float(log.duty.max()) <= 0.0:
        return "the pump never runs in this log"
    if spread >= SHRINK:
        return f"the log leaves {100.0 * min(spread, 1.0):.0f} % of what was open before it"
    if found.z[k] - found.low[k] < 0.02 or found.high[k] - found.z[k] < 0.02:
        return "the fit runs into the bounds of what is possible"
    return ""


def _profile(found: Estimate, k: int, c: Floats, side: float) -> float:
    """Distance in z to the 90 % bound on one side: the other numbers follow, the cost is evaluated there, not assumed.

    Infinite where the cost hardly rises.
    """
    problem = found.problem
    spread = float(np.sqrt(c[k, k]))
    step = Z90 * spread * c[:, k] / c[k, k]
    z = np.clip(found.z + side * step, found.low, found.high)
    reached = side * float(z[k] - found.z[k])
    others = [j for j in range(len(z)) if j != k]
    rows = np.vstack([found.jacobian, np.eye(len(z))])
    now = problem.rows(z)
    better = z.copy()
    better[others] -= np.linalg.lstsq(rows[:, others], now, rcond=None)[0]
    better = np.clip(better, found.low, found.high)
    cost = min(0.5 * float(now @ now), 0.5 * float(np.sum(problem.rows(better) ** 2)))
    expected = 0.5 * (reached / spread) ** 2
    rise = (cost - found.cost) / max(expected, 1e-9)
    if rise < FLAT:
        return float("inf")
    return Z90 * spread * float(np.clip(1.0 / np.sqrt(rise), 0.8, 1.7))
