"""Always-on: full duty whenever the key is on. The yardstick that scores 1.0."""

from typing import NamedTuple

from arena.strategies.base import Strategy


class Sensed(NamedTuple):
    """Nothing is sensed."""


class Settings(NamedTuple):
    """Nothing to set."""


class Memory(NamedTuple):
    """Nothing to remember."""


def duty(sensed: Sensed, settings: Settings, memory: Memory) -> tuple[float, Memory]:
    """Full, always."""
    return 1.0, memory


STRATEGY = Strategy(
    name="always-on",
    summary="full flow whenever the key is on",
    sensed=Sensed,
    settings_type=Settings,
    memory=Memory(),
    law=duty,
)
