"""Drive files: what the driver does, as phases or as a measured trace.

The models check one file's shape; `loading.py` turns faults into one clear line each. Keys carry their
unit; the timetable converts to SI when it plays them. `load_drive` takes a name, a drive file or a CSV.
"""

from __future__ import annotations

from collections.abc import Callable, Iterator, Mapping
from dataclasses import dataclass
from pathlib import Path
from typing import Annotated, Any, Final, Literal

import numpy as np
from pydantic import BaseModel, BeforeValidator, ConfigDict, Field, model_validator
from pydantic_core import PydanticCustomError

from arena.errors import BadInput
from arena.scenario import loading
from arena.scenario.log_columns import Columns, ColumnSpec
from arena.scenario.trace_csv import TraceData, read_trace

__all__ = ["Drive", "DriveFile", "Phase", "Span", "TraceData", "expanded_phases", "load_drive", "longest_s"]

MAX_PHASES: Final = 20_000  # after repeats are written out
MAX_SECONDS: Final = 2e5  # 55 hours; an outing is held in memory tick by tick, 8 kB a second when recorded
MAX_DEPTH: Final = 10  # repeats inside repeats


def _span_check(low: float, high: float) -> BeforeValidator:
    """A number or a range of two rising numbers, all of them within low..high."""

    def check(value: Any) -> Any:
        if isinstance(value, list | tuple):
            ends = list(value)
            if len(ends) != 2 or not all(isinstance(end, int | float) and not isinstance(end, bool) for end in ends):
                raise PydanticCustomError("arena_span", "must be a number or a range of two numbers [low, high]")
            if ends[0] > ends[1]:
                raise PydanticCustomError("arena_span", "is a range that falls: write the low end first")
        elif isinstance(value, int | float) and not isinstance(value, bool):
            ends = [value]
        else:
            raise PydanticCustomError("arena_span", "must be a number or a range of two numbers [low, high]")
        if not all(low <= end <= high for end in ends):
            limits = f"must lie within {low:g} to {high:g}"
            raise PydanticCustomError("arena_span", "{limits}", {"limits": limits})
        return float(value) if len(ends) == 1 else (float(ends[0]), float(ends[1]))

    return BeforeValidator(check)


Span = float | tuple[float, float]  # a number, or a range drawn afresh for every seed
Seconds = Annotated[Span, _span_check(0.1, MAX_SECONDS)]
Minutes = Annotated[Span, _span_check(0.0, MAX_SECONDS / 60.0)]
SpeedKmh = Annotated[Span, _span_check(1.0, 350.0)]


class _Strict(BaseModel):
    model_config = ConfigDict(extra="forbid", frozen=True, allow_inf_nan=False)


class Idle(_Strict):
    """Stand still with the engine running."""

    do: Literal["idle"]
    seconds: Seconds = Field(description="length")


class Stop(_Strict):
    """Brake to a standstill if need be, then wait with the engine running (a junction, a light)."""

    do: Literal["stop"]
    seconds: Seconds


class Cruise(_Strict):
    """Reach a speed gently and hold it."""

    do: Literal["cruise"]
    speed_kmh: SpeedKmh
    seconds: Seconds
    grade_pct: float = Field(0.0, ge=-30, le=30)


class Accelerate(_Strict):
    """Speed up to `to_kmh` at a wanted rate."""

    do: Literal["accelerate"]
    to_kmh: float = Field(gt=0, le=350)
    m_s2: float = Field(1.2, gt=0, le=8)
    grade_pct: float = Field(0.0, ge=-30, le=30)


class Brake(_Strict):
    """Slow down to `to_kmh`."""

    do: Literal["brake"]
    to_kmh: float = Field(0.0, ge=0, le=350)
    m_s2: float = Field(2.0, gt=0, le=10)
    grade_pct: float = Field(0.0, ge=-30, le=30)


class Pull(_Strict):
    """Hold the throttle until a speed is reached (or the longest time is up)."""

    do: Literal["pull"]
    throttle_pct: float = Field(100.0, gt=0, le=100)
    to_kmh: float = Field(gt=0, le=350)
    grade_pct: float = Field(0.0, ge=-30, le=30)
    longest_s: float = Field(60.0, gt=0, le=600)


class Descend(_Strict):
    """Roll downhill at a held speed."""

    do: Literal["descend"]
    speed_kmh: SpeedKmh
    seconds: Seconds
    grade_pct: float = Field(-5.0, ge=-30, le=0)


class Traffic(_Strict):
    """Stop-and-go: random crawls and halts, new for every seed."""

    do: Literal["traffic"]
    seconds: Seconds
    mean_kmh: float = Field(15.0, gt=0, le=80)
    stops_per_km: float = Field(4.0, ge=0, le=20)


class Lap(_Strict):
    """One track lap: straights at full throttle between corners."""

    do: Literal["lap"]
    straights_m: tuple[Annotated[float, Field(gt=0, le=5000)], ...] = Field(min_length=1, max_length=60)
    corner_kmh: tuple[Annotated[float, Field(gt=0, le=350)], ...] = Field(min_length=1, max_length=60)
    corner_m: float = Field(80.0, gt=0, le=1000)
    brake_m_s2: float = Field(7.0, gt=0, le=12)

    @model_validator(mode="after")
    def _as_many_corners(self) -> Lap:
        if len(self.corner_kmh) != len(self.straights_m):
            raise PydanticCustomError(
                "arena_lap",
                "must have one corner_kmh for each of straights_m ({corners} corners, {straights} straights)",
                {"corners": len(self.corner_kmh), "straights": len(self.straights_m)},
            )
        return self


class Park(_Strict):
    """Engine off and heat soak; the drive goes on with a restart unless it is the last phase."""

    do: Literal["park"]
    minutes: Minutes


class Trace(_Strict):
    """Follow a recorded CSV: by speed and grade or altitude, or by rpm, MAP and throttle."""

    do: Literal["trace"]
    file: str = Field(min_length=1)
    columns: dict[str, str | ColumnSpec] = Field(default_factory=dict)
    speed_kmh: float | None = Field(
        None, ge=0, le=350, description="road speed of a recording without one, all of it: 0 on a dyno"
    )


class Repeat(_Strict):
    """Play the steps several times."""

    do: Literal["repeat"]
    times: int = Field(ge=1, le=10000)
    steps: tuple[Phase, ...] = Field(min_length=1)


Phase = Annotated[
    Idle | Stop | Cruise | Accelerate | Brake | Pull | Descend | Traffic | Lap | Park | Trace | Repeat,
    Field(discriminator="do"),
]
Repeat.model_rebuild()


class TrafficNoise(_Strict):
    """How often traffic slows the driver down in ordinary driving."""

    slowdowns_per_hour: float = Field(12.0, ge=0, le=240)
    to_share: tuple[float, float] = Field((0.4, 0.8), description="of the wanted speed")
    seconds: tuple[float, float] = (3.0, 12.0)


class DriveHead(_Strict):
    """The `[drive]` table."""

    name: str = Field(min_length=1, max_length=60, pattern=loading.ONE_LINE)
    summary: str = ""
    start: Literal["cold", "warm", "soaked"] = "warm"
    source: str = Field("", description="where the numbers come from; 'invented' for demo data")


class DriveFile(_Strict):
    """A whole drive file."""

    drive: DriveHead
    traffic: TrafficNoise = Field(default_factory=lambda: TrafficNoise(slowdowns_per_hour=0.0))
    phase: tuple[Phase, ...] = Field(min_length=1)


@dataclass(frozen=True)
class Drive:
    """A loaded drive: the file's model, and its traces by file name as written in the phases."""

    name: str
    summary: str
    start: Literal["cold", "warm", "soaked"]
    file: DriveFile
    traces: dict[str, TraceData]
    digest: str  # SHA-256 over the file and its traces: the identity used for seeds and caches
    notes: tuple[str, ...] = ()  # plain sentences on what was tolerated while reading the traces


def load_drive(name: str | Path, near: Path | None = None, columns: Columns | None = None) -> Drive:
    """A drive by name or path: a drive file, or a CSV (time and speed, or a log) that is then the whole drive.

    `columns` says which header of a CSV is which. Raises BadInput with every fault, one line each.
    """
    path = loading.find("drives", name, near)
    if path.suffix.lower() in (".csv", ".txt", ".tsv", ".log"):
        return _from_csv(path, columns)
    if columns:
        fault = f"{loading.shown(path)}: is a drive file, which names the columns of its traces itself"
        raise BadInput(fault, "Leave --columns out, or put the names under [phase.columns].")
    return _from_toml(path)


def expanded_phases(phases: tuple[Phase, ...]) -> Iterator[Phase]:
    """The phases in playing order with every repeat written out."""
    for phase in phases:
        if isinstance(phase, Repeat):
            for _ in range(phase.times):
                yield from expanded_phases(phase.steps)
        else:
            yield phase


def longest_s(phases: tuple[Phase, ...], traces: Mapping[str, TraceData]) -> float:
    """Longest time in seconds the phases can ask for, ranges at their high ends (repeats multiplied, not expanded)."""
    return sum(_phase_s(phase, traces) for phase in phases)


def _high(span: Span) -> float:
    return span[1] if isinstance(span, tuple) else span


def _phase_s(phase: Phase, traces: Mapping[str, TraceData]) -> float:
    seconds = 0.0
    match phase:
        case Repeat():
            seconds = phase.times * longest_s(phase.steps, traces)
        case Idle() | Stop() | Cruise() | Descend() | Traffic():
            seconds = _high(phase.seconds)
        case Park():
            seconds = 60.0 * _high(phase.minutes)
        case Pull():
            seconds = phase.longest_s
        case Accelerate() | Brake():
            seconds = phase.to_kmh / 3.6 / phase.m_s2
        case Lap():
            seconds = sum(phase.corner_m / (kmh / 3.6) for kmh in phase.corner_kmh)
            seconds += sum(phase.straights_m) / (min(phase.corner_kmh) / 3.6)
        case Trace():
            seconds = float(traces[phase.file].time_s[-1]) if phase.file in traces else 0.0
    return seconds


def _count(phases: tuple[Phase, ...]) -> int:
    return sum(phase.times * _count(phase.steps) if isinstance(phase, Repeat) else 1 for phase in phases)


def _depth(phases: tuple[Phase, ...]) -> int:
    return 1 + max((_depth(phase.steps) for phase in phases if isinstance(phase, Repeat)), default=0)


def _trace_phases(phases: tuple[Phase, ...], loc: loading.Loc = ("phase",)) -> Iterator[tuple[loading.Loc, Trace]]:
    for row, phase in enumerate(phases):
        if isinstance(phase, Trace):
            yield (*loc, row), phase
        elif isinstance(phase, Repeat):
            yield from _trace_phases(phase.steps, (*loc, row, "steps"))


def _from_toml(path: Path) -> Drive:
    text = loading.read_text(path)
    file = loading.validate(path, text, loading.parse(path, text), DriveFile)
    traces: dict[str, TraceData] = {}
    asked: dict[str, Trace] = {}
    notes: list[str] = []
    digests = [text.strip()]
    faults: list[str] = []
    for loc, phase in _trace_phases(file.phase):
        if phase.file in traces:
            before = asked[phase.file]
            faults += [
                loading.fault_line(path, text, (*loc, key), "differs from an earlier use of the same file")
                for key in ("columns", "speed_kmh")
                if getattr(before, key) != getattr(phase, key)
            ]
            continue
        source = loading.safe_beside(path, text, (*loc, "file"), phase.file)
        trace, said = read_trace(source, phase.columns, _placer(path, text, loc), phase.speed_kmh)
        traces[phase.file], asked[phase.file] = trace, phase
        notes += said
        digests.append(_trace_digest(trace))
    faults += _limit_faults(path, text, file, traces)
    if faults:
        raise BadInput(faults, f"Correct {loading.shown(path)} and run `arena check {loading.shown(path)}`.")
    head = file.drive
    return Drive(head.name, head.summary, head.start, file, traces, loading.digest_of(*digests), tuple(notes))


def _placer(path: Path, text: str, loc: loading.Loc) -> Callable[[str], str]:
    """Says where in the drive file a column of a trace's mapping stands."""
    return lambda name: loading.fault_line(path, text, (*loc, "columns", name), "").rstrip()


def _from_csv(path: Path, columns: Columns | None) -> Drive:
    trace, notes = read_trace(path, columns)
    if trace.time_s[-1] > MAX_SECONDS:
        fault = (
            f"{loading.shown(path)}: lasts {trace.time_s[-1]:.0f} s, over the limit of {MAX_SECONDS:.0f} s for a drive"
        )
        raise BadInput(fault, "Cut the file into shorter drives.")
    head = DriveHead(
        name=loading.one_line(path.stem, 1000)[:60],
        summary=f"recorded trace {path.name}",
        start="warm",
        source="a trace given as it is",
    )
    file = DriveFile(drive=head, phase=(Trace(do="trace", file=path.name),))
    return Drive(head.name, head.summary, "warm", file, {path.name: trace}, _trace_digest(trace), tuple(notes))


def _limit_faults(path: Path, text: str, file: DriveFile, traces: Mapping[str, TraceData]) -> list[str]:
    """Limits that keep a drive playable, named."""
    faults = []
    if _depth(file.phase) > MAX_DEPTH:
        message = f"has repeats nested {_depth(file.phase) - 1} deep, over the limit of {MAX_DEPTH - 1}"
        faults.append(loading.fault_line(path, text, ("phase",), message))
    if (count := _count(file.phase)) > MAX_PHASES:
        message = f"comes to {count} phases with its repeats written out, over the limit of {MAX_PHASES}"
        faults.append(loading.fault_line(path, text, ("phase",), message))
    if (seconds := longest_s(file.phase, traces)) > MAX_SECONDS:
        message = f"can last {seconds:.0f} s, over the limit of {MAX_SECONDS:.0f} s for a drive"
        faults.append(loading.fault_line(path, text, ("phase",), message))
    return faults


def _trace_digest(trace: TraceData) -> str:
    arrays = [trace.time_s, trace.speed_m_s, trace.grade, trace.rpm, trace.map_pa, trace.throttle, trace.pedal]
    arrays += [trace.gear] if trace.gear is not None else []
    return loading.digest_of(*(b"" if array is None else np.ascontiguousarray(array).tobytes() for array in arrays))
