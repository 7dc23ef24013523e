"""Always-off: the pump never runs. A reference that is not ranked."""

from typing import NamedTuple

from arena.strategies.base import Strategy


class Sensed(NamedTuple):
    """Nothing is sensed."""


class Settings(NamedTuple):
    """Nothing to set."""


class Memory(NamedTuple):
    """Nothing to remember."""


def duty(sensed: Sensed, settings: Settings, memory: Memory) -> tuple[float, Memory]:
    """Off, always."""
    return 0.0, memory


STRATEGY = Strategy(
    name="always-off",
    summary="the pump never runs; a reference, not ranked",
    sensed=Sensed,
    settings_type=Settings,
    memory=Memory(),
    law=duty,
    failsafe_duty=0.0,
    ranked=False,
)
