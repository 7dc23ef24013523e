"""Axes of a duty table as the user's engine computer has them: breakpoints, orientation, duty step, lowest duty.

An axes file (TOML) is read strictly; without one there are sensible defaults, and the lowest running duty is worked
out from the car's pump.
"""

from __future__ import annotations

import math
from dataclasses import dataclass, replace
from itertools import pairwise
from pathlib import Path
from typing import Literal

from pydantic import BaseModel, ConfigDict, Field

from arena.errors import BadInput
from arena.plant.numbers import CarNumbers
from arena.scenario import loading
from arena.scenario.derived import sure_duty, sure_words
from arena.strategies.gated_table import IAT_C, THROTTLE_PCT
from arena.units import MILE_M, PSI_PA

Reading = Literal["off", "as-read"]

MOST_BREAKPOINTS = 32
HYSTERESIS_PCT = 10.0
REMEDY = "Correct the axes file; `arena new axes PATH` writes one that works."


@dataclass(frozen=True)
class Sense:
    """A quantity an axis can go by: its metric and US headings, default breakpoints (metric), and a likely range."""

    name: str
    metric: str
    us: str
    default: tuple[float, ...]
    low: float
    high: float
    heat: bool = False  # a temperature the pump answers to


SENSES: dict[str, Sense] = {
    s.name: s
    for s in (
        Sense("iat", "iat_c", "iat_f", IAT_C, -40, 150, True),
        Sense("coolant", "coolant_c", "coolant_f", (5.0, 15.0, 20.0, 25.0, 30.0, 35.0, 40.0, 50.0), -40, 130, True),
        Sense("throttle", "throttle_pct", "throttle_pct", THROTTLE_PCT, 0, 100),
        Sense("pedal", "pedal_pct", "pedal_pct", THROTTLE_PCT, 0, 100),
        Sense("map", "map_kpa", "map_psi", (30.0, 50.0, 70.0, 90.0, 110.0, 140.0, 170.0, 200.0), 0, 600),
        Sense("speed", "speed_kmh", "speed_mph", (0.0, 10.0, 30.0, 50.0, 70.0, 90.0, 110.0, 130.0), 0, 400),
        Sense("rpm", "rpm", "rpm", (800.0, 1500.0, 2000.0, 2500.0, 3000.0, 4000.0, 5000.0, 6000.0), 0, 15000),
        Sense("ambient", "ambient_c", "ambient_f", (-10.0, 0.0, 10.0, 20.0, 30.0, 40.0), -60, 70),
    )
}
BY_HEADING: dict[str, Sense] = {h: s for s in SENSES.values() for h in (s.metric, s.us)}


@dataclass(frozen=True)
class Axis:
    """One axis: the heading it is written under, breakpoints as written, and the same in metric units, rising."""

    heading: str
    given: tuple[float, ...]

    @property
    def sense(self) -> Sense:
        """What it goes by."""
        return BY_HEADING[self.heading]

    @property
    def heading_metric(self) -> str:
        """What the law calls it."""
        return self.sense.metric

    @property
    def points(self) -> tuple[float, ...]:
        """Breakpoints in metric units (degC, %, kPa, km/h, 1/min)."""
        return tuple(metric(self.heading, v) for v in self.given)


@dataclass(frozen=True)
class Axes:
    """A duty table's frame: what goes down the side and what across the top, and what duties the output can hold.

    `lowest_running` is the least duty (0..1) at which the output runs the pump, None to work it out from the car.
    `reading`: below it the output is off (with `hysteresis`, 0..1, against chatter), or given as read.
    """

    name: str
    down: Axis
    across: Axis
    duty_step: float = 0.01
    lowest_running: float | None = None
    hysteresis: float = 0.01 * HYSTERESIS_PCT
    reading: Reading = "off"
    digest: str = "default"
    path: Path | None = None
    lowest_why: str = ""  # where it comes from, in words; empty where the axes file gives it

    @property
    def heat(self) -> int:
        """0 if the temperature the pump answers to goes down the side, 1 if it goes across the top."""
        if self.down.sense.heat and self.across.sense.heat:
            return 0 if self.down.sense.name == "iat" else 1
        return 0 if self.down.sense.heat else 1

    @property
    def shape(self) -> tuple[int, int]:
        """Rows and columns."""
        return len(self.down.given), len(self.across.given)

    def floor(self) -> float:
        """The least running duty that the output can hold, a whole number of steps."""
        assert self.lowest_running is not None
        return min(math.ceil(self.lowest_running / self.duty_step - 1e-9) * self.duty_step, 1.0)

    def for_car(self, car: CarNumbers) -> Axes:
        """The same axes with the lowest running duty worked out from the car's pump where none was given."""
        if self.lowest_running is not None:
            return self
        return replace(self, lowest_running=sure_duty(car), lowest_why=sure_words(car))

    def turned(self) -> Axes:
        """The same table the other way round."""
        return replace(self, down=self.across, across=self.down)


def metric(heading: str, value: float) -> float:
    """A breakpoint under a heading in metric units."""
    if heading.endswith("_f"):
        return (value - 32.0) / 1.8
    if heading == "map_psi":
        return value * PSI_PA * 1e-3
    return value * MILE_M * 1e-3 if heading == "speed_mph" else value


def default_axes(down: str = "iat", across: str = "throttle") -> Axes:
    """Axes on the default breakpoints of two senses."""
    return Axes(
        f"{down} by {across}",
        Axis(SENSES[down].metric, SENSES[down].default),
        Axis(SENSES[across].metric, SENSES[across].default),
    )


class _Strict(BaseModel):
    model_config = ConfigDict(extra="forbid", frozen=True, allow_inf_nan=False)


class AxisTable(_Strict):
    """`[axes.down]` or `[axes.across]`."""

    sense: str
    breakpoints: tuple[float, ...] = Field(min_length=2, max_length=MOST_BREAKPOINTS)


class AxesTable(_Strict):
    """The `[axes]` table."""

    name: str = Field("axes", min_length=1, max_length=60, pattern=loading.ONE_LINE)
    summary: str = ""
    units: Literal["metric", "us"] = "metric"
    duty_step_pct: float = Field(1.0, ge=0.01, le=25)
    lowest_pct: float | None = Field(None, ge=1, le=100)
    hysteresis_pct: float = Field(HYSTERESIS_PCT, ge=0, le=50)
    below_lowest: Reading = "off"
    down: AxisTable
    across: AxisTable


class AxesFile(_Strict):
    """A whole axes file."""

    axes: AxesTable


def load_axes(name: str | Path) -> Axes:
    """Axes by name or path. Raises BadInput with every fault, one line each."""
    path = loading.find("axes", name)
    text = loading.read_text(path)
    table = loading.validate(path, text, loading.parse(path, text), AxesFile, REMEDY).axes
    faults: list[str] = []

    def fault(key: tuple[str, ...], words: str) -> None:
        faults.append(loading.fault_line(path, text, ("axes", *key), words))

    made = {side: _axis(getattr(table, side), side, table.units, fault) for side in ("down", "across")}
    down, across = made["down"], made["across"]
    if down and across:
        if down.sense is across.sense:
            fault(("across", "sense"), f'is "{across.sense.name}" like axes.down.sense; the two must differ')
        elif not (down.sense.heat or across.sense.heat):
            fault(("across", "sense"), 'and axes.down.sense are both no temperature; one must be "iat" or "coolant"')
    steps = 100.0 / table.duty_step_pct
    if abs(steps - round(steps)) > 1e-9:
        fault(("duty_step_pct",), f"{table.duty_step_pct:g} does not go into 100 a whole number of times")
    lowest = table.lowest_pct
    if lowest is not None and table.hysteresis_pct >= lowest:
        fault(("hysteresis_pct",), f"{table.hysteresis_pct:g} must be below lowest_pct ({lowest:g})")
    if faults or down is None or across is None:
        raise BadInput(faults, REMEDY)
    return Axes(
        table.name,
        down,
        across,
        0.01 * table.duty_step_pct,
        None if lowest is None else 0.01 * lowest,
        0.01 * table.hysteresis_pct,
        table.below_lowest,
        loading.digest_of(text.strip()),
        path,
    )


def _axis(table: AxisTable, side: str, units: str, fault: object) -> Axis | None:
    assert callable(fault)
    if table.sense not in SENSES:
        near = loading.nearest(table.sense, SENSES)
        hint = f', did you mean "{near}"?' if near else f"; known: {', '.join(SENSES)}"
        fault((side, "sense"), f'"{loading.one_line(table.sense)}" is not something an axis can go by{hint}')
        return None
    sense = SENSES[table.sense]
    axis = Axis(sense.us if units == "us" else sense.metric, table.breakpoints)
    for k, (a, b) in enumerate(pairwise(table.breakpoints)):
        if b <= a:
            fault((side, "breakpoints"), f"must rise: {b:g} after {a:g} (breakpoint {k + 2})")
            return None
    if axis.points[0] < sense.low or axis.points[-1] > sense.high:
        span = f"{axis.given[0]:g} to {axis.given[-1]:g}"
        fault((side, "breakpoints"), f"{span} ({axis.heading}) reach beyond {sense.low:g}..{sense.high:g} metric")
        return None
    return axis


def axes_starter() -> str:
    """A commented axes file that passes `arena check` and works with `arena tune --axes`."""
    iat, throttle = ", ".join(f"{v:g}" for v in IAT_C), ", ".join(f"{v:g}" for v in THROTTLE_PCT)
    return f"""\
# The duty table of your engine computer: its axes, and what its pump output can do.
# Use it: arena tune --axes THIS_FILE --climate hot --drive commute --drive hill-pulls

[axes]
name = "my-table"
units = "metric"            # of the breakpoints: metric (degC, kPa, km/h) or us (degF, psi absolute, mph)
duty_step_pct = 1           # the cells can hold multiples of this
# lowest_pct = 35   # least duty at which the pump surely starts; left out, it comes from the car file
hysteresis_pct = 10         # once running, the output stays on until the table falls this far below the lowest duty
below_lowest = "off"        # what the output does where the table reads less: "off", or "as-read"

[axes.down]                 # down the side of the table
sense = "iat"               # iat, coolant (second probe), throttle, pedal, map, speed, rpm, ambient
breakpoints = [{iat}]

[axes.across]               # across the top
sense = "throttle"
breakpoints = [{throttle}]
"""
