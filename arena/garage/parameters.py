"""What a log may tell of a car: the numbers fitted, how far each may lie from the car file, and in which space.

Headline numbers are reported; companions are moved along within what a car of this kind can be, so that their not
being known widens the headline's intervals, and are never reported. Spans are judgement from memory, no source.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass, replace
from typing import Any

import numpy as np
from numpy.typing import NDArray

from arena.garage.inputs import Day
from arena.garage.predict import Start
from arena.plant.numbers import CarNumbers
from arena.scenario.car_keys import KEY_OF_NUMBER, extra_of

Floats = NDArray[np.float64]


@dataclass(frozen=True)
class Parameter:
    """One number of the fit. In `z` it is ln(value / car file) / spread (or linear), so that 1 is one usual spread."""

    name: str  # "core.air_ha_w_k" of CarNumbers; "start.loop_k" and the like belong to the log
    say: str
    spread: float  # standard deviation of what is believed before the log; of the logarithm, or in K if linear
    low: float  # bounds from physics, SI
    high: float
    headline: bool = False
    side: str = "air"  # "air", "coolant" or "start": which side of the core it is known by
    linear: bool = False
    along: tuple[str, ...] = ()  # other numbers scaled by the same factor

    @property
    def key(self) -> str:
        """Its key in a car file."""
        return KEY_OF_NUMBER.get(self.name, self.name)

    @property
    def unit(self) -> str:
        """Unit of the car file's key."""
        endings = {"w_k": "W/K", "s": "s", "k": "K", "l": "L", "kpa": "kPa", "kg": "kg"}
        last = self.key.split(".")[1]
        return next((unit for end, unit in endings.items() if last.endswith(f"_{end}")), "")


HEADLINE: tuple[Parameter, ...] = (
    Parameter("core.air_ha_w_k", "core, air side", 0.45, 60.0, 4000.0, True),
    Parameter("core.coolant_ha_w_k", "core, coolant side", 0.45, 200.0, 12000.0, True, "coolant"),
    Parameter("front.air_ha_w_k", "front exchanger", 0.45, 100.0, 6000.0, True, "front"),
    Parameter("charger.efficiency", "charger efficiency", 0.08, 0.40, 0.88, True),
    Parameter("probe.tau_s", "probe time constant", 0.6, 0.3, 90.0, True),
    Parameter(
        "body.bay_rise_cruise_k", "bay over ambient at cruise", 0.30, 5.0, 80.0, True,
        along=("body.bay_rise_traffic_k", "body.bay_rise_soak_k"),
    ),
    Parameter("loop.tank_m3", "coolant in the tank", 0.35, 0.15e-3, 30e-3, True, "coolant"),
    Parameter("pump.head_factor", "pump against its curve", 0.20, 0.10, 1.25, True, "coolant"),
)  # fmt: skip

# where no tank stands in the flow, the loop's volume is told by what the front exchanger holds
IN_FRONT = Parameter("front.coolant_m3", "coolant in the front", 0.35, 0.05e-3, 20e-3, True, "coolant")

COMPANIONS: tuple[Parameter, ...] = (
    Parameter("charger.hot_side_ua_w_k", "hot side to charge", 0.25, 0.01, 20.0),
    Parameter("charger.low_ratio_efficiency", "charger off boost", 0.08, 0.2, 0.9),
    Parameter(
        "charger.inlet_rise_cruise_k", "inlet air", 0.25, 0.01, 60.0, along=("charger.inlet_rise_idle_k",)
    ),
    Parameter("core.pipe_ua_w_k", "pipe behind the core", 0.25, 0.01, 50.0),
    Parameter("core.bay_ua_w_k", "bay to core", 0.25, 0.01, 100.0),
    Parameter("core.metal_kg", "core metal", 0.12, 0.2, 50.0),
    Parameter("front.coolant_ha_w_k", "front, coolant side", 0.25, 100.0, 20000.0),
    Parameter("front.face_velocity_ratio", "air through the front", 0.15, 0.02, 0.9),
    Parameter("loop.hose_ua_w_m_k", "hoses", 0.20, 0.01, 20.0),
    Parameter("pump.system_pa", "loop resistance", 0.12, 1e3, 400e3),
    Parameter("probe.boss_share", "probe's boss", 0.25, 0.001, 0.9),
)  # fmt: skip

STARTS: tuple[Parameter, ...] = (
    Parameter("start.loop_k", "coolant at the start", 10.0, -np.inf, np.inf, side="start", linear=True),
    Parameter("start.core_k", "core at the start", 10.0, -np.inf, np.inf, side="start", linear=True),
    Parameter("start.front_k", "front at the start", 6.0, -np.inf, np.inf, side="start", linear=True),
    Parameter("start.bay_k", "bay at the start", 8.0, -np.inf, np.inf, side="start", linear=True),
    Parameter("start.sun_k", "sun on the bay that day", 3.0, -np.inf, np.inf, side="start", linear=True),
    Parameter("start.load", "driving before the log", 0.6, -np.inf, np.inf, side="start"),
)  # fmt: skip


SUN_K = 3.0  # sun usually warms the bay by so much; about the middle of the shipped climates, which span 0 to 10
OF_DAY = ("start.bay_k", "start.sun_k", "start.load")  # these change the inputs, other starts only the loop's state
COLD_K = 3.0  # after a night everything stands within so much of the outside air


def parameters_for(car: CarNumbers, cold: bool = False) -> tuple[Parameter, ...]:
    """The numbers of a fit of this car: without a tank in the flow the front exchanger stands for the volume.

    cold: the log begins with a cold car, so that its starting state is nearly known.
    """
    chosen = []
    for item in (*HEADLINE, *COMPANIONS, *STARTS):
        known = cold and item.side == "start" and item.name not in OF_DAY[1:]
        use = replace(item, spread=min(item.spread, COLD_K)) if known else item
        if item.name == "loop.tank_m3" and car.loop.tank != "in-flow":
            use = IN_FRONT
        if item.name.partition(".")[0] != "start":
            value = _get(car, use.name)
            if value <= 0.0:
                continue
            use = replace(use, low=min(use.low, 0.7 * value), high=max(use.high, 1.4 * value))
            if use.name == "pump.head_factor" and value > 1.0:
                use = replace(use, high=1.25 * value)
        chosen.append(use)
    return tuple(chosen)


def moved(car: CarNumbers, items: Sequence[Parameter], z: Floats) -> CarNumbers:
    """The car with its numbers at `z` (shape (len(items),)); start values are left alone."""
    changes: dict[str, dict[str, float]] = {}
    for item, value in zip(items, z, strict=True):
        if item.side != "start" and value != 0.0:
            for name in (item.name, *item.along):
                section, key = name.split(".")
                changes.setdefault(section, {})[key] = _get(car, name) * math.exp(item.spread * float(value))
    parts: dict[str, Any] = {name: replace(getattr(car, name), **values) for name, values in changes.items()}
    return replace(car, **parts)


def start_of(guess: Start, items: Sequence[Parameter], z: Floats) -> tuple[Start, Day]:
    """The loop's starting state, and the day, at `z`."""
    extra = {item.name: item.spread * float(v) for item, v in zip(items, z, strict=True) if item.side == "start"}
    loop, core = extra.get("start.loop_k", 0.0), extra.get("start.core_k", 0.0)
    front = loop + extra.get("start.front_k", 0.0)
    begun = Start(guess.loop_k + loop, guess.core_k + core, guess.front_k + front, guess.probe_k)
    sun = max(SUN_K + extra.get("start.sun_k", 0.0), 0.0)
    return begun, Day(extra.get("start.bay_k", 0.0), sun, math.exp(extra.get("start.load", 0.0)))


def bounds(car: CarNumbers, items: Sequence[Parameter]) -> tuple[Floats, Floats]:
    """Bounds in z, from physics; starts within four spreads, and no sun that cools."""
    low, high = [], []
    for item in items:
        if item.side == "start":
            low.append(-SUN_K / item.spread if item.name == "start.sun_k" else -4.0)
            high.append(4.0)
        else:
            value = _get(car, item.name)
            low.append(math.log(item.low / value) / item.spread)
            high.append(math.log(item.high / value) / item.spread)
    return np.maximum(np.array(low), -5.0), np.minimum(np.array(high), 5.0)


def value_si(car: CarNumbers, item: Parameter, z: float) -> float:
    """A number at z in SI."""
    return _get(car, item.name) * math.exp(item.spread * z)


def in_file_unit(item: Parameter, value: float) -> float:
    """An SI value in the unit of the car file's key."""
    extra = extra_of(*item.key.split("."))
    return float((value - float(extra.get("offset") or 0.0)) / float(extra["factor"]))


def _get(car: CarNumbers, name: str) -> float:
    section, key = name.split(".")
    return float(getattr(getattr(car, section), key))
