"""The rig parts are tried on: one world's drives played once, every part compiled on them, strategies tuned there."""

from __future__ import annotations

from collections.abc import Sequence
from concurrent.futures import ThreadPoolExecutor
from dataclasses import dataclass, replace
from typing import Any

import numpy as np
from numpy.typing import NDArray

from arena.contest.outings import envelope
from arena.contest.pool import in_order
from arena.contest.run import Contestant, lay_out
from arena.contest.standings import HARD_LIMIT_K, RunTable, costs, over_limit_k
from arena.contest.tables import judge, table_of
from arena.contest.tune import FAILED_SCORE, GENERATION, Search, free_settings, rounded
from arena.contest.worlds import Outing, Plan, car_of_world
from arena.garage.part_list import PRESENT, Part
from arena.plant import layout as at
from arena.plant.compile import CompiledOuting, compile_outing, set_goals
from arena.plant.numbers import CarNumbers
from arena.strategies import shipped
from arena.timetable.outing import Played, outing_seed
from arena.timetable.outing import play as play_drive

Floats = NDArray[np.float64]

GENERATIONS = 3  # of every strategy on the present car
TUNED_ON = 2  # strategies tuned on for every part
TRIED = 63  # candidates of the second tuning; with always-on they are a batch
STEP = 0.10  # of a setting's range: how far candidates of the second tuning lie about the first's
LOOSE_K = 0.5  # on a car that breaks the limit with always-on too, so much more is let pass
FAN_SEEN = ("front.fan_m_s", "front.face_velocity_ratio")  # all of a part that the drive itself meets


@dataclass
class Rig:
    """One world's drives, played once; every part is compiled on them. Goals: the plain target and limit when hot."""

    plan: Plan
    replicate: int
    numbers: CarNumbers
    played: list[Played]
    noise: list[int]
    high_k: list[Floats]  # attainable upper charge temperature of the present car: nobody is charged for colder
    boost_h: float  # a year, weighted by boost
    pool: ThreadPoolExecutor

    def run(self, part: Part, contestants: Sequence[Contestant]) -> RunTable:
        """A year of contestants on the car with a part fitted; one world."""
        numbers = part.change(self.numbers)
        lanes = lay_out(contestants)
        seen = any(_number(numbers, n) != _number(self.numbers, n) for n in FAN_SEEN)
        places = list(range(len(contestants)))

        def one(e: int) -> tuple[Outing, list[tuple[list[int], Any]]]:
            played = _play(self.plan, e, self.replicate, numbers) if seen else self.played[e]
            compiled = compile_outing(played, numbers, self.plan.goals, self.noise[e])
            set_goals(compiled, self.plan.goals, None, self.high_k[e] if played.ticks == len(self.high_k[e]) else None)
            outing = placed(self.plan, e, self.replicate, played, compiled)
            return outing, [(places, judge(self.plan, outing, lanes, numbers))]

        return table_of(self.plan, contestants, in_order(self.pool, one, range(len(self.plan.season.entries))))


def rig_of(plan: Plan, replicate: int, pool: ThreadPoolExecutor) -> Rig:
    """One world played: traffic, noise and a car drawn from the spread. Faults of the season are left out."""
    numbers = car_of_world(plan, replicate)

    def one(e: int) -> tuple[Played, int, Floats, float]:
        played = _play(plan, e, replicate, numbers)
        sound = plan.sound_id(e)
        noise = int(outing_seed(plan.seed, f"noise {sound}", replicate).generate_state(1, np.uint64)[0])
        compiled = compile_outing(played, numbers, plan.goals, noise)
        hours = at.TICK_S / 3600.0 * float(compiled.X[:, at.X_BOOST].sum()) * float(plan.weights[e])
        return played, noise, envelope(compiled)[1], hours

    found = in_order(pool, one, range(len(plan.season.entries)))
    played, noise, high, hours = (list(column) for column in zip(*found, strict=True))
    return Rig(plan, replicate, numbers, played, noise, high, sum(hours), pool)


def placed(plan: Plan, entry: int, replicate: int, played: Played, compiled: CompiledOuting) -> Outing:
    """A compiled outing with its place in the season."""
    e = plan.season.entries[entry]
    seconds = played.scored_s
    return Outing(plan.sound_id(entry), entry, replicate, e.drive, e.climate, e.outings_per_year, seconds, compiled, ())


def tuned_first(rig: Rig, contestants: Sequence[Contestant]) -> list[Contestant]:
    """Every strategy tuned on the present car with the same budget; the best TUNED_ON of them, best first."""
    searches = [Search(c, rig.plan.seed) for c in contestants if free_settings(c)]
    fixed = [c for c in contestants if not free_settings(c)]
    for g in range(GENERATIONS):
        asked = [c for s in searches for c in s.ask(g)]
        found = scores(rig, PRESENT, asked)
        for k, search in enumerate(searches):
            search.tell(found[k * GENERATION : (k + 1) * GENERATION])
    ranked = sorted(((r.score, r.contestant) for r in (s.result() for s in searches)), key=lambda r: (r[0], r[1].name))
    return [c for _, c in ranked[:TUNED_ON]] or fixed[:1]


def tuned_on(rig: Rig, part: Part, starts: Sequence[Contestant]) -> tuple[Contestant, float]:
    """The best of TRIED candidates on the car with a part: the present car's settings and points about them.

    The same points are tried for every part, so that no part is luckier than another.
    """
    candidates = around(starts, rig.plan.seed)
    found = scores(rig, part, candidates)
    at_best = int(np.argmin(found))
    best = candidates[at_best]
    return replace(best, name=best.strategy.name, tuned=True), found[at_best]


def around(starts: Sequence[Contestant], seed: int) -> list[Contestant]:
    """TRIED candidates: each start itself, the rest scattered normally about them, rounded, within range."""
    out: list[Contestant] = []
    each = TRIED // len(starts)
    for s, start in enumerate(starts):
        rng = np.random.Generator(np.random.PCG64(np.random.SeedSequence([seed, 0x9A875, s])))
        centre = {**start.strategy.defaults(), **start.settings}
        for k in range(each if free_settings(start) else 1):
            drawn = rng.standard_normal(len(start.strategy.settings)) * (0.0 if k == 0 else STEP)
            point = {
                x.name: centre[x.name] if k == 0 or x.name in start.held else rounded(x, float(np.clip(
                    centre[x.name] + d * (x.high - x.low), x.low, x.high)))
                for x, d in zip(start.strategy.settings, drawn, strict=True)
            }  # fmt: skip
            out.append(replace(start, name=f"{start.name} {k}", settings=point))
    return out


def scores(rig: Rig, part: Part, candidates: Sequence[Contestant]) -> list[float]:
    """Money a year of each candidate on one world; FAILED runs and a broken limit score badly, never well."""
    out: list[float] = []
    on = Contestant("always-on", shipped()["always-on"])
    for first in range(0, len(candidates), at.LANES - 1):
        named = [replace(c, name=str(k)) for k, c in enumerate(candidates[first : first + at.LANES - 1])]
        table = rig.run(part, [*named, on])
        excess = over_limit_k(table)
        allowed = max(HARD_LIMIT_K, float(excess[-1]) + LOOSE_K)
        cost = money(rig.plan, part, table)[:, 0] * (1.0 + 10.0 * np.maximum(excess - allowed, 0.0))
        failures = (table.failed != "").sum(axis=(1, 2))
        bad = (failures > 0) | ~np.isfinite(cost)
        out += [float(v) for v in np.where(bad, FAILED_SCORE * (1e3 + failures), cost)[:-1]]
    return out


def money(plan: Plan, part: Part, table: RunTable) -> Floats:
    """What a year costs by [contestant, world], in the season's money; with two pumps wear counts twice."""
    season = plan.season
    prices = replace(season.prices, wear_per_h=season.prices.wear_per_h * part.pumps)
    return np.asarray(costs(table, prices, season.wear))


def _play(plan: Plan, entry: int, replicate: int, numbers: CarNumbers) -> Played:
    return play_drive(
        plan.drives[entry],
        plan.climates[entry],
        numbers,
        outing_seed(plan.seed, plan.sound_id(entry), replicate),
        plan.off_s,
    )


def _number(car: CarNumbers, name: str) -> float:
    section, key = name.split(".")
    return float(getattr(getattr(car, section), key))
