"""Builders of drives and climates for the timetable's tests; numbers invented."""

from __future__ import annotations

from pathlib import Path
from typing import Any

import numpy as np

from arena.scenario.climate import Climate
from arena.scenario.drive import Drive, DriveFile, TraceData
from arena.timetable.outing import Played

CYCLES = Path(__file__).parents[2] / "scenarios" / "drives"


def climate(celsius: float = 25.0, pressure_pa: float = 101325.0, wind_m_s: float = 0.0) -> Climate:
    """The same air all day."""

    def all_day(value: float) -> np.ndarray:
        return np.array([value])

    return Climate(
        name="test air",
        summary="",
        digest="",
        hours=all_day(12.0),
        ambient_k=all_day(celsius + 273.15),
        pressure_pa=all_day(pressure_pa),
        humidity=all_day(0.5),
        wind_m_s=all_day(wind_m_s),
        bay_extra_k=all_day(0.0),
    )


def drive(
    *phases: dict[str, Any],
    start: str = "warm",
    slow_downs: float = 0.0,
    traces: dict[str, TraceData] | None = None,
) -> Drive:
    """A drive of these phases."""
    file = DriveFile.model_validate(
        {
            "drive": {"name": "test drive", "start": start},
            "traffic": {"slowdowns_per_hour": slow_downs},
            "phase": list(phases),
        }
    )
    return Drive(file.drive.name, "", file.drive.start, file, traces or {}, "")


def cycle(name: str) -> TraceData:
    """A standard cycle as shipped."""
    table = np.loadtxt(CYCLES / f"{name}.csv", delimiter=",", skiprows=1)
    return TraceData(time_s=table[:, 0], speed_m_s=table[:, 1] / 3.6)


def labelled(played: Played, beginning: str) -> np.ndarray:
    """Which ticks belong to phases whose label begins so; shape (ticks,)."""
    numbers = [k for k, label in enumerate(played.phases) if label.startswith(beginning)]
    return np.isin(played.phase, numbers)
