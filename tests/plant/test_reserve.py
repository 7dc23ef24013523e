"""What a pump held off until boost calls does to the next pull: asked of the model, nothing of it is coded in."""

from __future__ import annotations

import sys
from pathlib import Path

import plant_builders as make

sys.path.insert(0, str(Path(__file__).parents[1] / "bench"))
import reserve

MILD = make.load_climate("mild")


def test_after_a_cruise_it_is_never_colder_and_saves_hours() -> None:
    found = reserve.one_case(MILD, reserve.BEFORE["cruise 80 km/h, 10 min"], make.shipped_car())
    assert found.colder_k > 0.0
    assert 3.0 < found.peak_k < 17.0
    assert found.hours_share < 0.2


def test_after_idling_cold_arrives_late_and_the_peak_is_still_higher() -> None:
    """Common practice says that the front's cold coolant comes in one go: it does, but behind the hot core's."""
    found = reserve.one_case(MILD, reserve.BEFORE["idle 5 min"], make.shipped_car(), lately=True)
    assert -4.0 < found.colder_k < -1.0
    assert found.colder_from_s > 5.0
    assert found.peak_k > 0.0


def test_the_comparison_of_a_law_with_itself_is_nothing() -> None:
    """Always called is always on: the comparison itself adds nothing."""
    before, reserve.CALL_KPA = reserve.CALL_KPA, 0.0
    try:
        found = reserve.one_case(MILD, reserve.BEFORE["idle 5 min"], make.shipped_car())
    finally:
        reserve.CALL_KPA = before
    assert found.colder_k == found.warmer_k == 0.0
    assert found.hours_share == 1.0
