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
    failed: str = ""  # what failed in at least one drive: the figures are then of the drives as far as they went


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

    @property
    def control_failed(self) -> str:
        """What failed of the two that say what control buys, always-on and best; nothing where neither did."""
        return "; ".join(f"{a.contestant} FAILED: {a.failed}" for a in self.absolutes[:2] if a.failed)


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
    return PartResult(
        part, contestant, float(cost[0].mean()), {k: float(v.mean()) for k, v in mine.items()}, changes,
        None if failed_of(table, 1) else interval(cost[1] - base_cost), failed_of(table, 0),
    )  # fmt: skip


def failed_of(table: RunTable, c: int) -> str:
    """Why a contestant failed in at least one drive of one world, reasons in a row; nothing where it never did."""
    return "; ".join(sorted({str(r) for r in table.failed[c].ravel() if r}))


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
        None if life_h is None else years_of(table, c, season.wear, life_h), failed_of(table, c),
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
    return f"{_of_control(result, units)} {_of_hardware(result)}".rstrip()


def _of_control(result: PartsResult, units: Units) -> str:
    on, best, _ = result.absolutes
    if result.control_failed:
        return f"Control: what it saves cannot be told, since {result.control_failed}."
    saved, low, high = -result.control.mean, -result.control.high, -result.control.low
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
    if np.isnan(low):
        span, worth = "no interval", "One world gives no interval: whether that is more than chance cannot be told."
    else:
        span = f"{low:.1f}..{high:.1f}"
        sure = "Worth it by these prices.", "That cannot be told from nothing: no control is worth fitting."
        worth = sure[0] if low > 0.0 else sure[1]
    return (
        f"Control: {best.contestant.removeprefix('best: ')} instead of always-on saves {saved:.1f} money units a year "
        f"({span}; {split}), {on.figures['pump_hours'] - best.figures['pump_hours']:.0f} "
        f"pump hours and {fuel:.1f} {litres} of fuel; on boost it is {warmer:+.1f} {kelvin} at the 95th percentile. "
        f"{worth}"
    )


def _of_hardware(result: PartsResult) -> str:
    sound = [r for r in result.results if not r.failed]
    if not sound:
        return ""
    if result.absolutes[1].failed:
        return "Hardware: what a part buys cannot be told either, with nothing sound to set it against."
    if np.isnan(sound[0].changes["cost"].low):
        gain = -sound[0].changes["cost"].mean
        if gain <= 0.0:
            return "Hardware: no part saved anything in the one world played."
        return f"Hardware: in the one world played most was bought by {sound[0].part.words}, {gain:.1f} a year."
    top = next((r for r in sound if r.changes["cost"].high < 0.0), None)  # the best that is surely more than nothing
    if top is None:
        return "Hardware: no part saves anything that can be told from nothing."
    change = top.changes["cost"]
    more = "more" if change.mean < result.control.mean else "less"
    beside = "" if result.control_failed else f", {more} than control buys"
    return (
        f"Hardware: most is bought by {top.part.words}, {-change.mean:.1f} ({-change.high:.1f}..{-change.low:.1f}) a "
        f"year{beside}; what it costs to buy is not in that."
    )


def _notes(plan: Plan, replicates: int) -> list[str]:
    found = [
        "goals: the plain target and limit when hot (what is out of reach now is what hardware may reach); when cold, "
        "nobody is charged for less than the present car can hold",
        "what a part changes is engineering judgement, from memory; its price and fitting are not counted",
        "rated hours and the wear law are assumptions; intervals are over traffic and the spread of the car's numbers "
        "only",
    ]
    if replicates < 4:
        found.append("one world gives no interval" if replicates == 1 else f"only {replicates} worlds: wide intervals")
    if any(plan.faults):
        found.append("faults of the season are left out here")
    return found
