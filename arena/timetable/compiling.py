"""Compiles plain functions that call each other together, on demand, so that importing their modules stays cheap.

The plain functions stay callable as they are; the compiled ones are copies that call each other, kept on
disk in the project's folder for compiled code.
"""

from __future__ import annotations

import types
from collections.abc import Callable, Sequence
from typing import Any

from arena.plant.jit import UNCOMPILED, compiled, compiled_within


def compile_together(functions: Sequence[Callable[..., Any]], signature: Any) -> Callable[..., Any]:
    """The last of `functions` compiled for a numba signature, calling the others, which stand callees before callers.

    Each is copied into its module's namespace, in which the functions before it are already the compiled ones.
    When the project runs uncompiled the plain function is returned.
    """
    built: dict[str, Callable[..., Any]] = {}
    *within, last = functions
    for function in within:
        built[function.__name__] = compiled_within(_copy(function, built))
    together: Callable[..., Any] = compiled(_copy(last, built), signature=signature)
    return together


def _copy(function: Callable[..., Any], built: dict[str, Callable[..., Any]]) -> Callable[..., Any]:
    if UNCOMPILED:
        return function
    names = {**function.__globals__, **built}
    copy = types.FunctionType(function.__code__, names, function.__name__, function.__defaults__)
    copy.__module__ = function.__module__
    return copy
