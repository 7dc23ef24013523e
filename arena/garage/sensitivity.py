"""Which uncertain numbers of the car the answer hangs on: Sobol indices over the car's spread.

First-order index: share of the variance a number explains alone; total: with everything it works together with.
Few outings and few cars, so that it takes minutes; intervals are bootstrap.
"""

from __future__ import annotations

import inspect
from collections.abc import Sequence
from dataclasses import dataclass, replace
from typing import Any

import numpy as np
from numpy.typing import NDArray

from arena.contest.pool import Progress, Tell, in_order, pool_of
from arena.contest.run import Contestant, lay_out
from arena.contest.tables import judge, table_of
from arena.contest.worlds import GIVEN_SHARE, SPREAD, Plan
from arena.errors import BadInput
from arena.garage.part_list import PRESENT
from arena.garage.part_rig import money, placed, rig_of
from arena.plant.compile import compile_outing, set_goals
from arena.plant.numbers import CarNumbers
from arena.strategies import shipped

Floats = NDArray[np.float64]

SAMPLES = 64  # cars a number and matrix: SAMPLES x (numbers + 2) cars in all; a power of two
OUTINGS = 4  # of the season: those that cost most
CONFIDENCE = 0.90


@dataclass(frozen=True)
class Share:
    """Indices of one number for one answer, with bootstrap intervals."""

    name: str  # "core.air_ha_w_k"
    known: bool  # given in the car file
    low: float  # of the number's range, SI
    high: float
    first: float
    first_low: float
    first_high: float
    total: float
    total_low: float
    total_high: float


@dataclass(frozen=True)
class Sensitivity:
    """Shares for each answer, largest total first; spread of the answer itself."""

    answers: tuple[str, ...]
    shares: dict[str, tuple[Share, ...]]
    means: dict[str, float]
    deviations: dict[str, float]
    outings: tuple[str, ...]
    cars: int


ANSWERS = ("cost with best control", "what control saves")


def sensitivity(
    plan: Plan, best: Contestant, workers: int | None = None, samples: int = SAMPLES, tell: Tell | None = None
) -> Sensitivity:
    """Sobol indices of a year's cost with `best` and of what it saves over always-on, over the spread of the car.

    Traffic and noise are held, so that only the car varies. Raises BadInput if the plan has no spread.
    """
    from scipy.stats import sobol_indices, uniform

    if plan.spread <= 0.0:
        raise BadInput("--sensitivity needs a --spread above 0", "Leave --spread away, or give for example 0.1.")
    bounds = ranges(plan)
    contestants = [replace(best, name="best"), Contestant("always-on", shipped()["always-on"])]
    lanes = lay_out(contestants)
    count = samples * (len(bounds) + 2)
    with pool_of(workers) as pool:
        held = replace(plan, spread=0.0).for_run_on(contestants)
        entries = dearest(held, contestants, pool)
        rig = rig_of(held, 0, pool)
        done = [0]

        def costs_of(car: CarNumbers) -> Floats:
            results: list[Any] = []
            for e in entries:
                compiled = compile_outing(rig.played[e], car, plan.goals, rig.noise[e])
                set_goals(compiled, plan.goals, None, rig.high_k[e])
                outing = placed(plan, e, 0, rig.played[e], compiled)
                results.append((outing, [(list(range(len(contestants))), judge(plan, outing, lanes, car))]))
            some = replace(plan, season=replace(plan.season, entries=tuple(plan.season.entries[e] for e in entries)))
            return money(plan, PRESENT, table_of(some, contestants, results))[:, 0]

        def answer(points: Floats) -> Floats:
            cars = [changed(plan.car.numbers(), bounds, points[:, k]) for k in range(points.shape[1])]

            def one(k: int) -> Floats:
                found = costs_of(cars[k])
                done[0] += 1
                if tell:
                    tell(Progress("sensitivity", min(done[0], count), count))
                return found

            found = np.array(in_order(pool, one, range(len(cars)))).T
            return np.stack([found[0], found[1] - found[0]])

        dists: Any = [uniform(loc=low, scale=high - low) for _, low, high in bounds]
        values: list[Floats] = []

        def kept(points: Floats) -> Floats:
            values.append(answer(points))
            return values[-1].copy()  # what is given out gets centred in place

        rng = np.random.default_rng(np.random.SeedSequence([plan.seed, 0x50B01]))
        word = "rng" if "rng" in inspect.signature(sobol_indices).parameters else "random_state"  # older scipy
        seeded: dict[str, Any] = {word: rng}
        made = sobol_indices(func=kept, n=samples, dists=dists, **seeded)
        spread = made.bootstrap(confidence_level=CONFIDENCE, n_resamples=200)
    sampled = np.concatenate([v.reshape(2, -1) for v in values], axis=1)
    shares = {name: _shares(plan, bounds, made, spread, a) for a, name in enumerate(ANSWERS)}
    return Sensitivity(
        ANSWERS, shares, dict(zip(ANSWERS, sampled.mean(axis=1).tolist(), strict=True)),
        dict(zip(ANSWERS, sampled.std(axis=1).tolist(), strict=True)),
        tuple(plan.sound_id(e) for e in entries), count,
    )  # fmt: skip


def ranges(plan: Plan) -> list[tuple[str, float, float]]:
    """Every number that varies, with its lowest and highest value: the same spread the worlds are drawn from."""
    car, out = plan.car.numbers(), []
    for section, key, factor in SPREAD:
        value = float(getattr(getattr(car, section), key))
        known = plan.car.measured(f"{section}.{key}")
        share = plan.spread * factor * (GIVEN_SHARE if known else 1.0)
        if value > 0.0 and share > 0.0:
            out.append((f"{section}.{key}", value * (1.0 - share), value * (1.0 + share)))
    return out


def changed(car: CarNumbers, bounds: Sequence[tuple[str, float, float]], point: Floats) -> CarNumbers:
    """The car with the varying numbers at a point (numbers,)."""
    parts: dict[str, dict[str, float]] = {}
    for (name, _, _), value in zip(bounds, point, strict=True):
        section, key = name.split(".")
        parts.setdefault(section, {})[key] = float(value)
    sections: dict[str, Any] = {s: replace(getattr(car, s), **values) for s, values in parts.items()}
    return replace(car, **sections)


def dearest(plan: Plan, contestants: Sequence[Contestant], pool: Any) -> list[int]:
    """The entries of the season that cost most a year with the first contestant, in the season's order."""
    table = rig_of(plan, 0, pool).run(PRESENT, contestants)
    each = [money(plan, PRESENT, table.only_entries(np.arange(len(plan.season.entries)) == e))[0, 0]
            for e in range(len(plan.season.entries))]  # fmt: skip
    return sorted(np.argsort(each)[::-1][:OUTINGS].tolist())


def _shares(
    plan: Plan, bounds: Sequence[tuple[str, float, float]], made: Any, spread: Any, a: int
) -> tuple[Share, ...]:
    def row(value: Any) -> Floats:
        # rounded: the last digits of the sums behind it depend on where the arrays lie in memory
        picked: Floats = np.round(np.asarray(value, dtype=np.float64)[a], 9)
        return picked

    out = [
        Share(
            name, plan.car.measured(name), low, high,
            float(row(made.first_order)[k]), float(row(spread.first_order.confidence_interval.low)[k]),
            float(row(spread.first_order.confidence_interval.high)[k]),
            float(row(made.total_order)[k]), float(row(spread.total_order.confidence_interval.low)[k]),
            float(row(spread.total_order.confidence_interval.high)[k]),
        )
        for k, (name, low, high) in enumerate(bounds)
    ]  # fmt: skip
    return tuple(sorted(out, key=lambda s: (-s.total, s.name)))
