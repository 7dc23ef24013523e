"""Small helpers every formula file shares: floats or arrays in, the same out, and clear refusals.

`Value` is what the formulas take, `Out` what they give: a float when every input was one, else an array.
"""

from __future__ import annotations

from typing import Any

import numpy as np
from numpy.typing import NDArray

from arena.errors import BadInput

Value = float | NDArray[np.float64]
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


def _span(low: float, high: float, above: bool) -> str:
    lower = "" if low == -np.inf else (f"above {low:g}" if above else f"from {low:g}")
    upper = "" if high == np.inf else f"up to {high:g}"
    return " ".join(part for part in (lower, upper) if part) or "number"
