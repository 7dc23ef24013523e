"""Compiles plain functions that call each other together, on demand, so that importing their modules stays cheap.

The plain functions stay callable as they are; the compiled ones are copies that call each other, kept on
disk in the project's folder for compiled code.
"""

from __future__ import annotations

import types
from collections.abc import Callable, Sequence
from typing import Any

from arena.plant.jit import UNCOMPILED, code_folder


def compile_together(functions: Sequence[tuple[Callable[..., Any], Any]]) -> dict[str, Callable[..., Any]]:
    """Compile `functions` = (function, explicit signature), callees before callers; returns them by name.

    Each is copied into its module's namespace, in which the functions before it are already the compiled ones.
    Fast-math stays off. When the project runs uncompiled the plain functions are returned.
    """
    if UNCOMPILED:
        return {function.__name__: function for function, _ in functions}
    import numba

    code_folder()  # tells numba where compiled code is kept
    built: dict[str, Callable[..., Any]] = {}
    for function, signature in functions:
        names = {**function.__globals__, **built}
        copy = types.FunctionType(function.__code__, names, function.__name__, function.__defaults__)
        copy.__module__ = function.__module__
        jit = numba.njit(
            signature, nogil=True, cache=True, error_model="numpy", fastmath=False,
            no_cfunc_wrapper=True, no_cpython_wrapper=function is not functions[-1][0],
        )  # fmt: skip
        built[function.__name__] = jit(copy)
    return built
