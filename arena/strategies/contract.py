"""What every strategy promises, as checks anyone can run on a file of their own.

    import pytest
    from pathlib import Path
    from arena.strategies.base import load_strategy
    from arena.strategies.contract import PROMISES

    @pytest.mark.parametrize("promise", PROMISES)
    def test_my_law(promise):
        assert PROMISES[promise](load_strategy(Path("mylaw.py"))) == []

`arena.contest.laws.PROMISES` holds those that need the compiler. Each check returns one line a fault.
"""

from __future__ import annotations

import math
import random
import sys
from collections.abc import Callable, Sequence
from itertools import pairwise
from numbers import Real
from types import FrameType
from typing import Any

import numpy as np
from numpy.typing import NDArray

from arena.errors import BadInput
from arena.strategies.base import LANES, SENSES, Strategy, declaration_faults, line_of

STEPS = 160  # of one made-up drive
DRIVES = 6

# What the senses may come to in a car: low, high, and the most they change in a tenth of a second. From memory.
RANGES: dict[str, tuple[float, float, float]] = {
    "iat_c": (-39.0, 148.0, 6.0),
    "coolant_c": (-39.0, 125.0, 2.0),
    "throttle_pct": (0.0, 100.0, 40.0),
    "pedal_pct": (0.0, 100.0, 60.0),
    "map_kpa": (15.0, 350.0, 30.0),
    "speed_kmh": (0.0, 300.0, 3.0),
    "rpm": (0.0, 9000.0, 600.0),
    "ambient_c": (-39.0, 55.0, 0.1),
    "battery_v": (6.0, 16.0, 1.0),
    "engine_on": (0.0, 1.0, 1.0),
}


class LawError(Exception):
    """A law raised or returned what cannot be used: `line` of its file, `cause` in words."""

    def __init__(self, line: int, cause: str) -> None:
        self.line, self.cause = line, cause
        super().__init__(f"line {line}: {cause}")


def broken(strategy: Strategy) -> list[str]:
    """Every promise a strategy breaks, one line each: the name of the promise and the fault; empty when none."""
    found = []
    for name, check in PROMISES.items():
        found += [f"{fault} ({name})" for fault in check(strategy)]
        if found:
            break  # the later ones presuppose the earlier ones
    return found


def require(strategy: Strategy) -> Strategy:
    """The strategy itself; raises BadInput if it breaks a promise."""
    faults = broken(strategy)
    if faults:
        raise BadInput(
            [f"{strategy.path}: {fault}" for fault in faults],
            "Mend the law: a duty from 0 to 1 for any senses and settings in range; `arena new strategy` writes one.",
        )
    return strategy


def drives_of(strategy: Strategy) -> list[tuple[dict[str, float], list[tuple[float, ...]]]]:
    """Made-up drives to try a law on: (settings by name, rows of the declared senses); the same at every call.

    The first three have the default, the lowest and the highest settings; the rest settings drawn at random. Senses
    wander with jumps to their ends, so that edges and unlikely pairs are met.
    """
    rng = random.Random(20)
    sets: list[dict[str, float]] = [
        strategy.defaults(),
        {s.name: s.low for s in strategy.settings},
        {s.name: s.high for s in strategy.settings},
    ]
    while len(sets) < DRIVES:
        sets.append({s.name: rng.uniform(s.low, s.high) for s in strategy.settings})
    return [(settings, _senses(strategy.senses, rng)) for settings in sets]


def _senses(names: Sequence[str], rng: random.Random) -> list[tuple[float, ...]]:
    now = {name: rng.uniform(low, high) for name, (low, high, _) in RANGES.items()}
    clock, rows = 0.0, []
    for _ in range(STEPS):
        for name, (low, high, most) in RANGES.items():
            now[name] = min(max(now[name] + rng.uniform(-most, most), low), high)
            if rng.random() < 0.08:
                now[name] = rng.choice((low, high, 0.0 if low < 0.0 else low, 0.5 * (low + high)))
        now["engine_on"] = float(now["engine_on"] >= 0.5)
        rows.append(tuple(clock if name == "time_s" else now[name] for name in names))
        clock += 0.1 if rng.random() < 0.95 else 30.0
    return rows


def ask(strategy: Strategy, senses: Sequence[float], settings: Any, memory: Any, cells: Any = None) -> Any:
    """What the law answers, as (duty, memory); raises LawError naming line and cause if it cannot be used."""
    sensed = strategy.sensed(*senses)
    extra = (cells, 0) if strategy.table else ()
    try:
        answer = strategy.law(sensed, settings, memory, *extra)
    except Exception as error:
        raise LawError(line_of(error, strategy.path), _worded(strategy, error)) from error
    fault = answer_fault(strategy, answer)
    if fault:
        line = returning_line(strategy, lambda: strategy.law(sensed, settings, memory, *extra))
        raise LawError(line, fault)
    return answer


def _worded(strategy: Strategy, error: Exception) -> str:
    """An exception in the user's terms."""
    if isinstance(error, AttributeError) and error.name is not None:
        kind = type(error.obj).__name__
        if kind == strategy.sensed.__name__:
            hint = "" if error.name in SENSES else f"; senses there are: {', '.join(SENSES)}"
            return f"asks for {error.name}, which {kind} does not declare{hint}"
        return f"asks for {error.name}, which {kind} does not have"
    return f"{type(error).__name__}: {error}"


def answer_fault(strategy: Strategy, answer: Any) -> str:
    """What is wrong with what a law returned, in words; "" for nothing."""
    if not (isinstance(answer, tuple) and len(answer) == 2):
        return f"returns {type(answer).__name__}, not a pair (duty, memory)"
    asked, memory = answer
    if not isinstance(asked, Real):
        return f"returns {type(asked).__name__} for the duty, not a number"
    asked = float(asked)
    if not 0.0 <= asked <= 1.0:
        return f"returns {'NaN' if math.isnan(asked) else f'{asked:g}'} for the duty, which must be from 0 to 1"
    if type(memory) is not type(strategy.memory):
        return f"returns {type(memory).__name__} for the memory, not {type(strategy.memory).__name__}"
    for name, value in zip(memory._fields, memory, strict=True):
        if not isinstance(value, Real) or not math.isfinite(value):
            return f"returns {value!r} for memory.{name}, which must be a finite number"
    return ""


def returning_line(strategy: Strategy, call: Callable[[], Any]) -> int:
    """The line of the law's function that returned, found by calling it once more under a trace."""
    code = strategy.law.__code__
    last = code.co_firstlineno

    def watch(frame: FrameType, event: str, _: Any) -> Any:
        nonlocal last
        if frame.f_code is not code:
            return None
        if event in {"line", "return"}:
            last = frame.f_lineno
        return watch

    before = sys.gettrace()
    sys.settrace(watch)
    try:
        call()
    finally:
        sys.settrace(before)
    return last


def cells_of(strategy: Strategy, settings: Any) -> list[float] | None:
    """A strategy's table as lane 0 of the flat array `bilinear` reads, stride LANES; None without a table."""
    if strategy.table is None:
        return None
    flat = flat_table(*strategy.table(settings))
    out = [0.0] * (len(flat) * LANES)
    out[::LANES] = flat.tolist()
    return out


def flat_table(rows: Sequence[float], columns: Sequence[float], cells: Any) -> NDArray[np.float64]:
    """A table as `bilinear` reads it of one lane; `cells` (rows, columns), or flat for a law that reads them itself."""
    return np.concatenate([[len(rows), len(columns)], rows, columns, np.asarray(cells).ravel()]).astype(np.float64)


def _play(strategy: Strategy, settings: dict[str, float], rows: Sequence[Sequence[float]]) -> list[float]:
    made = strategy.make_settings(settings)
    cells, memory, out = cells_of(strategy, made), strategy.memory, []
    for senses in rows:
        try:
            asked, memory = ask(strategy, senses, made, memory, cells)
        except LawError as fault:
            met = ", ".join(f"{n} {v:g}" for n, v in zip(strategy.senses, senses, strict=True))
            given = ", ".join(f"{n} {v:g}" for n, v in made._asdict().items())
            where = f" with {met}" * bool(met) + f"; settings {given}" * bool(given)
            raise LawError(fault.line, fault.cause + where) from fault
        out.append(float(asked))
    return out


def settings_hold(strategy: Strategy) -> list[str]:
    """Any point of the settings' ranges makes settings of the declared kind, finite, and the defaults stay in range."""
    found = []
    made: Any
    for settings, _ in drives_of(strategy):
        try:
            made = strategy.make_settings(settings)
        except Exception as error:
            return [f"line {line_of(error, strategy.path)}: {type(error).__name__}: {error}"]
        kind: type = type(made)
        if kind is not strategy.settings_type:
            return [f"repair returns {kind.__name__}, not {strategy.settings_type.__name__}"]
        found += [f"repair makes {n} {v!r}" for n, v in made._asdict().items() if not math.isfinite(v)]
    made = strategy.make_settings(strategy.defaults())
    for s in strategy.settings:
        value = getattr(made, s.name)
        if value != s.default:
            found.append(f"the default of {s.name}, {s.default:g}, is repaired to {value:g}: declare that")
    return found


def answers_hold(strategy: Strategy) -> list[str]:
    """The law answers any senses and settings in range with a finite duty from 0 to 1 and its own kind of memory."""
    for settings, rows in drives_of(strategy):
        try:
            _play(strategy, settings, rows)
        except LawError as fault:
            return [str(fault)]
    return []


def repeats(strategy: Strategy) -> list[str]:
    """The law answers the same senses with the same duty, whatever it was asked before: all it keeps is its memory."""
    drives = drives_of(strategy)
    once = [_play(strategy, *drive) for drive in drives]
    again = [_play(strategy, *drive) for drive in reversed(drives)][::-1]
    if once != again:
        return ["the same senses, settings and memory do not give the same duty twice: keep nothing but memory"]
    return []


def table_holds(strategy: Strategy) -> list[str]:
    """A table has rising axes of two breakpoints or more and cells from 0 to 1, at any settings in range."""
    if strategy.table is None:
        return []
    for settings, _ in drives_of(strategy):
        rows, columns, cells = strategy.table(strategy.make_settings(settings))
        for axis in (rows, columns):
            if len(axis) < 2 or any(b <= a for a, b in pairwise(axis)):
                return ["the table's axes must rise and have two breakpoints or more"]
        if len(cells) != len(rows) or any(len(row) != len(columns) for row in cells):
            return [f"the table has not {len(rows)} rows of {len(columns)} cells"]
        if any(not 0.0 <= cell <= 1.0 for row in cells for cell in row):
            return ["the table has cells outside 0..1"]
    return []


PROMISES: dict[str, Callable[[Strategy], list[str]]] = {
    "declarations are whole": declaration_faults,
    "settings in range are usable": settings_hold,
    "the table is a table": table_holds,
    "declared senses only, duty finite and from 0 to 1": answers_hold,
    "deterministic": repeats,
}
