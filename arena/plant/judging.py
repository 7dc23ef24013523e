"""What probes read and what a tick adds to the figures; failures.

Ordinary arithmetic on a few lanes side by side; see rows.swept for what `rows`, `x` and `p` are.
"""

from __future__ import annotations

import math
from typing import Any

from arena.plant.layout import (
    APPLIED, BATTERY_A, COLD_CRUISE, CONDENSING, COOLANT_READING, CORE_COLDEST, CORE_HOTTEST, CORE_IN, CORE_METAL,
    CURRENT, ENERGY, FAILED, HOT_BOOST, HOT_CRUISE, IAT, OVER, P_BOIL, P_QUIET, P_RATED_A, P_RATED_W, P_REACH,
    P_STALL_TICKS, P_STEP, P_TARGET, POWER_KEPT, PROBE, PUMP_TICKS, QUIET, REACHED, READING, REASON, SPEED, SQUARES,
    STALL, WAS_ON, WEAR_1, WEAR_2, WEAR_15, X_BOOST, X_COLD_T, X_CRUISE, X_DEW, X_FAULT_READING, X_HOT_T, X_LIMIT,
    X_LIMIT_T, X_NOISE, X_PROBE0, X_PROBE1, X_PROBE_K, X_SUPPLY,
)  # fmt: skip


def sense(rows: Any, x: Any, p: Any) -> None:
    """Probe element, and what the engine computer reads of it."""
    step, fault = p[P_STEP], x[X_FAULT_READING]
    element = rows[PROBE]
    element = element + x[X_PROBE_K] * (x[X_PROBE0] + x[X_PROBE1] * rows[CORE_METAL] - element)
    rows[PROBE] = element
    read = rows.floor((element - 273.15 + x[X_NOISE]) / step + 0.5) * step + 273.15
    rows[READING] = rows.where(fault > -math.inf, fault, read)  # NaN unless it has failed
    rows[COOLANT_READING] = rows.floor((rows[CORE_IN] - 273.15) / step + 0.5) * step + 273.15


def watch(rows: Any, x: Any, p: Any) -> None:
    """Boiled or stalled: the first reason of a lane stands, with its tick."""
    failed, reason = rows[FAILED], rows[REASON]
    well = failed < 0.0
    boiled, stalled = well & (rows[CORE_HOTTEST] > p[P_BOIL]), well & (rows[STALL] > p[P_STALL_TICKS])
    rows[REASON] = rows.where(boiled, 1.0, rows.where(stalled, 2.0, reason))
    rows[FAILED] = rows.where(boiled | stalled, x.tick, failed)


def add_temperatures(rows: Any, x: Any, p: Any) -> None:
    """How far from the target, and whether water condenses."""
    boost, cruise, target = x[X_BOOST], x[X_CRUISE], p[P_TARGET]
    t = rows[IAT]
    hot = rows.most(t - x[X_HOT_T], 0.0)
    rows[HOT_BOOST] += boost * hot
    rows[HOT_CRUISE] += cruise * hot
    rows[COLD_CRUISE] += cruise * rows.most(x[X_COLD_T] - t, 0.0)
    rows[SQUARES] += (boost + cruise) * (t - target) * (t - target)
    rows[CONDENSING] += rows.where(rows[CORE_COLDEST] < x[X_DEW], 1.0, 0.0)


def add_on_boost(rows: Any, x: Any, p: Any) -> None:
    """Excess over the limit and share of power kept, on boost."""
    t = rows[IAT]
    rows[OVER] += x[X_LIMIT] * rows.most(t - x[X_LIMIT_T], 0.0)
    rows[POWER_KEPT] += x[X_BOOST] * rows.root(p[P_TARGET] / t)


def mark_reached(rows: Any, x: Any, p: Any) -> None:
    """The first tick at the target."""
    reached = rows[REACHED]
    now = (reached < 0.0) & (rows[IAT] >= p[P_REACH])
    rows[REACHED] = rows.where(now, x.tick, reached)


def add_noise(rows: Any, x: Any, p: Any) -> None:
    """Ticks above the quiet duty at standstill."""
    rows[QUIET] += rows.where(rows[APPLIED] > p[P_QUIET], 1.0, 0.0)


def add_pump(rows: Any, x: Any, p: Any) -> None:
    """Running, wear and energy of the pump."""
    turns = rows[SPEED] * (1.0 / p[P_RATED_W])
    i = rows[CURRENT] * (1.0 / p[P_RATED_A])
    stress = 1.0 + 0.3 * rows.most(i * i - 1.0, 0.0)
    rows[PUMP_TICKS] += rows[WAS_ON]
    rows[WEAR_1] += turns * stress
    rows[WEAR_15] += turns * rows.root(turns) * stress
    rows[WEAR_2] += turns * turns * stress
    rows[ENERGY] += x[X_SUPPLY] * rows[BATTERY_A]
