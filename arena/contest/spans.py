"""An outing on which the car itself changes: from a tick on the kernel runs with other constants and tables.

State carries over, so that a part that fails on the road fails with the loop as warm as it is by then.
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from arena.plant.compile import CompiledOuting

Floats = NDArray[np.float64]
Tables = tuple[Floats, Floats, Floats, Floats]  # P, duty table, flow table, exchanger table


@dataclass(frozen=True)
class Span:
    """What the kernel runs with from tick `first` on."""

    first: int
    tables: Tables


@dataclass(frozen=True)
class SpannedOuting(CompiledOuting):
    """A compiled outing whose constants and tables change at the ticks of `later`, in order."""

    later: tuple[Span, ...] = ()


def spans_of(outing: CompiledOuting) -> Iterator[tuple[int, int, Tables]]:
    """(first tick, last tick + 1, tables) of every stretch; one for an outing on which nothing changes."""
    later = outing.later if isinstance(outing, SpannedOuting) else ()
    first, tables = 0, (outing.P, outing.duty_table, outing.flow_table, outing.exchanger_table)
    for span in later:
        if span.first > first:
            yield first, span.first, tables
        first, tables = span.first, span.tables
    if outing.ticks > first:
        yield first, outing.ticks, tables
