"""What the commands print on a terminal: plain tables that read without colour, at 80 columns and up.

When the output is piped nothing is wrapped or coloured. Tables go to stdout, progress and errors to stderr.
"""

from __future__ import annotations

import math
import sys
import time
from collections.abc import Sequence
from typing import TYPE_CHECKING, Any

from rich.console import Group
from rich.table import Table

from arena.report.screen import console, fitting, say, show, table
from arena.units import Units

if TYPE_CHECKING:
    from rich.live import Live

    from arena.contest.pool import Progress
    from arena.contest.protection import Protection
    from arena.contest.single import SingleRun
    from arena.contest.standings import Standings
    from arena.contest.tournament import TournamentResult

METRIC = Units()

CAUTIONS: tuple[str, ...] = (
    "Coolant is hot and under pressure; open the system only when cold, and watch the level: a leaking core lets "
    "coolant into the cylinders.",
    "A dropping resistor gets hot enough to burn and to start a fire: metal mount, fuse at the source, away from "
    "plastic.",
    "A failed probe, a resetting computer or a broken signal wire must mean full pump.",
    "Coolant standing still in the core can boil on boost; a pump must not run dry.",
    "Simulation is no knock protection: watch knock and temperatures on the car.",
    "No tuning while driving; test off public roads or with a passenger.",
    "Local road-worthiness, noise and emission rules and licensed trades come first.",
)


class ProgressLine:
    """Progress on stderr: kept up to date with live standings on a terminal, a plain line a stage when piped."""

    def __init__(self, quiet: bool = False) -> None:
        self.began = time.monotonic()
        self.quiet = quiet
        self.stage = ""
        self.stage_began = self.told = self.began
        self.terminal = sys.stderr.isatty()
        self.live: Live | None = None

    def __call__(self, step: Progress) -> None:
        """Tell of one step."""
        if self.quiet:
            return
        now = time.monotonic()
        if step.stage != self.stage:
            self.stage, self.stage_began = step.stage, self.told
            if not self.terminal:
                sys.stderr.write(f"{step.stage}: {step.total} steps\n")
        self.told = now
        if not self.terminal:
            return
        if self.live is None:
            from rich.live import Live

            self.live = Live(console=console(stderr=True), transient=True, auto_refresh=False)
            self.live.start()
        self.live.update(self._shown(step, now), refresh=True)

    def _shown(self, step: Progress, now: float) -> Group:
        """The line of progress, and how the contestants stand on the training worlds."""
        left = (now - self.stage_began) / step.done * (step.total - step.done) if step.done else 0.0
        text = f"{step.stage}: {step.done}/{step.total}, {now - self.began:.0f} s gone, about {left:.0f} s left"
        text += f"; {step.detail}" if step.detail else ""
        rows = [[name, figure(score, 3)] for name, score in step.standing]
        standing = [table([("best so far", "left"), ("score", "right")], rows)] if rows else []
        return Group(text, *standing)

    def done(self) -> None:
        """Clear what was shown."""
        if self.live is not None:
            self.live.stop()
            self.live = None


def figure(value: float | None, digits: int = 1) -> str:
    """A number for a table; a dash for none."""
    return "-" if value is None or math.isnan(value) else f"{value:.{digits}f}"


def of(units: Units, value: float | None, unit: str) -> float | None:
    """A figure in a printed metric unit as it is to be printed; none stays none."""
    return None if value is None else float(units.labelled(value, unit)[0])


def tournament(result: TournamentResult, per_climate: bool = False, units: Units = METRIC) -> None:
    """Standings of a tournament, what they rest on, and the cautions."""
    plan, standings = result.plan, result.standings
    entries = len(plan.season.entries)
    say(f"{plan.season.name}: {plan.season.summary}")
    worlds = f"{standings.worlds} replicate{'s' if standings.worlds != 1 else ''}"
    say(
        f"car {plan.car.name}; {entries} outings x {worlds}, seed {plan.seed}, spread {100 * plan.spread:g} %; "
        f"{result.seconds:.1f} s"
    )
    say()
    show(standings_table(standings, console().width, units))
    say()
    say("score: yearly cost of tracking, wear and energy against always-on (1.0); lower is better; 95 % interval.")
    degrees = "degF" if units.us else "kelvin"
    say(
        f"hot, cold: {degrees}-hours a year outside the target band, on boost and off; over: mean {degrees} over "
        "limit; P95: charge temperature that 95 % of the time on boost stays under."
    )
    for note in [*ties(standings, units), *standings.notes, *result.notes, *result.drive_notes(), *failures(result)]:
        say(note)
    say()
    if result.train_scores:
        show(tuning_table(result))
        say()
    if per_climate:
        from arena.contest.tournament import climate_standings

        for climate, its in climate_standings(result).items():
            say(f"in {climate} alone:" if its else f"in {climate} alone always-on costs nothing: nothing to measure by")
            if its is not None:
                show(standings_table(its, console().width, units))
            say()
    if result.protection:
        protection(result.protection, plan.season.limit_c, units)
        say()
    show(years_table(standings, console().width, units))
    say()
    for line in changes(standings):
        say(line)
    say()
    for line in CAUTIONS:
        say(line)


def standings_table(standings: Standings, width: int, units: Units = METRIC) -> Table:
    """Places and the figures that fit the width."""
    from arena.contest.figures import FIGURES

    headers = [("place", "right"), ("contestant", "left"), ("score", "right"), ("interval", "left")]
    columns = [
        ("hot_boost_k_h", "hot boost", 1), ("cold_cruise_k_h", "cold", 0), ("pump_hours", "pump h", 0),
        ("hot_cruise_k_h", "hot cruise", 0), ("wear_hours", "wear h", 0), ("pump_starts", "starts", 0),
        ("energy_wh", "Wh", 0), ("boost_p95_c", f"P95 {units.temperature_unit}", 1), ("power_kept_pct", "power %", 1),
    ]  # fmt: skip
    headers += [(title, "right") for _, title, _ in columns] + [("over", "right")]
    unit_of = {f.name: f.unit for f in FIGURES}
    rows = []
    for line in standings.lines:
        place = str(line.place) if line.place else ("FAILED" if line.failed_runs else "-")
        if line.tied_with:
            place += "="
        interval = "" if line.score_low is None else f"{line.score_low:.3f}..{line.score_high:.3f}"
        figures = [figure(of(units, line.figures[name], unit_of[name]), digits) for name, _, digits in columns]
        over = figure(of(units, line.over_limit_k, "K"), 2)
        rows.append([place, line.contestant, figure(line.score, 3), interval, *figures, over])
    return fitting(headers, rows, width, (0, 1, 2, len(headers) - 1))


FAULT_COLUMNS, MARK_COLUMNS = 26, 6  # widths: fault and drive, and one contestant's cell
NOTICED = {"fail-safe": "f", "more": "+", "less": "-", "full already": "=", "no": "."}


def protection(found: Sequence[Protection], limit_c: float, units: Units = METRIC) -> None:
    """Who protects the engine when a part fails: a line a contestant, then a line a fault."""
    rows = []
    for number, p in enumerate(found, start=1):
        failed = f"{p.failed} FAILED" if p.failed else ""
        rows.append(
            [str(number), p.contestant, figure(p.seconds_over, 0), figure(p.added_seconds, 0),
             figure(of(units, p.worst_c, "degC"), 0), p.worst_fault, f"{p.noticed}/{len(p.runs)}", failed]
        )  # fmt: skip
    limit, unit = units.labelled(limit_c, "degC")
    say(f"Who protects the engine: on boost after the fault, over {limit:g} {unit}")
    headers = [("", "right"), ("contestant", "left"), ("s over", "right"), ("by fault", "right"), ("worst", "right")]
    show(table([*headers, ("with", "left"), ("noticed", "right"), ("", "left")], rows))
    say()
    say("seconds over with each fault, columns numbered as above: f fail-safe duty, + asks")
    say("for more pump, - for less, = is at full already, . did not notice, ! FAILED")
    room = max((console().width - FAULT_COLUMNS) // MARK_COLUMNS, 1)
    for first in range(0, len(found), room):
        show(_fault_by_fault(found, range(first, min(first + room, len(found)))))
    for p in found:
        for reason in sorted({r.failed for r in p.runs} - {""}):
            with_it = sorted({r.fault for r in p.runs if r.failed == reason})
            say(f"{p.contestant}: FAILED with {', '.join(with_it)}: {reason}")


def _fault_by_fault(found: Sequence[Protection], columns: range) -> Table:
    """Seconds over with what the law made of it, a line a fault, for some of the contestants."""
    rows = []
    for k, run in enumerate(found[0].runs):
        seen = [found[c].runs[k] for c in columns]
        cells = [f"{figure(r.seconds_over, 0)}{'!' if r.failed else NOTICED[r.noticed]}" for r in seen]
        rows.append([run.fault, run.outing.split("/")[0].split("-")[0], *cells])
    return table([("fault", "left"), ("", "left"), *((str(c + 1), "right") for c in columns)], rows)


def ties(standings: Standings, units: Units = METRIC) -> list[str]:
    """One line a tie, each pair told once, and one for places lost to the limit."""
    lines, told = [], set()
    for line in standings.lines:
        told.add(line.contestant)
        if others := [name for name in line.tied_with if name not in told]:
            lines.append(f"{line.contestant} = {', '.join(others)}: the difference cannot be told from none")
    lines += [
        f"{line.contestant}: more than {of(units, line.over_limit_k, 'K'):.1f} {units.difference_unit} over the "
        "attainable limit on boost: no better place"
        for line in standings.lines
        if line.ranked and line.breaks_limit
    ]
    return lines


def failures(result: TournamentResult) -> list[str]:
    """One line a contestant that FAILED."""
    found = []
    for c, name in enumerate(result.table.contestants):
        reasons = sorted({str(r) for r in result.table.failed[c].ravel() if r})
        if reasons:
            count = int((result.table.failed[c] != "").sum())
            found.append(f"{name}: FAILED {count} runs: {'; '.join(reasons)}")
    return found


def tuning_table(result: TournamentResult) -> Table:
    """Settings found, score on the training worlds and on fresh ones, and the untuned twin."""
    from arena.contest.entering import settings_shown

    rows = []
    for c in result.contestants:
        if c.name not in result.train_scores:
            continue
        fresh, untuned = result.standings.line(c.name).score, result.standings.line(f"{c.name}-untuned").score
        rows.append(
            [
                c.name,
                figure(result.train_scores[c.name], 3),
                figure(fresh, 3),
                figure(result.gap(c.name), 3),
                figure(untuned, 3),
                ", ".join(f"{k} {v:g}" for k, v in settings_shown(c).items()),
            ]
        )
    headers = [("tuned", "left"), ("train", "right"), ("fresh", "right"), ("gap", "right"), ("untuned", "right")]
    out = table([*headers, ("settings", "left")], rows)
    out.columns[-1].no_wrap = False
    return out


def years_table(standings: Standings, width: int, units: Units = METRIC) -> Table:
    """What a year comes to, in absolute numbers that fit the width."""
    rows = []
    for line in standings.lines:
        f = line.figures
        rows.append(
            [
                line.contestant,
                figure(f["pump_hours"], 0),
                figure(f["wear_hours"], 0),
                figure(of(units, (f["fuel_ml"] or 0.0) / 1000.0, "L"), 2),
                figure(of(units, f["boost_p95_c"], "degC"), 1),
                figure(of(units, f["over_limit_k_s"], "K s"), 0),
                figure(f["minutes_to_target"], 1),
            ]
        )
    headers = [("a year", "left"), ("pump h", "right"), ("wear h", "right"), (f"fuel {units.volume_unit}", "right")]
    headers += [
        (f"P95 {units.temperature_unit}", "right"),
        (f"over limit {units.difference_unit} s", "right"),
        ("min to target", "right"),
    ]
    return fitting(headers, rows, width, (0,))


def changes(standings: Standings) -> list[str]:
    """Which prices or wear laws would change the order, in one line each; one line if none does."""
    order = tuple(line.contestant for line in standings.lines if line.ranked and not line.failed_runs)
    out = [f"with {w.what}: {' < '.join(w.order)}" for w in standings.what_if if w.order != order]
    return out or ["the order stands with any price halved or doubled and at the corners of the wear law"]


def drive(run: SingleRun, units: Units = METRIC) -> None:
    """One run: figures with unit and direction, notes."""
    from arena.contest.entering import settings_shown
    from arena.contest.figures import FIGURES

    worded = ", ".join(f"{k} {v:g}" for k, v in settings_shown(run.contestant).items())
    say(f"{run.drive.name} in {run.climate.name}, car {run.car.name}, seed {run.seed}")
    if run.fault is not None:
        say(f"with the fault {run.fault.name}: {run.fault.summary}")
    say(f"{run.contestant.name}" + (f": {worded}" if worded else ""))
    if run.failed:
        say(f"FAILED after {run.failed_s:.1f} s: {run.failed}")
    if run.record is not None:
        from arena.report.sparks import can_show, time_plot

        say()
        width = console().width if sys.stdout.isatty() else 80
        for line in time_plot(run, width, not can_show(sys.stdout.encoding), units):
            say(line)
    say()
    rows = []
    for f in FIGURES:
        unit = units.labelled(0.0, f.unit)[1]
        digits = 4 if unit == "gal" else 2
        better = f"{f.better} is better" if f.better != "neither" else ""
        rows.append([f.name, figure(of(units, run.figures[f.name], f.unit), digits), unit, better])
    show(table([("figure", "left"), ("value", "right"), ("unit", "left"), ("", "left")], rows))
    say("Counted: the drive and, after it, the same minutes of cruise, idle and engine off for all.")
    say("Hot, and over the limit: only above what full pump could have reached (docs/ranking.md).")
    if run.carried_cost is not None:
        carried_cost(run.carried_cost, units)
    for note in run.notes:
        say(f"note: {note}")


def carried_cost(cost: dict[str, float], units: Units = METRIC) -> None:
    """What a quiet cap or a run-on changes, figure by figure; one line if nothing."""
    from arena.contest.figures import FIGURES

    changed = [f for f in FIGURES if abs(cost.get(f.name, 0.0)) >= 0.005]
    say()
    if not changed:
        say("quiet cap and run-on change no figure on this drive")
        return
    rows = []
    for f in changed:
        unit = "K" if f.unit == "degC" else f.unit  # a change of a temperature is a difference
        change, label = units.labelled(cost[f.name], unit)
        rows.append([f.name, f"{change:+.2f}", label])
    show(table([("quiet cap and run-on change", "left"), ("by", "right"), ("unit", "left")], rows))


def pairs(rows: Sequence[tuple[str, Any, str]]) -> Table:
    """Three columns: what, value, how it is known."""
    return table([("", "left"), ("", "left"), ("", "left")], [(a, str(b), c) for a, b, c in rows])
