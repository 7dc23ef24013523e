"""Who protects the engine when a part fails: every contestant on every outing with a fault, and on the same without it.

Counted on boost from the fault's onset on, against the season's limit as it stands: nothing is forgiven here for
being out of reach.
"""

from __future__ import annotations

from collections.abc import Sequence
from concurrent.futures import ThreadPoolExecutor
from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray

from arena.contest.pool import in_order
from arena.contest.run import Accumulated, Contestant, Lanes, play
from arena.contest.spans import SpannedOuting
from arena.contest.worlds import Plan, batches, car_of_world, play_entry
from arena.plant import layout as at
from arena.plant.compile import TICK_S, CompiledOuting
from arena.units import ZERO_C_K

Floats = NDArray[np.float64]

CHANGED = 0.02  # mean commanded duty that must differ from the sound run's to count as noticed
FULL = 0.97  # mean commanded duty from which nothing is left to add
MOST_TRACED = 8  # lanes of a batch whose duty is kept; what they record takes memory


@dataclass(frozen=True)
class FaultRun:
    """One contestant on one outing with a fault, the mean over the worlds, the worst of them for `worst_c`.

    `noticed`: "fail-safe" the probe's reading is out of range and the law gives its fail-safe duty; "more" or "less"
    pump than without the fault; "full already"; or "no". `failed`: the reason a run FAILED, "" for none.
    """

    contestant: str
    outing: str
    fault: str
    worst_c: float | None  # highest charge temperature on boost; None without boost
    seconds_over: float  # on boost over the limit
    added_seconds: float  # of them, more than without the fault
    duty: float  # mean commanded duty, key on
    added_duty: float
    noticed: str
    failed: str


@dataclass(frozen=True)
class Protection:
    """One contestant over all faults. Lower `seconds_over`, then lower `worst_c`, protects better."""

    contestant: str
    ranked: bool
    worst_c: float | None
    worst_fault: str
    seconds_over: float
    added_seconds: float
    noticed: int
    failed: int
    runs: tuple[FaultRun, ...]


@dataclass(frozen=True)
class _Run:
    """One outing as all contestants ran it: on boost (rows, contestants), duty and key (ticks, ...)."""

    score_from: int
    boost_tick: NDArray[np.intp]
    boost_k: NDArray[np.float32]
    duty: NDArray[np.float32]
    key: NDArray[np.bool_]
    failed: tuple[str, ...]


@dataclass(frozen=True)
class _Seen:
    """What one world tells of one outing; arrays (contestants,)."""

    worst_k: Floats
    seconds: Floats
    duty: Floats
    failed: tuple[str, ...]


def protection_of(
    plan: Plan, contestants: Sequence[Contestant], replicates: int, pool: ThreadPoolExecutor
) -> tuple[Protection, ...]:
    """Contestants in the order in which they protect; empty for a season without faults."""
    entries = [e for e in range(len(plan.season.entries)) if plan.fault_of(e) is not None]
    if not entries:
        return ()
    lanes = [lane for some in _by_eights(contestants) for lane in batches(some)]
    order = [c.name for batch in lanes for c in batch.contestants]
    seen: dict[int, list[tuple[_Seen, _Seen]]] = {e: [] for e in entries}
    for k in range(replicates):
        for entry, pair in _world(plan, entries, lanes, k, pool):
            seen[entry].append(pair)
    found = [_summed(plan, c, order.index(c.name), entries, seen) for c in contestants]
    return tuple(sorted(found, key=lambda p: (p.seconds_over, p.worst_c or 0.0, p.contestant)))


def _world(
    plan: Plan, entries: Sequence[int], lanes: Sequence[Lanes], replicate: int, pool: ThreadPoolExecutor
) -> list[tuple[int, tuple[_Seen, _Seen]]]:
    """Every outing with its fault and without it; what is the same without is played once."""
    numbers, sound = car_of_world(plan, replicate), replace(plan, faults=())
    first = {plan.sound_id(e): e for e in reversed(entries)}

    def whole(entry: int) -> _Run:
        return _run(play_entry(sound, entry, replicate, numbers).compiled, lanes)

    def broken(entry: int) -> tuple[_Run, float]:
        compiled = play_entry(plan, entry, replicate, numbers).compiled
        return _run(compiled, lanes), _onset_share(compiled)

    names = list(first)
    wholes = dict(zip(names, in_order(pool, whole, [first[n] for n in names]), strict=True))
    out = []
    for entry, (run, share) in zip(entries, in_order(pool, broken, list(entries)), strict=True):
        limit = plan.goals.limit_k
        out.append((entry, (_see(run, limit, share), _see(wholes[plan.sound_id(entry)], limit, share))))
    return out


def _by_eights(contestants: Sequence[Contestant]) -> list[list[Contestant]]:
    return [list(contestants[k : k + MOST_TRACED]) for k in range(0, len(contestants), MOST_TRACED)]


def _onset_share(compiled: CompiledOuting) -> float:
    """Where in the scored part the fault begins, 0..1; the same place is looked at from in the sound run."""
    assert isinstance(compiled, SpannedOuting)
    return max(compiled.later[0].first - compiled.score_from, 0) / (compiled.ticks - compiled.score_from)


def _run(compiled: CompiledOuting, lanes: Sequence[Lanes]) -> _Run:
    """All contestants over one outing, with what is looked at afterwards."""
    x = compiled.X
    on_boost = x[:, at.X_BOOST_ROW] >= 0
    counted = x[on_boost, at.X_LIMIT] > 0.0
    boost, duty, failed = [], [], []
    for batch in lanes:
        played = play(compiled, batch, trace_lanes=len(batch.contestants), trace_columns=at.TRACE_COLUMNS)
        assert played.trace is not None
        boost.append(played.boost_k[counted])
        duty.append(played.trace[:, :, at.T_DUTY].astype(np.float32))
        failed += _reasons(played)
    return _Run(
        compiled.score_from,
        np.flatnonzero(on_boost)[counted],
        np.concatenate(boost, axis=1),
        np.concatenate(duty, axis=1),
        x[:, at.X_KEY] > 0.0,
        tuple(failed),
    )


def _see(run: _Run, limit_k: float, share: float) -> _Seen:
    """Worst charge and seconds over on boost, mean duty, failures, from `share` of the scored part on."""
    begin = run.score_from + int(share * (len(run.key) - run.score_from))
    boost = run.boost_k[run.boost_tick >= begin]
    count = run.duty.shape[1]
    worst = boost.max(axis=0) if len(boost) else np.full(count, np.nan)
    duty = run.duty[begin:][run.key[begin:]]
    mean = duty.mean(axis=0, dtype=np.float64) if len(duty) else np.zeros(count)
    return _Seen(worst.astype(np.float64), TICK_S * (boost > limit_k).sum(axis=0), mean, run.failed)


def _reasons(played: Accumulated) -> list[str]:
    return [at.REASONS[int(r)] for r in played.row(at.REASON)]


def _summed(
    plan: Plan, contestant: Contestant, lane: int, entries: Sequence[int], seen: dict[int, list[tuple[_Seen, _Seen]]]
) -> Protection:
    runs = []
    for e in entries:
        fault = plan.fault_of(e)
        assert fault is not None
        pairs = seen[e]
        worst = max((b.worst_k[lane] for b, _ in pairs if np.isfinite(b.worst_k[lane])), default=np.nan)
        seconds, before = (float(np.mean([p[k].seconds[lane] for p in pairs])) for k in (0, 1))
        duty, usual = (float(np.mean([p[k].duty[lane] for p in pairs])) for k in (0, 1))
        safe = fault.probe_fails and "iat_c" in contestant.strategy.senses
        reasons = sorted({b.failed[lane] for b, _ in pairs} - {""})
        runs.append(
            FaultRun(
                contestant.name,
                plan.outing_id(e),
                fault.name,
                float(worst) - ZERO_C_K if np.isfinite(worst) else None,
                seconds,
                seconds - before,
                duty,
                duty - usual,
                _noticed(safe, duty, usual),
                "; ".join(reasons),
            )
        )
    hottest = max(runs, key=lambda r: -np.inf if r.worst_c is None else r.worst_c)
    return Protection(
        contestant.name,
        contestant.ranked,
        hottest.worst_c,
        hottest.fault,
        sum(r.seconds_over for r in runs),
        sum(r.added_seconds for r in runs),
        sum(r.noticed in {"fail-safe", "more"} for r in runs),
        sum(bool(r.failed) for r in runs),
        tuple(runs),
    )


def _noticed(failsafe: bool, duty: float, usual: float) -> str:
    if failsafe:
        return "fail-safe"
    if usual >= FULL and duty >= FULL:
        return "full already"
    if duty - usual >= CHANGED:
        return "more"
    return "less" if duty - usual <= -CHANGED else "no"
