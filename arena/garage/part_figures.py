"""What a part buys: yearly changes against the best control on present hardware, and the verdict in words."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, field

import numpy as np
from numpy.typing import NDArray

from arena.contest.figures import FIGURES
from arena.contest.run import Contestant
from arena.contest.standings import RunTable, wear_hours
from arena.contest.worlds import Plan
from arena.garage.part_list import PRESENT, Part, fits
from arena.garage.part_rig import money
from arena.scenario.season import WEAR_EXPONENTS, WearLaw
from arena.units import Units

Floats = NDArray[np.float64]

METRIC = Units()
PRICES = ("tracking_per_k_h", "wear_per_h", "energy_per_kwh")


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


def put_together(
    plan: Plan,
    boost_h: Floats,
    chosen: dict[str, tuple[Part, Contestant, float]],
    tables: dict[str, RunTable],
    parts: Sequence[Part],
    coldest: float,
    pump_life_h: float | None,
    seconds: float,
) -> PartsResult:
    """Everything told, from the tables of every part on the same worlds; results ranked, best first."""
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
