"""How functions of the project are compiled: one place that sets numba up, and its cache.

numba's own cache does not notice an edited callee in another module, so compiled code is kept in a folder
named by the content of everything that is compiled, by the grid and by the versions involved. ARENA_UNCOMPILED=1 runs
plain Python instead, for coverage and debugging.
"""

from __future__ import annotations

import hashlib
import os
import sys
import threading
import warnings
from collections.abc import Callable
from functools import cache
from pathlib import Path
from typing import Any

from arena.plant.cache import folder
from arena.plant.layout import GRID

UNCOMPILED = os.environ.get("ARENA_UNCOMPILED", "") not in {"", "0"}
_COMPILED_SOURCES = ("plant", "timetable")
_KERNELS: dict[int, Any] = {}
_LOADING = threading.RLock()  # loading a kernel changes settings of numba's and of the layout's for a moment


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


def compiled(function: Callable[..., Any]) -> Any:
    """`function` compiled: strict floating point, no GIL, errors as IEEE values, cached on disk."""
    if UNCOMPILED:
        return function
    from numba import njit

    with _LOADING:
        code_folder()
        return njit(nogil=True, cache=True, error_model="numpy", fastmath=False)(function)


def kernel(width: int) -> Any:
    """The kernel compiled for a batch `width` lanes wide. The width is a constant to the compiler, so that it
    vectorises; each width is a module of its own from the same file, with its own cache (8 and layout.LANES are used).
    """
    with _LOADING:
        if width not in _KERNELS:
            _KERNELS[width] = _load_kernel(width)
        return _KERNELS[width]


def _load_kernel(width: int) -> Any:
    import importlib.util

    from arena.plant import layout

    before = ""
    if not UNCOMPILED:
        import numba

        place = code_folder() / f"width-{width}"
        place.mkdir(exist_ok=True)
        before, numba.config.CACHE_DIR = numba.config.CACHE_DIR, str(place)
    usual, layout.LANES = layout.LANES, width
    try:
        spec = importlib.util.spec_from_file_location(
            f"arena.plant.kernel_{width}", Path(__file__).with_name("kernel.py")
        )
        assert spec is not None and spec.loader is not None
        module = importlib.util.module_from_spec(spec)
        sys.modules[spec.name] = module  # compiled code read back from the cache looks its module up here
        spec.loader.exec_module(module)
    finally:
        layout.LANES = usual
        if before:
            numba.config.CACHE_DIR = before
    return module
