"""Climate files: the outside air of an outing, constant or over a day."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

Floats = NDArray[np.float64]


@dataclass(frozen=True)
class Air:
    """Outside air over an outing; arrays of the shape of the times asked for, SI."""

    ambient_k: Floats
    pressure_pa: Floats
    humidity: Floats  # relative, 0..1
    wind_m_s: Floats
    bay_extra_k: Floats


@dataclass(frozen=True)
class Climate:
    """A loaded climate. `hours`, and the arrays, have shape (n,), n >= 1; a constant climate has n = 1."""

    name: str
    summary: str
    digest: str
    hours: Floats  # local clock, 0..24, increasing
    ambient_k: Floats
    pressure_pa: Floats
    humidity: Floats
    wind_m_s: Floats
    bay_extra_k: Floats
    start_hour: float = 12.0

    def at(self, time_s: Floats) -> Air:
        """Air at seconds since the outing's first tick, interpolated over the day (period 24 h)."""
        hour = np.mod(self.start_hour + np.asarray(time_s) / 3600.0, 24.0)

        def over_day(values: Floats) -> Floats:
            if len(self.hours) == 1:
                return np.full(np.shape(time_s), values[0])
            return np.interp(hour, self.hours, values, period=24.0)

        return Air(*(over_day(v) for v in (self.ambient_k, self.pressure_pa, self.humidity, self.wind_m_s, self.bay_extra_k)))
