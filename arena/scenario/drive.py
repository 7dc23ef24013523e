"""Drive files: what the driver does, as phases or as a measured trace.

The models check one file's shape; `loading.py` turns faults into one clear line each. Keys carry their
unit; the timetable converts to SI when it plays them.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Annotated, Literal

import numpy as np
from numpy.typing import NDArray
from pydantic import BaseModel, ConfigDict, Field

Span = float | tuple[float, float]  # a number, or a range drawn afresh for every seed


class _Strict(BaseModel):
    model_config = ConfigDict(extra="forbid", frozen=True, allow_inf_nan=False)


class Idle(_Strict):
    """Stand still with the engine running."""

    do: Literal["idle"]
    seconds: Span = Field(description="length")


class Stop(_Strict):
    """Brake to a standstill if need be, then wait with the engine running (a junction, a light)."""

    do: Literal["stop"]
    seconds: Span


class Cruise(_Strict):
    """Reach a speed gently and hold it."""

    do: Literal["cruise"]
    speed_kmh: Span
    seconds: Span
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
    speed_kmh: Span
    seconds: Span
    grade_pct: float = Field(-5.0, ge=-30, le=0)


class Traffic(_Strict):
    """Stop-and-go: random crawls and halts, new for every seed."""

    do: Literal["traffic"]
    seconds: Span
    mean_kmh: float = Field(15.0, gt=0, le=80)
    stops_per_km: float = Field(4.0, ge=0, le=20)


class Lap(_Strict):
    """One track lap: straights at full throttle between corners."""

    do: Literal["lap"]
    straights_m: tuple[float, ...] = Field(min_length=1, max_length=60)
    corner_kmh: tuple[float, ...] = Field(min_length=1, max_length=60)
    corner_m: float = Field(80.0, gt=0, le=1000)
    brake_m_s2: float = Field(7.0, gt=0, le=12)


class Park(_Strict):
    """Engine off and heat soak; the drive goes on with a restart unless it is the last phase."""

    do: Literal["park"]
    minutes: Span


class Trace(_Strict):
    """Follow a recorded CSV: by speed and grade or altitude, or by rpm, MAP and throttle."""

    do: Literal["trace"]
    file: str = Field(min_length=1)
    columns: dict[str, str] = Field(default_factory=dict)


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

    name: str = Field(min_length=1, max_length=60)
    summary: str = ""
    start: Literal["cold", "warm", "soaked"] = "warm"
    source: str = Field("", description="where the numbers come from; 'invented' for demo data")


class DriveFile(_Strict):
    """A whole drive file."""

    drive: DriveHead
    traffic: TrafficNoise = Field(default_factory=lambda: TrafficNoise(slowdowns_per_hour=0.0))
    phase: tuple[Phase, ...] = Field(min_length=1)


@dataclass(frozen=True)
class TraceData:
    """A recorded trace in SI, times from 0; `speed_m_s` always there, the others when the file has them.

    With `rpm` and `map_pa` the vehicle model is skipped; with `grade` the road's slope is followed.
    """

    time_s: NDArray[np.float64]
    speed_m_s: NDArray[np.float64]
    grade: NDArray[np.float64] | None = None
    rpm: NDArray[np.float64] | None = None
    map_pa: NDArray[np.float64] | None = None
    throttle: NDArray[np.float64] | None = None
    pedal: NDArray[np.float64] | None = None


@dataclass(frozen=True)
class Drive:
    """A loaded drive: the file's model, and its traces by file name as written in the phases."""

    name: str
    summary: str
    start: Literal["cold", "warm", "soaked"]
    file: DriveFile
    traces: dict[str, TraceData]
    digest: str  # SHA-256 over the file and its traces: the identity used for seeds and caches
