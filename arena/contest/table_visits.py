"""How long the drives read each cell of a duty table: a cell that none reads is left to a rule, not to chance."""

from __future__ import annotations

from collections.abc import Sequence
from concurrent.futures import ThreadPoolExecutor

import numpy as np
from numpy.typing import NDArray

from arena.contest.axes import Axes, Axis
from arena.contest.laws import COLUMN
from arena.contest.pool import in_order
from arena.contest.run import Contestant, lay_out, play
from arena.contest.tune import Training
from arena.plant import layout as at
from arena.plant.compile import TICK_S, CompiledOuting
from arena.units import ZERO_C_K

Floats = NDArray[np.float64]

SEEN_S = 1.0  # a cell is visited from so many weighted seconds over the training outings


def visits_of(training: Training, contestants: Sequence[Contestant], axes: Axes, pool: ThreadPoolExecutor) -> Floats:
    """Seconds every cell is read by, weighted as interpolated, (contestants, rows, columns), over all outings.

    At most LANES contestants. Counted while the key is on; a cell with exactly 0 has no influence on the runs.
    """
    lanes = lay_out(contestants)

    def one(number: int) -> Floats:
        compiled = training.outings[number][0].compiled
        played = play(compiled, lanes, trace_lanes=len(contestants), trace_columns=at.TRACE_COLUMNS)
        assert played.trace is not None
        obeyed = (compiled.X[:, at.X_KEY] > 0.0).astype(np.float64) * TICK_S
        return np.stack([visits(axes, compiled, played.trace[:, n], obeyed) for n in range(len(contestants))])

    return np.asarray(sum(in_order(pool, one, range(len(training.outings)))))


def visits(axes: Axes, outing: CompiledOuting, record: Floats, obeyed: Floats) -> Floats:
    """Seconds by cell of one recorded run; `record` (ticks, TRACE_COLUMNS), `obeyed` (ticks,) seconds a tick."""
    y, u = _places(axes.down, outing, record)
    x, v = _places(axes.across, outing, record)
    rows, columns = axes.shape
    out = np.zeros(rows * columns)
    for dy, wy in ((0, 1.0 - u), (1, u)):
        for dx, wx in ((0, 1.0 - v), (1, v)):
            out += np.bincount((y + dy) * columns + x + dx, obeyed * wy * wx, minlength=rows * columns)
    return out.reshape(rows, columns)


def _places(axis: Axis, outing: CompiledOuting, record: Floats) -> tuple[NDArray[np.int64], Floats]:
    """Lower breakpoint and share of the upper one at every tick, as the law reads them."""
    points = np.array(axis.points)
    values = sensed(axis.heading_metric, outing, record)
    low = np.clip(np.searchsorted(points, values, side="right") - 1, 0, len(points) - 2)
    share = np.clip((values - points[low]) / (points[low + 1] - points[low]), 0.0, 1.0)
    return low, share


def sensed(name: str, outing: CompiledOuting, record: Floats) -> Floats:
    """What a law that declares the sense `name` met at every tick, (ticks,), in the sense's unit.

    A probe's reading is that of the tick before, as the law sees it.
    """
    if name in COLUMN:
        return np.asarray(outing.X[:, COLUMN[name]])
    kelvin = record[:, at.T_READING if name == "iat_c" else at.T_CORE_IN]
    return np.concatenate([[outing.start_k], kelvin[:-1]]) - ZERO_C_K
