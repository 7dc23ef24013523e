"""One fixture: play phases."""

from __future__ import annotations

from collections.abc import Callable
from typing import Any

import pytest
from timetable_builders import climate, drive

from arena.plant.numbers import CarNumbers
from arena.scenario.climate import Climate
from arena.timetable.outing import Played, play


@pytest.fixture(scope="session")
def played() -> Callable[..., Played]:
    """Play phases: played(phase, ..., start=, slow_downs=, traces=, air=, car=, seed=)."""

    def run(
        *phases: dict[str, Any], air: Climate | None = None, car: CarNumbers | None = None, seed: int = 1, **how: Any
    ) -> Played:
        return play(drive(*phases, **how), air or climate(), car or CarNumbers(), seed)

    return run
