"""What a page needs beyond the CSV files of a result: time views, histograms on boost, visits of table cells.

Replicate 0 of every outing is run once more, on the car as it stands, with everything recorded; the records are
thinned so that every extreme survives. The document is `views.json` of the result folder: plain JSON, compact.
"""

from __future__ import annotations

import json
import os
from collections.abc import Sequence
from typing import TYPE_CHECKING, Any

import numpy as np
from numpy.typing import NDArray

from arena.contest.outings import ready_outing
from arena.contest.pool import in_order, pool_of
from arena.contest.run import Contestant, Lanes, play, table_read
from arena.contest.table_visits import sensed
from arena.contest.worlds import SPREAD, Plan, batches
from arena.plant import layout as at
from arena.plant.compile import TICK_S, CompiledOuting
from arena.units import ZERO_C_K
from arena.writing import plain

if TYPE_CHECKING:
    from arena.contest.tournament import TournamentResult

Floats = NDArray[np.float64]

VIEWS_SCHEMA = 2  # of views.json
POINTS = 1200  # of one line of a time view, at most
FEWEST_POINTS = 240  # below this outings are left out rather than thinned further
NUMBERS = 1_300_000  # in all time views together: some 3 MB of text
MOST_THREADS = 4  # each holds the whole record of an outing: some 100 MB with 16 contestants
BIN_K = 1.0  # width of a histogram's bin
QUANTUM = {"iat_c": 0.1, "duty_pct": 1.0, "coolant_in_c": 0.1, "coolant_out_c": 0.1,
           "speed_kmh": 1.0, "boost_kpa": 1.0, "ambient_c": 0.1}  # fmt: skip
LANE_LINES = ("iat_c", "duty_pct", "coolant_in_c", "coolant_out_c")
_RECORD = {
    "iat_c": at.T_IAT, "coolant_in_c": at.T_CORE_IN, "coolant_out_c": at.T_CORE_OUT,
    "duty_pct": at.T_DUTY,
}  # fmt: skip


def views_json(result: TournamentResult) -> str:
    """views.json: what the standings rest on, and `views`. The same result gives the same bytes."""
    plan = result.plan
    failed = [{**run, "time_s": round(run["time_s"], 1)} for run in result.failed_runs()]
    content = {
        "schema": VIEWS_SCHEMA,
        "season": _season(plan),
        "car": _car(plan),
        "spread": plan.spread,
        "spread_over": [[f"{part}.{key}", factor] for part, key, factor in SPREAD],
        "seed": plan.seed,
        "worlds": result.standings.worlds,
        "contestants": [_contestant(c) for c in result.contestants],
        "beats": [[a, b, round(share, 4)] for a, b, share in result.standings.beats],
        "what_if": [
            {"what": w.what, "order": list(w.order), "scores": [round(s, 4) for s in w.scores]}
            for w in result.standings.what_if
        ],
        "breaks_limit": [line.contestant for line in result.standings.lines if line.breaks_limit],
        "notes": list(dict.fromkeys([*result.standings.notes, *result.notes])),
        "failed": failed,
        "protection": [
            {
                "contestant": p.contestant,
                "worst_c": p.worst_c,
                "worst_fault": p.worst_fault,
                "noticed": p.noticed,
                "seconds_over": p.seconds_over,
                "failed": p.failed,
                "of": len(p.runs),
                "runs": [[r.outing, r.seconds_over, r.noticed, r.failed] for r in p.runs],
            }
            for p in result.protection
        ],
        **views(plan, result.contestants),
    }
    return json.dumps(plain(content, 6), separators=(",", ":"), allow_nan=False) + "\n"


def views(plan: Plan, contestants: Sequence[Contestant], workers: int | None = None) -> dict[str, Any]:
    """Time views by outing, histogram of charge temperature on boost, and visits of table cells.

    A line of a view is its first value and then differences, in units of `quantum[name]`; its points are `step_s`
    apart. Histograms and visits hold minutes a year on the car as it stands: one playing of each outing, weighted.
    """
    entries = range(len(plan.season.entries))
    points, kept = room(plan, len(contestants))
    lanes = batches(list(contestants))
    numbers = plan.car.numbers()

    def one(entry: int) -> dict[str, Any]:
        fault = plan.fault_of(entry)
        drive, climate = plan.drives[entry], plan.climates[entry]
        seed = (plan.seed, plan.sound_id(entry), 0)
        played, compiled = ready_outing(drive, climate, numbers, plan.goals, seed, fault, plan.off_s)
        boost_kpa = 1e-3 * (played.map_pa - played.ambient_pa)
        shared = {"speed_kmh": 3.6 * played.speed_m_s, "boost_kpa": boost_kpa, "ambient_c": played.ambient_k - ZERO_C_K}
        return {
            **_recorded(compiled, lanes, points if entry in kept else 0),
            "outing": plan.outing_id(entry),
            "drive": drive.name,
            "climate": climate.name,
            "fault": fault.name if fault else "",
            "per_year": float(plan.weights[entry]),
            "seconds": round(played.scored_s, 1),
            "drive_s": round(TICK_S * (played.drive_until - played.score_from), 1),
            "step_s": thinning(played.ticks - played.score_from, points)[1],
            "engine_off_s": _spans(played.engine_on[played.score_from :] < 0.5),
            "phases": _phases(played.phases, played.phase[played.score_from :]),
            "shared": {n: line(v[played.score_from :], points, QUANTUM[n]) for n, v in shared.items()}
            if entry in kept
            else {},
            "notes": list(played.notes),
        }

    with pool_of(min(workers or os.cpu_count() or 1, MOST_THREADS)) as pool:
        found = in_order(pool, one, entries)
    weights = [v["per_year"] for v in found]
    histograms = {c.name: _summed([v["histogram"][c.name] for v in found], weights) for c in contestants}
    visits = {
        c.name: _summed([v["visits"][c.name] for v in found], weights).tolist()
        for c in contestants
        if c.strategy.table is not None
    }
    for view in found:
        del view["histogram"], view["visits"]
    low, high = _span(list(histograms.values()))
    return {
        "quantum": QUANTUM,
        "views": found,
        "histogram": {
            "from_c": float(_EDGES[low]), "bin_k": BIN_K, "minutes": {n: h[low:high] for n, h in histograms.items()},
        },
        "visits": visits,
    }  # fmt: skip


def room(plan: Plan, contestants: int) -> tuple[int, frozenset[int]]:
    """Points a line may have, and the entries that get a time view: the most frequent where not all fit."""
    lines = len(LANE_LINES) * contestants + 3
    entries = len(plan.season.entries)
    points = min(POINTS, NUMBERS // (lines * entries))
    if points >= FEWEST_POINTS:
        return points, frozenset(range(entries))
    fit = max(1, NUMBERS // (lines * FEWEST_POINTS))
    order = sorted(range(entries), key=lambda e: (-plan.weights[e], e))
    return FEWEST_POINTS, frozenset(order[:fit])


def thinning(ticks: int, points: int) -> tuple[int, float]:
    """Ticks a bucket, and seconds from one kept point to the next (two a bucket)."""
    width = max(2, -(-2 * ticks // points))
    return width, round(0.5 * width * TICK_S, 4)


def thin(values: Floats, points: int) -> Floats:
    """Least and greatest of every bucket of ticks in the order they came: nothing is higher or lower afterwards.

    `values` (ticks,); returns at most points + 1 values, evenly spaced as `thinning` says.
    """
    width, _ = thinning(len(values), points)
    buckets = -(-len(values) // width)
    table = np.pad(values, (0, buckets * width - len(values)), mode="edge").reshape(buckets, width)
    low, high = table.argmin(axis=1), table.argmax(axis=1)
    order = np.stack([np.minimum(low, high), np.maximum(low, high)], axis=1)
    return np.take_along_axis(table, order, axis=1).ravel()


def line(values: Floats, points: int, quantum: float) -> list[int]:
    """A thinned line as its first value and then differences, in quanta. Values must be finite."""
    steps = np.rint(thin(values, points) / quantum).astype(np.int64)
    return [int(v) for v in np.diff(steps, prepend=0)]


_EDGES = np.arange(-40.0, 261.0, BIN_K)


def _recorded(outing: CompiledOuting, lanes: Sequence[Lanes], points: int) -> dict[str, Any]:
    """All contestants over one outing: lines of the scored part, minutes on boost by temperature, visits of cells."""
    first = outing.score_from
    lines: dict[str, dict[str, list[int]]] = {}
    failed: dict[str, float] = {}
    histogram: dict[str, Floats] = {}
    visits: dict[str, Floats] = {}
    for batch in lanes:
        played = play(outing, batch, trace_lanes=len(batch.contestants), trace_columns=at.TRACE_COLUMNS)
        assert played.trace is not None
        stopped = played.row(at.FAILED)
        for n, c in enumerate(batch.contestants):
            record = played.trace[first:, n, :]
            end = len(record) if stopped[n] < 0 else max(int(stopped[n]) - first, 1)
            record = _ended(record, end)
            if stopped[n] >= 0:
                failed[c.name] = round(TICK_S * (float(stopped[n]) - first), 1)
            iat = record[:, _RECORD["iat_c"]] - ZERO_C_K
            histogram[c.name] = np.histogram(
                np.clip(iat[:end], _EDGES[0], _EDGES[-1]),
                _EDGES,
                weights=outing.X[first : first + end, at.X_BOOST] * TICK_S / 60.0,
            )[0]
            visits[c.name] = _visits(c, outing, played.trace[:, n, :], slice(first, first + end))
            if points:
                lines[c.name] = {
                    name: line(
                        100.0 * record[:, _RECORD[name]] if name == "duty_pct" else record[:, _RECORD[name]] - ZERO_C_K,
                        points,
                        QUANTUM[name],
                    )
                    for name in LANE_LINES
                }
    return {"lines": lines, "failed_s": failed, "histogram": histogram, "visits": visits}


def _ended(record: Floats, end: int) -> Floats:
    """A record held at its last sound row from `end` on; what is not finite anywhere becomes that of the row before."""
    held = record.copy()
    held[end:] = held[end - 1]
    if not np.isfinite(held).all():
        held = np.nan_to_num(held, nan=ZERO_C_K, posinf=533.15, neginf=233.15)
    return held


def _visits(contestant: Contestant, outing: CompiledOuting, record: Floats, ticks: slice) -> Floats:
    """Minutes spent nearest to each cell of a contestant's table while the engine ran, (rows, columns)."""
    made = table_read(contestant)
    if made is None:
        return np.zeros((0, 0))
    rows, columns, _ = made
    running = outing.X[ticks, at.X_ENGINE] > 0.5
    down, across = (sensed(name, outing, record)[ticks][running] for name in contestant.strategy.table_senses)
    i = _nearest(np.asarray(rows), down)
    j = _nearest(np.asarray(columns), across)
    count = np.bincount(i * len(columns) + j, minlength=len(rows) * len(columns))
    return np.asarray(count.reshape(len(rows), len(columns)) * (TICK_S / 60.0), dtype=np.float64)


def _nearest(axis: Floats, values: Floats) -> NDArray[np.int64]:
    return np.searchsorted(0.5 * (axis[1:] + axis[:-1]), values).astype(np.int64)


def _summed(parts: Sequence[Floats], weights: Sequence[float]) -> Floats:
    return np.asarray(sum(w * p for w, p in zip(weights, parts, strict=True)))


def _span(histograms: Sequence[Floats]) -> tuple[int, int]:
    """The bins any of them uses."""
    used = np.flatnonzero(np.sum(histograms, axis=0) > 0.0)
    return (int(used[0]), int(used[-1]) + 1) if len(used) else (0, 1)


def _phases(names: Sequence[str], phase: NDArray[np.int32]) -> list[list[Any]]:
    """[[seconds from the start, name], ...] of the phases as they came."""
    starts = np.flatnonzero(np.diff(phase, prepend=phase[0] - 1))
    return [[round(TICK_S * float(k), 1), names[int(phase[k])]] for k in starts]


def _spans(there: NDArray[np.bool_]) -> list[list[float]]:
    """[[from, to], ...] in seconds of the stretches where something is there."""
    edges = np.flatnonzero(np.diff(there.astype(np.int8), prepend=0, append=0))
    return [[round(TICK_S * float(a), 1), round(TICK_S * float(b), 1)] for a, b in edges.reshape(-1, 2)]


def _season(plan: Plan) -> dict[str, Any]:
    s = plan.season
    return {
        "name": s.name,
        "summary": s.summary,
        "target_c": s.target_c,
        "limit_c": s.limit_c,
        "band_k": s.band_k,
        "prices": {
            "tracking_per_k_h": s.prices.tracking_per_k_h,
            "wear_per_h": s.prices.wear_per_h,
            "energy_per_kwh": s.prices.energy_per_kwh,
        },
        "reasoning": s.prices.reasoning,
        "wear": {"exponent": s.wear.exponent, "start_h": s.wear.start_h},
        "drives": {d.name: d.summary for d in plan.drives},
        "climates": {c.name: c.summary for c in plan.climates},
        "faults": {f.name: f.summary for f in plan.faults if f is not None},
    }


def _car(plan: Plan) -> dict[str, Any]:
    """What is known of the car and how: measured, assumed or derived."""
    from arena.scenario.check import check_file

    path = plan.car.path
    rows = check_file(path).rows if path is not None else ()
    return {"name": plan.car.name, "summary": plan.car.summary, "known": [list(row) for row in rows]}


def _contestant(c: Contestant) -> dict[str, Any]:
    strategy = c.strategy
    settings = strategy.make_settings(dict(c.settings))
    made, table = table_read(c), None
    if made is not None:
        rows, columns, cells = made
        duty = np.round(100.0 * np.asarray(cells), 1).tolist()
        down, across = strategy.table_senses
        table = {
            "down": down,
            "down_breakpoints": list(rows),
            "across": across,
            "across_breakpoints": list(columns),
            "duty_pct": duty,
        }
    return {
        "name": c.name,
        "strategy": strategy.name,
        "summary": strategy.summary,
        "ranked": c.ranked,
        "tuned": c.tuned,
        "actuator": strategy.actuator,
        "senses": list(strategy.senses),
        "failsafe_duty": strategy.failsafe_duty,
        "settings": [
            {"name": s.name, "value": float(f"{getattr(settings, s.name):.6g}"), "unit": s.unit, "meaning": s.meaning,
             "low": s.low, "high": s.high, "default": s.default}
            for s in strategy.settings
        ],
        "table": table,
        "quiet_cap_pct": c.quiet_cap_pct,
        "run_on_s": c.run_on_s,
    }  # fmt: skip
