"""The law of a duty table that enters as it is: the duty is read off, and nothing is added."""

from typing import NamedTuple

from arena.strategies.base import bilinear


class Sensed(NamedTuple):
    """What the table's rows and columns go by; the reader puts in the real names."""

    row: float
    column: float


class Settings(NamedTuple):
    """Nothing to set: the table is the setting."""


class Memory(NamedTuple):
    """Nothing to remember."""


def duty(sensed: Sensed, settings: Settings, memory: Memory, cells: object, lane: int) -> tuple[float, Memory]:
    """Bilinear between the cells, held at the edges."""
    return bilinear(cells, lane, sensed[0], sensed[1]), memory
