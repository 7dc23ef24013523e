"""Proportional: PWM duty rises with charge temperature from a start to full, never below a running floor."""

from typing import NamedTuple

from arena.strategies.base import Setting, Strategy


class Sensed(NamedTuple):
    """The charge probe."""

    iat_c: float


class Settings(NamedTuple):
    """Where duty starts, where it is full, and the least duty that keeps the pump turning."""

    start_c: float
    full_c: float
    floor_pct: float
    hysteresis_k: float


class Memory(NamedTuple):
    """1 while the pump is asked to run."""

    running: float


def duty(sensed: Sensed, settings: Settings, memory: Memory) -> tuple[float, Memory]:
    """Off below start; from start to full the duty goes from the floor to 1."""
    running = memory.running
    if sensed.iat_c >= settings.start_c:
        running = 1.0
    elif sensed.iat_c < settings.start_c - settings.hysteresis_k:
        running = 0.0
    floor = 0.01 * settings.floor_pct
    share = (sensed.iat_c - settings.start_c) / (settings.full_c - settings.start_c)
    asked = floor + (1.0 - floor) * min(max(share, 0.0), 1.0)
    return running * asked, Memory(running)


def sensible(settings: Settings) -> Settings:
    """Full comes at least a kelvin above start."""
    return settings._replace(full_c=max(settings.full_c, settings.start_c + 1.0))


STRATEGY = Strategy(
    name="proportional",
    summary="PWM duty rising with charge temperature, off when cold",
    sensed=Sensed,
    settings_type=Settings,
    memory=Memory(0.0),
    law=duty,
    settings=(
        Setting("start_c", "degC", 10.0, 55.0, 30.0, "pump starts at this charge temperature"),
        Setting("full_c", "degC", 20.0, 75.0, 45.0, "full duty from this charge temperature"),
        Setting("floor_pct", "%", 30.0, 80.0, 35.0, "least duty while running; below it the pump may stall"),
        Setting("hysteresis_k", "K", 0.5, 10.0, 2.0, "stops this far below the start"),
    ),
    repair=sensible,
)
