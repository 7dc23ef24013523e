"""Small helpers every formula file shares: floats or arrays in, the same out, and clear refusals.

`Value` is what the formulas take, `Out` what they give: a float when every input was one, else an array.
"""

from __future__ import annotations

from collections.abc import Callable
from typing import Any

import numpy as np
from numpy.typing import NDArray

from arena.errors import BadInput

Array = NDArray[np.float64]
Value = float | Array
Out = Any  # a float for floats, an array of the broadcast shape otherwise


def out(value: Any) -> Out:
    """A float for a value without dimensions, else the array itself."""
    array = np.asarray(value, dtype=np.float64)
    return float(array) if array.ndim == 0 else array


def require(name: str, value: Value, low: float = -np.inf, high: float = np.inf, *, above: bool = False) -> Any:
    """The value as a float array; raises BadInput unless finite and in [low, high] (`above`: low not included)."""
    array = np.asarray(value, dtype=np.float64)
    bad = ~np.isfinite(array) | (array < low) | (array > high)
    if above:
        bad |= array <= low
    if bad.any():
        first = float(array[bad].flat[0]) if array.ndim else float(array)
        raise BadInput(f"{name} is {first:g}", f"give a finite {name} {_span(low, high, above)}")
    return array


def falling_root(f: Callable[[Array], Any], high: Array, within: float) -> Array:
    """Where each element of f, falling between 0 and `high` (floats of any shape), is 0, to `within`.

    0 where it is not above 0 at 0, `high` where it is not below 0 there. Regula falsi, an end that stays counting half
    each time (the Illinois rule; Dowell and Jarratt, BIT 11, 1971), and every fourth step the middle, for cliffs;
    no step is shorter than 0.4 of `within`, so that the ends meet.
    """
    low, end = np.zeros_like(high), high
    at_low, at_high = np.asarray(f(low)), np.asarray(f(high))
    inside = (at_low > 0.0) & (at_high < 0.0)
    ends = np.where(at_low > 0.0, end, 0.0)
    x, side = ends, np.zeros(high.shape)
    for step in range(200):
        share = 0.5 if step % 4 == 3 else at_low / np.where(inside, at_low - at_high, 1.0)
        inner = np.clip(share * (high - low), 0.4 * within, np.maximum(high - low - 0.4 * within, 0.4 * within))
        x = np.where(inside, low + inner, ends)
        value = np.asarray(f(x))
        above = value > 0.0
        at_low = np.where(above, value, np.where(side < 0.0, 0.5 * at_low, at_low))
        at_high = np.where(above, np.where(side > 0.0, 0.5 * at_high, at_high), value)
        low, high, side = np.where(above, x, low), np.where(above, high, x), np.where(above, 1.0, -1.0)
        if not (inside & (value != 0.0) & (high - low > within)).any():
            break
    return x


def _span(low: float, high: float, above: bool) -> str:
    lower = "" if low == -np.inf else (f"above {low:g}" if above else f"from {low:g}")
    upper = "" if high == np.inf else f"up to {high:g}"
    return " ".join(part for part in (lower, upper) if part) or "number"
