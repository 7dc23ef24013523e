"""What other hardware would buy, beside what control buys: every part with its own best control, over a season.

First each strategy is tuned on the present car, then the best are tuned on for every part from there; both on one
training world. Figures come from fresh worlds that all parts share, so that differences are paired.
"""

from __future__ import annotations

import time
from collections.abc import Callable, Sequence
from dataclasses import replace

import numpy as np

from arena.contest.pool import Progress, Tell, pool_of
from arena.contest.run import Contestant
from arena.contest.standings import REFERENCES, RunTable
from arena.contest.tables import join_worlds
from arena.contest.tournament import entrants
from arena.contest.worlds import TRAIN_FROM, Plan
from arena.errors import BadInput
from arena.garage.part_figures import PartsResult, put_together
from arena.garage.part_list import PARTS, PRESENT, Part, both, fits
from arena.garage.part_rig import Rig, rig_of, tuned_first, tuned_on
from arena.strategies import shipped

REPLICATES = 4
PAIRS = 3

Refine = Callable[[Rig, Part, Sequence[Contestant]], tuple[Contestant, float]]


def what_parts_buy(
    plan: Plan,
    *,
    parts: Sequence[Part] = PARTS,
    strategies: Sequence[str] = (),
    replicates: int = REPLICATES,
    pairs: int = PAIRS,
    workers: int | None = None,
    pump_life_h: float | None = None,
    pump_price: float | None = None,
    refine: Refine | None = None,
    tell: Tell | None = None,
) -> PartsResult:
    """Rank parts by what a year costs with each and its best control. Same plan and seed, same numbers.

    `refine(rig, part, starts)` picks the control of a part on the training world and says what it costs there
    (default: `tuned_on`).
    """
    began = time.perf_counter()
    field = [c for c in entrants(strategies, plan.car.numbers()) if c.ranked]
    plan = _priced(plan, replicates, pump_life_h, pump_price).for_run_on(field)
    coldest = min(float(np.min(c.ambient_k)) for c in plan.climates)
    able = [p for p in parts if not fits(p, plan.car.numbers(), coldest)]
    refine = refine or tuned_on
    steps = 2 + len(able) + pairs + replicates
    with pool_of(workers) as pool:
        training = rig_of(plan, TRAIN_FROM, pool)
        starts = tuned_first(training, field)
        _say(tell, "tuning", 1, steps)
        chosen: dict[str, tuple[Part, Contestant, float]] = {}
        for k, part in enumerate([PRESENT, *able]):
            chosen[part.name] = (part, *refine(training, part, starts))
            _say(tell, "tuning", 2 + k, steps)
        for part in _pairs_of(able, {name: c[2] for name, c in chosen.items()}, pairs):
            chosen[part.name] = (part, *refine(training, part, starts))
        del training
        tables: dict[str, list[RunTable]] = {name: [] for name in chosen}
        boost_h = []
        for k in range(replicates):
            rig = rig_of(plan, k, pool)
            boost_h.append(rig.boost_h)
            for name, (part, contestant, _) in chosen.items():
                tables[name].append(rig.run(part, _lanes(contestant, chosen["present"][1])))
            _say(tell, "ranking", 2 + len(able) + pairs + k + 1, steps)
    joined = {name: join_worlds(t) for name, t in tables.items()}
    seconds = time.perf_counter() - began
    return put_together(plan, np.array(boost_h), chosen, joined, parts, coldest, pump_life_h, seconds)


def _lanes(best: Contestant, present: Contestant) -> list[Contestant]:
    """What is run on fresh worlds: best control, the present car's settings left alone, and the references."""
    references = [Contestant(n, shipped()[n]) for n in REFERENCES]
    return [replace(best, name="best"), replace(present, name="left alone"), *references]


def _pairs_of(able: Sequence[Part], trained: dict[str, float], count: int) -> list[Part]:
    """The most promising pairs: parts of different families, best of each family, by what each saves alone."""
    saving = sorted(able, key=lambda p: (trained[p.name], p.name))
    heads: list[Part] = []
    for p in saving:
        if p.family not in {h.family for h in heads} and trained[p.name] < trained["present"]:
            heads.append(p)
    found = [(trained[a.name] + trained[b.name], a, b) for i, a in enumerate(heads) for b in heads[i + 1 :]]
    return [both(a, b) for _, a, b in sorted(found, key=lambda f: (f[0], f[1].name, f[2].name))[:count]]


def _priced(plan: Plan, replicates: int, life_h: float | None, price: float | None) -> Plan:
    """The plan with wear at pump price over rated life, where both are given."""
    faults = []
    if not 1 <= replicates <= 200:
        faults.append(f"--replicates {replicates} is outside 1..200")
    if life_h is not None and not 10.0 <= life_h <= 1e6:
        faults.append(f"--pump-life-h {life_h:g} is outside 10..1e6 h")
    if price is not None and not 0.0 <= price <= 1e7:
        faults.append(f"--pump-price {price:g} is outside 0..1e7")
    if price is not None and life_h is None:
        faults.append("--pump-price needs --pump-life-h: wear an hour is price over rated hours")
    if faults:
        raise BadInput(faults, "Give values in these ranges; `arena parts --help` says what they mean.")
    if price is None or life_h is None:
        return plan
    prices = replace(plan.season.prices, wear_per_h=price / life_h)
    return replace(plan, season=replace(plan.season, prices=prices))


def _say(tell: Tell | None, stage: str, done: int, total: int) -> None:
    if tell:
        tell(Progress(stage, done, total))
