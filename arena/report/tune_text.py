"""What `arena tune` prints: the table with even shading that reads without colour, and the evidence; and its JSON."""

from __future__ import annotations

import math
import textwrap
from pathlib import Path
from typing import Any

import numpy as np
from rich.style import Style
from rich.text import Text

from arena.contest.aims import FLAT, PairResult, flat_span
from arena.contest.comparing import Comparison, Interval, Line
from arena.contest.figures import FIGURES
from arena.contest.foresight import Foresight
from arena.contest.seasonal import Seasonal
from arena.contest.standings import FEW_WORLDS, HARD_LIMIT_K
from arena.contest.table_shape import ROUGHNESS_PRICE
from arena.contest.table_tuning import MOST_OVER_K, SEEN_S, TRAIN_WORLDS, TunedTable
from arena.contest.tradeoff import Tradeoff
from arena.contest.tuning import TuningResult
from arena.report.shades import dark, shade
from arena.report.table_picture import words, write_front, write_table
from arena.report.terminal import CAUTIONS, console, say, show, table

SHOWN = (
    ("tracking_k_h", "off target, K h a year", 2),
    ("hot_boost_k_h", "of it hot on boost, K h", 2),
    ("boost_p95_c", "95 % on boost under, degC", 1),
    ("pump_hours", "pump hours a year", 2),
    ("wear_hours", "wear hours a year", 2),
    ("pump_starts", "pump starts a year", 1),
    ("energy_wh", "energy a year, Wh", 1),
    ("power_kept_pct", "power kept, %", 2),
    ("condensing_minutes", "condensing, min", 1),
)


def show_tuning(result: TuningResult) -> None:
    """Everything, for a person; 80 columns and up."""
    job = result.job
    say(f"{job.contestant.name} tuned for {job.plan.season.name}")
    if result.table is not None:
        prose(head_words(result))
        say()
        show_table(result.table)
        for line in table_words(result.table):
            prose(line)
    else:
        prose(head_words(result))
        say()
        show_settings(result)
    say()
    show_comparison(result.comparison)
    for line in evidence(result):
        prose(line)
    show_answers(result)
    for note in result.notes:
        prose(f"note: {note}")
    if result.folder is not None:
        prose(f"written to {result.folder}")
    else:
        prose("--out DIR writes the table as CSV both ways round, settings, picture and comparison.")
    say()
    for line in CAUTIONS:
        say(line)


def show_answers(result: TuningResult) -> None:
    """The other answers, those that were asked for."""
    if result.foresight is not None:
        prose(foresight_words(result.foresight))
    if result.seasonal is not None:
        show_seasonal(result.seasonal)
    if result.pairs:
        show_pairs(result.pairs)
    if result.aims:
        show_aims(result)
    if result.tradeoff is not None:
        show_tradeoff(result.tradeoff)


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


def head_words(result: TuningResult) -> str:
    """What it rests on."""
    plan = result.job.plan
    outings = ", ".join(f"{plan.outing_id(e)} x {plan.weights[e]:g}" for e in range(min(len(plan.drives), 8)))
    more = "" if len(plan.drives) <= 8 else f" and {len(plan.drives) - 8} more"
    season = plan.season
    tried = result.table.tried if result.table else result.tuned.tried if result.tuned else 0
    return (
        f"car {plan.car.name}; a year of {outings}{more}; target {season.target_c:g}, limit {season.limit_c:g} degC; "
        f"{tried} candidates on {TRAIN_WORLDS} worlds, each with its own traffic, noise and car (part spread "
        f"{100 * plan.spread:g} %), seed {plan.seed}; {result.seconds:.1f} s"
    )


def show_table(made: TunedTable) -> None:
    """The table: duty in per cent, shaded where colour can be shown; brackets where no drive comes."""
    axes = made.axes
    say(f"pump duty, %; down: {words(axes.down)}; across: {words(axes.across)}")
    wide = max(5, *(len(f"{v:g}") + 1 for v in axes.across.given))
    side = max(len(f"{v:g}") for v in axes.down.given) + 1
    out = console()
    out.print(Text(" " * side + "".join(f"{v:g}".rjust(wide - 1) + " " for v in axes.across.given), style="bold"))
    for i, at in enumerate(axes.down.given):
        line = Text(f"{at:g}".rjust(side), style="bold")
        for j in range(axes.shape[1]):
            line.append_text(_cell(float(made.cells[i, j]), bool(made.visited[i, j]), wide))
        out.print(line)


def _cell(duty: float, visited: bool, wide: int) -> Text:
    number = f"{100.0 * duty:.4g}"
    text = f"{number} " if visited else f"({number})"
    r, g, b = shade(duty)
    back = f"#{r:02x}{g:02x}{b:02x}"
    return Text(text.rjust(wide), style=Style(color="#ffffff" if dark(duty) else "#000000", bgcolor=back))


def table_words(made: TunedTable) -> list[str]:
    """How to read the table, how it was kept acceptable, and whether it ever runs the pump."""
    axes = made.axes
    seen = int(made.visited.sum())
    out = [
        f"(brackets): never visited by these drives (under {SEEN_S:g} s): filled by rule with the largest visited "
        f"duty at or below it on both axes, full from the limit temperature up. {seen} of {made.cells.size} cells are "
        "visited."
    ]
    if axes.reading == "off":
        out.append(
            f"Read bilinearly, held at the edges; under the lowest running duty of {100 * axes.floor():g} % the output "
            f"is off (once running, it stays on down to {100 * (axes.floor() - axes.hysteresis):g} %)."
        )
    else:
        out.append(
            f"Read bilinearly, held at the edges, output as read; no cell lies between 0 and {100 * axes.floor():g} %."
        )
    along = "rises with temperature, falls with speed" if made.falling else "never falls along either axis"
    out.append(
        f"Duty {along}, in steps of {100 * axes.duty_step:g} %. Smoothness: {ROUGHNESS_PRICE:g} of the score for a "
        f"mean squared second difference of 1; here {ROUGHNESS_PRICE * made.roughness:.5f}. Limit: mean excess on "
        f"boost at most {MOST_OVER_K:g} K in the worst training world."
    )
    if made.never_runs:
        out.insert(
            0,
            "THE PUMP NEVER RUNS here: in every cell that these drives reach, off is best. The bracketed cells are a "
            "guard for warmer days only.",
        )
    return out


def show_settings(result: TuningResult) -> None:
    """Tuned settings beside the shipped ones, and a resistor's ohms and watts."""
    assert result.tuned is not None
    strategy, mine = result.job.contestant.strategy, result.contestant
    values = strategy.make_settings(dict(mine.settings))._asdict()
    rows = [[s.name, f"{values[s.name]:.4g}", f"{s.default:g}", s.unit, s.meaning] for s in strategy.settings]
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


def span(found: Interval, digits: int) -> str:
    """A value with its interval."""
    if math.isnan(found.value):
        return "-"
    value, low, high = (plain_zero(f"{x:.{digits}f}") for x in (found.value, found.low, found.high))
    return f"{value} ({low}..{high})"


def plain_zero(text: str) -> str:
    """A printed number without a minus before zero."""
    return text.removeprefix("-") if not any(c in "123456789" for c in text) else text


def show_comparison(found: Comparison) -> None:
    """Figures down the side, contestants across; 95 % intervals in brackets. Narrow: one block a contestant."""
    score = [["score"] + [scored(line) for line in found.lines]]
    rows = score + [
        [label] + [span(line.figures[name], digits) for line in found.lines] for name, label, digits in SHOWN
    ]
    differ = [
        ["score, tuned less this"]
        + ["" if line.contestant == found.mine else span(line.difference, 3) for line in found.lines]
    ]
    rows = rows[:1] + differ + rows[1:]
    wide = [max(len(row[k]) for row in rows) for k in range(len(rows[0]))]
    names = [line.contestant for line in found.lines]
    wide = [max(w, len(n)) + 2 for w, n in zip(wide, ["", *names], strict=True)]
    room = console().width
    say(f"Fresh worlds ({found.worlds}), not those it was tuned on; a year of these outings; 95 % intervals.")
    first = 1
    while first < len(wide):
        last = first + 1
        while last < len(wide) and wide[0] + sum(wide[first : last + 1]) <= room:
            last += 1
        heads = [("", "left")] + [(names[k - 1], "right") for k in range(first, last)]
        show(table(heads, [[row[0], *row[first:last]] for row in rows]))
        first = last
        if first < len(wide):
            say()


def scored(line: Line) -> str:
    """A contestant's score, or FAILED."""
    return f"FAILED {len(line.failed)} runs" if line.failed else span(line.score, 3)


def evidence(result: TuningResult) -> list[str]:
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
            f"It is over the limit by {mine.over_limit_k:.1f} K on average on boost, more than {HARD_LIMIT_K:g} K: it "
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
            + (f"; over the limit by {line.over_limit_k:.1f} K" if line.over_limit_k > 0.05 else "")
            + "."
        )
    if found.worlds < FEW_WORLDS:
        out.append(f"Only {found.worlds} fresh worlds: the intervals say little.")
    return out


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


def show_seasonal(found: Seasonal) -> None:
    """One table against one a climate; every table in every climate; the tables themselves."""
    say()
    for climate, made in found.tables.items():
        say(f"{made.name}, tuned for {climate} alone" + (": THE PUMP NEVER RUNS there" if made.never_runs else ""))
        show_table(made)
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
    if not pair.less_first.excludes(0.0):
        return "no difference to be told"
    return "better" if pair.less_first.value < 0.0 else "worse"


def show_aims(result: TuningResult) -> None:
    """Which target and limit the score is flat around."""
    season = result.job.plan.season
    say()
    say("Shapes tuned for other targets and limits, scored with the season's own, on the same fresh worlds:")
    rows = [
        [
            f"{a.target_c:g}", f"{a.limit_c:g}", "FAILED" if a.failed else span(a.score, 3), span(a.less_own, 3),
            span(a.boost_p95_c, 1), span(a.pump_hours, 2), "flat" if a.flat else "",
        ]
        for a in result.aims
    ]  # fmt: skip
    heads = [("target", "right"), ("limit", "right"), ("score", "right"), ("less own", "right")]
    heads += [("95 % on boost under", "right"), ("pump hours", "right"), ("", "left")]
    if console().width < 110:
        heads, rows = [*heads[:4], heads[6]], [[*r[:4], r[6]] for r in rows]
    show(table(heads, rows))
    flat = flat_span(result.aims, season.target_c, season.limit_c)
    (t1, t2), (l1, l2) = flat["target_c"], flat["limit_c"]
    prose(
        f"Flat (surely within {FLAT:g} of always-on's cost) from target {t1:g} to {t2:g} degC and from limit {l1:g} to "
        f"{l2:g} degC, of those tried."
    )


def show_tradeoff(found: Tradeoff) -> None:
    """The named choices on fresh worlds."""
    say()
    say(
        f"Trade-off: {len(found.front)} settings that none of {found.tried} beat in tracking, hours and energy at once."
    )
    rows = []
    for name in found.choices:
        line = found.comparison.line(name)
        f = line.figures
        rows.append(
            [
                name, scored(line), span(f["tracking_k_h"], 2), span(f["pump_hours"], 2), span(f["energy_wh"], 1),
                span(f["boost_p95_c"], 1),
            ]
        )  # fmt: skip
    heads = [("choice", "left"), ("score", "right"), ("off target, K h", "right"), ("pump hours", "right")]
    heads += [("energy, Wh", "right"), ("95 % on boost under", "right")]
    if console().width < 120:
        heads, rows = heads[:5], [[r[0], *(x.split(" ")[0] for x in r[1:5])] for r in rows]
    show(table(heads, rows))
    for name, point in found.choices.items():
        prose(f"{name}: " + ", ".join(f"{k} {v:.4g}" for k, v in point.settings.items()))


def verdict(line: Line, yours: bool) -> str:
    """One sentence about one rival."""
    name = "your table" if yours else line.contestant
    if line.failed:
        return f"Against {name}: that one FAILED {len(line.failed)} runs ({line.failed[0]})."
    share = 100.0 * line.wins
    if not line.difference.excludes(0.0):
        return f"Against {name}: cannot be told apart (difference {span(line.difference, 3)}; better in {share:.0f} %)."
    better = "better" if line.difference.value < 0.0 else "WORSE"
    size = Interval(abs(line.difference.value), *sorted((abs(line.difference.low), abs(line.difference.high))))
    return (
        f"Against {name}: {better} by {span(size, 3)} of always-on's cost, in {share:.0f} % of the resamples of worlds."
    )


def prose(text: str) -> None:
    """A sentence, wrapped on a terminal and left alone when piped."""
    width = console().width
    for line in textwrap.wrap(text, width, subsequent_indent="  ") if width < 1000 else [text]:
        say(line)


def tuning_document(result: TuningResult) -> dict[str, Any]:
    """`arena tune --json`."""
    job, plan, found = result.job, result.job.plan, result.comparison
    mine = found.line(found.mine)
    document: dict[str, Any] = {
        "schema": 1,
        "strategy": job.contestant.name,
        "season": plan.season.name,
        "car": plan.car.name,
        "seed": plan.seed,
        "spread": plan.spread,
        "trials": job.trials,
        "outings": [{"id": plan.outing_id(e), "weight": float(w)} for e, w in enumerate(plan.weights)],
        "folder": str(result.folder) if result.folder else None,
        "seconds": result.seconds,
        "score": mine.score.value,
        "score_low": mine.score.low,
        "score_high": mine.score.high,
        "train_score": result.train_score,
        "tuning_gap": mine.score.value - result.train_score,
        "settings": dict(result.contestant.strategy.make_settings(dict(result.contestant.settings))._asdict()),
        "table": table_document(result.table) if result.table is not None else None,
        "resistors": [vars(r) for r in result.resistors],
        "comparison": comparison_document(found),
        "wrong_core": {name: comparison_document(c) for name, c in result.wrong_core.items()},
        "notes": list(result.notes),
    }
    if result.foresight is not None:
        f = result.foresight
        document["foresight"] = {
            "score": vars(f.score),
            "tuned_score": vars(f.tuned_score),
            "share_of_gain": vars(f.share),
            "by_outing": f.by_outing,
        }
    if result.seasonal is not None:
        document["seasonal"] = seasonal_document(result.seasonal)
    if result.pairs:
        document["axes"] = [
            {"pair": p.pair, "score": vars(p.score), "less_first": vars(p.less_first), "table": table_document(p.table)}
            for p in result.pairs
        ]
    if result.aims:
        season = plan.season
        document["aims"] = {
            "tried": [
                {"target_c": a.target_c, "limit_c": a.limit_c, "score": vars(a.score), "less_own": vars(a.less_own),
                 "flat": a.flat, "failed": a.failed}
                for a in result.aims
            ],
            "flat": {k: list(v) for k, v in flat_span(result.aims, season.target_c, season.limit_c).items()},
        }  # fmt: skip
    if result.tradeoff is not None:
        t = result.tradeoff
        document["tradeoff"] = {
            "front": [{"score": p.score, "figures": p.figures, "settings": p.settings} for p in t.front],
            "choices": {n: {"settings": p.settings, "figures": p.figures} for n, p in t.choices.items()},
            "comparison": comparison_document(t.comparison),
        }
    return document


def seasonal_document(found: Seasonal) -> dict[str, Any]:
    """One table against one a climate."""
    return {
        "tables": {climate: table_document(made) for climate, made in found.tables.items()},
        "every_table_in_every_climate": [
            {"climate": c.climate, "table": c.table, "score": vars(c.score), "less_own": vars(c.less_own)}
            for c in found.cells
        ],
        "one_score": vars(found.one_score),
        "own_score": vars(found.own_score),
        "one_less_own": vars(found.one_costs),
    }


def table_document(made: TunedTable) -> dict[str, Any]:
    """A tuned table as plain data; duties in per cent."""
    axes = made.axes
    return {
        "down": axes.down.heading,
        "across": axes.across.heading,
        "down_breakpoints": list(axes.down.given),
        "across_breakpoints": list(axes.across.given),
        "duty_pct": np.round(100.0 * made.cells, 6).tolist(),
        "visits_s": np.round(made.visits_s, 1).tolist(),
        "visited": made.visited.tolist(),
        "never_runs": made.never_runs,
        "lowest_running_pct": 100.0 * axes.floor(),
        "hysteresis_pct": 100.0 * axes.hysteresis,
        "duty_step_pct": 100.0 * axes.duty_step,
        "below_lowest": axes.reading,
        "falls_along_speed": made.falling,
        "shape": made.shape,
        "roughness": made.roughness,
        "world_scores": list(made.world_scores),
    }


def comparison_document(found: Comparison) -> list[dict[str, Any]]:
    """Every contestant's figures with interval, and the tuned one's difference from it."""
    return [
        {
            "contestant": line.contestant,
            "score": vars(line.score),
            "figures": {f.name: vars(line.figures[f.name]) for f in FIGURES},
            "tuned_less_this": {
                "score": vars(line.difference),
                **{n: vars(v) for n, v in line.figure_differences.items()},
            },
            "tuned_better_share": line.wins,
            "failed": list(line.failed),
            "over_limit_k": line.over_limit_k,
        }
        for line in found.lines
    ]
