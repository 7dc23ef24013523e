"""Laws compiled: around each strategy's scalar law a loop over lanes with one fixed signature is generated.

The wrapper's source (the strategy's own functions among it) goes to a cache folder under a name made of its
content, so that an edited law is never met by old code. A law the compiler refuses still runs, interpreted.
"""

from __future__ import annotations

import ast
import hashlib
import importlib.util
import inspect
import math
import re
import sys
from collections.abc import Callable, Sequence
from dataclasses import dataclass
from functools import cache, partial
from pathlib import Path
from typing import Any

import numpy as np

from arena.plant import layout as at
from arena.plant.jit import UNCOMPILED, code_folder
from arena.strategies import base, contract
from arena.strategies.base import Strategy
from arena.units import ZERO_C_K

MOST_LAWS = 16  # different laws in one batch
PROBE_LOW_C, PROBE_HIGH_C = -39.9, 149.0  # readings beyond these are a failed probe

COLUMN = {  # of X, of what a law senses; the probes' readings are rows of S
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


def law_of(strategy: Strategy) -> Law:
    """The compiled law of a strategy, or the interpreted one with a note why it is slower."""
    return _law(_source(strategy), strategy)


@cache
def _law(source: str, strategy: Strategy) -> Law:
    if UNCOMPILED:
        return Law(_interpreted(strategy), compiled=False)
    raised = _raising_line(strategy)
    if raised:
        return _slower(strategy, f"line {raised} raises or asserts, which compiled code could not report")
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
    except Exception as error:  # whatever the compiler makes of a user's Python
        return _slower(strategy, _why_not_compiled(strategy, path, error))
    return Law(module.batch_of_lanes, compiled=True)


def interpreted_law(strategy: Strategy) -> Law:
    """The law as plain Python, whether it compiles or not."""
    return Law(_interpreted(strategy), compiled=False)


def _slower(strategy: Strategy, why: str) -> Law:
    return Law(_interpreted(strategy), False, f"{strategy.name}: runs interpreted, slower: {why}")


def _raising_line(strategy: Strategy) -> int:
    """The first line on which the file raises or asserts inside a function, 0 if it never does."""
    tree = ast.parse(Path(strategy.path).read_text(encoding="utf-8"))
    kept = [node for node in tree.body if isinstance(node, ast.FunctionDef) and node.name not in _beside(strategy)]
    found = [n.lineno for node in kept for n in ast.walk(node) if isinstance(n, ast.Raise | ast.Assert)]
    return min(found, default=0)


def _beside(strategy: Strategy) -> set[str]:
    """Names of the file's functions that only prepare settings and tables and are never compiled."""
    return {f.__name__ for f in (strategy.repair, strategy.table) if f is not None}


def _why_not_compiled(strategy: Strategy, generated: Path, error: Exception) -> str:
    """The compiler's reason in one line, with the line of the user's own file where it can be told."""
    text = [line.strip() for line in str(error).splitlines() if line.strip()]
    telling = [line for line in text if not line.startswith(("Failed in", "During", "File", "[", ">>>"))]
    reason = re.sub(r"\.* *Raised from .*$", "", telling[0]).rstrip(":") if telling else type(error).__name__
    place = re.search(rf"{re.escape(generated.name)}(?:\", line | \()(\d+)", str(error))
    number = _own_line(strategy, generated, int(place[1])) if place else 0
    return f"line {number}: {reason}" if number else reason


def _own_line(strategy: Strategy, generated: Path, number: int) -> int:
    """The line of the user's file that line `number` of the generated one comes from, 0 if none."""
    made, own = (
        {n.name: n for n in ast.parse(path.read_text(encoding="utf-8")).body if isinstance(n, ast.FunctionDef)}
        for path in (generated, Path(strategy.path))
    )
    for name, function in made.items():
        if name in own and function.lineno <= number <= (function.end_lineno or 0):
            pairs = zip(_statements(function), _statements(own[name]), strict=True)
            return max((mine.lineno for theirs, mine in pairs if theirs.lineno <= number), default=0)
    return 0


def _statements(function: ast.FunctionDef) -> list[ast.stmt]:
    return [node for node in ast.walk(function) if isinstance(node, ast.stmt)]


def _write(path: Path, source: str) -> None:
    path.write_text(source, encoding="utf-8")


@cache
def nobody() -> Any:
    """A batch that sets nothing: fills unused places in the kernel's tuple of laws."""
    if UNCOMPILED:
        return lambda *_: None
    from numba import cfunc

    code_folder()
    return cfunc(_signature(), cache=True)(_set_nothing)


def _set_nothing(S: Any, X: Any, o: int, cells: Any, low: int, high: int) -> None:
    return


def _signature() -> Any:
    from numba import float64, int64, void

    flat = float64[::1]
    return void(flat, flat, int64, flat, int64, int64)


def _source(strategy: Strategy) -> str:
    """Source of the generated module: the strategy's file made compilable, and the loop over lanes."""
    given = "\n\n".join(
        f"@{_JIT}\n{inspect.getsource(function)}" for function in (base.bilinear, base.clip, base.output_on)
    )
    return f"{_HEAD}\n\nLANES = {at.LANES}\nnatural = _u\n\n{given}\n\n{_own_code(strategy)}\n\n{_loop(strategy)}"


_HEAD = '''"""Generated: a law, and the loop over lanes around it."""
import math
from typing import Any, NamedTuple

from numba import cfunc as _cfunc, float64 as _f, int64 as _i, njit as _njit, uint64 as _u, void as _void'''
# Inlined, so that the whole law can become vector code; for Python too, since a file may call its own functions in a
# line at its top.
_JIT = "_njit(error_model='numpy', forceinline=True, no_cfunc_wrapper=True)"


def _own_code(strategy: Strategy) -> str:
    """The strategy's classes, constants and functions; what only declares it is left out."""
    tree = ast.parse(Path(strategy.path).read_text(encoding="utf-8"))
    kept: list[ast.stmt] = []
    for node in tree.body:
        if isinstance(node, ast.FunctionDef):
            if node.name in _beside(strategy):
                continue
            node.decorator_list = [ast.parse(_JIT, mode="eval").body]
            node.returns = None
            for argument in node.args.args:
                argument.annotation = None
            kept.append(node)
        elif (
            isinstance(node, ast.ClassDef)
            or (isinstance(node, ast.Assign | ast.AnnAssign) and not _declares(node))
            or (isinstance(node, ast.Import) and _plain(node))
            or (isinstance(node, ast.ImportFrom) and node.module in {"math", "numpy"})
        ):
            kept.append(node)
    return "\n\n".join(ast.unparse(node) for node in kept)


def _declares(node: ast.stmt) -> bool:
    """Whether a line makes the strategy or one of its settings, which no law reads."""
    return any(isinstance(n, ast.Name) and n.id in {"Setting", "Strategy", "STRATEGY"} for n in ast.walk(node))


def _plain(node: ast.Import) -> bool:
    return all(name.name in {"math", "numpy"} for name in node.names)


def _loop(strategy: Strategy) -> str:
    def row(number: int) -> str:
        return f"S[n + _u({number * at.LANES})]"

    sensed = ", ".join(
        f"{row(_READING[s])} - {ZERO_C_K}" if s in _READING else f"X[o + _u({COLUMN[s]})]" for s in strategy.senses
    )
    settings = ", ".join(row(at.SETTINGS + k) for k in range(len(strategy.settings)))
    memory = ", ".join(row(at.MEMORY + k) for k in range(len(strategy.memory)))
    cells = ", cells, _i(n)" if strategy.table else ""
    keep = "\n".join(f"        {row(at.MEMORY + k)} = after[{k}]" for k in range(len(strategy.memory)))
    guard = ""
    if "iat_c" in strategy.senses:
        guard = (
            f"        reading = {row(at.READING)} - {ZERO_C_K}\n"
            f"        if not (reading > {PROBE_LOW_C} and reading < {PROBE_HIGH_C}):\n"
            f"            asked = {row(at.FAILSAFE)}\n"
        )
    names = strategy.sensed.__name__, strategy.settings_type.__name__, type(strategy.memory).__name__
    return (
        "@_cfunc(_void(_f[::1], _f[::1], _i, _f[::1], _i, _i), cache=True, error_model='numpy')\n"
        "def batch_of_lanes(S, X, begin, cells, low, high):\n"
        "    o = _u(begin)\n"
        "    for n in range(_u(low), _u(high)):\n"
        f"        asked, after = {strategy.law.__name__}({names[0]}({sensed}), {names[1]}({settings}), "
        f"{names[2]}({memory}){cells})\n{guard}"
        f"        {row(at.DUTY)} = asked\n{keep}\n"
    )


def _interpreted(strategy: Strategy) -> Any:
    """The same loop in plain Python, around the law as it stands. A law that raises asks for NaN: a FAILED run."""
    memory_rows = range(len(strategy.memory))
    probed = "iat_c" in strategy.senses

    def batch(S: Any, X: Any, o: int, cells: Any, low: int, high: int) -> None:
        for n in range(low, high):
            values, settings, memory = _met(strategy, S, X, o, n)
            extra = (cells, n) if strategy.table else ()
            try:
                asked, after = strategy.law(strategy.sensed(*values), settings, memory, *extra)
                asked, after = float(asked), [float(value) for value in after]
            except Exception:
                asked, after = math.nan, memory
            if probed and not PROBE_LOW_C < S[at.READING * at.LANES + n] - ZERO_C_K < PROBE_HIGH_C:
                asked = S[at.FAILSAFE * at.LANES + n]
            S[at.DUTY * at.LANES + n] = asked
            for k in memory_rows:
                S[(at.MEMORY + k) * at.LANES + n] = after[k]

    return batch


def _met(strategy: Strategy, S: Any, X: Any, o: int, lane: int) -> tuple[list[float], Any, Any]:
    """What the law of one lane is asked with now: values of its senses, settings, memory."""

    def rows(first: int, count: int) -> list[float]:
        return [float(S[row * at.LANES + lane]) for row in range(first, first + count)]

    values = [
        float(S[_READING[s] * at.LANES + lane] - ZERO_C_K if s in _READING else X[o + COLUMN[s]])
        for s in strategy.senses
    ]
    settings = strategy.settings_type(*rows(at.SETTINGS, len(strategy.settings)))
    return values, settings, type(strategy.memory)(*rows(at.MEMORY, len(strategy.memory)))


def why_unusable(strategy: Strategy, S: Any, X: Any, o: int, cells: Any, lane: int) -> str:
    """What a law raises or returns on what one lane senses now, with its line; "" if it answers as it should."""
    values, settings, memory = _met(strategy, S, X, o, lane)
    try:
        contract.ask(strategy, values, settings, memory, cells[lane:] if strategy.table else None)
    except contract.LawError as fault:
        met = ", ".join(f"{n} {v:g}" for n, v in zip(strategy.senses, values, strict=True))
        return f"{strategy.path}: {fault}" + f" with {met}" * bool(met)
    return ""


def duties(
    strategy: Strategy, batch: Any, settings: dict[str, float], senses: Sequence[Sequence[float]]
) -> list[float]:
    """What a batch (compiled or not) asks in lane 0, row of senses by row of senses."""
    S, X = np.zeros(at.OMEGA * at.LANES), np.zeros(at.X_COLUMNS)
    made = strategy.make_settings(settings)
    cells = contract.cells_of(strategy, made)
    flat = np.zeros(1) if cells is None else np.array(cells)
    rows = S.reshape(-1, at.LANES)
    rows[at.SETTINGS : at.SETTINGS + len(made), 0] = made
    rows[at.MEMORY : at.MEMORY + len(strategy.memory), 0] = tuple(strategy.memory)
    rows[at.FAILSAFE] = strategy.failsafe_duty
    out = []
    for row in senses:
        for name, value in zip(strategy.senses, row, strict=True):
            if name in _READING:
                rows[_READING[name], 0] = value + ZERO_C_K
            else:
                X[COLUMN[name]] = value
        if "iat_c" not in strategy.senses:
            rows[at.READING, 0] = 300.0
        batch(S, X, 0, flat, 0, 1)
        out.append(float(rows[at.DUTY, 0]))
    return out


def laws_agree(strategy: Strategy) -> list[str]:
    """The compiled law asks what the interpreted one does, on every made-up drive; nothing to say if uncompiled."""
    law = law_of(strategy)
    if not law.compiled:
        return []
    plain = _interpreted(strategy)
    for settings, senses in contract.drives_of(strategy):
        fast, slow = (duties(strategy, batch, settings, senses) for batch in (callable_of(law.batch), plain))
        worst = max(range(len(fast)), key=lambda k: abs(fast[k] - slow[k]))
        if not abs(fast[worst] - slow[worst]) <= 1e-9:
            met = ", ".join(f"{n} {v:g}" for n, v in zip(strategy.senses, senses[worst], strict=True))
            return [f"compiled it asks {fast[worst]:g}, interpreted {slow[worst]:g} with {met}"]
    return []


def honours_failsafe(strategy: Strategy) -> list[str]:
    """With a charge probe reading beyond its range the fail-safe duty is asked, whatever the law wants."""
    if "iat_c" not in strategy.senses:
        return []
    place = strategy.senses.index("iat_c")
    law = law_of(strategy)
    found = []
    for batch, way in ((callable_of(law.batch), "as it competes"), (_interpreted(strategy), "interpreted")):
        for reading in (PROBE_LOW_C - 0.1, PROBE_HIGH_C + 1.0, math.nan):
            for settings, senses in contract.drives_of(strategy)[:2]:
                failed = [(*row[:place], reading, *row[place + 1 :]) for row in senses[:40]]
                if any(d != strategy.failsafe_duty for d in duties(strategy, batch, settings, failed)):
                    found.append(f"{way}: a probe reading {reading:g} degC does not give the fail-safe duty")
    return found


PROMISES: dict[str, Callable[[Strategy], list[str]]] = {
    "compiled and interpreted law agree": laws_agree,
    "honours its fail-safe": honours_failsafe,
}


def callable_of(batch: Any) -> Any:
    """A batch that Python can call with arrays, from a compiled or an interpreted one."""
    return batch if UNCOMPILED or not hasattr(batch, "native_name") else partial(_caller(), batch)


@cache
def _caller() -> Any:
    from numba import njit

    return njit(_call)


def _call(batch: Any, S: Any, X: Any, o: int, cells: Any, low: int, high: int) -> None:
    batch(S, X, o, cells, low, high)
