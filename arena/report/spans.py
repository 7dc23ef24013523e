"""Values with their intervals in words, and sentences that wrap: what the screens of `arena tune` share."""

from __future__ import annotations

import math
import textwrap

from arena.contest.comparing import Interval, Line
from arena.report.terminal import console, say
from arena.units import Units


def span(found: Interval, digits: int) -> str:
    """A value with its interval."""
    if math.isnan(found.value):
        return "-"
    value, low, high = (plain_zero(f"{x:.{digits}f}") for x in (found.value, found.low, found.high))
    return f"{value} ({low}..{high})"


def in_units(found: Interval, unit: str, units: Units) -> Interval:
    """An interval in a printed metric unit, as it is to be printed."""
    return Interval(*(float(units.labelled(x, unit)[0]) for x in (found.value, found.low, found.high)))


def plain_zero(text: str) -> str:
    """A printed number without a minus before zero."""
    return text.removeprefix("-") if not any(c in "123456789" for c in text) else text


def scored(line: Line) -> str:
    """A contestant's score, or FAILED."""
    return f"FAILED {len(line.failed)} runs" if line.failed else span(line.score, 3)


def prose(text: str) -> None:
    """A sentence, wrapped on a terminal and left alone when piped."""
    width = console().width
    for line in textwrap.wrap(text, width, subsequent_indent="  ") if width < 1000 else [text]:
        say(line)
