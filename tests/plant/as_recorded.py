"""A law for tests: the duty written into the pedal column, so that a recorded run can be played again open-loop."""

from typing import NamedTuple

from arena.strategies.base import Setting, Strategy


class Sensed(NamedTuple):
    """The pedal column, which a test has overwritten with duty in per cent."""

    pedal_pct: float


class Settings(NamedTuple):
    """The resistor of the recorded run, if it had one."""

    resistor_ohm: float


class Memory(NamedTuple):
    """Nothing."""


def duty(sensed: Sensed, settings: Settings, memory: Memory) -> tuple[float, Memory]:
    """What was recorded."""
    return 0.01 * sensed.pedal_pct, memory


STRATEGY = Strategy(
    name="as-recorded",
    summary="test law: plays a recorded duty again",
    sensed=Sensed,
    settings_type=Settings,
    memory=Memory(),
    law=duty,
    settings=(Setting("resistor_ohm", "ohm", 0.0, 100.0, 1.8, "series resistor of the low step"),),
)
