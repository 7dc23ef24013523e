"""Climate files: the outside air of an outing: constant, over a day, or from hourly weather (EPW or a typical year).

`load_climate` takes a name or a path. People write degC, per cent, kPa or metres, km/h; SI comes out.
"""

from __future__ import annotations

from dataclasses import dataclass
from pathlib import Path
from typing import Annotated, Literal

import numpy as np
from numpy.typing import NDArray
from pydantic import BaseModel, BeforeValidator, ConfigDict, Field

from arena import units
from arena.errors import BadInput
from arena.plant.air import standard_pressure_pa
from arena.scenario import loading
from arena.scenario.weather import HourlyWeather, read_weather

__all__ = ["Air", "Climate", "ClimateFile", "load_climate"]

Floats = NDArray[np.float64]


class _Strict(BaseModel):
    model_config = ConfigDict(extra="forbid", frozen=True, allow_inf_nan=False)


class ClimateHead(_Strict):
    """The `[climate]` table: constant air, or the values that a day curve or the weather does not give.

    A humidity or wind that the weather's file has goes before; pressure or altitude here goes before the file's.
    """

    name: str = Field(min_length=1, max_length=60, pattern=loading.ONE_LINE)
    summary: str = ""
    source: str = ""
    air_c: float | None = Field(None, ge=-60, le=60)
    humidity_pct: float | None = Field(None, ge=0, le=100)
    pressure_kpa: float | None = Field(None, ge=40, le=110)
    altitude_m: float | None = Field(None, ge=-450, le=6000)
    wind_kmh: float | None = Field(None, ge=0, le=150)
    sun_bay_k: float | None = Field(None, ge=0, le=40)
    start_hour: float | None = Field(None, ge=0, lt=24)


class Hour(_Strict):
    """One row of a day curve."""

    hour: float = Field(ge=0, lt=24)
    air_c: float = Field(ge=-60, le=60)
    humidity_pct: float | None = Field(None, ge=0, le=100)
    wind_kmh: float | None = Field(None, ge=0, le=150)
    sun_bay_k: float | None = Field(None, ge=0, le=40)


def _dashed(word: object) -> object:
    return word.strip().lower().replace(" ", "-") if isinstance(word, str) else word


class Weather(_Strict):
    """Hourly weather (EPW, or a typical year in CSV): the mean day of a month, or of the hottest or coldest week."""

    file: str = Field(min_length=1)
    month: int | None = Field(None, ge=1, le=12)
    period: Annotated[Literal["hottest-week", "coldest-week"] | None, BeforeValidator(_dashed)] = None
    hour: float | None = Field(None, ge=0, lt=24, description="local clock at the start of the outing")
    utc_offset_h: float | None = Field(
        None, ge=-12, le=14, description="hours the local clock is ahead of UTC, for a file in UTC"
    )


class ClimateFile(_Strict):
    """A whole climate file."""

    climate: ClimateHead
    hour: tuple[Hour, ...] = Field((), max_length=288)
    weather: Weather | None = None


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
    weather: Path | None = None  # the hourly weather it was made from
    notes: tuple[str, ...] = ()

    def at(self, time_s: Floats) -> Air:
        """Air at seconds since the outing's first tick, interpolated over the day (period 24 h)."""
        hour = np.mod(self.start_hour + np.asarray(time_s) / 3600.0, 24.0)

        def over_day(values: Floats) -> Floats:
            if len(self.hours) == 1:
                return np.full(np.shape(time_s), values[0])
            return np.interp(hour, self.hours, values, period=24.0)

        return Air(
            *(over_day(v) for v in (self.ambient_k, self.pressure_pa, self.humidity, self.wind_m_s, self.bay_extra_k))
        )


def load_climate(name: str | Path, near: Path | None = None) -> Climate:
    """A climate by name or path. Raises BadInput with every fault, one line each."""
    path = loading.find("climates", name, near)
    text = loading.read_text(path)
    file = loading.validate(path, text, loading.parse(path, text), ClimateFile)
    faults = [loading.fault_line(path, text, loc, message) for loc, message in _clashes(file)]
    if faults:
        raise BadInput(faults, f"Correct {loading.shown(path)} and run `arena check {loading.shown(path)}`.")
    if file.weather is not None:
        return _from_weather(path, text, file, file.weather)
    head = file.climate
    rows = file.hour or (Hour(hour=0.0, air_c=head.air_c if head.air_c is not None else 15.0),)
    pressure = _pressure_pa(head)
    return Climate(
        head.name,
        head.summary,
        loading.digest_of(text.strip()),
        hours=np.array([row.hour for row in rows]),
        ambient_k=np.array([units.c_to_k(row.air_c) for row in rows]),
        pressure_pa=np.full(len(rows), pressure),
        humidity=np.array([_first(row.humidity_pct, head.humidity_pct, 50.0) / 100.0 for row in rows]),
        wind_m_s=np.array([units.kmh_to_m_s(_first(row.wind_kmh, head.wind_kmh, 5.0)) for row in rows]),
        bay_extra_k=np.array([_first(row.sun_bay_k, head.sun_bay_k, 0.0) for row in rows]),
        start_hour=_first(head.start_hour, None, 12.0),
    )


def _from_weather(path: Path, text: str, file: ClimateFile, weather: Weather) -> Climate:
    """The mean day, hour by hour, of the days asked for (days as the file counts them)."""
    source = loading.safe_beside(path, text, ("weather", "file"), weather.file)
    hourly = read_weather(source)
    data = hourly.values
    chosen = data["month"] == weather.month if weather.month is not None else _week(data, str(weather.period))
    if not chosen.any():
        raise BadInput(
            f"{loading.shown(source)}: has no rows of month {weather.month}",
            "Choose another month, or a whole year's file.",
        )
    clock = np.mod(data["hour"] + (weather.utc_offset_h or 0.0), 24.0)
    hours = np.unique(clock[chosen])

    def mean_day(name: str) -> Floats:
        return np.array([data[name][chosen & (clock == hour)].mean() for hour in hours])

    head = file.climate
    pressure, humidity, wind = mean_day("pressure_pa"), mean_day("humidity"), mean_day("wind_m_s")
    if head.pressure_kpa is not None or head.altitude_m is not None:
        pressure = np.full(len(hours), _pressure_pa(head))
    if head.humidity_pct is not None and "humidity" in hourly.lacks:
        humidity = np.full(len(hours), head.humidity_pct / 100.0)
    if head.wind_kmh is not None and "wind_m_s" in hourly.lacks:
        wind = np.full(len(hours), units.kmh_to_m_s(head.wind_kmh))
    return Climate(
        head.name,
        head.summary,
        loading.digest_of(text.strip(), loading.read_bytes(source, loading.TABLE_LIMIT_BYTES)),
        hours=hours,
        ambient_k=mean_day("ambient_k"),
        pressure_pa=pressure,
        humidity=humidity,
        wind_m_s=wind,
        bay_extra_k=np.full(len(hours), _first(head.sun_bay_k, None, 0.0)),
        start_hour=_first(weather.hour, head.start_hour, 12.0),
        weather=source,
        notes=tuple(_weather_notes(loading.shown(source), hourly, head, weather)),
    )


def _weather_notes(name: str, hourly: HourlyWeather, head: ClimateHead, weather: Weather) -> list[str]:
    """What the file or its climate give twice, or neither of them does."""
    notes = []
    for key, number, assumed in (("humidity_pct", "humidity", "50 %"), ("wind_kmh", "wind_m_s", "5.4 km/h")):
        what, given = number.split("_")[0], getattr(head, key) is not None
        if given and number not in hourly.lacks:
            notes.append(f"climate.{key} is left out: {name} gives the {what}, hour by hour")
        elif not given and number in hourly.lacks:
            notes.append(f"{name} has no {what}: {assumed} is assumed; climate.{key} gives another")
    if head.pressure_kpa is None and head.altitude_m is None and "pressure_pa" in hourly.lacks:
        notes.append(f"{name} has no pressure: sea level is assumed; climate.altitude_m gives another height")
    if hourly.utc and weather.utc_offset_h is None:
        notes.append(
            f"the hours of {name} are UTC, taken for the local clock as they are; weather.utc_offset_h says how many "
            "hours the local clock is ahead (0 if it is not)"
        )
    return notes


def _week(data: dict[str, Floats], period: str) -> NDArray[np.bool_]:
    """Mask of the seven days in a row with the highest or lowest mean temperature."""
    days = len(data["ambient_k"]) // 24
    daily = data["ambient_k"][: days * 24].reshape(days, 24).mean(axis=1)
    span = min(7, days)
    means = np.convolve(daily, np.ones(span) / span, mode="valid")
    first = int(np.argmax(means) if period == "hottest-week" else np.argmin(means))
    mask = np.zeros(len(data["ambient_k"]), dtype=np.bool_)
    mask[first * 24 : (first + span) * 24] = True
    return mask


def _clashes(file: ClimateFile) -> list[tuple[loading.Loc, str]]:
    """Two ways given for one thing, or none."""
    head = file.climate
    found: list[tuple[loading.Loc, str]] = []
    if head.pressure_kpa is not None and head.altitude_m is not None:
        found.append((("climate", "altitude_m"), "and climate.pressure_kpa both set the pressure; give one of them"))
    if file.hour and file.weather is not None:
        found.append((("weather",), "and [[hour]] rows both give the day; give one of them"))
    ways = [name for name, given in (("[[hour]] rows", file.hour), ("[weather]", file.weather)) if given]
    if ways and head.air_c is not None:
        found.append((("climate", "air_c"), f"and {ways[0]} both give the air temperature; give one of them"))
    if not ways and head.air_c is None:
        found.append((("climate", "air_c"), "is missing (or give [[hour]] rows, or [weather] with an EPW file)"))
    if len(file.hour) == 1:
        found.append((("hour", 0), "is the only row; a day curve needs at least two, a constant climate takes air_c"))
    for row in range(1, len(file.hour)):
        if file.hour[row].hour <= file.hour[row - 1].hour:
            now, before = file.hour[row].hour, file.hour[row - 1].hour
            found.append((("hour", row, "hour"), f"must increase ({now:g} after {before:g})"))
    weather = file.weather
    if weather is not None and (weather.month is None) == (weather.period is None):
        found.append((("weather",), "needs either month or period (hottest-week, coldest-week), one of the two"))
    if weather is not None and weather.utc_offset_h is not None and weather.file.lower().endswith(".epw"):
        found.append((("weather", "utc_offset_h"), "is for a file in UTC; an EPW file has the place's own clock"))
    if weather is not None and weather.hour is not None and head.start_hour is not None:
        found.append((("climate", "start_hour"), "and weather.hour both set the start; give one of them"))
    return found


def _pressure_pa(head: ClimateHead) -> float:
    if head.pressure_kpa is not None:
        return head.pressure_kpa * 1e3
    return float(standard_pressure_pa(_first(head.altitude_m, None, 0.0)))


def _first(value: float | None, second: float | None, otherwise: float) -> float:
    return value if value is not None else second if second is not None else otherwise
