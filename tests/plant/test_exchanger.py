"""What the exchanger formulas promise beyond the textbook: limits and bounds."""

from __future__ import annotations

import math

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from arena.plant.exchanger import air_ntu, cell_model_effectiveness, flow_conductance


def test_still_air_has_endless_ntu_and_more_air_less() -> None:
    ntu = air_ntu(450.0, 0.2, 0.65, np.array([0.0, 0.018, 0.19]), 1007.0)
    assert math.isinf(ntu[0])
    assert np.all(np.diff(ntu) < 0.0)
    assert air_ntu(450.0, 0.2, 0.65, 0.2, 1007.0) == pytest.approx(450.0 / (0.2 * 1007.0))


def test_coolant_side_never_falls_below_still_coolant() -> None:
    ha = flow_conductance(1600.0, 2.5e-4, 0.55, 60.0, np.array([0.0, 1e-9, 1.25e-4, 2.5e-4]))
    assert ha == pytest.approx([60.0, 60.0, 1600.0 * 0.5**0.55, 1600.0])


@given(st.floats(2.0, 400.0), st.floats(30.0, 1500.0), st.floats(10.0, 900.0))
def test_cells_stay_within_nought_and_one(c_air: float, c_coolant: float, ha_air: float) -> None:
    assert 0.0 < cell_model_effectiveness(c_air, c_coolant, ha_air, 1600.0) <= 1.0
