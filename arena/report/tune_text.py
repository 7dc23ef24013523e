"""What `arena tune` prints: what it rests on, the table or the settings, and the evidence that they are better."""

from __future__ import annotations

import math
from pathlib import Path

from arena.contest.comparing import Comparison, Interval, Line
from arena.contest.entering import carries
from arena.contest.standings import FEW_WORLDS, HARD_LIMIT_K
from arena.contest.table_tuning import TRAIN_WORLDS
from arena.contest.tuning import TuningResult
from arena.report.answers_text import show_answers
from arena.report.screen import console, say, show, table
from arena.report.spans import in_units, prose, scored, show_across, span
from arena.report.table_picture import write_front, write_table
from arena.report.table_text import show_table, table_words
from arena.report.terminal import CAUTIONS, METRIC
from arena.strategies.base import CARRIED
from arena.units import Units

SHOWN = (  # figure, its row's heading, printed metric unit, decimals
    ("tracking_k_h", "off target, {} a year", "K h", 2),
    ("hot_boost_k_h", "of it hot on boost, {}", "K h", 2),
    ("boost_p95_c", "95 % on boost under, {}", "degC", 1),
    ("pump_hours", "pump hours a year", "", 2),
    ("wear_hours", "wear hours a year", "", 2),
    ("pump_starts", "pump starts a year", "", 1),
    ("energy_wh", "energy a year, Wh", "", 1),
    ("power_kept_pct", "power kept, %", "", 2),
    ("condensing_minutes", "condensing, min", "", 1),
)


def show_tuning(result: TuningResult, units: Units = METRIC) -> None:
    """Everything, for a person; 80 columns and up."""
    job = result.job
    say(f"{job.contestant.name} tuned for {job.plan.season.name}")
    if result.table is not None:
        prose(head_words(result, units))
        say()
        show_table(result.table, units)
        for line in table_words(result.table, units):
            prose(line)
    else:
        prose(head_words(result, units))
        say()
        show_settings(result)
    say()
    show_comparison(result.comparison, units)
    for line in evidence(result, units):
        prose(line)
    show_answers(result, units)
    for note in result.notes:
        prose(f"note: {note}")
    if result.folder is not None:
        prose(f"written to {result.folder}")
    else:
        prose("--out DIR writes the table as CSV both ways round, settings, picture and comparison.")
    say()
    for line in CAUTIONS:
        say(line)


def pictures(folder: Path, result: TuningResult) -> None:
    """The tables and the trade-off as SVG and PNG, into a result folder."""
    if result.table is not None:
        title = f"{result.table.name}: {result.job.plan.season.name}"
        write_table(result.table, title, folder / "tables" / result.table.name)
    for climate, made in (result.seasonal.tables if result.seasonal else {}).items():
        write_table(made, f"{made.name}: for {climate}", folder / "tables" / made.name)
    if result.tradeoff is not None:
        title = f"Trade-off: {result.job.contestant.name}, {result.job.plan.season.name}"
        write_front(result.tradeoff, title, folder / "tradeoff")


def head_words(result: TuningResult, units: Units = METRIC) -> str:
    """What it rests on."""
    plan = result.job.plan
    outings = ", ".join(f"{plan.outing_id(e)} x {plan.weights[e]:g}" for e in range(min(len(plan.drives), 8)))
    more = "" if len(plan.drives) <= 8 else f" and {len(plan.drives) - 8} more"
    season = plan.season
    tried = result.table.tried if result.table else result.tuned.tried if result.tuned else 0
    return (
        f"car {plan.car.name}; a year of {outings}{more}; "
        f"{aim_words(season.target_c, season.limit_c, units)}; "
        f"{tried} candidates on {TRAIN_WORLDS} worlds, each with its own traffic, noise and car (spread "
        f"{100 * plan.spread:g} %), seed {plan.seed}; {result.seconds:.1f} s"
    )


def aim_words(target_c: float, limit_c: float, units: Units = METRIC) -> str:
    """Target and limit in the units asked for."""
    (target, unit), (limit, _) = units.labelled(target_c, "degC"), units.labelled(limit_c, "degC")
    return f"target {target:g}, limit {limit:g} {unit}"


def show_settings(result: TuningResult) -> None:
    """Tuned settings beside the shipped ones, and a resistor's ohms and watts."""
    assert result.tuned is not None
    strategy, mine = result.job.contestant.strategy, result.contestant
    values = strategy.make_settings(dict(mine.settings))._asdict()
    rows = [[s.name, f"{values[s.name]:.4g}", f"{s.default:g}", s.unit, s.meaning] for s in strategy.settings]
    rows += [
        [s.name, f"{v:g}", f"{s.default:g}", s.unit, s.meaning] for s in CARRIED if (v := carries(mine).get(s.name))
    ]
    if console().width < 100:
        rows = [row[:4] for row in rows]
        show(table([("setting", "left"), ("tuned", "right"), ("shipped", "right"), ("unit", "left")], rows))
    else:
        heads = [("setting", "left"), ("tuned", "right"), ("shipped", "right"), ("unit", "left"), ("meaning", "left")]
        show(table(heads, rows))
    for r in result.resistors:
        prose(
            f"{r.setting}: {r.ohm:.3g} ohm; it made up to {r.peak_w:.0f} W (mean {r.mean_on_w:.0f} W) here: fit one "
            f"rated {rating(r.mean_on_w, r.peak_w):g} W or more, on bare metal (twice the heat: common practice, no "
            "source); `arena wiring` gives preferred values, fuse and leads."
        )


def rating(mean_w: float, peak_w: float) -> float:
    """The next usual power rating at twice the lasting heat, and no less than the peak."""
    want = max(2.0 * mean_w, peak_w)
    return next((w for w in (5, 10, 25, 50, 100, 200, 300) if w >= want), math.ceil(want / 100.0) * 100.0)


def show_comparison(found: Comparison, units: Units = METRIC) -> None:
    """Figures down the side, contestants across; 95 % intervals in brackets. Narrow: one block a contestant."""
    score = [["score"] + [scored(line) for line in found.lines]]
    rows = score + [
        [label.format(units.labelled(0.0, unit)[1])]
        + [span(in_units(line.figures[name], unit, units), digits) for line in found.lines]
        for name, label, unit, digits in SHOWN
    ]
    differ = [
        ["score, tuned less this"]
        + ["" if line.contestant == found.mine else span(line.difference, 3) for line in found.lines]
    ]
    rows = rows[:1] + differ + rows[1:]
    say(f"Fresh worlds ({found.worlds}), not those it was tuned on; a year of these outings; 95 % intervals.")
    show_across([line.contestant for line in found.lines], rows)


def evidence(result: TuningResult, units: Units = METRIC) -> list[str]:
    """Does it beat what they have; how it holds on other cars; the gap between training and fresh worlds."""
    found, job = result.comparison, result.job
    mine = found.line(found.mine)
    out = []
    for line in found.lines:
        if line.contestant in {found.mine, "always-off"}:
            continue
        out.append(verdict(line, job.against is not None and line.contestant == job.against.name))
    if mine.failed:
        out.append(f"The tuned one FAILED {len(mine.failed)} fresh runs: {mine.failed[0]}.")
    if mine.breaks_limit:
        out.append(
            f"It is over the limit by {over_words(mine.over_limit_k, units)} on average on boost, more than "
            f"{over_words(HARD_LIMIT_K, units)}: it "
            "would get no place in a ranking."
        )
    out.append(f"Score where it was tuned {result.train_score:.3f}, on fresh worlds {mine.score.value:.3f}.")
    if result.table is not None and result.table.world_scores:
        low, high = min(result.table.world_scores), max(result.table.world_scores)
        out.append(f"Over the training worlds, each on a car of its own, its score runs from {low:.3f} to {high:.3f}.")
    for name, other in result.wrong_core.items():
        line = other.line(other.mine)
        shipped = next(x for x in other.lines if x.contestant.endswith("as shipped"))
        out.append(
            f"If the core is {name} than assumed: {span(line.score, 3)}, the shipped default {span(shipped.score, 3)}"
            + (f"; over the limit by {over_words(line.over_limit_k, units)}" if line.over_limit_k > 0.05 else "")
            + "."
        )
    if found.worlds < FEW_WORLDS:
        out.append(f"Only {found.worlds} fresh worlds: the intervals say little.")
    return out


def over_words(kelvin: float, units: Units) -> str:
    """A temperature difference in the units asked for."""
    value, unit = units.labelled(kelvin, "K")
    return f"{value:.1f} {unit}"


def verdict(line: Line, yours: bool) -> str:
    """One sentence about one rival."""
    name = "your table" if yours else line.contestant
    if line.failed:
        return f"Against {name}: that one FAILED {len(line.failed)} runs ({line.failed[0]})."
    share = 100.0 * line.wins
    if not line.difference.excludes(0.0):
        return f"Against {name}: cannot be told apart (difference {span(line.difference, 3)}; better in {share:.0f} %)."
    if abs(line.difference.value) < 5e-4:
        return f"Against {name}: nothing gained and nothing lost to speak of; more --trials may find better."
    better = "better" if line.difference.value < 0.0 else "WORSE"
    size = Interval(abs(line.difference.value), *sorted((abs(line.difference.low), abs(line.difference.high))))
    return (
        f"Against {name}: {better} by {span(size, 3)} of always-on's cost, in {share:.0f} % of the resamples of worlds."
    )
