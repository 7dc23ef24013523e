"""Foresight: the best open-loop duty per outing that could be found, knowing the drive in advance.

Unranked. It is what no law can be expected to cross: the output says what share of the possible gain the tuned
settings reach. The search starts from every known run's own duty, so it is never worse than any of them.
"""

from __future__ import annotations

import hashlib
from collections.abc import Sequence
from concurrent.futures import ThreadPoolExecutor
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from arena.contest import foresight_law
from arena.contest.comparing import Draw, Interval
from arena.contest.figures import figures_of
from arena.contest.pool import Progress, Tell, in_order
from arena.contest.run import Contestant, lay_out, play
from arena.contest.standings import HARD_LIMIT_K, YARDSTICK
from arena.contest.worlds import Outing, Plan, car_of_world, play_entry
from arena.plant import layout as at
from arena.plant.compile import TICK_S
from arena.plant.numbers import CarNumbers
from arena.scenario.season import WEAR_EXPONENTS
from arena.strategies.base import Strategy

Floats = NDArray[np.float64]

WORLDS = 2
GENERATIONS = 24
BATCH = 64  # schedules tried at once
WINDOWS_S = (4.0, 10.0, 25.0, 60.0, 150.0, 400.0)
LEVELS = (0.0, 0.3, 0.45, 0.65, 1.0)

STRATEGY = Strategy(
    name="foresight",
    summary="the best duty found for a drive known in advance",
    sensed=foresight_law.Sensed,
    settings_type=foresight_law.Settings,
    memory=foresight_law.Memory(),
    law=foresight_law.duty,
    ranked=False,
    table=lambda _: ((), (), ()),
    path=foresight_law.__file__,
)


@dataclass(frozen=True)
class Foreseen:
    """One outing: what always-on, the tuned settings and foresight cost on it, in the season's money."""

    outing: str
    world: int
    always_on: float
    tuned: float
    foresight: float
    schedule: Floats  # duty by tick


@dataclass(frozen=True)
class Foresight:
    """What foresight reaches: score over its outings, and the share of the possible gain the tuned settings have."""

    outings: tuple[Foreseen, ...]
    score: Interval
    tuned_score: Interval
    share: Interval  # of the gain from always-on to foresight; nan if there is none
    by_outing: dict[str, float]  # share by drive and climate


def foresee(
    plan: Plan,
    contestants: Sequence[Contestant],
    tuned: str,
    pool: ThreadPoolExecutor,
    tell: Tell | None = None,
    worlds: int = WORLDS,
    generations: int = GENERATIONS,
) -> Foresight:
    """Search every outing of some fresh worlds; `contestants` (always-on and `tuned` among them) are the starts."""
    entries = len(plan.season.entries)
    cars = [car_of_world(plan, w) for w in range(worlds)]

    def one(number: int) -> Foreseen:
        world, entry = divmod(number, entries)
        outing = play_entry(plan, entry, world, cars[world])
        return _search(plan, outing, cars[world], contestants, tuned, generations)

    found = []
    for world in range(worlds):
        found += in_order(pool, one, range(world * entries, (world + 1) * entries))
        if tell:
            tell(Progress("foresight", world + 1, worlds))
    return _summed(plan, found, worlds)


def _summed(plan: Plan, found: list[Foreseen], worlds: int) -> Foresight:
    weights = plan.weights
    entries = len(weights)
    costs = np.array([[f.always_on, f.tuned, f.foresight] for f in found]).reshape(worlds, entries, 3)
    yearly = np.einsum("wec,e->cw", costs, weights)
    draw = Draw(worlds, plan.seed)
    on, mine, best = yearly

    def share(top: Floats, bottom: Floats) -> Interval:
        if bottom.sum() <= 0.0:
            return Interval(float("nan"), float("nan"), float("nan"))
        return draw.interval_of(draw.ratio(top, bottom), float(top.sum() / bottom.sum()))

    by_outing = {}
    for e in range(entries):
        gain = float((costs[:, e, 0] - costs[:, e, 2]).sum())
        by_outing[plan.outing_id(e)] = float((costs[:, e, 0] - costs[:, e, 1]).sum()) / gain if gain > 0.0 else 1.0
    return Foresight(tuple(found), share(best, on), share(mine, on), share(on - mine, on - best), by_outing)


def _search(
    plan: Plan, outing: Outing, numbers: CarNumbers, contestants: Sequence[Contestant], tuned: str, generations: int
) -> Foreseen:
    """Windows of the schedule are set to other duties; those that helped are tried together."""
    own = costs_on(plan, outing, numbers, contestants)
    starts = schedules_of(outing, contestants)
    ticks = outing.compiled.ticks
    key = int.from_bytes(hashlib.sha256(f"{outing.id} {outing.replicate}".encode()).digest()[:8], "little")
    rng = np.random.Generator(np.random.PCG64(np.random.SeedSequence([plan.seed, 0xF0E, key])))
    costs = costs_on(plan, outing, numbers, [scheduled(s) for s in starts])
    best, cost = starts[int(np.argmin(costs))], float(np.min(costs))
    helped: list[tuple[float, tuple[int, int, float]]] = []
    for _ in range(generations):
        moves = [tuple(m for _, m in sorted(helped)[:count]) for count in range(2, len(helped) + 1)][: BATCH // 3]
        while len(moves) < BATCH:
            moves.append((_window(rng, ticks, best),))
        made = [_with(best, m) for m in moves]
        costs = costs_on(plan, outing, numbers, [scheduled(s) for s in made])
        gains = [(c - cost, m[0]) for c, m in zip(costs, moves, strict=True) if len(m) == 1 and c < cost]
        helped = sorted(gains)[: BATCH // 3]
        place = int(np.argmin(costs))
        if costs[place] < cost:
            best, cost = made[place], float(costs[place])
    by_name = dict(zip([c.name for c in contestants], own, strict=True))
    if min(own) < cost:  # a start that a schedule cannot repeat to the bit
        cost = float(min(own))
    return Foreseen(outing.id, outing.replicate, by_name[YARDSTICK], by_name[tuned], cost, best)


def _window(rng: np.random.Generator, ticks: int, schedule: Floats) -> tuple[int, int, float]:
    """A stretch of the drive and the duty to hold there: a level, or what the schedule has just before or after."""
    length = int(WINDOWS_S[int(rng.integers(len(WINDOWS_S)))] / TICK_S)
    first = int(rng.integers(-length // 2, ticks))
    last = min(first + length, ticks)
    first = max(first, 0)
    choice = int(rng.integers(len(LEVELS) + 2))
    if choice < len(LEVELS):
        return first, last, LEVELS[choice]
    near = max(first - 1, 0) if choice == len(LEVELS) else min(last, ticks - 1)
    return first, last, float(schedule[near])


def _with(schedule: Floats, moves: Sequence[tuple[int, int, float]]) -> Floats:
    made = schedule.copy()
    for first, last, duty in moves:
        made[first:last] = duty
    return made


def scheduled(schedule: Floats) -> Contestant:
    """A contestant that follows a schedule of duty by tick."""
    return Contestant("foresight", STRATEGY, table=((), (), schedule))


def schedules_of(outing: Outing, contestants: Sequence[Contestant]) -> list[Floats]:
    """Duty by tick that each contestant gave the pump."""
    out = []
    for c in contestants:
        played = play(outing.compiled, lay_out([c]), trace_lanes=1, trace_columns=at.TRACE_COLUMNS)
        assert played.trace is not None
        out.append(np.clip(played.trace[:, 0, at.T_DUTY], 0.0, 1.0))
    return out


def costs_on(plan: Plan, outing: Outing, numbers: CarNumbers, contestants: Sequence[Contestant]) -> Floats:
    """Cost of each contestant on one outing; FAILED or over the hard limit costs dearly."""
    season = plan.season
    prices, law = season.prices, season.wear
    out: list[Floats] = []
    limit_s = TICK_S * float(outing.compiled.X[:, at.X_LIMIT].sum())
    for k in range(0, len(contestants), BATCH):
        batch = lay_out(contestants[k : k + BATCH])
        found = figures_of(
            play(outing.compiled, batch), outing.compiled, numbers, plan.goals, law.exponent, law.start_h
        )
        values = found.values
        wear = found.wear_parts[WEAR_EXPONENTS.index(law.exponent)] + law.start_h * values["pump_starts"]
        cost = (
            prices.tracking_per_k_h * values["tracking_k_h"]
            + prices.wear_per_h * wear
            + prices.energy_per_kwh * 1e-3 * values["energy_wh"]
        )
        over = np.maximum(values["over_limit_k_s"] / limit_s - HARD_LIMIT_K, 0.0) if limit_s > 0.0 else 0.0
        failed = np.array([bool(f) for f in found.failed])
        out.append(np.where(failed | ~np.isfinite(cost), 1e6, cost * (1.0 + 10.0 * over)))
    return np.concatenate(out)
