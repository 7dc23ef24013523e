"""What parts buy, on a terminal, as a JSON document and as a plot: absolutes first, then the ranking, then pairs."""

from __future__ import annotations

import dataclasses
import math
import os
from html import escape
from pathlib import Path
from typing import Any

from arena.contest.figures import FIGURES
from arena.errors import BadInput
from arena.garage.parts import Absolute, Change, PartResult, PartsResult
from arena.garage.sensitivity import Sensitivity
from arena.report.terminal import CAUTIONS, console, figure, say, show, table
from arena.report.wiring_text import prose

Columns = list[tuple[str, str]]
BAR = 24


def parts_document(result: PartsResult) -> dict[str, Any]:
    """`arena parts --json`."""
    return {
        "schema": 1,
        "season": result.season,
        "car": result.car,
        "seed": result.seed,
        "spread": result.spread,
        "replicates": result.replicates,
        "seconds": result.seconds,
        "prices": result.prices,
        "pump_life_h": result.pump_life_h,
        "verdict": result.verdict,
        "absolutes": [_absolute(a) for a in result.absolutes],
        "control": {
            "strategy": result.best.strategy.name,
            "settings": settings_of(result.best),
            "cost": _change(result.control),
        },
        "parts": [_part(r) for r in result.results],
        "pairs": [_part(r) for r in result.pairs],
        "skipped": [{"name": r.part.name, "what": r.part.words, "why": r.skipped} for r in result.skipped],
        "units": {**{f.name: f.unit for f in FIGURES}, "cost": "money a year"},
        "notes": list(result.notes),
    }


def show_parts(result: PartsResult) -> None:
    """Everything, for a person."""
    say(f"What other parts would buy: car {result.car}, season {result.season}")
    say(
        f"{result.replicates} worlds, seed {result.seed}, part spread {100 * result.spread:g} %; {result.seconds:.0f} s"
    )
    say()
    prose(result.verdict)
    say()
    absolutes(result)
    ranking(result)
    changes(result)
    pairs(result)
    for r in result.skipped:
        prose(f"left out: {r.part.words}: {r.skipped}")
    for note in result.notes:
        prose(f"note: {note}")
    say()
    for line in CAUTIONS:
        say(line)


def absolutes(result: PartsResult) -> None:
    """Whether any control is worth it, in a year's numbers."""
    say("A YEAR ON PRESENT HARDWARE")
    columns: Columns = [("control", "left"), ("pump h", "right"), ("wear h", "right"), ("fuel L", "right")]
    columns += [("K on boost", "right"), ("P95 degC", "right"), ("over K s", "right"), ("money", "right"), ("", "left")]
    rows = []
    for a in result.absolutes:
        f, whole = a.figures, a.tracking_money + a.wear_money + a.energy_money
        split = f"{a.tracking_money:.0f}+{a.wear_money:.1f}+{a.energy_money:.1f}"
        rows.append(
            [a.contestant, figure(f["pump_hours"], 0), figure(f["wear_hours"], 0), figure(f["fuel_ml"] / 1e3, 2),
             figure(a.boost_excess_k, 2), figure(f["boost_p95_c"], 1), figure(f["over_limit_k_s"], 0),
             figure(whole, 1), split]
        )  # fmt: skip
    show(table(columns, rows))
    prose(
        "K on boost: mean kelvin over the target band. money a year: tracking + wear + energy by the season's prices."
    )
    for a in result.absolutes:
        if a.years is not None and math.isfinite(a.years[0]):
            prose(
                f"{a.contestant}: a pump rated {result.pump_life_h:g} h lasts {a.years[0]:.0f} years "
                f"({a.years[1]:.0f}..{a.years[2]:.0f} over the corners of the wear law)"
            )
    if result.pump_life_h is None:
        prose("--pump-life-h gives years of pump life, with --pump-price wear at your own price.")
    say()


def ranking(result: PartsResult) -> None:
    """What buys most: money a year against the best control on present hardware, with control itself beside it."""
    say("WHAT BUYS MOST (saved in money a year, each with its own best control; 95 % interval)")
    rows = []
    control = (result.control, f"[control] always-on -> {result.best.strategy.name}", "", "")
    listed = [(r.changes["cost"], r.part.words, _strategy(r), r.failed) for r in result.results]
    most = max([abs(c.mean) for c, *_ in listed], default=0.0) or 1.0
    for change, words, with_control, failed in [control, *listed]:
        if failed:
            rows.append([words, "FAILED", "", with_control, failed])
            continue
        known = "" if change.low <= 0.0 <= change.high or math.isnan(change.low) else "*"
        rows.append([words, f"{-change.mean:+.2f}{known}", span(change, -1.0), with_control, bar(-change.mean, most)])
    show(table([("part", "left"), ("saves", "right"), ("interval", "left"), ("control", "left"), ("", "left")], rows))
    prose("* cannot be nothing. Bars: of the largest part; control's own may run off the end (>).")
    say()


def changes(result: PartsResult) -> None:
    """Changes in the figures against best control on present hardware."""
    say("CHANGE IN FIGURES against best control on present hardware, a year")
    wide = console().width >= 110
    names = [("hot_boost_k_h", "hot boost K h", 2), ("boost_p95_c", "P95 K", 2), ("cold_cruise_k_h", "cold K h", 1)]
    names += [("wear_hours", "wear h", 1), ("fuel_ml", "fuel ml", 0)]
    names += (
        [("over_limit_k_s", "over K s", 0), ("hot_cruise_k_h", "hot cruise", 1), ("power_kept_pct", "power %", 2)]
        if wide
        else []
    )
    rows = []
    for r in [*result.results, *result.pairs]:
        cells = [f"{r.changes[n].mean:+.{d}f}{_mark(r.changes[n])}" if n in r.changes else "-" for n, _, d in names]
        rows.append([r.part.name, *cells])
    show(table([("part", "left"), *((title, "right") for _, title, _ in names)], rows))
    prose("* interval without zero; --json gives every figure with its interval.")
    say()


def pairs(result: PartsResult) -> None:
    """Two parts together against the sum of each."""
    if not result.pairs:
        return
    alone = {r.part.name: r.changes["cost"].mean for r in result.results}
    say("PAIRS (saved in money a year)")
    rows = []
    for r in result.pairs:
        change = r.changes["cost"]
        total = sum(alone[name] for name in r.part.name.split("+"))
        rows.append([r.part.words, f"{-change.mean:+.2f}", span(change, -1.0), f"{-total:+.2f}", r.failed])
    show(
        table(
            [("pair", "left"), ("saves", "right"), ("interval", "left"), ("sum of both", "right"), ("", "left")], rows
        )
    )
    say()


def show_sensitivity(found: Sensitivity, count: int = 8) -> None:
    """Which numbers of the car the answers hang on."""
    say()
    say(f"SENSITIVITY over the spread of the car's numbers ({found.cars} cars, traffic held)")
    for answer in found.answers:
        say()
        say(f"{answer}: {found.means[answer]:.1f} money a year, standard deviation {found.deviations[answer]:.2f}")
        rows = [
            [s.name, "measured" if s.known else "assumed", f"{s.total:.2f}", f"{s.total_low:.2f}..{s.total_high:.2f}",
             f"{s.first:.2f}", f"{s.first_low:.2f}..{s.first_high:.2f}"]
            for s in found.shares[answer][:count]
        ]  # fmt: skip
        columns: Columns = [("number", "left"), ("", "left"), ("total", "right"), ("90 %", "left")]
        show(table([*columns, ("alone", "right"), ("90 %", "left")], rows))
    prose(
        "Share of the variance (Sobol): total with all it works together with, alone by itself. Measure first what has "
        f"the largest total. Outings: {', '.join(found.outings)}. Few cars: mind the intervals."
    )


def sensitivity_document(found: Sensitivity) -> dict[str, Any]:
    """The `sensitivity` part of `arena parts --sensitivity --json`."""
    return dataclasses.asdict(found)


def bar(value: float, most: float) -> str:
    """A bar for a terminal: # to the right for what is saved, - for what is lost."""
    count = round(BAR * abs(value) / most)
    return ("#" if value > 0.0 else "-") * min(count, BAR) + (">" if count > BAR else "")


def span(change: Change, sign: float = 1.0) -> str:
    """An interval, turned about where `sign` is -1."""
    if math.isnan(change.low):
        return "-"
    low, high = sorted((sign * change.low, sign * change.high))
    return f"{low:+.2f}..{high:+.2f}"


def settings_of(contestant: Any) -> dict[str, float]:
    """The settings of a contestant by name."""
    return dict(contestant.strategy.make_settings(dict(contestant.settings))._asdict())


def write_plot(result: PartsResult, path: Path) -> None:
    """Write the ranking as SVG; whole or not at all. Raises BadInput where it cannot be written."""
    part = path.with_name(path.name + ".part")
    try:
        part.write_text(plot_svg(result), encoding="utf-8")
        os.replace(part, path)
    except OSError as error:
        raise BadInput(
            f"--plot {path}: {error.strerror or error}", "Name a file in a folder you may write to."
        ) from error


def plot_svg(result: PartsResult) -> str:
    """Dots with intervals: money saved a year by each part and pair, control's own in words."""
    rows = [r for r in [*result.results, *result.pairs] if not r.failed]
    ends = [0.0] + [e for r in rows for e in (-r.changes["cost"].low, -r.changes["cost"].high) if math.isfinite(e)]
    ends += [-r.changes["cost"].mean for r in rows]
    low, high = min(ends), max(ends)
    room = 0.05 * (high - low) or 1.0
    low, high = low - room, high + room
    left, right, step = 330.0, 900.0, 24.0
    height = 110.0 + step * len(rows)

    def x(value: float) -> float:
        return left + (right - left) * (value - low) / (high - low)

    out = [
        f'<svg xmlns="http://www.w3.org/2000/svg" viewBox="0 0 940 {height:g}" width="940" height="{height:g}" '
        'role="img" font-family="sans-serif" font-size="13">',
        f"<title>{escape(f'What parts buy for {result.car} over {result.season}')}</title>",
        f'<rect width="940" height="{height:g}" fill="#ffffff"/>',
        '<text x="16" y="26" font-size="16">Saved in money a year, each part with its own best control</text>',
        f'<text x="16" y="46" fill="#555555">{escape(f"control itself, always-on to {result.best.strategy.name}: ")}'
        f"{-result.control.mean:.1f} ({span(result.control, -1.0)})</text>",
    ]
    for tick in ticks(low, high):
        out.append(f'<line x1="{x(tick):.1f}" x2="{x(tick):.1f}" y1="62" y2="{height - 36:g}" stroke="#dddddd"/>')
        out.append(f'<text x="{x(tick):.1f}" y="{height - 16:g}" text-anchor="middle" fill="#555555">{tick:g}</text>')
    out.append(f'<line x1="{x(0):.1f}" x2="{x(0):.1f}" y1="62" y2="{height - 36:g}" stroke="#1a1a1a"/>')
    for k, r in enumerate(rows):
        y, c = 80.0 + step * k, r.changes["cost"]
        colour = "#0072b2" if r.part.family != "pair" else "#d55e00"
        out.append(f'<text x="{left - 12:g}" y="{y + 4:g}" text-anchor="end">{escape(r.part.words)}</text>')
        if math.isfinite(c.low):
            ends_at = f'x1="{x(-c.high):.1f}" x2="{x(-c.low):.1f}" y1="{y:g}" y2="{y:g}"'
            out.append(f'<line {ends_at} stroke="{colour}" stroke-width="2"/>')
        out.append(f'<circle cx="{x(-c.mean):.1f}" cy="{y:g}" r="4.5" fill="{colour}"/>')
    return "\n".join([*out, "</svg>", ""])


def ticks(low: float, high: float) -> list[float]:
    """Four to nine round values within a span."""
    rough = (high - low) / 6.0
    power = 10.0 ** math.floor(math.log10(rough))
    step = next(power * m for m in (1.0, 2.0, 5.0, 10.0) if power * m >= rough)
    return [round(k * step, 10) for k in range(math.ceil(low / step), math.floor(high / step) + 1)]


def _strategy(r: PartResult) -> str:
    return r.contestant.strategy.name if r.contestant is not None else ""


def _mark(change: Change) -> str:
    return "" if change.low <= 0.0 <= change.high or math.isnan(change.low) else "*"


def _change(change: Change | None) -> dict[str, float] | None:
    return None if change is None else {"change": change.mean, "low": change.low, "high": change.high}


def _absolute(a: Absolute) -> dict[str, Any]:
    return {
        "contestant": a.contestant,
        "figures": a.figures,
        "boost_excess_k": a.boost_excess_k,
        "money": {"tracking": a.tracking_money, "wear": a.wear_money, "energy": a.energy_money},
        "cost_against_always_on": _change(a.cost),
        "years": None if a.years is None else dict(zip(("years", "low", "high"), a.years, strict=True)),
    }


def _part(r: PartResult) -> dict[str, Any]:
    return {
        "name": r.part.name,
        "what": r.part.words,
        "assumed": r.part.assumed,
        "strategy": _strategy(r),
        "settings": settings_of(r.contestant) if r.contestant is not None else {},
        "cost": r.cost,
        "figures": r.figures,
        "changes": {name: _change(c) for name, c in r.changes.items()},
        "left_alone": _change(r.left_alone),
        "failed": r.failed or None,
    }
