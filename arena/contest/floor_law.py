"""The law of a tuned or a user's duty table: read bilinearly as engine computers do, with a lowest running duty.

Below the lowest running duty the output is off, with a little hysteresis; a lowest duty of 0 gives the table as read.
"""

from typing import NamedTuple

from arena.strategies.base import bilinear, output_on


class Sensed(NamedTuple):
    """What the table's rows and columns go by; whoever makes the strategy puts in the real names."""

    row: float
    column: float


class Settings(NamedTuple):
    """What the pump output can do."""

    lowest_pct: float
    hysteresis_pct: float


class Memory(NamedTuple):
    """1 while the pump is asked to run."""

    running: float


def duty(sensed: Sensed, settings: Settings, memory: Memory, cells: object, lane: int) -> tuple[float, Memory]:
    """The cell values between the breakpoints, held at the edges; off below the lowest running duty."""
    read = bilinear(cells, lane, sensed[0], sensed[1])
    lowest = 0.01 * settings.lowest_pct
    running = output_on(read, lowest, 0.01 * settings.hysteresis_pct, memory.running)
    return running * max(read, lowest), Memory(running)
