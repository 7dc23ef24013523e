"""A law for tests: the pump is held off until manifold pressure calls for it, then full, and on for a while after."""

from typing import NamedTuple

from arena.strategies.base import Setting, Strategy


class Sensed(NamedTuple):
    """Manifold pressure and the clock."""

    map_kpa: float
    time_s: float


class Settings(NamedTuple):
    """What counts as a call, how long the pump runs on after it, and until when it runs anyhow."""

    call_kpa: float
    hold_s: float
    until_s: float


class Memory(NamedTuple):
    """When the last call ended."""

    called_s: float


def duty(sensed: Sensed, settings: Settings, memory: Memory) -> tuple[float, Memory]:
    """Full from a call until `hold_s` after it, else off."""
    called = memory.called_s
    if sensed.map_kpa >= settings.call_kpa:
        called = sensed.time_s
    on = 1.0 if sensed.time_s - called <= settings.hold_s or sensed.time_s < settings.until_s else 0.0
    return on, Memory(called)


STRATEGY = Strategy(
    name="when-boost-calls",
    summary="test law: held off until boost calls, then full",
    sensed=Sensed,
    settings_type=Settings,
    memory=Memory(-1e9),
    law=duty,
    settings=(
        Setting("call_kpa", "kPa", 50.0, 300.0, 130.0, "manifold pressure that calls"),
        Setting("hold_s", "s", 0.0, 1e6, 10.0, "runs on after the call"),
        Setting("until_s", "s", 0.0, 1e6, 0.0, "runs whatever is called before this time"),
    ),
)
