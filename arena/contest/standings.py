"""Standings: from the figures of every run to places, with how sure each place is.

Score = J / J(always-on), J = prices x yearly quantities, summed over the whole season before dividing. Paired over
worlds: all contestants meet the same worlds, and whole worlds are drawn again for the intervals.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace
from functools import lru_cache
from typing import Any

import numpy as np
from numpy.typing import NDArray

from arena.contest.figures import FIGURES
from arena.errors import BadInput
from arena.scenario.season import WEAR_EXPONENTS, Prices, Season, WearLaw

Floats = NDArray[np.float64]

RESAMPLES = 4000
INTERVAL = (0.025, 0.975)
FEW_WORLDS = 5  # below this the intervals say little, and the standings say so
HARD_LIMIT_K = 2.0  # mean excess over the attainable limit on boost that no place is given for
YARDSTICK = "always-on"
REFERENCES = (YARDSTICK, "always-off")  # always among the contestants; always-off never with a place


@dataclass(frozen=True)
class RunTable:
    """Figures of every run; arrays [contestant, entry, world]. `limit_s` [entry, world]: weighted seconds on boost."""

    contestants: tuple[str, ...]
    ranked: tuple[bool, ...]
    values: dict[str, Floats]
    wear_parts: Floats  # [exponent, contestant, entry, world], h, without starts
    failed: NDArray[np.object_]  # reason, "" for none
    failed_s: Floats
    weights: Floats  # outings a year, [entry]
    limit_s: Floats

    def index(self, name: str) -> int:
        """Place of a contestant in the arrays."""
        return self.contestants.index(name)

    def only_entries(self, keep: NDArray[np.bool_]) -> RunTable:
        """The same runs on some of the season's entries."""
        return replace(
            self,
            values={k: v[:, keep] for k, v in self.values.items()},
            wear_parts=self.wear_parts[:, :, keep],
            failed=self.failed[:, keep],
            failed_s=self.failed_s[:, keep],
            weights=self.weights[keep],
            limit_s=self.limit_s[keep],
        )


@dataclass(frozen=True)
class Standing:
    """One contestant's line. `score` is None for a contestant that FAILED a run."""

    place: int | None
    tied_with: tuple[str, ...]
    contestant: str
    ranked: bool
    score: float | None
    score_low: float | None
    score_high: float | None
    figures: dict[str, float | None]
    failed_runs: int
    over_limit_k: float  # mean excess over the attainable limit, weighted by boost
    breaks_limit: bool


@dataclass(frozen=True)
class WhatIf:
    """The order of the ranked contestants if a price or the wear law were different."""

    what: str
    order: tuple[str, ...]
    scores: tuple[float, ...]


@dataclass(frozen=True)
class Standings:
    """All lines, best first; who beats whom in which share of the resamples; what changes with the prices."""

    lines: tuple[Standing, ...]
    beats: tuple[tuple[str, str, float], ...]
    what_if: tuple[WhatIf, ...]
    worlds: int
    notes: tuple[str, ...]

    def line(self, contestant: str) -> Standing:
        """The line of one contestant."""
        return next(line for line in self.lines if line.contestant == contestant)


def yearly(table: RunTable, values: Floats) -> Floats:
    """A year's total of a figure by [contestant, world]."""
    return np.asarray(np.einsum("cew,e->cw", values, table.weights))


def wear_hours(table: RunTable, law: WearLaw) -> Floats:
    """Yearly wear by [contestant, world] under a wear law (exponent 1, 1.5 or 2)."""
    part = table.wear_parts[WEAR_EXPONENTS.index(law.exponent)]
    return yearly(table, part + law.start_h * table.values["pump_starts"])


def costs(table: RunTable, prices: Prices, law: WearLaw) -> Floats:
    """J by [contestant, world], in the season's money a year."""
    tracking = yearly(table, table.values["tracking_k_h"])
    energy = yearly(table, table.values["energy_wh"]) * 1e-3
    wear = wear_hours(table, law)
    return prices.tracking_per_k_h * tracking + prices.wear_per_h * wear + prices.energy_per_kwh * energy


def over_limit_k(table: RunTable) -> Floats:
    """Mean excess over the attainable limit on boost, K, by contestant; 0 if the season never boosts."""
    excess = yearly(table, table.values["over_limit_k_s"]).sum(axis=1)
    time = float(np.einsum("ew,e->", table.limit_s, table.weights))
    return excess / time if time > 0.0 else np.zeros_like(excess)


def rank(table: RunTable, season: Season, seed: int) -> Standings:
    """Places, intervals, ties, shares of wins and what-ifs. The same table and seed give the same standings."""
    cost = costs(table, season.prices, season.wear)
    failures = (table.failed != "").sum(axis=(1, 2))
    excess = over_limit_k(table)
    yard = table.index(YARDSTICK)
    must_cost(float(cost[yard].sum()), season)
    score = cost.sum(axis=1) / cost[yard].sum()
    drawn = resampled(cost, yard, seed)
    spread = np.quantile(drawn, INTERVAL, axis=1)
    sound = (failures == 0) & (excess <= HARD_LIMIT_K)
    order = sorted(
        range(len(table.contestants)), key=lambda c: (failures[c] > 0, not sound[c], score[c], table.contestants[c])
    )
    ties = tied(score, drawn, [c for c in order if table.ranked[c] and sound[c]], table.contestants)
    better: dict[int, int] = {}
    ranked = [c for c in order if table.ranked[c]]
    for position, c in enumerate(ranked):
        ahead = [b for b in ranked[:position] if table.contestants[b] not in ties.get(c, ())]
        better[c] = 1 + len(ahead)
    lines = []
    for c in order:
        ok = failures[c] == 0
        lines.append(
            Standing(
                place=better.get(c) if ok else None,
                tied_with=ties.get(c, ()),
                contestant=table.contestants[c],
                ranked=table.ranked[c],
                score=float(score[c]) if ok else None,
                score_low=float(spread[0, c]) if ok else None,
                score_high=float(spread[1, c]) if ok else None,
                figures=season_figures(table, season.wear, c),
                failed_runs=int(failures[c]),
                over_limit_k=float(excess[c]),
                breaks_limit=bool(excess[c] > HARD_LIMIT_K),
            )
        )
    beats = tuple(
        (table.contestants[a], table.contestants[b], share_of_wins(drawn[a], drawn[b]))
        for a in ranked
        for b in ranked
        if a != b and failures[a] == failures[b] == 0
    )
    return Standings(
        tuple(lines),
        beats,
        tuple(what_ifs(table, season, [c for c in ranked if failures[c] == 0])),
        cost.shape[1],
        tuple(notes_on(cost.shape[1], int(failures[yard]))),
    )


def resampled(cost: Floats, yard: int, seed: int) -> Floats:
    """Scores over RESAMPLES drawings of worlds with replacement, [contestant, drawing]; deviations `widened`."""
    worlds = cost.shape[1]
    rng = np.random.Generator(np.random.PCG64(np.random.SeedSequence([seed, 0xB007])))
    counts = rng.multinomial(worlds, np.full(worlds, 1.0 / worlds), size=RESAMPLES).astype(np.float64)
    sums = cost @ counts.T
    drawn = sums / sums[yard]
    point = (cost.sum(axis=1) / cost[yard].sum())[:, None]
    return np.asarray(point + (drawn - point) * widened(worlds))


@lru_cache(maxsize=64)
def widened(worlds: int) -> float:
    """What deviations of resampled means of so few worlds are multiplied by; 1 for a single one.

    sqrt(n / (n - 1)), since drawing n of n understates the spread by that, times t / z at 95 % with n - 1 degrees of
    freedom, since the spread itself is known from n worlds only (Student's t; as in any text on small samples).
    """
    if worlds < 2:
        return 1.0
    from scipy.stats import norm, t

    return float(np.sqrt(worlds / (worlds - 1.0)) * t.ppf(INTERVAL[1], worlds - 1) / norm.ppf(INTERVAL[1]))


def tied(score: Floats, drawn: Floats, ranked: Sequence[int], names: Sequence[str]) -> dict[int, tuple[str, ...]]:
    """Pairs whose difference cannot be told from none: its interval includes zero (or is a rounding wide)."""
    out: dict[int, tuple[str, ...]] = {}
    for a in ranked:
        found = []
        for b in ranked:
            if a != b:
                low, high = np.quantile(drawn[a] - drawn[b], INTERVAL)
                if low <= 1e-12 and high >= -1e-12:
                    found.append(names[b])
        out[a] = tuple(found)
    return out


def share_of_wins(a: Floats, b: Floats) -> float:
    """Share of resamples in which a costs less than b; exact draws count half."""
    return float(np.mean((a < b) + 0.5 * (a == b)))


def season_figures(table: RunTable, law: WearLaw, c: int) -> dict[str, float | None]:
    """A contestant's figures for a year: sums, or means weighted by outings; None where nothing applies."""
    out: dict[str, float | None] = {}
    for figure in FIGURES:
        values = table.values[figure.name][c]
        weights = np.broadcast_to(table.weights[:, None], values.shape)
        known = np.isfinite(values)
        if not known.any():
            out[figure.name] = None
        elif figure.over == "sum":
            out[figure.name] = float(np.sum((values * weights)[known]) / values.shape[1])
        else:
            out[figure.name] = float(np.sum((values * weights)[known]) / np.sum(weights[known]))
    out["wear_hours"] = float(wear_hours(table, law)[c].mean())
    return out


def what_ifs(table: RunTable, season: Season, ranked: Sequence[int]) -> list[WhatIf]:
    """Orders with any price halved or doubled and at the corners of the wear law; over the limit stays behind."""
    within = over_limit_k(table) <= HARD_LIMIT_K
    p, w = season.prices, season.wear
    cases: list[tuple[str, Prices, WearLaw]] = []
    for key, word in (("tracking_per_k_h", "tracking"), ("wear_per_h", "wear"), ("energy_per_kwh", "energy")):
        for factor, done in ((0.5, "halved"), (2.0, "doubled")):
            changed: dict[str, Any] = {key: getattr(p, key) * factor}
            cases.append((f"{word} price {done}", replace(p, **changed), w))
    for exponent in (1.0, 2.0):
        for start in (0.0, 0.05):
            cases.append((f"wear exponent {exponent:g}, {start:g} h a start", p, WearLaw(exponent, start)))
    out = []
    for what, prices, law in cases:
        cost = costs(table, prices, law).sum(axis=1)
        score = cost / cost[table.index(YARDSTICK)]
        order = sorted(ranked, key=lambda c: (not within[c], score[c], table.contestants[c]))
        out.append(WhatIf(what, tuple(table.contestants[c] for c in order), tuple(float(score[c]) for c in order)))
    return out


def must_cost(yard: float, season: Season) -> None:
    """Raise BadInput where the yardstick costs nothing: a share of nothing is no score."""
    if not yard > 0.0:
        fault = f"{season.name}: at its prices {YARDSTICK} costs {yard:g}, so there is nothing to measure by"
        raise BadInput(fault, "Give wear_per_h or energy_per_kwh of the season a value above 0.")


def notes_on(worlds: int, failures: int = 0) -> list[str]:
    """What must be said about the ranking as a whole; `failures` of the yardstick."""
    notes = []
    if worlds < FEW_WORLDS:
        few = f"only {worlds} replicate{'s' if worlds != 1 else ''}"
        notes.append(f"{few}: intervals and ties say little below {FEW_WORLDS}")
    if failures:
        notes.append(
            f"{YARDSTICK}, by which all are measured, FAILED {failures} run{'s' if failures != 1 else ''}: scores are "
            "shares of what it cost until then, and say little"
        )
    return notes
