"""Values that resistors are sold in (IEC 60063) and what two of them make in series or side by side.

The E12 and E24 rows are the standard's preferred numbers, written from memory; tests hold them against the
rule they came from. Power ratings are common practice, no source.
"""

from __future__ import annotations

import bisect
from dataclasses import dataclass
from typing import Final, Literal

from arena.plant.values import require

E24: Final = (
    1.0, 1.1, 1.2, 1.3, 1.5, 1.6, 1.8, 2.0, 2.2, 2.4, 2.7, 3.0,
    3.3, 3.6, 3.9, 4.3, 4.7, 5.1, 5.6, 6.2, 6.8, 7.5, 8.2, 9.1,
)  # fmt: skip
E12: Final = E24[::2]
ROWS: Final[dict[str, tuple[float, ...]]] = {"E12": E12, "E24": E24}
RATINGS_W: Final = (5.0, 10.0, 25.0, 50.0, 100.0, 200.0, 300.0)  # metal-clad wirewound; common practice, no source
SMALLEST_OHM, LARGEST_OHM = 0.1, 91.0  # what power resistors are commonly sold in

Row = Literal["E12", "E24"]


@dataclass(frozen=True)
class Combination:
    """One resistor or two: what they come to, and the share of the heat that falls on the hotter one."""

    how: Literal["single", "series", "parallel"]
    parts_ohm: tuple[float, ...]
    ohm: float
    hotter_share: float

    def words(self) -> str:
        """For a person: `1.8`, `1.0 + 0.82`, `3.9 || 3.3`."""
        joint = {"single": "", "series": " + ", "parallel": " || "}[self.how]
        return joint.join(f"{part:g}" for part in self.parts_ohm)


def values_between(row: Row, low_ohm: float = SMALLEST_OHM, high_ohm: float = LARGEST_OHM) -> list[float]:
    """Every value of a row from low to high ohm (both included), rising."""
    found = [float(f"{v * 10.0**decade:.3g}") for decade in range(-3, 5) for v in ROWS[row]]
    return [v for v in found if low_ohm <= v <= high_ohm]


def neighbours(ohm: float, row: Row) -> tuple[float, float]:
    """The value at or below and the value at or above; ohm from 0.001 to 9.1e4."""
    require("ohm", ohm, 1e-3, 9.1e4)
    values = values_between(row, 0.0, float("inf"))
    at = bisect.bisect_left(values, ohm * (1.0 - 1e-9))
    upper = values[at]
    lower = upper if abs(upper - ohm) <= 1e-9 * ohm else values[at - 1]
    return lower, upper


def nearest(ohm: float, row: Row) -> float:
    """The value whose ratio to the wanted one is nearest 1 (the rows are even in ratio, not in difference)."""
    lower, upper = neighbours(ohm, row)
    return lower if ohm / lower <= upper / ohm else upper


def combinations(ohm: float, row: Row, how: Literal["series", "parallel"], count: int = 2) -> list[Combination]:
    """Pairs of a row that come nearest, best first; of those alike within 0.2 % the one that shares the heat best.

    Series: current in common, heat goes with resistance. Side by side: voltage in common, heat with 1/resistance.
    """
    require("ohm", ohm, 0.0, above=True)
    values = values_between(row)
    found = []
    for k, a in enumerate(values):
        for b in values[: k + 1]:
            total = a + b if how == "series" else a * b / (a + b)
            share = a / (a + b)  # the larger one in series, the smaller one side by side: the same share
            if 0.8 < total / ohm < 1.25:
                found.append(Combination(how, (a, b), total, share))
    return sorted(found, key=lambda c: (round(abs(c.ohm / ohm - 1.0) / 0.002), c.hotter_share))[:count]


def rating_at_least(watt: float) -> float | None:
    """The smallest rating sold that holds this many watts; None above the largest."""
    return next((r for r in RATINGS_W if r >= watt), None)
