"""What `arena fit` and `arena compare` show on a terminal, and the residuals as dots."""

from __future__ import annotations

import sys
import textwrap
import time
from collections.abc import Sequence
from typing import TYPE_CHECKING

import numpy as np

from arena.report.screen import console, say, show, table
from arena.report.terminal import METRIC
from arena.units import ZERO_C_K, Units

if TYPE_CHECKING:
    from arena.garage.before_after import Comparison
    from arena.garage.fit import Fit
    from arena.garage.health import Health
    from arena.garage.plan import Advice

BLUE = "#0072b2"


class Notice:
    """Progress on stderr: what is being done, kept on one line on a terminal, a line each when piped."""

    def __init__(self, quiet: bool = False) -> None:
        self.quiet = quiet
        self.live = sys.stderr.isatty()
        self.began = time.monotonic()
        self.shown = 0

    def __call__(self, text: str) -> None:
        """Tell what is being done."""
        if self.quiet:
            return
        if not self.live:
            sys.stderr.write(f"{text}\n")
            return
        line = f"{text}, {time.monotonic() - self.began:.0f} s gone"
        sys.stderr.write("\r" + line.ljust(self.shown))
        self.shown = len(line)
        sys.stderr.flush()

    def done(self) -> None:
        """Clear the line."""
        if self.live and self.shown:
            sys.stderr.write("\r" + " " * self.shown + "\r")
            sys.stderr.flush()


def prose(text: str, indent: str = "") -> None:
    """A sentence, wrapped to a terminal, one line when piped; `indent` for the lines after the first."""
    width = console().width
    for line in textwrap.wrap(text, width, subsequent_indent=indent) if width < 1000 else [text]:
        say(line)


def number(value: float | None) -> str:
    """A number to three places that matter."""
    return "-" if value is None else f"{value:.3g}" if abs(value) < 1000 else f"{value:.0f}"


def show_fit(found: Fit, units: Units = METRIC) -> None:
    """What the log tells of the car, what it cannot tell, and how well the car then follows the log."""
    log = found.log
    say(f"{log.name}: {log.seconds:.0f} s, {log.seconds_used:.0f} s used; pump duty {log.duty_from}")
    for note in log.notes:
        prose(f"note: {note}", "  ")
    say()
    rows = [
        [t.say, number(t.value), f"{number(t.low)} .. {number(t.high)}", t.unit, t.name]
        for t in found.told
        if t.identified
    ]
    if rows:
        heads = [("told by this log", "left"), ("value", "right"), ("90 % interval", "left"), ("", "left")]
        show(table([*heads, ("key in the car file", "left")], rows))
    else:
        say("this log tells none of the car's numbers")
    untold = [t for t in found.told if not t.identified]
    if untold:
        say()
        say(f"CANNOT be told by this log{_stand(found)}:")
        for t in untold:
            prose(f"  {t.say} ({t.name}): {t.why}", "      ")
        for advice in dict.fromkeys(t.advice for t in untold):
            names = ", ".join(t.say for t in untold if t.advice == advice)
            prose(f"  would tell {names}: {advice}", "      ")
    say()
    k, per = units.difference_unit, float(units.difference(1.0))
    say(
        f"left unexplained {per * found.rms_k:.2f} {k} RMS; "
        f"ambient plus a constant leaves {per * found.rms_baseline_k:.2f} {k}"
    )
    if found.held_out is not None:
        h = found.held_out
        prose(
            f"fitted to the first half alone, the second ({h.seconds:.0f} s) is predicted within "
            f"{per * h.rms_k:.2f} {k} RMS; ambient plus a constant: {per * h.baseline_k:.2f} {k}"
        )
    _warn(found)
    say()
    for line in residual_lines(found, min(console().width, 100) - 12, units):
        say(line)
    _written(found)


def show_file(found: Fit) -> None:
    """Whether the fit is of use, and the car file that was written of it."""
    say()
    _warn(found)
    _written(found)


def _stand(found: Fit) -> str:
    """Where the numbers stand that are not told, if a car file says so."""
    if found.out is None:
        return ""
    return ", in the car file as the fit moved them along, a guess" if found.guesses else ", left as in the car given"


def _warn(found: Fit) -> None:
    if found.held_out is not None and not found.held_out.follows:
        prose(
            "DO NOT USE THIS FIT: ambient plus a constant predicts this car better than the plant does. A cooler of "
            "another kind, a wrong base car, or a pump that was not run as taken. No car file is written."
        )


def _written(found: Fit) -> None:
    if found.out is not None:
        rest = (
            "what the fit moved along without telling it is marked a guess"
            if found.guesses
            else "the rest is as in the car given"
        )
        prose(f"car file written: {found.out} (numbers told are marked measured, with their intervals; {rest})")


def residual_lines(found: Fit, width: int, units: Units = METRIC) -> list[str]:
    """What is left of the reading over time: mean of each stretch as a row of signs."""
    edges = np.linspace(found.time_s[0], found.time_s[-1] + 1e-9, width + 1)
    which = np.clip(np.searchsorted(edges, found.time_s, side="right") - 1, 0, width - 1)
    total, count = np.bincount(which, found.residual_k, width), np.bincount(which, minlength=width)
    with np.errstate(invalid="ignore", divide="ignore"):
        mean = total / count
    top = max(float(np.nanmax(np.abs(mean))), 0.5)
    lines = []
    for level in (1.0, 0.5, 0.0, -0.5, -1.0):
        near = np.abs(mean / top - level) <= 0.25
        row = "".join("*" if hit else ("-" if level == 0.0 else " ") for hit in near)
        shown, label = units.labelled(level * top, "K")
        lines.append(f"{shown:+6.2f} {label} | {row}")
    first, last = f"{found.time_s[0]:.0f} s", f"{found.time_s[-1]:.0f} s"
    return [
        "reading less prediction",
        *lines,
        " " * (10 + len(units.difference_unit)) + first + last.rjust(width - len(first)),
    ]


def show_comparison(found: Comparison, units: Units = METRIC) -> None:
    """Each figure's change with its interval and verdict, and what would settle what cannot be told."""
    for name, log in (("BEFORE", found.before), ("AFTER", found.after)):
        ambient = float(np.mean(log.ambient_k)) - ZERO_C_K
        air = "{:.0f} {}".format(*units.labelled(ambient, "degC"))
        say(f"{name}: {log.name}, {log.seconds_used:.0f} s used, outside air {air}")
    for note in found.notes:
        prose(f"note: {note}", "  ")
    say()
    rows = []
    for c in found.changes:
        unit = "K" if c.unit == "degC" else c.unit  # a change of a temperature is a difference
        per, label = units.labelled(1.0, unit)
        span = "-" if c.low is None or c.high is None else f"{per * c.low:+.2f} .. {per * c.high:+.2f}"
        change = "-" if c.change is None else f"{per * c.change:+.2f}"
        rows.append([c.say, change, label, span, c.verdict])
    heads = [("at the same conditions", "left"), ("change", "right"), ("", "left"), ("95 % interval", "left")]
    show(table([*heads, ("verdict", "left")], rows))
    say()
    for c in found.changes:
        if c.verdict == "cannot tell":
            prose(f"{c.say}: {c.why}", "  ")
    say("lower is better in every line; change is AFTER less BEFORE")


def show_health(found: Health) -> None:
    """Whether coolant flows and the probe reads, with the evidence and what it cannot tell."""
    say(f"{found.log.name}, against {found.car}")
    for note in found.log.notes:
        prose(f"note: {note}", "  ")
    say()
    span = ""
    if found.share is not None and found.low is not None and found.high is not None:
        span = f": {100 * found.share:.0f} % of what the pump should move, 90 % interval {100 * found.low:.0f} to "
        span += f"{100 * found.high:.0f} %"
    say(f"coolant  {found.flow}{span}")
    say(f"probe    {found.probe}")
    say()
    for line in found.evidence:
        prose(f"evidence: {line}", "  ")
    for line in found.cannot_tell:
        prose(f"cannot tell: {line}", "  ")


def grouped(steps: Sequence[str]) -> list[tuple[str, int]]:
    """Steps that repeat as a whole are told once: their lines joined, and how often."""
    for length in range(1, len(steps) // 2 + 1):
        times = 1
        while list(steps[times * length : (times + 1) * length]) == list(steps[:length]):
            times += 1
        if times > 1:
            return [("; ".join(steps[:length]), times), *((step, 1) for step in steps[times * length :])]
    return [(step, 1) for step in steps]


def show_plan(advice: Advice, units: Units = METRIC) -> None:
    """The drive to log, step by step, and what it would tell."""
    if not advice.pieces:
        say("nothing short and safe would tell more than is told already")
    else:
        say(f"a drive of about {advice.minutes:.0f} minutes, engine warm; log all of it:")
    for k, piece in enumerate(advice.pieces, start=1):
        say()
        say(f"{k}. {piece.say}")
        for line, times in grouped([step.said(units) for step in piece.steps]):
            say(f"     {line}" + (f"   ({times} times)" if times > 1 else ""))
    say()
    rows = []
    for (key, words), before, after, told in zip(
        advice.names, advice.open_before, advice.open_after, advice.told_before, strict=True
    ):
        would = "told already" if told else ("would be told" if after < 0.5 else "would stay open")
        rows.append([words, f"{100 * before:.0f} %", f"{100 * after:.0f} %", would, key])
    show(table([("number", "left"), ("open now", "right"), ("after", "right"), ("", "left"), ("key", "left")], rows))
    say()
    for line in advice.cautions:
        prose(line)
