"""Is the loop healthy: a short log with the pump off, then full, tells how much coolant flows of what should.

The plant is played with the pump's flow scaled; the share that explains the log best, with its interval, says whether
coolant flows at all, hardly (air-bound or blocked), weakly, or as it should; and what the log cannot tell apart.
"""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass, replace
from pathlib import Path
from typing import Any

import numpy as np
from numpy.typing import NDArray

from arena.garage.estimate import Problem, estimate_noise, pose, refine
from arena.garage.parameters import COMPANIONS, HEADLINE, STARTS, Parameter, bounds, moved
from arena.garage.read_log import TICK_S, GarageLog, read_garage_log
from arena.scenario.car import Car, load_car
from arena.scenario.log_columns import Columns
from arena.units import Units

Floats = NDArray[np.float64]
METRIC = Units()

SHARES = (0.0, 0.04, 0.1, 0.2, 0.35, 0.5, 0.7, 0.85, 1.0, 1.2)
COARSE = (0.0, 0.1, 0.35, 0.7, 1.0, 1.2)
RISE_90 = 2.706  # of twice the cost, one number: chi-squared
NONE, HARDLY, WEAK = 0.07, 0.35, 0.80  # shares of the flow the pump should move; judgement
FULL_S = 5.0  # of full duty, for the current to be judged
LIGHT_A = 0.75  # of the current it should draw: runs light
_FREE = (
    "charger.efficiency", "probe.tau_s", "body.bay_rise_cruise_k", "core.air_ha_w_k", "front.air_ha_w_k",
    "charger.hot_side_ua_w_k", "core.pipe_ua_w_k", "probe.boss_share",
)  # fmt: skip
_SPREAD = {"core.air_ha_w_k": 0.2, "front.air_ha_w_k": 0.25, "probe.tau_s": 0.7, "probe.boss_share": 0.7}


@dataclass(frozen=True)
class Health:
    """The findings; `share` of the flow that the pump in the car file would move, with its 90 % interval."""

    log: GarageLog
    car: str
    share: float | None
    low: float | None
    high: float | None
    flow: str  # "flows as it should", "weak", "hardly flows", "no flow", "cannot tell"
    probe: str  # "in order", "suspect", "cannot tell"
    evidence: tuple[str, ...]
    cannot_tell: tuple[str, ...]

    def document(self) -> dict[str, Any]:
        """`arena fit --health --json`."""
        return {
            "schema": 1, "log": self.log.name, "car": self.car, "flow_share": self.share, "low": self.low,
            "high": self.high, "flow": self.flow, "probe": self.probe, "evidence": list(self.evidence),
            "cannot_tell": list(self.cannot_tell), "notes": list(self.log.notes),
        }  # fmt: skip


def check_health(
    path: str | Path,
    car: str | Path | Car = "invented-2200",
    columns: Columns | None = None,
    ambient_c: float | None = None,
    duty_pct: float | None = None,
    tell: Callable[[str], None] | None = None,
    units: Units = METRIC,
) -> Health:
    """Judge the loop from a log. With a fitted car, a share below 1 on a later log is wear. Raises BadInput.

    `units`: what the evidence is worded in.
    """
    base = car if isinstance(car, Car) else load_car(car)
    log = read_garage_log(path, columns, ambient_c, duty_pct)
    if not log.pump_changes:
        why = "the pump is not seen both off and running" if log.duty is not None else "the pump's duty is not logged"
        return Health(log, base.name, None, None, None, "cannot tell", "cannot tell", (why,), (_ask(units),))
    problem = pose(log, base.numbers(), _items())
    shares, z, rise = _profile(problem, tell)
    best = int(np.argmin(rise))
    low, high = _interval(shares, rise)
    share = shares[best]
    problem.flow_share = share
    evidence = _evidence(problem, shares, rise, units)
    current, current_says = _current(problem)
    evidence += current
    flow, doubts = _name(low, high, current_says, units)
    probe, about_probe = _probe(problem, z[best], units)
    if flow == "no flow" and probe == "suspect":
        probe, about_probe = "cannot tell", (*about_probe[:1], "a probe cannot be judged while no coolant flows")
    return Health(
        log, base.name, share, low, high, flow, probe, (*evidence, *about_probe), (*doubts, *_always(current_says)),
    )  # fmt: skip


def _ask(units: Units) -> str:
    """What to log for the flow to be told."""
    low, high = (f"{units.labelled(kmh, 'km/h')[0]:.0f}" for kmh in (60.0, 100.0))
    return (
        f"log two minutes at a steady {low} to {high} {units.speed_unit} with the pump off, then two with it full, off "
        "boost"
    )


def _items() -> tuple[Parameter, ...]:
    chosen = [item for item in (*HEADLINE, *COMPANIONS) if item.name in _FREE]
    return (*(replace(item, spread=_SPREAD.get(item.name, item.spread)) for item in chosen), *STARTS)


def _profile(problem: Problem, tell: Callable[[str], None] | None) -> tuple[list[float], list[Floats], Floats]:
    """Shares of flow tried, best z for each, and rise of twice the cost over the best."""
    coarse = _at_shares(problem, COARSE, np.zeros(len(problem.items)), 8, tell)
    best = min(coarse, key=lambda share: coarse[share][1])
    problem.flow_share = best
    problem.jacobian(coarse[best][0])
    estimate_noise(problem, coarse[best][0])  # how large the noise is shows where the fit is best
    around = COARSE.index(best)
    low, high = COARSE[max(around - 1, 0)], COARSE[min(around + 1, len(COARSE) - 1)]
    fine = sorted({*SHARES, *(float(v) for v in np.round(np.linspace(low, high, 7), 3))})
    found = _at_shares(problem, fine, coarse[best][0], 4, tell)
    costs = np.array([found[share][1] for share in fine])
    return fine, [found[share][0] for share in fine], costs - costs.min()


def _at_shares(
    problem: Problem, shares: Sequence[float], z: Floats, evaluations: int, tell: Callable[[str], None] | None
) -> dict[float, tuple[Floats, float]]:
    """Best z and twice the cost at each share of flow, each begun from the one before."""
    low, high = bounds(problem.car, problem.items)
    found = {}
    for share in reversed(shares):
        if tell is not None:
            tell(f"flow at {100 * share:.0f} % of what it should be")
        problem.flow_share = share
        z = refine(problem, z, low, high, evaluations)
        found[share] = (z, float(np.sum(problem.rows(z) ** 2)))
    return found


def _interval(shares: Sequence[float], rise: Floats) -> tuple[float, float]:
    """Where the rise passes the 90 % mark on either side of the best; its root goes straight between shares."""
    best, root, mark = int(np.argmin(rise)), np.sqrt(rise), float(np.sqrt(RISE_90))

    def crossing(steps: range, to: int, end: float) -> float:
        for k in steps:
            if root[k + to] >= mark:
                part = (mark - root[k]) / max(root[k + to] - root[k], 1e-9)
                return float(shares[k] + part * (shares[k + to] - shares[k]))
        return end

    return crossing(range(best, 0, -1), -1, shares[0]), crossing(range(best, len(shares) - 1), 1, shares[-1])


def _name(low: float, high: float, current: str, units: Units) -> tuple[str, list[str]]:
    """The flow in words, and what cannot be told apart."""
    span = f"between {100 * low:.0f} and {100 * min(high, 1.2):.0f} % of what the pump in the car file moves"
    if high <= NONE:
        return "no flow", [
            "whether the pump does not turn, runs dry, the loop is shut off, or the probe sits before the core: "
            "listen, feel the hoses, look where the probe is"
        ]
    if high <= HARDLY:
        if current == "light":
            return "hardly flows: air-bound", []
        return "hardly flows", [
            "air in the loop, a blockage or a nearly dead pump look alike: bleed it, then log again"
        ]
    if high < 1.0 and low > NONE and high <= WEAK + 0.1:
        return "weak", ["a worn pump, low voltage at its plug and a kinked hose look alike: measure the voltage first"]
    if low >= WEAK - 0.15:
        return "flows as it should", []
    return "cannot tell", [f"the flow is {span}; {_ask(units)}"]


def _evidence(problem: Problem, shares: Sequence[float], rise: Floats, units: Units) -> tuple[str, ...]:
    """What speaks for the finding: the reading around the moments the pump was switched on, and the rises."""
    log = problem.log
    assert log.duty is not None
    lines = []
    on = np.flatnonzero(np.diff((log.duty > 0.05).astype(int)) > 0)
    channel = problem.channels[0]
    for tick in on[:3]:
        before = channel.value_k[(channel.tick > tick - 100) & (channel.tick <= tick)]
        after = channel.value_k[(channel.tick > tick + 300) & (channel.tick <= tick + 600)]
        if len(before) and len(after):
            drop, kelvin = units.labelled(float(after.mean() - before.mean()), "K")
            lines.append(f"pump on at {tick * TICK_S:.0f} s: reading {drop:+.1f} {kelvin} within the next minute")
    full, best = shares.index(1.0), int(np.argmin(rise))
    lines.append(
        f"best explained by {100 * shares[best]:.0f} % of the flow; full flow is {rise[full]:.1f} worse and none "
        f"{rise[0]:.1f} worse (2.7 is the 90 % mark)"
    )
    return tuple(lines)


def _current(problem: Problem) -> tuple[tuple[str, ...], str]:
    """Logged against expected current at full duty, where it is logged."""
    log = problem.log
    if log.pump_a is None or log.duty is None:
        return (), "not logged"
    full = log.usable & (log.duty > 0.95)
    if full.sum() * TICK_S < FULL_S:
        return (), "not at full duty"
    drawn = float(np.median(log.pump_a[full]))
    expected = problem.car.pump.rated_current_a
    share = drawn / max(expected, 1e-6)
    line = f"the pump draws {drawn:.1f} A at full duty, {100 * share:.0f} % of its rated {expected:.1f} A"
    return (line,), "light" if share < LIGHT_A else ("heavy" if share > 1.0 / LIGHT_A else "usual")


def _probe(problem: Problem, z: Floats, units: Units) -> tuple[str, tuple[str, ...]]:
    """Whether the probe reads the charge: its lag and its boss where the flow is best explained."""
    car = moved(problem.car, problem.items, z)
    tau, boss = car.probe.tau_s, car.probe.boss_share
    problem_words = []
    if tau > 20.0:
        air, label = units.labelled(1e3 * car.probe.tau_ref_kg_s, "g/s")
        problem_words.append(f"it lags by {tau:.0f} s at {air:.0f} {label}")
    if boss > 0.4:
        problem_words.append(f"at idle {100 * boss:.0f} % of it follows the bay")
    left = float(np.sqrt(np.mean(problem.residuals(z)["iat"] ** 2)))
    shown, kelvin = units.labelled(left, "K")
    if left > 3.0:
        problem_words.append(f"{shown:.1f} {kelvin} RMS are left unexplained")
    line = f"probe: lag {tau:.1f} s, {100 * boss:.0f} % of its boss at idle, {shown:.2f} {kelvin} RMS left unexplained"
    if problem_words:
        return "suspect", (line, "the probe looks misplaced or slow: " + ", ".join(problem_words))
    return "in order", (line,)


def _always(current: str) -> list[str]:
    if current == "not logged":
        return ["pump current is not logged; with it, air in the loop and a worn pump can be told apart"]
    if current == "not at full duty":
        return [
            f"pump current is logged, but not for {FULL_S:g} s above 95 % duty, where it is known what the pump should "
            "draw; run the pump full, and air in the loop and a worn pump can be told apart"
        ]
    return []
