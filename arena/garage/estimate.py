"""Fitting: bounded least squares on whitened residuals, with what is known of cars of this kind as extra rows.

Residuals of neighbouring readings hang together; they are whitened (see noise.py) by sizes estimated from the residuals
themselves, so that a thousand readings do not pass for a thousand facts.
"""

from __future__ import annotations

from collections.abc import Callable, Sequence
from concurrent.futures import ThreadPoolExecutor
from dataclasses import dataclass, field

import numpy as np
from numpy.typing import NDArray

from arena.garage.inputs import Day, LogInputs, between_polls, log_inputs, starts_cold
from arena.garage.noise import Noise, Unseen, choose_noise, whiten
from arena.garage.parameters import OF_DAY, Parameter, bounds, moved, parameters_for, start_of
from arena.garage.predict import Kept, Start, compiled_log, first_guess, play_log
from arena.garage.read_log import TICK_S, GarageLog
from arena.plant.numbers import CarNumbers

Floats = NDArray[np.float64]

SPACING_S = 0.95  # readings closer than this are thinned
SETTLE_S = 45.0  # about twice round the loop: readings before it say more of how the log began than of the car
DIFFERENCE = 0.04  # step of z for derivatives
ROUNDS = 3
STRETCH_S = 2.0  # what happened between polls is one unknown in each stretch of this length
FORGOTTEN_S = 100.0
SHAPELESS = 0.3  # of what such an unknown moves, so much may look otherwise than foreseen; judgement
LEAST_JUMP = 0.3  # ticks times relative step of the input: less moves nothing that could be read
LIFTED_PA = 20e3  # over the outside air: a lift makes a difference
BETWEEN = (
    0.58  # a step lies evenly within half a poll either way, 0.29 of a poll; its higher neighbour is half a poll on
)
MODEL_ERROR_K = 0.05  # the least the residuals are taken to be besides the reading's step


@dataclass(frozen=True)
class Channel:
    """Readings of one probe that take part."""

    name: str
    tick: NDArray[np.intp]
    value_k: Floats
    floor_k: float  # quantisation and the model's own error

    @property
    def time_s(self) -> Floats:
        """Times of the readings."""
        return TICK_S * self.tick.astype(np.float64)


@dataclass
class Problem:
    """A log, a car to start from, and what is to be found; `evaluations` counts plant runs."""

    log: GarageLog
    car: CarNumbers
    items: tuple[Parameter, ...]
    channels: tuple[Channel, ...]
    guess: Start
    noise: dict[str, Noise]
    flow_share: float = 1.0
    evaluations: int = 0
    unseen: dict[str, Unseen] | None = None  # how what lies between polls may move readings, by channel
    slopes: dict[str, Floats] = field(default_factory=dict)  # K a unit of z, by channel, where last asked for
    _inputs: tuple[Day, LogInputs] | None = None
    _kept: Kept = field(default_factory=Kept)
    pool: ThreadPoolExecutor = field(default_factory=lambda: ThreadPoolExecutor(2))

    def inputs(self, day: Day) -> LogInputs:
        """The log's inputs on such a day; the last ones are kept."""
        kept = self._inputs
        if kept is None or kept[0] != day:
            self._inputs = kept = (day, log_inputs(self.log, self.car, day))
        return kept[1]

    def readings(self, z: Floats, inputs: LogInputs | None = None) -> dict[str, Floats]:
        """What the probes would have read at z, by channel, at the channel's readings, K."""
        return self.lanes(z, [z], inputs)[0]

    def lanes(self, z: Floats, starts: Sequence[Floats], inputs: LogInputs | None = None) -> list[dict[str, Floats]]:
        """Readings for the car of z and several starting states of the loop."""
        car = moved(self.car, self.items, z)
        begun = [start_of(self.guess, self.items, s) for s in starts]
        made = compiled_log(inputs or self.inputs(begun[0][1]), car, self.flow_share, self._kept)
        self.evaluations += 1
        return [{c.name: p[c.name][c.tick] for c in self.channels} for p in play_log(made, [b[0] for b in begun])]

    def residuals(self, z: Floats) -> dict[str, Floats]:
        """Reading less prediction, K, by channel."""
        at_z = self.readings(z)
        return {c.name: c.value_k - at_z[c.name] for c in self.channels}

    def whitened(self, raw: dict[str, Floats]) -> Floats:
        """Residuals (readings,) or (readings, n) of all channels in a row, each of size 1 and independent."""
        wide = {name: v if v.ndim == 2 else v[:, None] for name, v in raw.items()}
        rows = np.concatenate([whiten(wide[c.name], c.time_s, self.noise[c.name]) for c in self.channels])
        return rows if next(iter(raw.values())).ndim == 2 else rows[:, 0]

    def rows(self, z: Floats) -> Floats:
        """What least squares sees: whitened residuals, then z itself (distance from what is usual)."""
        return np.concatenate([self.whitened(self.residuals(z)), z])

    def jacobian(self, z: Floats) -> Floats:
        """Derivatives of the whitened residuals, shape (readings, len(items)), by one-sided differences."""
        steps = np.diag(np.where(z < 0.0, DIFFERENCE, -DIFFERENCE))  # towards the middle: never out of bounds
        riders = [k for k, item in enumerate(self.items) if item.side == "start" and item.name not in OF_DAY]
        base, *ridden = self.lanes(z, [z, *(z + steps[k] for k in riders)])
        ahead = dict(zip(riders, ridden, strict=True))

        def column(k: int) -> dict[str, Floats]:
            there = ahead[k] if k in ahead else self.readings(z + steps[k])
            return {name: -(there[name] - base[name]) / steps[k, k] for name in base}

        columns = list(self.pool.map(column, range(len(z))))
        self.slopes = {c.name: np.stack([one[c.name] for one in columns], axis=1) for c in self.channels}
        return self.whitened(self.slopes)


@dataclass(frozen=True)
class Estimate:
    """What a fit came to; `z` (items,), `jacobian` (readings, items) whitened, `cost` half the sum of all squares."""

    problem: Problem
    z: Floats
    jacobian: Floats
    cost: float
    residual_k: dict[str, Floats]
    low: Floats
    high: Floats

    @property
    def rms_k(self) -> float:
        """Root mean square of the charge temperature's residuals, K."""
        return float(np.sqrt(np.mean(self.residual_k["iat"] ** 2)))

    @property
    def car(self) -> CarNumbers:
        """The car at the best fit, companions included."""
        return moved(self.problem.car, self.problem.items, self.z)


def pose(log: GarageLog, car: CarNumbers, items: Sequence[Parameter] | None = None, flow_share: float = 1.0) -> Problem:
    """Make a problem of a log and a car to start from."""
    chosen = tuple(items) if items is not None else parameters_for(car, starts_cold(log))
    channels = tuple(_channel(log, name) for name in log.observed)
    channels = tuple(c for c in channels if len(c.tick) >= 30)
    noise = {c.name: Noise(c.floor_k + 0.1, 0.5, 15.0, np.ones(len(c.tick))) for c in channels}
    return Problem(log, car, chosen, channels, first_guess(log), noise, flow_share)


def estimate(
    problem: Problem,
    start: Floats | None = None,
    rounds: int = ROUNDS,
    tell: Callable[[str], None] | None = None,
) -> Estimate:
    """Fit; what the noise is like is estimated anew after each round."""
    low, high = bounds(problem.car, problem.items)
    z = np.zeros(len(problem.items)) if start is None else start.copy()
    problem.residuals(z)  # compiled on first use, before threads ask for it
    for k in range(rounds):
        if tell is not None:
            tell(f"fit {k + 1} of {rounds}")
        z = refine(problem, z, low, high, 7 if k + 1 < rounds else 4)
        if k + 1 < rounds:
            estimate_noise(problem, z)
    raw = problem.residuals(z)
    jacobian = problem.jacobian(z)
    cost = 0.5 * float(np.sum(problem.whitened(raw) ** 2) + np.sum(z**2))
    return Estimate(problem, z, jacobian, cost, raw, low, high)


def refine(problem: Problem, z: Floats, low: Floats, high: Floats, evaluations: int = 5) -> Floats:
    """The best z within bounds, for the noise as it stands."""
    from scipy.optimize import least_squares

    eye = np.eye(len(z))

    def slopes(at_z: Floats) -> Floats:
        return np.vstack([problem.jacobian(at_z), eye])

    found = least_squares(
        problem.rows, np.clip(z, low + 1e-6, high - 1e-6), bounds=(low, high), x_scale=1.0, method="trf",
        jac=slopes, max_nfev=evaluations, ftol=1e-3, xtol=1e-3, gtol=1e-6,
    )  # fmt: skip
    return np.asarray(found.x, dtype=np.float64)


def _channel(log: GarageLog, name: str) -> Channel:
    """Readings that can be trusted, about one a second."""
    samples = log.observed[name]
    kept, last = [], -np.inf
    for k, time in enumerate(samples.time_s):
        if time - last >= SPACING_S:
            kept.append(k)
            last = time
    index = np.array(kept, dtype=np.intp)
    tick = np.minimum(np.rint(samples.time_s[index] / TICK_S).astype(np.intp), log.ticks - 1)
    good = log.usable[tick] & (tick >= round(SETTLE_S / TICK_S))
    tick, value = tick[good], samples.value_k[index][good]
    return Channel(name, tick, value, float(np.hypot(samples.step_k / np.sqrt(12.0), MODEL_ERROR_K)))


def estimate_noise(problem: Problem, z: Floats) -> None:
    """Size and slowness of what is left, and what lies between polls, from the residuals at z."""
    raw = problem.residuals(z)
    if problem.unseen is None:
        problem.unseen = _between_polls(problem, z)
    for c in problem.channels:
        slopes = problem.slopes[c.name]
        from_start = raw[c.name] + slopes @ z
        problem.noise[c.name] = choose_noise(
            from_start, slopes, c.time_s, c.floor_k, problem.unseen[c.name], raw[c.name]
        )


def _between_polls(problem: Problem, z: Floats) -> dict[str, Unseen]:
    """How the readings would move if boost, or the pump, stood at the higher neighbour between polls, or the foot was
    lifted unseen while on boost: a mode a stretch, each by an unknown amount, by channel.

    Stretches well apart share a plant run: by then the loop has forgotten the one before.
    """
    log = problem.log
    total = {c.name: Unseen.none(len(c.tick)) for c in problem.channels}
    if log.period_s < 0.4:
        return total
    width, turn = round(STRETCH_S / TICK_S), round(FORGOTTEN_S / STRETCH_S)
    inputs = problem.inputs(start_of(problem.guess, problem.items, z)[1])
    base = problem.readings(z, inputs)
    sizes = {"boost": log.upper["map"] / log.map_pa - 1.0, "pump": _duty_jump(log)}
    sizes["lift"] = np.where(log.map_pa > log.ambient_pa + LIFTED_PA, 0.1, 0.0)
    firsts = np.arange(0, max(log.ticks - width, 1), width)

    def modes(item: tuple[str, int]) -> list[dict[str, Floats]]:
        what, phase = item
        mine = [int(f) for f in firsts[phase::turn] if sizes[what][f : f + width].sum() > LEAST_JUMP]
        if not mine:
            return []
        changed = inputs
        for first in mine:
            changed = between_polls(changed, log, first, first + width, what)
        there = problem.readings(z, changed)
        return [
            {c.name: _only(there[c.name] - base[c.name], c.tick, first) for c in problem.channels} for first in mine
        ]

    jobs = [(what, phase) for what in sizes for phase in range(turn)]
    for some in problem.pool.map(modes, jobs):
        for name, unseen in total.items():
            unseen.add([BETWEEN * mode[name] for mode in some])
    for unseen in total.values():
        unseen.rest_k = np.hypot(unseen.rest_k, SHAPELESS * np.linalg.norm(unseen.modes, axis=1))
    return total


def _only(moved_by: Floats, tick: NDArray[np.intp], first: int) -> Floats:
    """What a stretch did, until the next of the same run begins."""
    return np.where((tick >= first) & (tick < first + round(FORGOTTEN_S / TICK_S)), moved_by, 0.0)


def _duty_jump(log: GarageLog) -> Floats:
    if log.duty is None or "duty" not in log.upper:
        return np.zeros(log.ticks)
    return np.maximum(log.upper["duty"] - log.duty, 0.0)
