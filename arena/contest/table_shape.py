"""What makes a duty table acceptable to a careful person, and how candidates are made of it.

Duty never falls as the temperature or the load rises, nothing lies between zero and the lowest running duty, all cells
are multiples of the output's step, and cells no drive visits follow from their neighbours by rule.
"""

from __future__ import annotations

from collections import namedtuple
from functools import cache
from typing import Any

import numpy as np
from numpy.typing import NDArray

from arena.contest import floor_law
from arena.contest.axes import Axes
from arena.contest.run import Contestant
from arena.strategies.base import Setting, Strategy

Floats = NDArray[np.float64]
Mask = NDArray[np.bool_]

ROUGHNESS_PRICE = 0.03  # of the score, for a mean squared second difference of 1 (100 % duty up and down again)

SHAPE: tuple[Setting, ...] = (
    Setting("closed_start_c", "degC", 5.0, 75.0, 38.0, "at the low end of the other axis the pump starts here"),
    Setting("open_start_c", "degC", 5.0, 75.0, 30.0, "at its high end the pump starts here"),
    Setting("span_k", "K", 0.5, 30.0, 12.0, "from start to full duty"),
    Setting("gate_pct", "%", 0.0, 80.0, 15.0, "place along the other axis from which the start begins to change"),
    Setting("width_pct", "%", 2.0, 60.0, 30.0, "over so much of that axis it changes"),
    Setting("first_pct", "%", 0.0, 100.0, 0.0, "duty at the start, from the lowest running (0) to full (100)"),
)
STARTS: tuple[dict[str, float], ...] = (
    {s.name: s.default for s in SHAPE},
    {"closed_start_c": 5, "open_start_c": 5, "span_k": 0.5, "gate_pct": 0, "width_pct": 2, "first_pct": 100},
    {"closed_start_c": 75, "open_start_c": 75, "span_k": 0.5, "gate_pct": 0, "width_pct": 2, "first_pct": 100},
    {"closed_start_c": 33, "open_start_c": 33, "span_k": 0.5, "gate_pct": 0, "width_pct": 2, "first_pct": 0},
)


def contestant_with(axes: Axes, cells: Floats, name: str = "tuned-table") -> Contestant:
    """A contestant that reads these cells (rows, columns; 0..1) as the axes say."""
    strategy = table_strategy(axes.down.heading_metric, axes.across.heading_metric)
    return Contestant(name, strategy, output_settings(axes), table=(axes.down.points, axes.across.points, cells))


def output_settings(axes: Axes) -> dict[str, float]:
    """What the law needs to know of the pump output."""
    if axes.reading == "as-read":
        return {"lowest_pct": 0.0, "hysteresis_pct": 0.0}
    return {"lowest_pct": round(100.0 * axes.floor(), 6), "hysteresis_pct": round(100.0 * axes.hysteresis, 6)}


@cache
def table_strategy(down: str, across: str) -> Strategy:
    """The strategy of duty tables that go by these two senses; one object a pair, so that they share a batch."""
    sensed: Any = namedtuple("Sensed", [down, across])  # type: ignore[misc]
    return Strategy(
        name="duty-table",
        summary=f"a duty table of {across} by {down}",
        sensed=sensed,
        settings_type=floor_law.Settings,
        memory=floor_law.Memory(0.0),
        law=floor_law.duty,
        settings=(
            Setting("lowest_pct", "%", 0.0, 100.0, 35.0, "least running duty; below it the output is off"),
            Setting("hysteresis_pct", "%", 0.0, 50.0, 10.0, "stays on until the table falls this far below it"),
        ),
        table=lambda _: ((0.0, 1.0), (0.0, 1.0), ((1.0, 1.0), (1.0, 1.0))),
        path=floor_law.__file__,
    )


def shaped(axes: Axes, point: dict[str, float]) -> Floats:
    """Cells (rows, columns) of six shape numbers; acceptable, every cell filled."""
    heat = np.array((axes.down, axes.across)[axes.heat].points)
    other = np.array((axes.down, axes.across)[1 - axes.heat].points)
    place = (other - other[0]) / (other[-1] - other[0])
    opened = np.clip((place - 0.01 * point["gate_pct"]) / (0.01 * point["width_pct"]), 0.0, 1.0)
    last = point["open_start_c"] if free(axes) else min(point["open_start_c"], point["closed_start_c"])
    start = point["closed_start_c"] + opened * (last - point["closed_start_c"])
    share = (heat[:, None] - start[None, :]) / point["span_k"]
    first = axes.floor() + 0.01 * point["first_pct"] * (1.0 - axes.floor())
    cells = np.where(share < 0.0, 0.0, first + (1.0 - first) * np.minimum(share, 1.0))
    made = cells if axes.heat == 0 else cells.T
    return acceptable(axes, made, falling_of(axes, made))


def free(axes: Axes) -> bool:
    """Whether the axis beside the temperature may go either way: faster is no plain sign of more or less need."""
    return (axes.down, axes.across)[1 - axes.heat].sense.name == "speed"


def falling_of(axes: Axes, cells: Floats) -> bool:
    """Whether the duty falls along a free axis (more duty when slow)."""
    along = cells if axes.heat == 0 else cells.T
    return free(axes) and bool(along[:, 0].sum() > along[:, -1].sum())


def upright(axes: Axes, cells: Any, falling: bool) -> Any:
    """Cells turned so that duty rises along both axes; the same turn again undoes it."""
    if not falling:
        return cells
    return cells[:, ::-1] if axes.heat == 0 else cells[::-1, :]


def monotone(cells: Floats) -> Floats:
    """The nearest way to rise along both axes: half way between the hull above and the hull below."""
    above = np.maximum.accumulate(np.maximum.accumulate(cells, axis=0), axis=1)
    below = np.minimum.accumulate(np.minimum.accumulate(cells[::-1, ::-1], axis=0), axis=1)[::-1, ::-1]
    return np.asarray(0.5 * (above + below))


def acceptable(axes: Axes, cells: Floats, falling: bool = False) -> Floats:
    """Cells made monotone, 0 or at least the lowest running duty, and multiples of the step; idempotent."""
    rising = monotone(np.clip(upright(axes, cells, falling), 0.0, 1.0))
    floor, step = axes.floor(), axes.duty_step
    whole = np.round(np.round(rising / step) * step, 9)
    whole = np.where(rising < 0.5 * floor, 0.0, np.clip(whole, floor, 1.0))
    whole = 0.01 * np.round(100.0 * whole, 6)  # to the bit what is read back from a CSV in per cent
    return np.asarray(upright(axes, whole, falling))


def is_acceptable(axes: Axes, cells: Floats, falling: bool = False) -> bool:
    """Whether a table keeps all promises (for tests and for a user's own table)."""
    return bool(np.allclose(acceptable(axes, cells, falling), cells, atol=1e-9))


def filled(axes: Axes, cells: Floats, visited: Mask, limit_c: float, falling: bool = False) -> Floats:
    """Cells that are not visited, by rule: the largest visited duty at or below them along both axes (0 if none).

    From the limit temperature up they are full, as far as a visited cell above them allows: a day hotter than any of
    the drives must find the pump running.
    """
    turned, seen = upright(axes, cells, falling), upright(axes, visited, falling)
    low = np.maximum.accumulate(np.maximum.accumulate(np.where(seen, turned, 0.0), axis=0), axis=1)
    high = np.where(seen, turned, 1.0)[::-1, ::-1]
    high = np.minimum.accumulate(np.minimum.accumulate(high, axis=0), axis=1)[::-1, ::-1]
    heat = np.array((axes.down, axes.across)[axes.heat].points) >= limit_c - 1e-9
    hot = heat[:, None] if axes.heat == 0 else heat[None, :]
    made = np.where(seen, turned, np.where(hot, high, low))
    return acceptable(axes, upright(axes, made, falling), falling)


def roughness(cells: Floats) -> float:
    """Mean squared second difference along both axes, duties 0..1: 0 for a plane."""
    parts = [np.diff(cells, 2, axis=k).ravel() for k in (0, 1)]
    joined = np.concatenate(parts)
    return float(np.mean(joined**2)) if joined.size else 0.0
