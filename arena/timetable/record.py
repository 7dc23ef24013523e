"""What has been written down of a drive so far: growing arrays, labels, events and notes.

Everybody who moves the clock fills the ticks up to the end of the move first, so that all ticks before
"now" are always final.
"""

from __future__ import annotations

from collections.abc import Iterator
from contextlib import contextmanager

import numpy as np
from numpy.typing import NDArray

from arena.errors import BadInput
from arena.scenario.climate import Climate
from arena.timetable.outing import TICK_S, TICKS_PER_S, Event
from arena.timetable.standard import MOST_TICKS
from arena.timetable.vehicle_kernel import (
    AMBIENT_K_ROW,
    AMBIENT_PA_ROW,
    BAY_ROW,
    HUMIDITY_ROW,
    ROWS,
    SPEED_ROW,
    WIND_ROW,
)

_FIRST_CAPACITY = 32768  # 55 minutes: most drives need no more, and growing costs what was written


def ticks_of(seconds: float) -> int:
    """Whole ticks nearest to a length in seconds."""
    return round(seconds * TICKS_PER_S)


def too_long(name: str) -> BadInput:
    """The error for a drive beyond the limit."""
    return BadInput(
        f'drive "{name}": longer than {MOST_TICKS // TICKS_PER_S:,} s with its beginning and end '
        f"({MOST_TICKS:,} ticks of {TICK_S} s), the limit for one outing",
        "Make it shorter: fewer repeats, or several drives in a season.",
    )


class Record:
    """Arrays of shape (ROWS, capacity), the ambient rows filled from the climate as they grow."""

    def __init__(self, drive_name: str, climate: Climate) -> None:
        self.drive_name = drive_name
        self.climate = climate
        self.rows: NDArray[np.float64] = np.zeros((ROWS, 0))
        self.phase: NDArray[np.int32] = np.zeros(0, np.int32)
        self.phases: list[str] = []
        self.events: list[Event] = []
        self._numbers: dict[str, int] = {}
        self._label = ""
        self._notes: dict[tuple[object, str], list[str]] = {}
        self.reserve(_FIRST_CAPACITY)

    def reserve(self, ticks: int) -> None:
        """Make room for `ticks` ticks. Raises BadInput beyond the limit."""
        if ticks > MOST_TICKS:
            raise too_long(self.drive_name)
        old = self.rows.shape[1]
        if ticks <= old:
            return
        capacity = max(ticks, 2 * old)
        rows = np.zeros((ROWS, capacity))
        rows[:, :old] = self.rows
        air = self.climate.at(np.arange(old, capacity) * TICK_S)
        rows[AMBIENT_K_ROW, old:] = air.ambient_k
        rows[AMBIENT_PA_ROW, old:] = air.pressure_pa
        rows[HUMIDITY_ROW, old:] = air.humidity
        rows[WIND_ROW, old:] = air.wind_m_s
        rows[BAY_ROW, old:] = air.bay_extra_k
        self.rows = rows
        self.phase = np.concatenate([self.phase, np.zeros(capacity - old, np.int32)])

    def let_go(self) -> None:
        """Give the arrays back now: the processes of an event loop refer to one another, and so to this, until the
        garbage collector comes round.
        """
        self.rows, self.phase = np.zeros((ROWS, 0)), np.zeros(0, np.int32)

    def label(self, text: str) -> None:
        """From here on ticks belong to the phase called `text`."""
        self._label = text

    def mark(self, start: int, end: int) -> None:
        """Ticks start..end-1 belong to the phase now being played."""
        if end <= start:
            return
        if self._label not in self._numbers:
            self._numbers[self._label] = len(self.phases)
            self.phases.append(self._label)
        self.phase[start:end] = self._numbers[self._label]

    def metres(self, start: int, end: int) -> float:
        """Distance covered in ticks start..end-1."""
        return float(np.sum(self.rows[SPEED_ROW, start:end])) * TICK_S

    @contextmanager
    def aside(self, text: str) -> Iterator[None]:
        """Another label for a while."""
        before, self._label = self._label, text
        yield
        self._label = before

    def event(self, tick: int, source: str, what: str, value: float = 0.0) -> None:
        """Write down that something happened."""
        self.events.append(Event(int(tick), source, what, float(value)))

    def note(self, place: object, kind: str, sentence: str) -> None:
        """Something the user should know; the same kind at the same place of the file is told once, with its count."""
        self._notes.setdefault((place, kind), []).append(sentence)

    def notes(self) -> tuple[str, ...]:
        """The notes, first ones first."""
        return tuple(
            told[0] if len(told) == 1 else f"{told[0]}; the same {len(told) - 1} more times in its repeats"
            for told in self._notes.values()
        )
