"""Laws compiled: around each strategy's scalar law a loop over lanes with one fixed signature is generated.

The wrapper's source (the strategy's own functions among it) goes to a cache folder under a name made of its
content, so that an edited law is never met by old code. A law the compiler refuses still runs, interpreted.
"""

from __future__ import annotations

import ast
import hashlib
import importlib.util
import inspect
import sys
from dataclasses import dataclass
from functools import cache
from pathlib import Path
from typing import Any

from arena.plant import layout as at
from arena.plant.jit import UNCOMPILED, code_folder
from arena.strategies import base
from arena.strategies.base import Strategy

MOST_LAWS = 16  # different laws in one batch
PROBE_LOW_C, PROBE_HIGH_C = -39.9, 149.0  # readings beyond these are a failed probe

_COLUMN = {
    "throttle_pct": at.X_THROTTLE,
    "pedal_pct": at.X_PEDAL,
    "map_kpa": at.X_MAP,
    "speed_kmh": at.X_SPEED,
    "rpm": at.X_RPM,
    "ambient_c": at.X_AMBIENT,
    "battery_v": at.X_SUPPLY,
    "engine_on": at.X_ENGINE,
    "time_s": at.X_TIME,
}
_READING = {"iat_c": at.READING, "coolant_c": at.COOLANT_READING}


@dataclass(frozen=True)
class Law:
    """A law ready for the kernel: `batch(S, X, o, cells, low, high)` sets the duty of lanes low..high-1."""

    batch: Any
    compiled: bool
    note: str = ""


def law_of(strategy: Strategy, width: int) -> Law:
    """The compiled law of a strategy for a batch of this width, or the interpreted one with a note why it is slower."""
    return _law(_source(strategy, width), strategy, width)


@cache
def _law(source: str, strategy: Strategy, width: int) -> Law:
    if UNCOMPILED:
        return Law(_interpreted(strategy, width), compiled=False)
    from numba.core.errors import NumbaError

    digest = hashlib.sha256(source.encode()).hexdigest()[:20]
    place = code_folder() / "laws"
    place.mkdir(parents=True, exist_ok=True)
    path = place / f"law_{digest}.py"
    if not path.exists():
        from arena.plant.cache import write_whole

        write_whole(path, lambda aside: _write(aside, source))
    spec = importlib.util.spec_from_file_location(f"arena_law_{digest}", path)
    assert spec is not None and spec.loader is not None
    module = importlib.util.module_from_spec(spec)
    sys.modules[spec.name] = module  # a compiled function read back from the cache looks its module up here
    try:
        spec.loader.exec_module(module)
    except (NumbaError, NotImplementedError, TypeError, KeyError) as error:
        reason = str(error).strip().splitlines()
        return Law(
            _interpreted(strategy, width),
            compiled=False,
            note=f"{strategy.name}: runs interpreted, slower: {reason[-1] if reason else type(error).__name__}",
        )
    return Law(module.batch, compiled=True)


def _write(path: Path, source: str) -> None:
    path.write_text(source, encoding="utf-8")


@cache
def nobody() -> Any:
    """A batch that sets nothing: fills unused places in the kernel's tuple of laws."""
    if UNCOMPILED:
        return lambda *_: None
    from numba import cfunc

    return cfunc(_signature())(_set_nothing)


def _set_nothing(S: Any, X: Any, o: int, cells: Any, low: int, high: int) -> None:
    return


def _signature() -> Any:
    from numba import float64, int64, void

    flat = float64[::1]
    return void(flat, flat, int64, flat, int64, int64)


def _source(strategy: Strategy, width: int) -> str:
    """Source of the generated module: the strategy's file made compilable, and the loop over lanes."""
    head = f"{_HEAD}\n\nLANES = {width}"
    return f"{head}\n\n{_jitted(inspect.getsource(base.bilinear))}\n\n{_jitted(inspect.getsource(base.clip))}\n\n" + (
        f"{_own_code(strategy)}\n\n{_loop(strategy, width)}"
    )


_HEAD = '''"""Generated: a law, and the loop over lanes around it."""
import math
from typing import Any, NamedTuple

from numba import cfunc as _cfunc, float64 as _f, int64 as _i, njit as _njit, void as _void'''


def _jitted(function_source: str) -> str:
    return f"@_njit(error_model='numpy')\n{function_source}"


def _own_code(strategy: Strategy) -> str:
    """The strategy's classes, constants and functions; what only declares it is left out."""
    tree = ast.parse(Path(strategy.path).read_text(encoding="utf-8"))
    kept: list[ast.stmt] = []
    for node in tree.body:
        if isinstance(node, ast.FunctionDef):
            node.decorator_list = [ast.parse("_njit(error_model='numpy')", mode="eval").body]
            node.returns = None
            for argument in node.args.args:
                argument.annotation = None
            kept.append(node)
        elif (
            isinstance(node, ast.ClassDef | ast.AnnAssign)
            or (isinstance(node, ast.Import) and _plain(node))
            or (
                isinstance(node, ast.Assign)
                and not any(isinstance(t, ast.Name) and t.id == "STRATEGY" for t in node.targets)
            )
        ):
            kept.append(node)
    return "\n\n".join(ast.unparse(node) for node in kept)


def _plain(node: ast.Import) -> bool:
    return all(name.name in {"math", "numpy"} for name in node.names)


def _loop(strategy: Strategy, width: int) -> str:
    sensed = ", ".join(
        f"S[{_READING[s] * width} + n] - 273.15" if s in _READING else f"X[o + {_COLUMN[s]}]" for s in strategy.senses
    )
    settings = ", ".join(f"S[{(at.SETTINGS + k) * width} + n]" for k in range(len(strategy.settings)))
    memory = ", ".join(f"S[{(at.MEMORY + k) * width} + n]" for k in range(len(strategy.memory)))
    cells = ", cells, n" if strategy.table else ""
    keep = "\n".join(f"        S[{(at.MEMORY + k) * width} + n] = after[{k}]" for k in range(len(strategy.memory)))
    guard = ""
    if "iat_c" in strategy.senses:
        reading = f"S[{at.READING * width} + n] - 273.15"
        guard = (
            f"        reading = {reading}\n"
            f"        if not (reading > {PROBE_LOW_C} and reading < {PROBE_HIGH_C}):\n"
            f"            asked = S[{at.FAILSAFE * width} + n]\n"
        )
    names = strategy.sensed.__name__, strategy.settings_type.__name__, type(strategy.memory).__name__
    return (
        "@_cfunc(_void(_f[::1], _f[::1], _i, _f[::1], _i, _i), cache=True, error_model='numpy')\n"
        "def batch(S, X, o, cells, low, high):\n"
        "    for n in range(low, high):\n"
        f"        asked, after = {strategy.law.__name__}({names[0]}({sensed}), {names[1]}({settings}), "
        f"{names[2]}({memory}){cells})\n{guard}"
        f"        S[{at.DUTY * width} + n] = asked\n{keep}\n"
    )


def _interpreted(strategy: Strategy, width: int) -> Any:
    """The same loop in plain Python, around the law as it stands."""
    sensed_type, settings_type, memory_type = strategy.sensed, strategy.settings_type, type(strategy.memory)
    settings_rows, memory_rows = range(len(strategy.settings)), range(len(strategy.memory))
    probed = "iat_c" in strategy.senses

    def batch(S: Any, X: Any, o: int, cells: Any, low: int, high: int) -> None:
        for n in range(low, high):
            values = [
                S[_READING[s] * width + n] - 273.15 if s in _READING else X[o + _COLUMN[s]] for s in strategy.senses
            ]
            settings = settings_type(*(S[(at.SETTINGS + k) * width + n] for k in settings_rows))
            memory = memory_type(*(S[(at.MEMORY + k) * width + n] for k in memory_rows))
            extra = (cells, n) if strategy.table else ()
            asked, after = strategy.law(sensed_type(*values), settings, memory, *extra)
            if probed and not PROBE_LOW_C < S[at.READING * width + n] - 273.15 < PROBE_HIGH_C:
                asked = S[at.FAILSAFE * width + n]
            S[at.DUTY * width + n] = asked
            for k in memory_rows:
                S[(at.MEMORY + k) * width + n] = after[k]

    return batch
