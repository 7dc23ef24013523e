"""How functions of the project are compiled: one place that sets numba up, and its cache.

numba's own cache does not notice an edited callee in another module, so compiled code is kept in a folder
named by the content of everything that is compiled, by the grid and by the versions involved. ARENA_UNCOMPILED=1 runs
plain Python instead, for coverage and debugging.
"""

from __future__ import annotations

import hashlib
import os
import sys
import warnings
from collections.abc import Callable
from functools import cache, partial
from pathlib import Path
from typing import Any

from arena.plant.cache import folder
from arena.plant.layout import GRID

UNCOMPILED = os.environ.get("ARENA_UNCOMPILED", "") not in {"", "0"}
_COMPILED_SOURCES = ("plant", "timetable")


@cache
def code_folder() -> Path:
    """Cache folder for compiled code, named by sources and versions; numba is told of it."""
    import llvmlite
    import numba

    root = Path(__file__).parent.parent
    digest = hashlib.sha256(f"{sys.version}|{numba.__version__}|{llvmlite.__version__}|{GRID}".encode())
    for package in _COMPILED_SOURCES:
        for path in sorted((root / package).glob("*.py")):
            digest.update(path.name.encode() + b"\0" + path.read_bytes())
    place = folder() / f"code-{digest.hexdigest()[:16]}"
    place.mkdir(parents=True, exist_ok=True)
    numba.config.CACHE_DIR = str(place)
    # numba calls functions as arguments experimental; the arena rests on them and tests them
    warnings.filterwarnings("ignore", message="First-class function type")
    return place


def compiled(
    function: Callable[..., Any], *, within: bool = False, inline: str = "never", signature: Any = None
) -> Any:
    """`function` compiled: strict floating point, no GIL, errors as IEEE values, kept on disk.

    `within`: only compiled functions call it, so what Python would need to call it is not compiled, and nothing is kept
    on disk: its code is in its callers'.
    `inline="always"`: its lines go into its compiled callers. For one that only calls others: what a function calls is
    optimised once more at each level of calls, which is much of what compiling takes.
    `signature`: compiled for these types at once, not for those it meets when it is called.
    """
    if UNCOMPILED:
        return function
    from numba import njit

    code_folder()
    return njit(
        signature, nogil=True, cache=not within, error_model="numpy", fastmath=False, inline=inline,
        no_cfunc_wrapper=True, no_cpython_wrapper=within,
    )(function)  # fmt: skip


compiled_within = partial(compiled, within=True)
compiled_in_place = partial(compiled, inline="always")
