"""Hysteresis switch: a relay and nothing else. Full flow or none, with a limit on starts an hour.

Once started the pump runs on until the next start would be allowed, so that the limit never holds back a start.
"""

from typing import NamedTuple

from arena.strategies.base import Setting, Strategy


class Sensed(NamedTuple):
    """The charge probe and a clock."""

    iat_c: float
    time_s: float


class Settings(NamedTuple):
    """Threshold, hysteresis, and how often the pump may be started."""

    on_c: float
    hysteresis_k: float
    starts_per_hour: float


class Memory(NamedTuple):
    """1 while the relay is closed, and when it last closed."""

    running: float
    started_s: float


def duty(sensed: Sensed, settings: Settings, memory: Memory) -> tuple[float, Memory]:
    """Close at the threshold; open a hysteresis below it, not before the next start would be allowed."""
    running, started = memory.running, memory.started_s
    if running == 0.0:
        if sensed.iat_c >= settings.on_c:
            running, started = 1.0, sensed.time_s
    elif (
        sensed.iat_c < settings.on_c - settings.hysteresis_k
        and (sensed.time_s - started) * settings.starts_per_hour >= 3600.0
    ):
        running = 0.0
    return running, Memory(running, started)


STRATEGY = Strategy(
    name="hysteresis-switch",
    summary="a relay: full flow or none by one threshold with hysteresis, so many starts an hour at most",
    sensed=Sensed,
    settings_type=Settings,
    memory=Memory(0.0, 0.0),
    law=duty,
    settings=(
        Setting("on_c", "degC", 15.0, 65.0, 36.0, "pump starts at this charge temperature"),
        Setting("hysteresis_k", "K", 0.5, 15.0, 4.0, "stops this far below it"),
        Setting(
            "starts_per_hour",
            "1/h",
            4.0,
            600.0,
            120.0,
            "most starts an hour: the pump runs on until it may start again",
        ),
    ),
    actuator="resistor",
)
