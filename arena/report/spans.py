"""Values with their intervals in words, and sentences that wrap: what the screens of `arena tune` share."""

from __future__ import annotations

import math
import textwrap
from collections.abc import Sequence

from arena.contest.comparing import Interval, Line
from arena.report.screen import console, say, show, table
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


def show_across(names: Sequence[str], rows: Sequence[Sequence[str]]) -> None:
    """Figures down the side, contestants across the top, as many beside each other as the screen has room for.

    A row is the figure's label and its value for each of `names`.
    """
    heads = ["", *names]
    wide = [max(len(head), *(len(row[k]) for row in rows)) + 2 for k, head in enumerate(heads)]
    first = 1
    while first < len(wide):
        last = first + 1
        while last < len(wide) and wide[0] + sum(wide[first : last + 1]) <= console().width:
            last += 1
        columns = [("", "left"), *((head, "right") for head in heads[first:last])]
        show(table(columns, [[row[0], *row[first:last]] for row in rows]))
        first = last
        if first < len(wide):
            say()


def prose(text: str) -> None:
    """A sentence, wrapped on a terminal and left alone when piped."""
    width = console().width
    for line in textwrap.wrap(text, width, subsequent_indent="  ") if width < 1000 else [text]:
        say(line)
