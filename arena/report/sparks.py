"""A run drawn in the terminal: charge temperature in braille dots, duty, boost and speed as rows of blocks.

Reads without colour at 80 columns. Where the stream cannot show such characters, plain letters stand in.
"""

from __future__ import annotations

import math
from collections.abc import Callable, Sequence
from itertools import pairwise

import numpy as np
from numpy.typing import NDArray

from arena.contest.single import SingleRun
from arena.plant import layout as at
from arena.plant.compile import TICK_S
from arena.units import Units

Floats = NDArray[np.float64]

LABEL = 13  # columns left of the plot
ROWS = 9
NARROWEST, WIDEST = 40, 160
BLOCKS = " ▁▂▃▄▅▆▇█"
PLAIN_BLOCKS = " .:-=+*#@"
LINE, PLAIN_LINE = "╌", "-"
_DOT = ((0x01, 0x02, 0x04, 0x40), (0x08, 0x10, 0x20, 0x80))  # bits of a braille cell: column, then row from the top


def time_plot(run: SingleRun, width: int = 80, plain: bool = False, units: Units | None = None) -> list[str]:
    """Lines of a plot of the scored part of a recorded run, none wider than `width`. `plain`: ASCII only.

    Charge temperature is left out where the engine stands: there is no charge air.
    """
    assert run.record is not None
    units = units or Units()
    first = run.played.score_from
    columns = min(max(width, NARROWEST), WIDEST) - LABEL - 1
    end = len(run.record) if not run.failed else max(int(run.failed_s / TICK_S), first + 1)
    iat = np.asarray(units.temperature(run.record[first:end, at.T_IAT]), dtype=np.float64)
    iat[run.played.engine_on[first:end] < 0.5] = np.nan
    goals = {
        "limit": float(units.temperature(run.goals.limit_k)),
        "target": float(units.temperature(run.goals.target_k)),
    }
    whole = len(run.record) - first
    boost = units.pressure(np.maximum(run.played.map_pa - run.played.ambient_pa, 0.0))[first:]
    speed = units.speed(run.played.speed_m_s)[first:]
    duty = 100.0 * run.record[first:end, at.T_DUTY]
    title = f"charge temperature, {units.temperature_unit}"
    out = [f"{title}, while the engine runs" if width >= 60 else title]
    out += dots(iat, whole, columns, goals, plain)
    out += [
        blocks("duty %", duty, whole, columns, 100.0, np.mean, plain),
        blocks(f"boost {units.pressure_unit}", boost, whole, columns, _top(boost), np.max, plain),
        blocks(units.speed_unit, speed, whole, columns, _top(speed), np.mean, plain),
        time_axis(whole * TICK_S / 60.0, columns),
    ]
    return [line.rstrip() for line in out]


def can_show(encoding: str | None) -> bool:
    """Whether a stream of this encoding can show braille and blocks."""
    try:
        f"{BLOCKS}{LINE}\u28ff".encode(encoding or "ascii")
    except (UnicodeEncodeError, LookupError):
        return False
    return True


def dots(values: Floats, whole: int, columns: int, goals: dict[str, float], plain: bool = False) -> list[str]:
    """A line in braille (two by four dots a character), with dashed lines at the goals and labels on the left.

    `values` may end before `whole`, the length the width stands for.
    """
    known = values[np.isfinite(values)]
    low, high = min([*known, *goals.values()]), max([*known, *goals.values()])
    low, high = low - 0.02 * (high - low), high + 0.02 * (high - low)
    across, down = (1, 1) if plain else (2, 4)
    height = ROWS * down
    cells = np.zeros((ROWS, columns), dtype=np.int64)

    def row_of(value: float) -> int:
        return min(height - 1, max(0, int((high - value) / (high - low) * height)))

    for x, every in enumerate(_parts(values, whole, columns * across)):
        part = every[np.isfinite(every)]
        if len(part):
            for y in range(row_of(float(part.max())), row_of(float(part.min())) + 1):
                cells[y // down, x // across] |= 1 if plain else _DOT[x % across][y % down]
    lines = {row_of(value) // down: f"{name} {value:.0f}" for name, value in goals.items()}
    labels = {0: f"{high:.0f}", ROWS - 1: f"{low:.0f}", **lines}
    out = []
    for y in range(ROWS):
        empty = (PLAIN_LINE if plain else LINE) if y in lines else " "
        drawn = "".join(empty if not c else "*" if plain else chr(0x2800 + int(c)) for c in cells[y])
        out.append(f"{labels.get(y, ''):>{LABEL}} {drawn}")
    return out


def blocks(
    label: str, values: Floats, whole: int, columns: int, top: float,
    of_part: Callable[[Floats], np.floating], plain: bool = False,
) -> str:  # fmt: skip
    """One row of blocks from 0 to `top`; anything above zero shows at least the lowest block."""
    steps = PLAIN_BLOCKS if plain else BLOCKS
    drawn = ""
    for part in _parts(values, whole, columns):
        value = float(of_part(part)) if len(part) else 0.0
        share = min(max(value / top, 0.0), 1.0)
        drawn += steps[math.ceil(share * (len(steps) - 1) - 1e-9) if share > 0.01 else 0]
    return f"{f'{label} {top:.0f}':>{LABEL}} {drawn}"


def time_axis(minutes: float, columns: int) -> str:
    """Minutes under the plot, at round steps."""
    step = next((s for s in (1, 2, 5, 10, 20, 30, 60, 120, 300) if minutes / s <= columns / 8), 600)
    line = [" "] * (columns + 1)
    for k in range(int(minutes / step) + 1):
        text, at = str(k * step), round(k * step / minutes * columns) if minutes else 0
        if at + len(text) <= columns:
            line[at : at + len(text)] = text
    return f"{'min':>{LABEL}} {''.join(line)}"


def _parts(values: Floats, whole: int, count: int) -> Sequence[Floats]:
    """Values cut into `count` parts of a length `whole`; parts beyond the values are empty."""
    edges = np.linspace(0, whole, count + 1).astype(int)
    return [values[a : max(b, a + 1)] for a, b in pairwise(edges)]


def _top(values: Floats) -> float:
    return max(float(values.max()), 1.0)
