"""Two-speed: a switch with a dropping resistor. Off when cold, low flow through the resistor, full when hot.

Each step has a threshold and the same hysteresis; the heat of the resistor is counted by the plant.
"""

from typing import NamedTuple

from arena.strategies.base import Setting, Strategy


class Sensed(NamedTuple):
    """The charge probe."""

    iat_c: float


class Settings(NamedTuple):
    """Thresholds, hysteresis and the resistor."""

    low_on_c: float
    full_on_c: float
    hysteresis_k: float
    resistor_ohm: float


class Memory(NamedTuple):
    """Step held: 0 off, 1 low, 2 full."""

    step: float


def duty(sensed: Sensed, settings: Settings, memory: Memory) -> tuple[float, Memory]:
    """Go up a step at its threshold, come down a hysteresis below it."""
    step = memory.step
    if sensed.iat_c >= settings.full_on_c:
        step = 2.0
    elif step == 2.0 and sensed.iat_c < settings.full_on_c - settings.hysteresis_k:
        step = 1.0
    if step == 0.0 and sensed.iat_c >= settings.low_on_c:
        step = 1.0
    elif step == 1.0 and sensed.iat_c < settings.low_on_c - settings.hysteresis_k:
        step = 0.0
    return 0.5 * step, Memory(step)


def sensible(settings: Settings) -> Settings:
    """Full is never asked for before low."""
    return settings._replace(full_on_c=max(settings.full_on_c, settings.low_on_c))


STRATEGY = Strategy(
    name="two-speed",
    summary="off, low through a resistor, full; by thresholds with hysteresis",
    sensed=Sensed,
    settings_type=Settings,
    memory=Memory(0.0),
    law=duty,
    settings=(
        Setting("low_on_c", "degC", 15.0, 55.0, 30.0, "low flow from this charge temperature"),
        Setting("full_on_c", "degC", 25.0, 70.0, 45.0, "full flow from this charge temperature"),
        Setting("hysteresis_k", "K", 0.5, 10.0, 3.0, "comes down a step this far below its threshold"),
        Setting("resistor_ohm", "ohm", 0.3, 4.0, 1.8, "series resistor of the low step"),
    ),
    actuator="resistor",
    ohms=("resistor_ohm",),
    repair=sensible,
)
