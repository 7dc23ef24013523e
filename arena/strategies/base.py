"""What a strategy is: a scalar law with its declared senses, settings and fail-safe.

One file adds a strategy: three NamedTuples (`Sensed`, `Settings`, `Memory`), a function
`duty(sensed, settings, memory) -> (duty, memory)` and a `STRATEGY` that binds them. A law sees only
what it declares. Laws are plain Python; the contest compiles them.
"""

from __future__ import annotations

import math
import re
import sys
from collections.abc import Callable, Sequence
from dataclasses import dataclass, field
from pathlib import Path
from types import ModuleType
from typing import Any, Literal

from arena.errors import BadInput

LANES = 80  # stride of the flat cell array a table law reads; the batch width of the kernel

SENSES: dict[str, tuple[str, str]] = {
    "iat_c": ("degC", "charge temperature as the probe reports it"),
    "coolant_c": ("degC", "coolant temperature into the core, where a second probe is fitted"),
    "throttle_pct": ("%", "throttle plate"),
    "pedal_pct": ("%", "accelerator pedal"),
    "map_kpa": ("kPa", "absolute pressure in the manifold"),
    "speed_kmh": ("km/h", "road speed"),
    "rpm": ("1/min", "engine speed"),
    "ambient_c": ("degC", "outside air, where the car has such a probe"),
    "battery_v": ("V", "supply voltage"),
    "engine_on": ("0/1", "engine turning under its own power"),
    "time_s": ("s", "time since the outing began"),
}
MAX_SETTINGS = 16
MAX_MEMORY = 8
NAME = r"[a-z0-9][a-z0-9._-]{0,39}"  # of a strategy: it becomes part of file names


@dataclass(frozen=True)
class Setting:
    """One number of a strategy that a person sets and the tuner searches."""

    name: str
    unit: str
    low: float
    high: float
    default: float
    meaning: str


QUIET_CAP = "quiet_cap_pct"
RUN_ON = "run_on_s"
CARRIED: tuple[Setting, ...] = (
    Setting(QUIET_CAP, "%", 0.0, 100.0, 100.0, "highest duty at standstill and low speed, for the noise"),
    Setting(RUN_ON, "s", 0.0, 600.0, 0.0, "after key-off the law goes on, and with it the pump, for this long"),
)  # settings that any strategy can carry; what happens with them happens outside the law


@dataclass(frozen=True)
class Strategy:
    """A control law and everything the arena needs to know about it.

    `actuator`: "pwm" (duty is PWM duty) or "resistor" (0 off; up to 0.5 through the first resistor; up to
    below 1 through the second; 1 full). `ohms` names the settings that hold those resistances.
    `table(settings) -> (row breakpoints, column breakpoints, rows of duty)` is for laws that read a table: rows go by
    the sense declared first, columns by the second; their law takes two more arguments, `cells` and `lane`, and
    reads them with `bilinear`.
    `repair(settings) -> settings` makes any point of the search box a sensible one (e.g. full above start).
    """

    name: str
    summary: str
    sensed: type
    settings_type: type
    memory: Any
    law: Callable[..., Any]
    settings: tuple[Setting, ...] = ()
    failsafe_duty: float = 1.0
    ranked: bool = True
    actuator: Literal["pwm", "resistor"] = "pwm"
    ohms: tuple[str, ...] = ()
    table: Callable[[Any], tuple[Sequence[float], Sequence[float], Sequence[Sequence[float]]]] | None = None
    repair: Callable[[Any], Any] | None = None
    path: str = field(default="", compare=False)
    data: tuple[str, ...] = field(default=(), compare=False)  # files besides `path` that make it what it is

    @property
    def senses(self) -> tuple[str, ...]:
        """Names of what the law declares it needs sensed."""
        return tuple(self.sensed._fields)  # type: ignore[attr-defined]

    @property
    def table_senses(self) -> tuple[str, str]:
        """What rows and columns of its table go by."""
        down, across = self.senses[:2]
        return down, across

    def defaults(self) -> dict[str, float]:
        """The default settings by name."""
        return {s.name: s.default for s in self.settings}

    def quiet_duty(self, cap: float) -> float:
        """The highest duty this strategy's hardware can hold that is not above `cap`, 0..1.

        A resistor step is held where the cap is at or above it (0.5 the first, 0.75 the second); a relay knows
        off and full only.
        """
        if self.actuator == "pwm" or cap >= 1.0:
            return cap
        steps = (0.5, 0.75)[: len(self.ohms)]
        return max((step for step in steps if step <= cap), default=0.0)

    def make_settings(self, values: dict[str, float]) -> Any:
        """A settings tuple from names and values, repaired to sense; raises BadInput for unknown names."""
        unknown = sorted(set(values) - {s.name for s in self.settings})
        if unknown:
            known = ", ".join(s.name for s in self.settings) or "none"
            raise BadInput(
                [f"{self.name}: unknown setting {u!r}" for u in unknown], f"Settings of {self.name}: {known}."
            )
        made = self.settings_type(**{**self.defaults(), **{k: float(v) for k, v in values.items()}})
        return self.repair(made) if self.repair else made


def clip(value: float, low: float, high: float) -> float:
    """Value held between low and high."""
    return min(max(value, low), high)


def output_on(read: float, lowest: float, hysteresis: float, running: float) -> float:
    """Whether (1 or 0) an output is on that gives no duty below `lowest`, 0..1: on from there, off `hysteresis` under
    it or at nothing asked, else as it was.
    """
    if read >= lowest - 1e-9:
        running = 1.0
    elif read < lowest - hysteresis or read <= 0.0:
        running = 0.0
    return running


def natural(value: Any) -> Any:
    """A whole number that is not negative. Compiled, the type says so: places in an array then need no check for
    counting from the end, and loops over lanes become vector code.
    """
    return int(value)


def bilinear(cells: Any, lane: int, y: float, x: float) -> float:
    """Duty from a lane's table at row axis y and column axis x, bilinear and clamped at the edges.

    `cells` is flat with stride LANES: number of rows, number of columns, row axis, column axis, cells.
    """
    one, stride, eight, lane = natural(1), natural(LANES), natural(8 * LANES), natural(lane)
    rows = natural(int(cells[lane]))
    columns = natural(int(cells[stride + lane])) * stride  # what follows counts in places
    first = stride + stride + lane
    last = first + (rows - one) * stride
    at = first + stride
    while at + eight < last and y >= cells[at + eight]:
        at += eight
    while at < last and y >= cells[at]:
        at += stride
    y0 = cells[at - stride]
    v = min(max((y - y0) / (cells[at] - y0), 0.0), 1.0)
    row = (at - stride - first) // stride
    first = last + stride
    last = first + columns - stride
    at = first + stride
    while at + eight < last and x >= cells[at + eight]:
        at += eight
    while at < last and x >= cells[at]:
        at += stride
    x0 = cells[at - stride]
    u = min(max((x - x0) / (cells[at] - x0), 0.0), 1.0)
    at += (row + one) * columns - stride
    below = cells[at] + u * (cells[at + stride] - cells[at])
    at += columns
    above = cells[at] + u * (cells[at + stride] - cells[at])
    return float(below + v * (above - below))


on_code: list[Callable[[Path], None]] = []  # told of every file before it is run: the command line says so


def load_strategy(path: Path) -> Strategy:
    """The STRATEGY of one file. This runs the file: only call it for a file the user named."""
    for tell in on_code:
        tell(path)
    module = ModuleType(f"arena_strategy_{path.stem}")
    module.__file__ = str(path)
    sys.modules[module.__name__] = module
    try:
        exec(compile(path.read_bytes(), str(path), "exec"), module.__dict__)  # never from a stale .pyc
    except OSError as error:
        raise BadInput(f"{path}: cannot be read: {error.strerror}", "Give a .py file that may be read.") from error
    except (Exception, SystemExit) as error:
        line = getattr(error, "lineno", None) or line_of(error, path)
        raise BadInput(
            f"{path}: line {line}: {type(error).__name__}: {getattr(error, 'msg', None) or error}",
            "Mend the file; `arena new strategy` writes one that works.",
        ) from error
    return from_module(module, path)


def line_of(error: BaseException, path: str | Path) -> int:
    """The line of a file in which an exception arose, 0 if it never was in that file."""
    import traceback

    return next(
        (f.lineno or 0 for f in reversed(traceback.extract_tb(error.__traceback__)) if f.filename == str(path)), 0
    )


def from_module(module: ModuleType, path: Path) -> Strategy:
    """The STRATEGY of a loaded module, checked for consistency of its declarations."""
    from dataclasses import replace

    strategy = getattr(module, "STRATEGY", None)
    if not isinstance(strategy, Strategy):
        raise BadInput(f"{path}: no STRATEGY of type Strategy", "End the file with STRATEGY = Strategy(...).")
    faults = declaration_faults(strategy)
    if faults:
        raise BadInput([f"{path}: {fault}" for fault in faults], "Mend the declarations; see `arena new strategy`.")
    return replace(strategy, path=str(path))


def declaration_faults(strategy: Strategy) -> list[str]:
    """What is wrong with a strategy's declarations, one line each; empty when nothing is."""
    faults = shape_faults(strategy)
    if faults:
        return faults
    for sense in strategy.senses:
        if sense not in SENSES:
            faults.append(f"Sensed.{sense} is not a sense; known: {', '.join(SENSES)}")
    if strategy.table is not None and len(strategy.senses) < 2:
        faults.append("a table goes by the first two senses, and Sensed declares fewer")
    declared = tuple(s.name for s in strategy.settings)
    if declared != tuple(strategy.settings_type._fields):  # type: ignore[attr-defined]
        faults.append(f"settings {declared} differ from the fields of {strategy.settings_type.__name__}")
    if len(declared) > MAX_SETTINGS:
        faults.append(f"{len(declared)} settings, at most {MAX_SETTINGS}")
    if len(tuple(strategy.memory)) > MAX_MEMORY:
        faults.append(f"{len(tuple(strategy.memory))} memory values, at most {MAX_MEMORY}")
    for s in strategy.settings:
        faults += setting_faults(s)
    for ohm in strategy.ohms:
        if ohm not in declared:
            faults.append(f"ohms names {ohm!r}, which is no setting")
    if len(strategy.ohms) > 2:
        faults.append(f"{len(strategy.ohms)} resistors, at most 2")
    return faults


def setting_faults(s: Setting) -> list[str]:
    """What is wrong with one declared setting, one line each."""
    faults = []
    if not (math.isfinite(s.low) and math.isfinite(s.high) and s.low < s.high):
        faults.append(f"setting {s.name}: {s.low}..{s.high} is no range to search")
    elif not s.low <= s.default <= s.high:
        faults.append(f"setting {s.name}: default {s.default} outside {s.low}..{s.high}")
    if s.name in {c.name for c in CARRIED}:
        faults.append(f"setting {s.name}: every strategy carries that one already; use another name")
    return faults


def shape_faults(strategy: Strategy) -> list[str]:
    """What keeps the declarations from being looked at any further, one line each."""
    faults = []
    if not re.fullmatch(NAME, str(strategy.name)):
        faults.append(f"name {strategy.name!r}: at most 40 of small letters, digits, dots and hyphens")
    if not strategy.summary.strip() or "\n" in strategy.summary or len(strategy.summary) > 120:
        faults.append("summary must be one line of at most 120 characters")
    for name in ("sensed", "settings_type", "memory"):
        if not hasattr(getattr(strategy, name), "_fields"):
            faults.append(f"{name} must be made with NamedTuple")
    if isinstance(strategy.memory, type):
        faults.append("memory must be a value, such as Memory(0.0), not the class")
    elif any(not isinstance(value, int | float) for value in strategy.memory):
        faults.append("memory holds something that is no number")
    if not callable(strategy.law) or not hasattr(strategy.law, "__code__"):
        faults.append("law must be a function")
    if not (isinstance(strategy.failsafe_duty, int | float) and 0.0 <= strategy.failsafe_duty <= 1.0):
        faults.append(f"failsafe_duty {strategy.failsafe_duty!r} is outside 0..1")
    if strategy.actuator not in {"pwm", "resistor"}:
        faults.append(f'actuator {strategy.actuator!r} is neither "pwm" nor "resistor"')
    numbers = [value for s in strategy.settings for value in (s.low, s.high, s.default)]
    if any(not isinstance(value, int | float) for value in numbers):
        faults.append("the settings hold something that is no number")
    return faults
