"""Outings are kept by content: the same again is not played again, anything else is, and only a few are held."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest

from arena.contest import outings
from arena.contest.outings import MOST_KEPT, Ready, ready_outing
from arena.plant.numbers import CarNumbers, Goals
from arena.scenario.climate import load_climate
from arena.scenario.drive import load_drive
from arena.scenario.fault import load_fault

CAR = CarNumbers()


def made(
    seed: int = 1, car: CarNumbers = CAR, climate: str = "mild", fault: str = "", target_k: float = 303.15
) -> Ready:
    goals = Goals(target_k=target_k)
    broken = load_fault(fault) if fault else None
    return ready_outing(load_drive("hill-pulls"), load_climate(climate), car, goals, (seed, "there", 0), broken)


def test_the_same_again_is_the_same_object() -> None:
    assert made() is made()


@pytest.mark.parametrize(
    "other",
    [
        {"seed": 2},
        {"climate": "hot"},
        {"fault": "fan-dead"},
        {"target_k": 308.15},
        {"car": replace(CAR, core=replace(CAR.core, air_ha_w_k=1.01 * CAR.core.air_ha_w_k))},
    ],
)
def test_anything_else_is_another(other: dict[str, object]) -> None:
    first, second = made(), made(**other)  # type: ignore[arg-type]
    assert first is not second
    here, there = first.compiled, second.compiled
    assert here.ticks != there.ticks or not np.array_equal(here.X, there.X)


def test_only_a_few_are_held_and_one_made_anew_has_the_same_bytes() -> None:
    first = made()
    for seed in range(2, 2 + MOST_KEPT):
        made(seed)
    assert len(outings._kept) == MOST_KEPT
    again = made()
    assert again is not first
    assert again.compiled.X.tobytes() == first.compiled.X.tobytes()
    assert again.compiled.P.tobytes() == first.compiled.P.tobytes()
