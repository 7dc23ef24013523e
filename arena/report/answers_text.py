"""The further answers of `arena tune`: foresight, one table against seasonal ones, axes, aims, the trade-off."""

from __future__ import annotations

import math

from arena.contest.aims import FLAT, PairResult, flat_span
from arena.contest.foresight import Foresight
from arena.contest.seasonal import Seasonal
from arena.contest.tradeoff import Tradeoff
from arena.contest.tuning import TuningResult
from arena.report.screen import console, say, show, table
from arena.report.spans import in_units, prose, scored, show_across, span
from arena.report.table_text import show_table
from arena.report.terminal import METRIC
from arena.units import Units


def show_answers(result: TuningResult, units: Units = METRIC) -> None:
    """The other answers, those that were asked for."""
    if result.foresight is not None:
        prose(foresight_words(result.foresight))
    if result.seasonal is not None:
        show_seasonal(result.seasonal, units)
    if result.pairs:
        show_pairs(result.pairs)
    if result.aims:
        show_aims(result, units)
    if result.tradeoff is not None:
        show_tradeoff(result.tradeoff, units)


def foresight_words(found: Foresight) -> str:
    """What share of the possible gain the tuned settings reach."""
    if math.isnan(found.share.value) or found.score.value >= 1.0:
        return "Foresight: knowing the drive in advance gains nothing over always-on here."
    parts = ", ".join(f"{name} {100 * share:.0f} %" for name, share in found.by_outing.items())
    return (
        f"Foresight (best duty found for {len(found.outings)} fresh outings known in advance; a search, so the bound "
        f"may lie lower): {found.score.value:.3f}; tuned there {found.tuned_score.value:.3f}, which is "
        f"{100 * found.share.value:.0f} % ({100 * found.share.low:.0f}..{100 * found.share.high:.0f}) of the possible "
        f"gain over always-on ({parts})."
    )


def show_seasonal(found: Seasonal, units: Units = METRIC) -> None:
    """One table against one a climate; every table in every climate; the tables themselves."""
    say()
    for climate, made in found.tables.items():
        say(f"{made.name}, tuned for {climate} alone" + (": THE PUMP NEVER RUNS there" if made.never_runs else ""))
        show_table(made, units)
        say()
    rows = [[c.climate, c.table, "FAILED" if c.failed else span(c.score, 3), span(c.less_own, 3)] for c in found.cells]
    heads = [("driven in", "left"), ("table", "left"), ("score", "right"), ("less that climate's own", "right")]
    show(table(heads, rows))
    prose(
        f"One table for all of it: {span(found.one_score, 3)}; one a climate: {span(found.own_score, 3)}. One table "
        f"costs {span(found.one_costs, 3)} of always-on's cost more"
        + ("." if found.one_costs.excludes(0.0) else ": no difference that can be told from none.")
    )


def show_pairs(pairs: tuple[PairResult, ...]) -> None:
    """Which pair of axes is worth having."""
    say()
    say("Pairs of axes, each with its own tuned table, on the same fresh worlds:")
    first = pairs[0].pair
    rows = [
        [p.pair, span(p.score, 3), "" if p.pair == first else span(p.less_first, 3), verdict_of(p, first)]
        for p in pairs
    ]
    show(table([("axes", "left"), ("score", "right"), (f"less {first}", "right"), ("", "left")], rows))


def verdict_of(pair: PairResult, first: str) -> str:
    """A word on one pair of axes against the first."""
    if pair.pair == first:
        return ""
    if not pair.less_first.excludes(0.0) or abs(pair.less_first.value) < 0.0005:  # prints as 0.000
        return "no difference to be told"
    return "better" if pair.less_first.value < 0.0 else "worse"


def show_aims(result: TuningResult, units: Units = METRIC) -> None:
    """Which target and limit the score is flat around."""
    season = result.job.plan.season
    unit = units.labelled(0.0, "degC")[1]

    def degrees(celsius: float) -> float:
        return float(units.labelled(celsius, "degC")[0])

    say()
    say("Shapes tuned for other targets and limits, scored with the season's own, on the same fresh worlds:")
    rows = [
        [
            f"{degrees(a.target_c):g}", f"{degrees(a.limit_c):g}", "FAILED" if a.failed else span(a.score, 3),
            span(a.less_own, 3), span(in_units(a.boost_p95_c, "degC", units), 1), span(a.pump_hours, 2),
            "flat" if a.flat else "",
        ]
        for a in result.aims
    ]  # fmt: skip
    heads = [(f"target, {unit}", "right"), (f"limit, {unit}", "right"), ("score", "right"), ("less own", "right")]
    heads += [(f"95 % on boost under, {unit}", "right"), ("pump hours", "right"), ("", "left")]
    if console().width < 110:
        heads, rows = [*heads[:4], heads[6]], [[*r[:4], r[6]] for r in rows]
    show(table(heads, rows))
    flat = flat_span(result.aims, season.target_c, season.limit_c)
    (t1, t2), (l1, l2) = (tuple(degrees(v) for v in flat[k]) for k in ("target_c", "limit_c"))
    prose(
        f"Flat (surely within {FLAT:g} of always-on's cost) from target {t1:g} to {t2:g} {unit} and from limit {l1:g} "
        f"to {l2:g} {unit}, of those tried."
    )


def show_tradeoff(found: Tradeoff, units: Units = METRIC) -> None:
    """The named choices on fresh worlds."""
    say()
    say(
        f"Trade-off: {len(found.front)} settings that none of {found.tried} beat in tracking, hours and energy at once."
    )
    off, under = units.labelled(0.0, "K h")[1], units.labelled(0.0, "degC")[1]
    lines = [found.comparison.line(name) for name in found.choices]

    def row(label: str, figure: str, unit: str, digits: int) -> list[str]:
        return [label, *(span(in_units(line.figures[figure], unit, units), digits) for line in lines)]

    rows = [
        ["score", *(scored(line) for line in lines)],
        row(f"off target, {off} a year", "tracking_k_h", "K h", 2),
        row("pump hours a year", "pump_hours", "", 2),
        row("energy a year, Wh", "energy_wh", "", 1),
        row(f"95 % on boost under, {under}", "boost_p95_c", "degC", 1),
    ]
    show_across(list(found.choices), rows)
    for name, point in found.choices.items():
        prose(f"{name}: " + ", ".join(f"{k} {v:.4g}" for k, v in point.settings.items()))
