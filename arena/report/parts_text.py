"""What parts buy, on a terminal, as a JSON document and as a plot: absolutes first, then the ranking, then pairs."""

from __future__ import annotations

import dataclasses
import math
from typing import Any

from arena.contest.entering import settings_shown
from arena.contest.figures import FIGURES
from arena.garage.part_figures import Absolute, Change, PartResult, PartsResult, verdict
from arena.garage.sensitivity import Sensitivity
from arena.report.screen import console, say, show, table
from arena.report.terminal import CAUTIONS, METRIC, figure, of
from arena.report.wiring_text import prose
from arena.units import Units

Columns = list[tuple[str, str]]


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


def show_parts(result: PartsResult, units: Units = METRIC) -> None:
    """Everything, for a person."""
    say(f"What other parts would buy: car {result.car}, season {result.season}")
    worlds = "1 world" if result.replicates == 1 else f"{result.replicates} worlds"
    say(f"{worlds}, seed {result.seed}, spread {100 * result.spread:g} %; {result.seconds:.0f} s")
    say()
    prose(verdict(result, units))
    say()
    absolutes(result, units)
    ranking(result)
    changes(result, units)
    pairs(result)
    for r in result.skipped:
        prose(f"left out: {r.part.words}: {r.skipped}")
    for note in result.notes:
        prose(f"note: {note}")
    say()
    prose(" ".join(CAUTIONS))


def absolutes(result: PartsResult, units: Units = METRIC) -> None:
    """Whether any control is worth it, in a year's numbers."""
    say("A YEAR ON PRESENT HARDWARE")
    columns: Columns = [
        ("control", "left"),
        ("pump h", "right"),
        ("wear h", "right"),
        (f"fuel {units.volume_unit}", "right"),
    ]
    k = units.difference_unit
    columns += [
        (f"{k} on boost", "right"),
        (f"P95 {units.temperature_unit}", "right"),
        (f"over {k} s", "right"),
        ("money", "right"),
        ("", "left"),
    ]
    rows = []
    for a in result.absolutes:
        if a.failed:
            rows.append([a.contestant, "FAILED", *["-"] * (len(columns) - 2)])
            continue
        f, whole = a.figures, a.tracking_money + a.wear_money + a.energy_money
        split = f"{a.tracking_money:.0f}+{a.wear_money:.1f}+{a.energy_money:.1f}"
        rows.append(
            [a.contestant, figure(f["pump_hours"], 0), figure(f["wear_hours"], 0),
             figure(of(units, f["fuel_ml"] / 1e3, "L"), 2), figure(of(units, a.boost_excess_k, "K"), 2),
             figure(of(units, f["boost_p95_c"], "degC"), 1),
             figure(of(units, f["over_limit_k_s"], "K s"), 0),
             figure(whole, 1), split]
        )  # fmt: skip
    if console().width < 100:
        keep = [n for n in range(len(columns)) if n not in (6, 8)]
        columns, rows = [columns[n] for n in keep], [[row[n] for n in keep] for row in rows]
    show(table(columns, rows))
    prose(
        f"{k} on boost: mean {'degF' if units.us else 'kelvin'} over the target band. "
        "money a year: tracking + wear + energy by the season's prices."
    )
    for a in result.absolutes:
        if a.failed:
            prose(f"{a.contestant} FAILED: {a.failed}. What its year would come to cannot be told.")
        elif a.years is not None and math.isfinite(a.years[0]):
            prose(
                f"{a.contestant}: a pump rated {result.pump_life_h:g} h lasts {a.years[0]:.0f} years "
                f"({a.years[1]:.0f}..{a.years[2]:.0f} over the corners of the wear law)"
            )
    if result.pump_life_h is None:
        prose("--pump-life-h gives years of pump life, with --pump-price wear at your own price.")
    say()


def ranking(result: PartsResult) -> None:
    """What buys most: money a year against the best control on present hardware, with control itself beside it."""
    say("WHAT BUYS MOST (money saved a year, each with its own best control)")
    wide = console().width >= 110
    length = 24 if wide else 10
    most = max([abs(r.changes["cost"].mean) for r in result.results], default=0.0) or 1.0
    broken = result.control_failed
    rows = [
        ["control itself, from always-on", "FAILED" if broken else _saved(result.control),
         "" if broken else span(result.control, -1.0), result.best.strategy.name, "",
         broken or bar(-result.control.mean, most, length)]
    ]  # fmt: skip
    for r in result.results:
        change = r.changes["cost"]
        alone = "-" if r.left_alone is None else f"{0.0 - round(r.left_alone.mean, 2):+.2f}"
        if r.failed:
            rows.append([r.part.words, "FAILED", "", _strategy(r), alone, r.failed])
        else:
            drawn = bar(-change.mean, most, length)
            rows.append([r.part.words, _saved(change), span(change, -1.0), _strategy(r), alone, drawn])
    columns: Columns = [("part", "left"), ("saves", "right"), ("interval", "left"), ("control", "left")]
    columns += [("settings left", "right"), ("", "left")]
    if not wide:
        columns, rows = [columns[k] for k in (0, 1, 2, 5)], [[row[k] for k in (0, 1, 2, 5)] for row in rows]
    show(table(columns, rows))
    prose(
        "* the interval leaves zero out. Bars: of the largest part; > runs off the end."
        + (" settings left: saved with the settings of the present hardware." if wide else "")
    )
    say()


FIGURE_COLUMNS = (  # figure, title, unit of a change in it (of a temperature: a difference), digits
    ("hot_boost_k_h", "hot boost", "K h", 2), ("boost_p95_c", "P95 boost", "K", 2), ("fuel_ml", "fuel", "ml", 0),
    ("wear_hours", "wear", "h", 1), ("cold_cruise_k_h", "cold", "K h", 1), ("hot_cruise_k_h", "hot cruise", "K h", 1),
    ("over_limit_k_s", "over limit", "K s", 0), ("power_kept_pct", "power kept", "%", 2),
    ("pump_hours", "pump", "h", 1), ("pump_starts", "starts", "", 0),
)  # fmt: skip


def changes(result: PartsResult, units: Units = METRIC) -> None:
    """Changes in the figures against best control on present hardware, as many as the width holds."""
    say("CHANGE IN FIGURES against present hardware, a year, +- 95 % interval")
    names = FIGURE_COLUMNS[: max(2, (console().width - 20) // 15)]
    rows = []
    for r in [*result.results, *result.pairs]:
        rows.append(
            [
                r.part.name,
                *(
                    _with_half(r.changes.get(n), d + (3 if unit == "ml" and units.us else 0), units, unit)
                    for n, _, unit, d in names
                ),
            ]
        )
    titles = [f"{title} {units.labelled(0.0, unit)[1]}".strip() for _, title, unit, _ in names]
    show(table([("part", "left"), *((title, "right") for title in titles)], rows))
    prose("--json gives every figure.")
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
        words = r.part.words if console().width >= 110 else r.part.name
        rows.append([words, _saved(change), span(change, -1.0), f"{-total:+.2f}", r.failed])
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


def bar(value: float, most: float, length: int = 24) -> str:
    """A bar for a terminal: # for what is saved, - for what is lost; > where it runs off the end."""
    count = round(length * abs(value) / most)
    return ("#" if value > 0.0 else "-") * min(count, length) + (">" if count > length else "")


def span(change: Change, sign: float = 1.0) -> str:
    """An interval, turned about where `sign` is -1."""
    if math.isnan(change.low):
        return "-"
    low, high = sorted((sign * round(change.low, 2) + 0.0, sign * round(change.high, 2) + 0.0))  # no -0.00
    return f"{low:+.2f}..{high:+.2f}"


def settings_of(contestant: Any) -> dict[str, float]:
    """The settings of a contestant by name, without crumbs of rounding."""
    return {name: float(f"{value:.12g}") for name, value in settings_shown(contestant).items()}


def _strategy(r: PartResult) -> str:
    return r.contestant.strategy.name if r.contestant is not None else ""


def _saved(change: Change) -> str:
    """Saving with a star where its interval leaves zero out."""
    return f"{0.0 - round(change.mean, 2):+.2f}" + (
        " " if change.low <= 0.0 <= change.high or math.isnan(change.low) else "*"
    )


def _with_half(change: Change | None, digits: int, units: Units, unit: str) -> str:
    if change is None:
        return "-"
    per, label = units.labelled(1.0, unit)
    digits = 4 if label == "gal" else digits
    half = "" if math.isnan(change.low) else f" +-{per * (change.high - change.mean):.{digits}f}"
    return f"{per * change.mean:+.{digits}f}{half}"


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
        "failed": a.failed or None,
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
