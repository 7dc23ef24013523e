"""A law for fits: the logged pump duty, written into the pedal column of a private copy, played again."""

from typing import NamedTuple

from arena.strategies.base import Strategy


class Sensed(NamedTuple):
    """The pedal column, overwritten with duty in per cent."""

    pedal_pct: float


class Settings(NamedTuple):
    """Nothing to set."""


class Memory(NamedTuple):
    """Nothing to remember."""


def duty(sensed: Sensed, settings: Settings, memory: Memory) -> tuple[float, Memory]:
    """What was logged."""
    return 0.01 * sensed.pedal_pct, memory


STRATEGY = Strategy(
    name="replayed-duty",
    summary="plays a logged pump duty again",
    sensed=Sensed,
    settings_type=Settings,
    memory=Memory(),
    law=duty,
    ranked=False,
)
