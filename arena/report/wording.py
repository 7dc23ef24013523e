"""Sentences of the page: who won, by how much, how sure, why; and figures in the units people asked for."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass
from typing import Any

from arena.contest.figures import FIGURES, Figure
from arena.contest.standings import HARD_LIMIT_K, RESAMPLES, YARDSTICK, notes_on
from arena.report.result import Line, Result
from arena.units import Units

PARTS = ("tracking", "wear", "energy")
PART_WORDS = {"tracking": "temperature off target", "wear": "pump wear", "energy": "electrical energy"}

SENSE_WORDS = {
    "iat_c": "charge temperature", "coolant_c": "coolant", "throttle_pct": "throttle", "pedal_pct": "pedal",
    "map_kpa": "manifold pressure (absolute)", "speed_kmh": "road speed", "rpm": "engine speed",
    "ambient_c": "outside air", "battery_v": "supply voltage", "engine_on": "engine on", "time_s": "time",
}  # fmt: skip


@dataclass(frozen=True)
class Scale:
    """printed = scale x metric + offset, in `unit`."""

    scale: float
    offset: float
    unit: str

    def of(self, value: float | None) -> float | None:
        """A metric value as printed; None stays None."""
        return None if value is None else self.scale * value + self.offset


def scale_of(unit: str, units: Units) -> Scale:
    """How a quantity with this metric unit is printed; units that do not change come back as they are."""
    zero, label = units.labelled(0.0, unit)
    return Scale(units.labelled(1.0, unit)[0] - zero, zero, label)


def number(value: float | None, digits: int) -> str:
    """A number for reading: a dash for none, no minus before zero, thousands apart."""
    if value is None or math.isnan(value):
        return "–"
    text = f"{value:,.{digits}f}".replace(",", "\N{NARROW NO-BREAK SPACE}")
    return text.removeprefix("-") if text.startswith("-") and not any(c in "123456789" for c in text) else text


def digits_for(values: Sequence[float | None]) -> int:
    """Decimals that show about three digits of the largest value."""
    top = max((abs(v) for v in values if v is not None), default=0.0)
    return 0 if top >= 100 else 1 if top >= 10 else 2 if top >= 0.1 else 3


def figure_named(name: str) -> Figure:
    """The declaration of a figure."""
    return next(f for f in FIGURES if f.name == name)


def cost_parts(result: Result, line: Line) -> dict[str, float]:
    """Parts of a contestant's score: prices x yearly figures over always-on's whole cost."""
    prices = result.views["season"]["prices"]
    yard = next(x for x in result.lines if x.contestant == YARDSTICK)
    whole = sum(_costs(prices, yard).values())
    return {part: cost / whole for part, cost in _costs(prices, line).items()} if whole > 0.0 else {}


def _costs(prices: dict[str, float], line: Line) -> dict[str, float]:
    f = line.figures
    return {
        "tracking": prices["tracking_per_k_h"] * (f["tracking_k_h"] or 0.0),
        "wear": prices["wear_per_h"] * (f["wear_hours"] or 0.0),
        "energy": prices["energy_per_kwh"] * (f["energy_wh"] or 0.0) * 1e-3,
    }


def front(result: Result) -> set[str]:
    """Ranked contestants that no other ranked one beats in tracking, pump hours and energy at once."""
    names = ("tracking_k_h", "pump_hours", "energy_wh")
    points = {line.contestant: [line.figures[n] for n in names] for line in result.ranked if not line.failed_runs}
    whole = {n: [v for v in p if v is not None] for n, p in points.items()}
    sound = {n: p for n, p in whole.items() if len(p) == len(names)}
    return {
        a
        for a, mine in sound.items()
        if not any(
            all(x <= y for x, y in zip(other, mine, strict=True)) and other != mine
            for b, other in sound.items()
            if b != a
        )
    }


def verdict(result: Result, units: Units) -> dict[str, Any]:
    """The five answers: headline, by how much, how sure, why. The winner's Line is under "winner" (None for none)."""
    placed = [line for line in result.ranked if line.place is not None and not line.failed_runs]
    if not placed:
        return {
            "winner": None,
            "headline": "No contestant got through the season: every ranked one FAILED a run.",
            "how_much": "There is no score to compare; the reasons stand under Faults.",
            "sure": "Nothing to be sure of.",
            "why": "",
        }
    winner = placed[0]
    rest = placed[1:]
    return {
        "winner": winner,
        "headline": _headline(winner, rest),
        "how_much": _how_much(result, winner, rest, units),
        "sure": _how_sure(result, winner, rest),
        "why": _why(result, winner, rest),
    }


def _headline(winner: Line, rest: Sequence[Line]) -> str:
    if not rest:
        return f"{winner.contestant} was alone in the ranking."
    if winner.tied_with:
        return f"{_joined([winner.contestant, *winner.tied_with])} share the lead: no telling them apart."
    return f"{winner.contestant} controls the pump best on this car and in this year."


def _how_much(result: Result, winner: Line, rest: Sequence[Line], units: Units) -> str:
    said = [f"{winner.contestant} costs {100 * (winner.score or 0.0):.1f} % of what an always-running pump costs"]
    other = next((line for line in rest if line.contestant not in winner.tied_with), None)
    if other is not None and other.score and winner.score is not None:
        less = 100 * (1 - winner.score / other.score)
        said[0] += f", and {less:.0f} % less than {other.contestant}, the next that can be told apart"
    yard = next(x for x in result.lines if x.contestant == YARDSTICK)
    if yard is not winner:
        mine, theirs, fuel, places = winner.figures, yard.figures, scale_of("L", units), 2 if units.us else 1
        said.append(
            f"In absolute terms: the pump runs {number(mine['pump_hours'], 0)} h a year instead of "
            f"{number(theirs['pump_hours'], 0)} h"
        )
        said.append(
            f"{number(fuel.of((mine['fuel_ml'] or 0.0) / 1e3), places)} {fuel.unit} of fuel for its current instead of "
            f"{number(fuel.of((theirs['fuel_ml'] or 0.0) / 1e3), places)} {fuel.unit}"
        )
        if mine["boost_p95_c"] is not None:
            temperature = scale_of("degC", units)
            said.append(
                f"charge air on boost stays under {number(temperature.of(mine['boost_p95_c']), 0)} "
                f"{temperature.unit} for 95 % of the time ({number(temperature.of(theirs['boost_p95_c']), 0)} "
                "always on)"
            )
    return said[0] + (". " + "; ".join(said[1:]) if len(said) > 1 else "") + "."


def _how_sure(result: Result, winner: Line, rest: Sequence[Line]) -> str:
    views = result.views
    said = []
    shares = {b: share for a, b, share in views["beats"] if a == winner.contestant}
    if rest:
        nearest = min(rest, key=lambda line: shares.get(line.contestant, 1.0))
        share = shares.get(nearest.contestant, 1.0)
        said.append(
            f"It beats its closest rival, {nearest.contestant}, in {_share(share)} of {RESAMPLES} resamples of "
            f"{views['worlds']} playings of the year, each on a car of its own"
        )
    lost = [w["what"] for w in views["what_if"] if w["order"] and w["order"][0] != winner.contestant]
    cases = len(views["what_if"])
    if lost:
        said.append(f"Another comes first with {_joined(lost, 'or')} ({len(lost)} of {cases} cases tried)")
    elif cases:
        said.append(f"It stays first in all {cases} cases with other prices or another wear law")
    few = notes_on(views["worlds"])
    return ". ".join([*said, *(note[0].upper() + note[1:] for note in few)]) + "."


def _share(share: float) -> str:
    return "all" if share >= 1.0 else f"{100 * share:.1f} %" if share > 0.99 else f"{100 * share:.0f} %"


def _why(result: Result, winner: Line, rest: Sequence[Line]) -> str:
    mine = cost_parts(result, winner)
    total = sum(mine.values())
    if not total:
        return ""
    shares = ", ".join(f"{100 * mine[p] / total:.0f} % {PART_WORDS[p]}" for p in PARTS)
    said = f"What it still costs is {shares}."
    if rest:
        theirs = cost_parts(result, rest[0])
        change = {p: mine[p] - theirs[p] for p in PARTS}
        gains = [p for p in PARTS if change[p] < -5e-4]
        losses = [p for p in PARTS if change[p] > 5e-4]
        worded = [f"{100 * -change[p]:.1f} points less {PART_WORDS[p]}" for p in gains]
        worded += [f"{100 * change[p]:.1f} points more {PART_WORDS[p]}" for p in losses]
        if worded:
            said += f" Against {rest[0].contestant} it has {_joined(worded)} (points: 1 % of always-on's cost)."
    return said


def limit_notes(result: Result, units: Units) -> list[str]:
    """A line for everyone who loses his place to the limit."""
    kelvin = scale_of("K", units)
    return [
        f"{line.contestant}: {number(kelvin.of(line.over_limit_k), 1)} {kelvin.unit} over the attainable limit on "
        f"boost on average, more than the {number(kelvin.of(HARD_LIMIT_K), 1)} {kelvin.unit} that a place allows."
        for line in result.lines
        if line.contestant in result.views["breaks_limit"]
    ]


def _joined(words: Sequence[str], last: str = "and") -> str:
    return words[0] if len(words) == 1 else f"{', '.join(words[:-1])} {last} {words[-1]}"
