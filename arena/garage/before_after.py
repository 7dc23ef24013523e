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

Floats = NDArray[np.float64]
Mask = NDArray[np.bool_]

WORTH_K = 1.0  # a change that lies surely within this either way is "no change"
WORTH_SHARE = 0.05  # the same for pump hours, as a share of before
WORTH_PCT = 1.0  # and of driving time with the pump on at least
BLOCK_S = 30.0
# The least for the pump; else as long as it stays on or off. Of 200 pairs under one control 2 to 5 were told apart
# (pump on or off for 150 or 300 s on average, 12 or 30 minutes logged); with 60 s throughout it was one in ten.
PUMP_BLOCK_S = 60.0
LEAST_BLOCKS = 4
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
    """One log at its readings: arrays of shape (readings,); `block` numbers stretches that are resampled whole."""

    log: GarageLog
    over_k: Floats  # charge temperature over the outside air
    ruler_k: Floats
    boost: Floats  # MAP over the outside pressure, in units of 100 kPa
    speed: Floats  # 10 m/s
    block: NDArray[np.intp]
    on_pct: Floats  # 100 with the pump on, 0 with it off or its duty not logged
    spacing_s: float
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
        changes += _pump(sides, same, rng)
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
    on: Floats = np.zeros(len(tick))
    if log.duty is not None:
        on[log.duty[tick] > 0.0] = 100.0
    return _Side(
        log, value - ambient, read[tick] - ambient, (log.map_pa[tick] - log.ambient_pa) / 1e5,
        log.speed_m_s[tick] / 10.0, (tick * TICK_S / BLOCK_S).astype(np.intp), on,
        max(float(np.median(np.diff(tick))) * TICK_S if len(tick) > 1 else 1.0, TICK_S), as_logged,
    )  # fmt: skip


def _on_boost(side: _Side) -> Mask:
    return np.asarray(side.boost > BOOST_OVER_PA / 1e5)


def _slow(side: _Side) -> Mask:
    return np.asarray(side.speed < SLOW_M_S / 10.0)


def _cruise(side: _Side) -> Mask:
    return ~_on_boost(side) & ~_slow(side)


@dataclass(frozen=True)
class _Step:
    """How much higher a figure is in AFTER than in BEFORE where both drove alike; NaN where too little is alike."""

    change: float
    error: float  # standard error, from block to block
    blocks: tuple[int, int]
    seconds: tuple[float, float]
    chosen: tuple[Mask, Mask]

    @property
    def fewest(self) -> int:
        """Blocks of the log that has fewer."""
        return min(self.blocks)


def _temperature(
    name: str, say: str, sides: Sequence[_Side], which: Callable[[_Side], Mask], same: bool, rng: np.random.Generator
) -> Change:
    """Change of charge over outside air at the same conditions: a step between the logs beside a line on the ruler."""
    if same:
        return Change(name, say, "K", 0.0, 0.0, 0.0, "no change", "the same recording")
    where = say.rpartition(", ")[2]
    step = _step_between(sides, which, "over_k", where, rng)
    if isinstance(step, str):
        return Change(name, say, "K", None, None, None, "cannot tell", step)
    if np.isnan(step.error):
        return Change(name, say, "K", step.change, None, None, "cannot tell", _too_few(step, where))
    ambient = sum(side.log.ambient_step_k**2 / 12.0 for side in sides)  # whole degrees: half a degree off all day
    half = _quantile(step.fewest) * float(np.sqrt(step.error**2 + 2.0 * DAY_K**2 + ambient))
    verdict = verdict_of(step.change, step.change - half, step.change + half, WORTH_K)
    why = f"{min(step.seconds):.0f} s {where}"
    if verdict == "cannot tell":
        more = _what_would_tell(step, half, WORTH_K, where)
        why = f"{more}, on days alike, with outside air in tenths of a degree, would tell"
    return Change(name, say, "K", step.change, step.change - half, step.change + half, verdict, why)


def _step_between(
    sides: Sequence[_Side], which: Callable[[_Side], Mask], of: str, where: str, rng: np.random.Generator
) -> _Step | str:
    """The step of a figure between the logs where they drove alike, or why there is none."""
    chosen = _overlap(sides, [np.asarray(which(side)) for side in sides])
    apart = _pump_answers_to_weather(sides)
    if apart:
        return apart
    seconds = [float(c.sum()) * s.spacing_s for c, s in zip(chosen, sides, strict=True)]
    for word, length in zip(("BEFORE", "AFTER"), seconds, strict=True):
        if length < LEAST_S:
            return f"{word} has {length:.0f} s {where} like the other's; log two minutes of it in both"
    change = _step(sides, chosen, of, None)
    blocks = [np.unique(side.block[c]) for side, c in zip(sides, chosen, strict=True)]
    drawn = np.array([_step(sides, chosen, of, _weights(sides, chosen, blocks, rng)) for _ in range(RESAMPLES)])
    drawn = drawn[np.isfinite(drawn)]
    fewest = min(len(b) for b in blocks)
    told = fewest >= LEAST_BLOCKS and len(drawn) >= RESAMPLES // 2
    error = float(np.sqrt(np.var(drawn) * fewest / (fewest - 1))) if told else float("nan")
    return _Step(change, error, (len(blocks[0]), len(blocks[1])), (seconds[0], seconds[1]), (chosen[0], chosen[1]))


def _too_few(step: _Step, where: str) -> str:
    return f"only {step.fewest} separate stretches {where}; log more of it in both, on two roads or twice"


def verdict_of(change: float, low: float, high: float, worth: float) -> str:
    """Lower is better. "no change" only where the whole interval lies within what is worth having, and holds none."""
    if low > 0.0:
        return "worse"
    if high < 0.0:
        return "better"
    return "no change" if low > -worth and high < worth else "cannot tell"


def _what_would_tell(step: _Step, half: float, worth: float, where: str, unseen: float = 0.0) -> str:
    """How much more of it, if more logging is what is missing.

    Half an interval goes with the root of the time logged, the part of it that stands for what was not seen with time.
    """
    goal = max(abs(step.change) * 0.9, 0.7 * worth)
    seen = half**2 - unseen**2
    times = (seen + np.sqrt(seen**2 + (2.0 * goal * unseen) ** 2)) / (2.0 * goal**2)
    minutes = max(min(step.seconds) * times / 60.0, 2.0)
    return f"about {np.ceil(minutes):.0f} minutes {where} in each log" if minutes < 90 else "many days of logs"


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


def _step(sides: Sequence[_Side], chosen: Sequence[Mask], of: str, weights: Sequence[Floats] | None) -> float:
    """The step of a figure between the logs in a straight line on ruler, boost and speed; both logs count alike."""
    parts, target = [], []
    for k, (side, mask) in enumerate(zip(sides, chosen, strict=True)):
        count = int(mask.sum())
        w = np.ones(count) if weights is None else weights[k]
        w = np.sqrt(w / max(w.sum(), 1e-9))
        columns = [np.ones(count), np.full(count, float(k)), side.ruler_k[mask], side.boost[mask], side.speed[mask]]
        parts.append(np.stack(columns, axis=1) * w[:, None])
        target.append(getattr(side, of)[mask] * w)
    a, b = np.concatenate(parts), np.concatenate(target)
    found, _, rank, _ = np.linalg.lstsq(a, b, rcond=1e-9)
    return float(found[1]) if rank >= 2 else float("nan")


def _pump(sides: Sequence[_Side], same: bool, rng: np.random.Generator) -> list[Change]:
    """Driving time with the pump on, and what that comes to in 100 km, where both logs drove alike.

    As driven, hours in 100 km would tell of the roads: a pump that always runs takes more of them in town.
    """
    names = (
        ("pump_hours_per_100_km", "pump hours in 100 km", "h"),
        ("pump_share_pct", "driving time with pump on", "%"),
    )
    if same:
        return [Change(*name, 0.0, 0.0, 0.0, "no change", "the same recording") for name in names]
    width_s = max(PUMP_BLOCK_S, *(_state_s(side) for side in sides))
    long = [replace(side, block=(side.block * (BLOCK_S / width_s)).astype(np.intp)) for side in sides]
    where = "at speeds and loads"
    step = _step_between(long, lambda side: np.ones(len(side.speed), dtype=bool), "on_pct", where, rng)
    if isinstance(step, str):
        return [Change(*name, None, None, None, "cannot tell", step) for name in names]
    both = list(zip(sides, step.chosen, strict=True))
    kmh = 36.0 * float(np.mean([side.speed[mask].mean() for side, mask in both]))
    before = float(sides[0].on_pct[step.chosen[0]].mean())
    unseen = _quantile(step.fewest) * float(np.sqrt(sum(_not_seen_pct(n) ** 2 for n in step.blocks)))
    half = float(np.hypot(_quantile(step.fewest) * step.error, unseen))
    step = replace(step, change=round(step.change, 9) + 0.0)  # no crumbs of rounding
    worth = max(WORTH_SHARE * before, WORTH_PCT)
    out = []
    for name, per, at in zip(names, (1.0 / max(kmh, 1.0), 1.0), (f" at {kmh:.0f} km/h", ""), strict=True):
        if np.isnan(half):
            few = _too_few(step, where + " alike")
            out.append(Change(*name, per * step.change, None, None, "cannot tell", few))
            continue
        verdict = verdict_of(step.change, step.change - half, step.change + half, worth)
        why = f"{before:.0f} % before, {min(max(before + step.change, 0.0), 100.0):.0f} % after{at}"
        if verdict == "cannot tell":
            why += f"; {_what_would_tell(step, half, worth, 'on the same roads', unseen)} would tell"
        low, high = per * (step.change - half), per * (step.change + half)
        out.append(Change(*name, per * step.change, low, high, verdict, why))
    return out


def _state_s(side: _Side) -> float:
    """How long the pump stays on or off on average; 0 where it never changes: that is told by what was not seen."""
    changes = int(np.count_nonzero(np.diff(side.on_pct)))
    return len(side.on_pct) * side.spacing_s / (changes + 1) if changes else 0.0


def _not_seen_pct(blocks: int) -> float:
    """Error of a share in % that so many stretches leave even where all are alike: the next may be the first other.

    Laplace's rule of succession: its chance is 1 in blocks + 2.
    """
    p = 1.0 / (blocks + 2.0)
    return float(100.0 * np.sqrt(p * (1.0 - p) / (blocks + 2.0)))


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
