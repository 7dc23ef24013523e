"""Three-speed: a ladder of two resistors. Off, low, middle and full, each step at its own threshold.

The resistances are what stands in series with the pump in that step, the whole of it; their heat is counted.
"""

from typing import NamedTuple

from arena.strategies.base import Setting, Strategy


class Sensed(NamedTuple):
    """The charge probe."""

    iat_c: float


class Settings(NamedTuple):
    """Thresholds, hysteresis and the ladder."""

    low_on_c: float
    middle_on_c: float
    full_on_c: float
    hysteresis_k: float
    low_ohm: float
    middle_ohm: float


class Memory(NamedTuple):
    """Step held: 0 off, 1 low, 2 middle, 3 full."""

    step: float


def duty(sensed: Sensed, settings: Settings, memory: Memory) -> tuple[float, Memory]:
    """The highest step whose threshold is reached; the step held stays until a hysteresis below its threshold."""
    iat, k = sensed.iat_c, settings.hysteresis_k
    step = 0.0
    if iat >= settings.full_on_c or (memory.step >= 3.0 and iat >= settings.full_on_c - k):
        step = 3.0
    elif iat >= settings.middle_on_c or (memory.step >= 2.0 and iat >= settings.middle_on_c - k):
        step = 2.0
    elif iat >= settings.low_on_c or (memory.step >= 1.0 and iat >= settings.low_on_c - k):
        step = 1.0
    asked = 0.0
    if step > 0.0:
        asked = 0.25 + 0.25 * step
    return asked, Memory(step)


def sensible(settings: Settings) -> Settings:
    """A higher step never comes before a lower one, and never through more resistance."""
    middle = max(settings.middle_on_c, settings.low_on_c)
    return settings._replace(
        middle_on_c=middle,
        full_on_c=max(settings.full_on_c, middle),
        middle_ohm=min(settings.middle_ohm, settings.low_ohm),
    )


STRATEGY = Strategy(
    name="three-speed",
    summary="off, low and middle through a ladder of resistors, full; by thresholds with hysteresis",
    sensed=Sensed,
    settings_type=Settings,
    memory=Memory(0.0),
    law=duty,
    settings=(
        Setting("low_on_c", "degC", 15.0, 55.0, 33.0, "low flow from this charge temperature"),
        Setting("middle_on_c", "degC", 20.0, 65.0, 39.0, "middle flow from this charge temperature"),
        Setting("full_on_c", "degC", 25.0, 75.0, 45.0, "full flow from this charge temperature"),
        Setting("hysteresis_k", "K", 0.5, 10.0, 3.0, "comes down a step this far below its threshold"),
        Setting("low_ohm", "ohm", 0.6, 4.0, 1.8, "resistance in series in the low step"),
        Setting("middle_ohm", "ohm", 0.2, 2.5, 0.8, "resistance in series in the middle step"),
    ),
    actuator="resistor",
    ohms=("low_ohm", "middle_ohm"),
    repair=sensible,
)
