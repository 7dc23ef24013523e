"""Did the car get better: two logs of different days brought to the same conditions, and what changed, with intervals.

The plant with its pump always on serves as a ruler: it says what each moment of either drive would come to on one and
the same car, so that weather, load and history cancel and what the owner changed (parts or pump control) remains.
"""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass, replace
from pathlib import Path

import numpy as np
from numpy.typing import NDArray

from arena.garage.estimate import pose
from arena.garage.predict import predict
from arena.garage.read_log import TICK_S, GarageLog, read_garage_log
from arena.plant.numbers import CarNumbers
from arena.scenario.car import Car, load_car
from arena.scenario.log_columns import Columns
from arena.units import ZERO_C_K

Floats = NDArray[np.float64]
Mask = NDArray[np.bool_]

WORTH_K = 1.0  # a change that lies surely within this either way is "no change"
WORTH_SHARE = 0.05  # the same for pump hours, as a share of before
BLOCK_S = 30.0
RESAMPLES = 400
SETTLE_S = 90.0  # the ruler's loop has forgotten how it began
LEAST_S = 30.0  # of a condition in either log
BOOST_OVER_PA = 15e3  # manifold over outside air: on boost
SLOW_M_S = 15.0 / 3.6
ALIKE_K = 6.0
DAY_K = 0.25  # what one day's wind, sun and humidity do to charge temperature beyond what is logged; judgement


@dataclass(frozen=True)
class Change:
    """One figure's change, after less before, with its 95 % interval; None where nothing can be said."""

    name: str
    say: str
    unit: str
    change: float | None
    low: float | None
    high: float | None
    verdict: str  # "better", "worse", "no change" or "cannot tell"
    why: str  # what would let it tell, or what the verdict rests on


@dataclass(frozen=True)
class Comparison:
    """Two logs compared."""

    before: GarageLog
    after: GarageLog
    changes: tuple[Change, ...]
    notes: tuple[str, ...]


@dataclass(frozen=True)
class _Side:
    """One log at its readings: arrays of shape (readings,); `block` numbers stretches of 30 s."""

    log: GarageLog
    over_k: Floats  # charge temperature over the outside air
    ruler_k: Floats
    boost: Floats  # MAP over the outside pressure, in units of 100 kPa
    speed: Floats  # 10 m/s
    block: NDArray[np.intp]
    spacing_s: float
    ambient_step_k: float
    as_logged: bool  # the ruler's pump runs as logged, not always


def compare_logs(
    before: str | Path,
    after: str | Path,
    car: str | Path | Car | None = None,
    columns: Columns | None = None,
    ambient_c: tuple[float | None, float | None] = (None, None),
    seed: int = 1,
) -> Comparison:
    """Compare two logs. `car`: the fitted car, a better ruler than the default one. Raises BadInput."""
    loaded = car if isinstance(car, Car) else load_car(car or "invented-2200")
    logs = [read_garage_log(p, columns, a) for p, a in zip((before, after), ambient_c, strict=True)]
    rng = np.random.Generator(np.random.PCG64(seed))
    same = _same(*logs)
    sides = [_side(log, loaded.numbers(), as_logged=False) for log in logs]
    changes = [
        _temperature("iat_on_boost_k", "IAT over outside, on boost", sides, _on_boost, same, rng),
        _temperature("iat_cruise_k", "IAT over outside, off boost", sides, _cruise, same, rng),
        _temperature("iat_slow_k", "IAT over outside, under 15 km/h", sides, _slow, same, rng),
    ]
    notes = [note for log in logs for note in log.notes]
    if same:
        notes.append("both logs hold the same recording")
    if all(log.duty is not None for log in logs):
        known = [_side(log, loaded.numbers(), as_logged=True) for log in logs]
        for name, where, which in (("on_boost", "on boost", _on_boost), ("cruise", "off boost", _cruise)):
            say = f"same pump use, {where}"
            changes.append(_temperature(f"iat_{name}_same_pump_k", say, known, which, same, rng))
        changes += _pump(logs, same, rng)
    else:
        notes.append("pump hours cannot be compared: the duty is not logged in both")
    return Comparison(logs[0], logs[1], tuple(changes), tuple(notes))


def _pump_answers_to_weather(sides: Sequence[_Side]) -> str:
    """Why two days are too unlike to be compared as driven, or nothing: the pump may answer to the weather."""
    logs = [side.log for side in sides]
    apart = abs(float(logs[1].ambient_k.mean() - logs[0].ambient_k.mean()))
    if apart <= ALIKE_K or any(side.as_logged for side in sides) or not any(log.pump_changes for log in logs):
        return ""
    return f"outside air differs by {apart:.0f} K and the pump follows temperature; log a day within {ALIKE_K:.0f} K"


def _same(a: GarageLog, b: GarageLog) -> bool:
    """Whether two logs are one recording."""
    x, y = a.observed["iat"], b.observed["iat"]
    return (
        x.value_k.shape == y.value_k.shape
        and bool(np.array_equal(x.value_k, y.value_k))
        and bool(np.array_equal(a.map_pa, b.map_pa))
        and bool(np.array_equal(a.ambient_k, b.ambient_k))
    )


def _side(log: GarageLog, car: CarNumbers, as_logged: bool) -> _Side:
    """A log's readings beside the ruler's."""
    ruled = log if as_logged else replace(log, duty=np.ones(log.ticks), upper={**log.upper, "duty": np.ones(log.ticks)})
    read = predict(ruled, car)["iat"]
    channel = pose(log, car).channels[0]
    keep = channel.tick >= round(SETTLE_S / TICK_S)
    tick, value = channel.tick[keep], channel.value_k[keep]
    ambient = log.ambient_k[tick]
    whole = bool(np.all(np.abs(log.ambient_k[::50] - ZERO_C_K - np.round(log.ambient_k[::50] - ZERO_C_K)) < 1e-6))
    step = 1.0 if whole else 0.1  # outside air in whole degrees may be half a degree off all day
    return _Side(
        log, value - ambient, read[tick] - ambient, (log.map_pa[tick] - log.ambient_pa) / 1e5,
        log.speed_m_s[tick] / 10.0, (tick * TICK_S / BLOCK_S).astype(np.intp),
        max(float(np.median(np.diff(tick))) * TICK_S if len(tick) > 1 else 1.0, TICK_S), step, as_logged,
    )  # fmt: skip


def _on_boost(side: _Side) -> Mask:
    return np.asarray(side.boost > BOOST_OVER_PA / 1e5)


def _slow(side: _Side) -> Mask:
    return np.asarray(side.speed < SLOW_M_S / 10.0)


def _cruise(side: _Side) -> Mask:
    return ~_on_boost(side) & ~_slow(side)


def _temperature(
    name: str, say: str, sides: Sequence[_Side], which: Callable[[_Side], Mask], same: bool, rng: np.random.Generator
) -> Change:
    """Change of charge over outside air at the same conditions: a step between the logs beside a line on the ruler."""
    if same:
        return Change(name, say, "K", 0.0, 0.0, 0.0, "no change", "the same recording")
    chosen = [np.asarray(which(side)) for side in sides]
    chosen = _overlap(sides, chosen)
    words = ("BEFORE", "AFTER")
    apart = _pump_answers_to_weather(sides)
    if apart:
        return Change(name, say, "K", None, None, None, "cannot tell", apart)
    seconds = [float(c.sum()) * s.spacing_s for c, s in zip(chosen, sides, strict=True)]
    where = say.rpartition(", ")[2]
    for word, length in zip(words, seconds, strict=True):
        if length < LEAST_S:
            why = f"{word} has {length:.0f} s {where} like the other's; log two minutes of it in both"
            return Change(name, say, "K", None, None, None, "cannot tell", why)
    change = _step(sides, chosen, None)
    blocks = [np.unique(side.block[c]) for side, c in zip(sides, chosen, strict=True)]
    drawn = np.array([_step(sides, chosen, _weights(sides, chosen, blocks, rng)) for _ in range(RESAMPLES)])
    drawn = drawn[np.isfinite(drawn)]
    fewest = min(len(b) for b in blocks)
    if fewest < 4 or len(drawn) < RESAMPLES // 2:
        why = f"only {fewest} separate stretches {where}; log more of it in both, on two roads or twice"
        return Change(name, say, "K", change, None, None, "cannot tell", why)
    ambient = sum(side.ambient_step_k**2 / 12.0 for side in sides)
    error = float(np.sqrt(np.var(drawn) * fewest / (fewest - 1) + 2.0 * DAY_K**2 + ambient))
    half = _quantile(fewest) * error
    verdict = verdict_of(change, change - half, change + half, WORTH_K)
    why = (
        _what_would_tell(change, half, seconds, where) if verdict == "cannot tell" else f"{min(seconds):.0f} s {where}"
    )
    return Change(name, say, "K", change, change - half, change + half, verdict, why)


def verdict_of(change: float, low: float, high: float, worth: float) -> str:
    """Lower is better. "no change" only where the whole interval lies within what is worth having, and holds none."""
    if low > 0.0:
        return "worse"
    if high < 0.0:
        return "better"
    return "no change" if low > -worth and high < worth else "cannot tell"


def _what_would_tell(change: float, half: float, seconds: Sequence[float], where: str) -> str:
    """How much more of it, if more logging is what is missing."""
    goal = max(abs(change) * 0.9, 0.7 * WORTH_K)
    minutes = max(min(seconds) * (half / goal) ** 2 / 60.0, 2.0)
    more = f"about {np.ceil(minutes):.0f} minutes {where} in each log" if minutes < 90 else "many days of logs"
    return f"{more}, on days alike, with outside air in tenths of a degree, would tell"


def _quantile(blocks: int) -> float:
    from scipy.stats import t

    return float(t.ppf(0.975, max(blocks - 1, 3)))


def _overlap(sides: Sequence[_Side], chosen: Sequence[Mask]) -> list[Mask]:
    """Only conditions both logs have: the ruler, boost and speed within the other's central range, somewhat widened."""
    out = [np.array(c) for c in chosen]
    if not all(c.any() for c in chosen):
        return out
    for values in ("ruler_k", "boost", "speed"):
        spans = [np.quantile(getattr(s, values)[c], [0.02, 0.98]) for s, c in zip(sides, chosen, strict=True)]
        widest = 0.1 * (max(s[1] for s in spans) - min(s[0] for s in spans))
        low, high = max(s[0] for s in spans) - widest, min(s[1] for s in spans) + widest
        out = [
            mask & (getattr(side, values) >= low) & (getattr(side, values) <= high)
            for mask, side in zip(out, sides, strict=True)
        ]
    return out


def _weights(
    sides: Sequence[_Side], chosen: Sequence[Mask], blocks: Sequence[NDArray[np.intp]], rng: np.random.Generator
) -> list[Floats]:
    """How often each reading is in a resample of whole blocks, each log by itself."""
    out = []
    for side, mask, own in zip(sides, chosen, blocks, strict=True):
        count = np.bincount(rng.integers(0, len(own), len(own)), minlength=len(own))
        out.append(count[np.searchsorted(own, side.block[mask])].astype(np.float64))
    return out


def _step(sides: Sequence[_Side], chosen: Sequence[Mask], weights: Sequence[Floats] | None) -> float:
    """The step between the logs in a straight line on ruler, boost and speed; both logs count alike."""
    parts, target = [], []
    for k, (side, mask) in enumerate(zip(sides, chosen, strict=True)):
        count = int(mask.sum())
        w = np.ones(count) if weights is None else weights[k]
        w = np.sqrt(w / max(w.sum(), 1e-9))
        columns = [np.ones(count), np.full(count, float(k)), side.ruler_k[mask], side.boost[mask], side.speed[mask]]
        parts.append(np.stack(columns, axis=1) * w[:, None])
        target.append(side.over_k[mask] * w)
    a, b = np.concatenate(parts), np.concatenate(target)
    found, _, rank, _ = np.linalg.lstsq(a, b, rcond=1e-9)
    return float(found[1]) if rank >= 2 else float("nan")


def _pump(logs: Sequence[GarageLog], same: bool, rng: np.random.Generator) -> list[Change]:
    """Pump hours a hundred kilometres and a driving hour."""
    names = (
        ("pump_hours_per_100_km", "pump hours in 100 km", "h"),
        ("pump_share_pct", "driving time with pump on", "%"),
    )
    out = []
    for k, (name, say, unit) in enumerate(names):
        if same:
            out.append(Change(name, say, unit, 0.0, 0.0, 0.0, "no change", "the same recording"))
            continue
        tables = [_pump_blocks(log) for log in logs]
        rate = [_rate(t, k) for t in tables]
        change = rate[1] - rate[0]
        draws = []
        for _ in range(RESAMPLES):
            drawn = [t[rng.integers(0, len(t), len(t))] for t in tables]
            draws.append(_rate(drawn[1], k) - _rate(drawn[0], k))
        low, high = np.quantile(draws, [0.025, 0.975])
        worth = WORTH_SHARE * max(rate[0], 1e-9)
        verdict = verdict_of(change, float(low), float(high), worth)
        why = (
            f"{rate[0]:.2f} before, {rate[1]:.2f} after"
            if verdict != "cannot tell"
            else "longer logs of the same roads"
        )
        out.append(Change(name, say, unit, change, float(low), float(high), verdict, why))
    return out


def _pump_blocks(log: GarageLog) -> Floats:
    """Seconds with the pump on, kilometres and seconds driven, in each minute; shape (minutes, 3)."""
    assert log.duty is not None
    width = round(60.0 / TICK_S)
    on, km = (log.duty > 0.0) * TICK_S, log.speed_m_s * TICK_S / 1e3
    drive = (log.rpm > 0.0) * TICK_S
    count = max(log.ticks // width, 1)
    cut = [np.array_split(v, count) for v in (on * (drive > 0.0), km, drive)]
    return np.array([[float(part.sum()) for part in column] for column in cut]).T


def _rate(table: Floats, k: int) -> float:
    on, km, drive = table.sum(axis=0)
    return float(100.0 * on / 3600.0 / max(km, 1e-3)) if k == 0 else float(100.0 * on / max(drive, 1e-3))


def document(found: Comparison) -> dict[str, object]:
    """`arena compare --json`."""
    return {
        "schema": 1,
        "before": found.before.name,
        "after": found.after.name,
        "figures": [
            {
                "name": c.name, "unit": c.unit, "change": c.change, "low": c.low, "high": c.high,
                "verdict": c.verdict, "why": c.why,
            }
            for c in found.changes
        ],
        "notes": list(found.notes),
    }  # fmt: skip
