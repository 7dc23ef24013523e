"""What other hardware would buy, beside what control buys: every part with its own best control, over a season.

First each strategy is tuned on the present car, then the best are tuned on for every part from there; both on one
training world. Figures come from fresh worlds that all parts share, so that differences are paired.
"""

from __future__ import annotations

import time
from collections.abc import Callable, Sequence
from concurrent.futures import ThreadPoolExecutor
from dataclasses import dataclass, field, replace
from typing import Any

import numpy as np
from numpy.typing import NDArray

from arena.contest.figures import FIGURES, WEAR_EXPONENTS
from arena.contest.pool import Progress, Tell, in_order, pool_of
from arena.contest.run import Contestant, lay_out
from arena.contest.standings import HARD_LIMIT_K, RunTable, costs, over_limit_k, wear_hours
from arena.contest.tables import join_worlds, judge, table_of
from arena.contest.tournament import entrants
from arena.contest.tune import FAILED_SCORE, GENERATION, Search, rounded
from arena.contest.worlds import TRAIN_FROM, Outing, Plan, car_of_world, envelope
from arena.errors import BadInput
from arena.garage.part_list import PARTS, PRESENT, Part, both, fits
from arena.plant import layout as at
from arena.plant.compile import CompiledOuting, compile_outing, set_goals
from arena.plant.numbers import CarNumbers
from arena.scenario.season import WearLaw
from arena.strategies import shipped
from arena.timetable.outing import Played, outing_seed
from arena.timetable.outing import play as play_drive
from arena.units import Units

Floats = NDArray[np.float64]

METRIC = Units()
REPLICATES = 4
GENERATIONS = 3  # of every strategy on the present car
TUNED_ON = 2  # strategies tuned on for every part
STEP = 0.10  # of a setting's range: how far candidates of the second tuning lie about the first's
LOOSE_K = 0.5  # on a car that breaks the limit with always-on too, so much more is let pass
PAIRS = 3
FAN_SEEN = ("front.fan_m_s", "front.face_velocity_ratio")  # all of a part that the drive itself meets

Refine = Callable[["Rig", Part, Sequence[Contestant]], tuple[Contestant, float]]


@dataclass(frozen=True)
class Change:
    """A yearly figure's change against the best control on present hardware, with its 95 % interval over worlds."""

    mean: float
    low: float
    high: float


@dataclass(frozen=True)
class PartResult:
    """One part with its best control; `changes` by figure and for "cost" (the season's money a year)."""

    part: Part
    contestant: Contestant | None
    cost: float  # money a year
    figures: dict[str, float]
    changes: dict[str, Change]
    left_alone: Change | None  # cost, with the settings tuned for the present hardware
    failed: str = ""
    skipped: str = ""


@dataclass(frozen=True)
class Absolute:
    """What a year comes to under one control on present hardware; money split by where it goes."""

    contestant: str
    figures: dict[str, float]
    boost_excess_k: float  # mean kelvin over the target band on boost
    tracking_money: float
    wear_money: float
    energy_money: float
    cost: Change  # against always-on
    years: tuple[float, float, float] | None  # until the rated life is used up: as the season's law has it, least, most


@dataclass
class PartsResult:
    """Everything `arena parts` tells; results ranked, best first."""

    season: str
    car: str
    seed: int
    spread: float
    replicates: int
    absolutes: tuple[Absolute, ...]
    best: Contestant
    control: Change  # cost: what control buys, always-on to best, on present hardware
    results: tuple[PartResult, ...]
    pairs: tuple[PartResult, ...]
    skipped: tuple[PartResult, ...]
    pump_life_h: float | None
    prices: dict[str, float]
    notes: tuple[str, ...]
    seconds: float
    verdict: str = ""
    tables: dict[str, RunTable] = field(default_factory=dict, repr=False)


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


def placed(plan: Plan, entry: int, replicate: int, played: Played, compiled: CompiledOuting) -> Outing:
    """A compiled outing with its place in the season."""
    e = plan.season.entries[entry]
    seconds = (played.ticks - played.score_from) * at.TICK_S
    return Outing(plan.sound_id(entry), entry, replicate, e.drive, e.climate, e.outings_per_year, seconds, compiled, ())


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
    plan = _priced(plan, replicates, pump_life_h, pump_price)
    coldest = min(float(np.min(c.ambient_k)) for c in plan.climates)
    able = [p for p in parts if not fits(p, plan.car.numbers(), coldest)]
    refine = refine or tuned_on
    steps = 2 + len(able) + pairs + replicates
    with pool_of(workers) as pool:
        training = rig_of(plan, TRAIN_FROM, pool)
        starts = tuned_first(training, [c for c in entrants(strategies) if c.ranked])
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
    return _put_together(plan, np.array(boost_h), chosen, joined, parts, coldest, pump_life_h, seconds)


def tuned_first(rig: Rig, contestants: Sequence[Contestant]) -> list[Contestant]:
    """Every strategy tuned on the present car with the same budget; the best TUNED_ON of them, best first."""
    searches = [Search(c, rig.plan.seed) for c in contestants if c.strategy.settings]
    fixed = [c for c in contestants if not c.strategy.settings]
    for g in range(GENERATIONS):
        asked = [c for s in searches for c in s.ask(g)]
        found = scores(rig, PRESENT, asked)
        for k, search in enumerate(searches):
            search.tell(found[k * GENERATION : (k + 1) * GENERATION])
    ranked = sorted(((r.score, r.contestant) for r in (s.result() for s in searches)), key=lambda r: (r[0], r[1].name))
    return [c for _, c in ranked[:TUNED_ON]] or fixed[:1]


def tuned_on(rig: Rig, part: Part, starts: Sequence[Contestant]) -> tuple[Contestant, float]:
    """The best of one full batch on the car with a part: the present car's settings and points about them.

    The same points are tried for every part, so that no part is luckier than another.
    """
    candidates = around(starts, rig.plan.seed)
    found = scores(rig, part, candidates)
    at_best = int(np.argmin(found))
    best = candidates[at_best]
    return replace(best, name=best.strategy.name, tuned=True), found[at_best]


def around(starts: Sequence[Contestant], seed: int) -> list[Contestant]:
    """A batch of candidates: each start itself, the rest scattered normally about them, rounded, within range."""
    out: list[Contestant] = []
    each = (at.LANES - 1) // len(starts)  # a lane is kept for always-on
    for s, start in enumerate(starts):
        rng = np.random.Generator(np.random.PCG64(np.random.SeedSequence([seed, 0x9A875, s])))
        centre = {**start.strategy.defaults(), **start.settings}
        for k in range(each if start.strategy.settings else 1):
            drawn = rng.standard_normal(len(start.strategy.settings)) * (0.0 if k == 0 else STEP)
            point = {
                x.name: centre[x.name] if k == 0 else rounded(x, float(np.clip(
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


def interval(values: Floats) -> Change:
    """Mean and 95 % interval of paired differences over worlds (Student's t, worlds - 1 degrees of freedom)."""
    from scipy.stats import t

    n = len(values)
    mean = float(np.mean(values))
    if n < 2:
        return Change(mean, float("nan"), float("nan"))
    half = float(t.ppf(0.975, n - 1)) * float(np.std(values, ddof=1)) / n**0.5
    return Change(mean, mean - half, mean + half)


def by_world(table: RunTable, law: WearLaw, c: int) -> dict[str, Floats]:
    """A contestant's yearly figures by world: sums, or means weighted by outings; NaN where nothing applies."""
    out: dict[str, Floats] = {}
    for figure in FIGURES:
        values = table.values[figure.name][c]
        weights = np.broadcast_to(table.weights[:, None], values.shape)
        known = np.isfinite(values)
        total = np.sum(np.where(known, values * weights, 0.0), axis=0)
        share = np.sum(np.where(known, weights, 0.0), axis=0)
        with np.errstate(divide="ignore", invalid="ignore"):
            out[figure.name] = total if figure.over == "sum" else np.where(share > 0.0, total / share, np.nan)
    out["wear_hours"] = wear_hours(table, law)[c]
    return out


def _lanes(best: Contestant, present: Contestant) -> list[Contestant]:
    """What is run on fresh worlds: best control, the present car's settings left alone, and the references."""
    references = [Contestant(n, shipped()[n]) for n in ("always-on", "always-off")]
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


def _put_together(
    plan: Plan,
    boost_h: Floats,
    chosen: dict[str, tuple[Part, Contestant, float]],
    tables: dict[str, RunTable],
    parts: Sequence[Part],
    coldest: float,
    pump_life_h: float | None,
    seconds: float,
) -> PartsResult:
    law, replicates = plan.season.wear, len(boost_h)
    present = tables["present"]
    base, base_cost = by_world(present, law, 0), money(plan, PRESENT, present)[0]
    found = {name: _result(plan, chosen[name], table, base, base_cost) for name, table in tables.items()}
    order = sorted(found.values(), key=lambda r: (r.failed != "", r.cost, r.part.name))
    control = interval(base_cost - money(plan, PRESENT, present)[2])
    absolutes = tuple(
        _absolute(plan, present, c, name, boost_h, pump_life_h)
        for c, name in ((2, "always-on"), (0, f"best: {chosen['present'][1].strategy.name}"), (3, "always-off"))
    )
    skipped = [(p, fits(p, plan.car.numbers(), coldest)) for p in parts]
    out = PartsResult(
        plan.season.name, plan.car.name, plan.seed, plan.spread, replicates, absolutes, chosen["present"][1], control,
        tuple(r for r in order if r.part.family not in ("none", "pair")),
        tuple(r for r in order if r.part.family == "pair"),
        tuple(PartResult(p, None, float("nan"), {}, {}, None, "", why) for p, why in skipped if why),
        pump_life_h, {k: float(getattr(plan.season.prices, k)) for k in PRICES},
        tuple(_notes(plan, replicates)), seconds,
        tables=tables,
    )  # fmt: skip
    out.verdict = verdict(out)
    return out


PRICES = ("tracking_per_k_h", "wear_per_h", "energy_per_kwh")


def _result(
    plan: Plan, chosen: tuple[Part, Contestant, float], table: RunTable, base: dict[str, Floats], base_cost: Floats
) -> PartResult:
    part, contestant, _ = chosen
    cost, mine = money(plan, part, table), by_world(table, plan.season.wear, 0)
    changes = {name: interval(mine[name] - base[name]) for name in mine if np.isfinite(mine[name] - base[name]).all()}
    changes["cost"] = interval(cost[0] - base_cost)
    failed = sorted({str(r) for r in table.failed[0].ravel() if r})
    alone = sorted({str(r) for r in table.failed[1].ravel() if r})
    return PartResult(
        part, contestant, float(cost[0].mean()), {k: float(v.mean()) for k, v in mine.items()}, changes,
        None if alone else interval(cost[1] - base_cost), "; ".join(failed),
    )  # fmt: skip


def _absolute(plan: Plan, table: RunTable, c: int, name: str, boost_h: Floats, life_h: float | None) -> Absolute:
    season, mine = plan.season, by_world(table, plan.season.wear, c)
    money_of = (
        float(mine["tracking_k_h"].mean()) * season.prices.tracking_per_k_h,
        float(mine["wear_hours"].mean()) * season.prices.wear_per_h,
        float(mine["energy_wh"].mean()) * 1e-3 * season.prices.energy_per_kwh,
    )
    cost = money(plan, PRESENT, table)
    boosted = float(boost_h.sum())
    excess = float(mine["hot_boost_k_h"].sum()) / boosted if boosted > 0.0 else float("nan")
    return Absolute(
        name, {k: float(v.mean()) for k, v in mine.items()}, excess, *money_of, interval(cost[c] - cost[2]),
        None if life_h is None else years_of(table, c, season.wear, life_h),
    )  # fmt: skip


def years_of(table: RunTable, c: int, law: WearLaw, life_h: float) -> tuple[float, float, float] | None:
    """Years until a rated life (h) is used up: by the season's wear law, and least and most over its corners."""

    def years(wanted: WearLaw) -> float:
        hours = float(wear_hours(table, wanted)[c].mean())
        return life_h / hours if hours > 0.0 else float("inf")

    corners = [years(WearLaw(e, s)) for e in WEAR_EXPONENTS for s in (0.0, 0.05)]
    return years(law), min(corners), max(corners)


def verdict(result: PartsResult, units: Units = METRIC) -> str:
    """Whether any control is worth it, and whether money is better spent on hardware, in sentences."""
    on, best, _ = result.absolutes
    saved = -result.control.mean
    sure = result.control.high < 0.0
    split = ", ".join(
        f"{name} {before - after:.1f}"
        for name, before, after in (
            ("tracking", on.tracking_money, best.tracking_money),
            ("wear", on.wear_money, best.wear_money),
            ("energy", on.energy_money, best.energy_money),
        )
    )
    fuel, litres = units.labelled((on.figures["fuel_ml"] - best.figures["fuel_ml"]) / 1e3, "L")
    warmer, kelvin = units.labelled(best.figures["boost_p95_c"] - on.figures["boost_p95_c"], "K")
    first = (
        f"Control: {best.contestant.removeprefix('best: ')} instead of always-on saves {saved:.1f} money units a year "
        f"({-result.control.high:.1f}..{-result.control.low:.1f}; {split}), "
        f"{on.figures['pump_hours'] - best.figures['pump_hours']:.0f} "
        f"pump hours and {fuel:.1f} {litres} of fuel; on boost it is {warmer:+.1f} {kelvin} at the 95th percentile. "
        + ("Worth it by these prices." if sure else "That cannot be told from nothing: no control is worth fitting.")
    )
    sound = [r for r in result.results if not r.failed]
    if not sound:
        return first
    top = next(
        (r for r in sound if r.changes["cost"].high < 0.0), sound[0]
    )  # the best that is surely more than nothing
    gain = top.changes["cost"]
    if not gain.high < 0.0:
        second = " Hardware: no part saves anything that can be told from nothing."
    else:
        more = "more" if -gain.mean > saved else "less"
        second = (
            f" Hardware: most is bought by {top.part.words}, {-gain.mean:.1f} ({-gain.high:.1f}..{-gain.low:.1f}) "
            f"a year, {more} than control buys; what it costs to buy is not in that."
        )
    return first + second


def _notes(plan: Plan, replicates: int) -> list[str]:
    found = [
        "goals: the plain target and limit when hot (what is out of reach now is what hardware may reach); when cold, "
        "nobody is charged for less than the present car can hold",
        "what a part changes is engineering judgement, from memory; its price and fitting are not counted",
        "rated hours and the wear law are assumptions; intervals are over traffic and the spread of the car's numbers "
        "only",
    ]
    if replicates < 4:
        found.append(f"only {replicates} worlds: intervals are wide or missing")
    if any(plan.faults):
        found.append("faults of the season are left out here")
    return found


def _play(plan: Plan, entry: int, replicate: int, numbers: CarNumbers) -> Played:
    return play_drive(
        plan.drives[entry], plan.climates[entry], numbers, outing_seed(plan.seed, plan.sound_id(entry), replicate)
    )


def _number(car: CarNumbers, name: str) -> float:
    section, key = name.split(".")
    return float(getattr(getattr(car, section), key))


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
