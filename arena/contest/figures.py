"""Figures: what a run is measured by, as pure functions of what the kernel accumulated.

Every figure has a unit and a direction. Scored on the true charge temperature; see docs/ranking.md.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Literal

import numpy as np
from numpy.typing import NDArray

from arena.contest.run import Accumulated
from arena.plant import layout as at
from arena.plant.compile import TICK_S, CompiledOuting
from arena.plant.numbers import CarNumbers, Goals
from arena.scenario.season import WEAR_EXPONENTS
from arena.units import ZERO_C_K

Floats = NDArray[np.float64]
OCTANE_PER_K = 1.0 / 7.0  # SAE 960497 abstract (Russ, 1996): one octane number for 7 K of intake air


@dataclass(frozen=True)
class Figure:
    """One figure: unit, which way is better, meaning, and how a season adds it up."""

    name: str
    unit: str
    better: Literal["lower", "higher", "neither"]
    meaning: str
    over: Literal["sum", "mean"] = "sum"  # a year's sum, or a mean weighted by outings


FIGURES: tuple[Figure, ...] = (
    Figure("tracking_k_h", "K h", "lower", "hot_boost + 0.5 hot_cruise + 0.3 cold_cruise"),
    Figure("hot_boost_k_h", "K h", "lower", "kelvin over the target band while on boost"),
    Figure("hot_cruise_k_h", "K h", "lower", "kelvin over the target band off boost"),
    Figure("cold_cruise_k_h", "K h", "lower", "kelvin under the target band off boost"),
    Figure("tracking_rms_k", "K", "lower", "RMS distance from the target; reported, not scored", "mean"),
    Figure("over_limit_k_s", "K s", "lower", "kelvin over the limit on boost, weighted by boost"),
    Figure("boost_p95_c", "degC", "lower", "charge temperature that 95 % of the time on boost stays under", "mean"),
    Figure("minutes_to_target", "min", "lower", "from a cold start to the target band, censored at the end", "mean"),
    Figure("target_reached_share", "1", "higher", "share of cold starts that reached the target band", "mean"),
    Figure("pump_hours", "h", "lower", "time the pump is commanded on"),
    Figure("wear_hours", "h", "lower", "pump life used, in hours at rated speed and current"),
    Figure("pump_starts", "1", "lower", "pump starts"),
    Figure("energy_wh", "Wh", "lower", "energy at the battery, resistor included"),
    Figure("fuel_ml", "ml", "lower", "fuel for that energy through alternator and engine"),
    Figure("power_kept_pct", "%", "higher", "air flow on boost against that at the target temperature", "mean"),
    Figure("condensing_minutes", "min", "neither", "core metal below the dew point of the compressed charge"),
    Figure("quiet_minutes", "min", "lower", "standing still with the pump above the quiet duty"),
    Figure("octane_over_limit", "ON", "lower", "octane requirement for boost_p95 over the limit, 1 ON per 7 K", "mean"),
)
NAMES: tuple[str, ...] = tuple(f.name for f in FIGURES)
WEAR_ROWS = (at.WEAR_1, at.WEAR_15, at.WEAR_2)  # of WEAR_EXPONENTS


@dataclass(frozen=True)
class RunFigures:
    """Figures of a batch on one outing: `values[name]` has shape (contestants,). NaN: does not apply.

    `wear_parts` holds wear at the exponents 1, 1.5 and 2 without starts, for the corners of the wear law.
    `failed` is the reason, "" for none; `failed_s` the time since the outing's first tick.
    """

    values: dict[str, Floats]
    wear_parts: Floats  # (3, contestants), h
    failed: tuple[str, ...]
    failed_s: Floats


def figures_of(
    played: Accumulated,
    outing: CompiledOuting,
    car: CarNumbers,
    goals: Goals,
    wear_exponent: float,
    wear_start_h: float,
) -> RunFigures:
    """Figures of every contestant of a batch on one outing (equations: design of the figures in docs/ranking.md)."""
    hours, row = TICK_S / 3600.0, played.row
    out: dict[str, Floats] = {}
    out["hot_boost_k_h"] = row(at.HOT_BOOST) * hours
    out["hot_cruise_k_h"] = row(at.HOT_CRUISE) * hours
    out["cold_cruise_k_h"] = row(at.COLD_CRUISE) * hours
    out["tracking_k_h"] = out["hot_boost_k_h"] + 0.5 * out["hot_cruise_k_h"] + 0.3 * out["cold_cruise_k_h"]
    judged = float(np.sum(outing.X[:, at.X_BOOST] + outing.X[:, at.X_CRUISE]))
    out["tracking_rms_k"] = np.sqrt(row(at.SQUARES) / judged) if judged else np.full_like(row(at.SQUARES), np.nan)
    out["over_limit_k_s"] = row(at.OVER) * TICK_S
    out["boost_p95_c"] = weighted_quantile(played.boost_k, outing.boost_weight, 0.95) - ZERO_C_K
    out["octane_over_limit"] = np.maximum(out["boost_p95_c"] - (goals.limit_k - ZERO_C_K), 0.0) * OCTANE_PER_K
    out["minutes_to_target"], out["target_reached_share"] = time_to_target(row(at.REACHED), outing)
    out["pump_hours"] = row(at.PUMP_TICKS) * hours
    parts = np.stack([row(r) * hours for r in WEAR_ROWS])
    out["wear_hours"] = parts[WEAR_EXPONENTS.index(wear_exponent)] + wear_start_h * row(at.STARTS)
    out["pump_starts"] = row(at.STARTS).copy()
    out["energy_wh"] = row(at.ENERGY) * hours
    out["fuel_ml"] = fuel_ml(out["energy_wh"], car)
    boost = float(outing.boost_weight.sum())
    out["power_kept_pct"] = 100.0 * row(at.POWER_KEPT) / boost if boost else np.full_like(row(at.OVER), np.nan)
    out["condensing_minutes"] = row(at.CONDENSING) * TICK_S / 60.0
    out["quiet_minutes"] = row(at.QUIET) * TICK_S / 60.0
    reasons, ticks = row(at.REASON).astype(int), row(at.FAILED).copy()
    failed = [at.REASONS[r] for r in reasons]
    state = played.state[:, : len(failed)]
    for n in range(len(failed)):
        if not failed[n] and not (np.isfinite(state[at.CORE_AT :, n]).all() and np.isfinite(out["tracking_k_h"][n])):
            failed[n] = "temperatures are no longer finite"
            ticks[n] = outing.ticks  # found at the end
    return RunFigures({n: out[n] for n in NAMES}, parts, tuple(failed), np.where(ticks >= 0, ticks * TICK_S, np.nan))


def weighted_quantile(values: NDArray[np.float32], weights: Floats, share: float) -> Floats:
    """Value under which `share` of the weight lies, per column; NaN without rows. values (rows, columns)."""
    if len(weights) == 0 or weights.sum() <= 0.0:
        return np.full(values.shape[1], np.nan)
    order = np.argsort(values, axis=0, kind="stable")
    summed = np.cumsum(weights[order], axis=0)
    place = np.argmax(summed >= share * summed[-1], axis=0)
    columns = np.arange(values.shape[1])
    return np.asarray(values[order[place, columns], columns], dtype=np.float64)


def time_to_target(reached: Floats, outing: CompiledOuting) -> tuple[Floats, Floats]:
    """Minutes from key-on to the target band (censored at the horizon), and 1 or 0 for reached; NaN if not asked."""
    if not (outing.X[:, at.X_REACH] > 0.0).any():
        blank = np.full_like(reached, np.nan)
        return blank, blank.copy()
    horizon = outing.ticks - outing.score_from
    ticks = np.where(reached >= 0.0, reached - outing.score_from, horizon)
    return ticks * TICK_S / 60.0, (reached >= 0.0).astype(np.float64)


def fuel_ml(energy_wh: Floats, car: CarNumbers) -> Floats:
    """Fuel in ml that the engine burns more for this electrical energy, through alternator and engine.

    At the engine's indicated efficiency (`engine.indicated_efficiency`), not its lower brake efficiency: its friction
    is there with the pump or without, so a load more burns only what its own work takes (a straight Willans line).
    """
    joule = energy_wh * 3600.0 / (car.supply.alternator_efficiency * car.engine.indicated_efficiency)
    return np.asarray(joule / car.supply.fuel_j_m3 * 1e6)
