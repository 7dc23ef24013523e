"""The law of a duty table that enters as it is: the duty is read off; below the lowest duty the output is off."""

from typing import NamedTuple

from arena.strategies.base import bilinear, output_on


class Sensed(NamedTuple):
    """What the table's rows and columns go by; the reader puts in the real names."""

    row: float
    column: float


class Settings(NamedTuple):
    """Nothing to set: the table is the setting, and nothing of it is tuned."""


class Memory(NamedTuple):
    """The lowest duty the output gives and its hysteresis, 0..1, which stay; and 1 while it gives any."""

    lowest: float
    hysteresis: float
    running: float


def duty(sensed: Sensed, settings: Settings, memory: Memory, cells: object, lane: int) -> tuple[float, Memory]:
    """Bilinear between the cells, held at the edges."""
    read = bilinear(cells, lane, sensed[0], sensed[1])
    running = output_on(read, memory.lowest, memory.hysteresis, memory.running)
    asked = running * max(read, memory.lowest)
    return asked, Memory(memory.lowest, memory.hysteresis, running)
