"""What the exchanger formulas promise beyond the textbook: inverses, cells, limits, refusals."""

from __future__ import annotations

import math

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from arena.errors import BadInput
from arena.plant import exchanger
from arena.plant.exchanger import (
    _share,
    air_ha_for,
    air_ntu,
    cell_effectiveness,
    cell_model_effectiveness,
    effectiveness,
    flow_conductance,
    liquid_coupled_pair,
    ntu_for,
)

ratios = st.floats(0.0, 1.0)
kinds = st.sampled_from(sorted(exchanger._FORMS))


def test_ten_cells_with_the_mean_of_in_and_out_are_as_good_as_endless_cells() -> None:
    """Exact over the cells; the mean profile errs by under 1e-4 with ten cells, the mixed cell by 100 times as much."""
    exact = cell_model_effectiveness(201.0, 880.0, 450.0, 1600.0)
    assert cell_model_effectiveness(201.0, 880.0, 450.0, 1600.0, 10, "box") == pytest.approx(exact, abs=1e-4)
    assert exact - cell_model_effectiveness(201.0, 880.0, 450.0, 1600.0, 10, "mixed") > 3e-3
    for profile in ("box", "mixed"):
        assert cell_model_effectiveness(201.0, 880.0, 450.0, 1600.0, 1e6, profile) == pytest.approx(exact, abs=1e-6)


@given(st.floats(1e-3, 8.0), ratios, kinds.filter(lambda kind: kind != "crossflow-mixed"))
def test_ntu_for_is_the_inverse(ntu: float, ratio: float, kind: str) -> None:
    e = effectiveness(ntu, ratio, kind)
    assert effectiveness(ntu_for(e, ratio, kind), ratio, kind) == pytest.approx(e, abs=1e-10)


def test_ntu_for_both_mixed_gives_the_smaller_ntu() -> None:
    assert ntu_for(float(effectiveness(5.0, 1.0, "crossflow-mixed")), 1.0, "crossflow-mixed") < 3.0


@pytest.mark.parametrize(
    ("ntu", "ratio", "kind", "named"),
    [
        (-0.1, 0.5, "counterflow", "ntu"),
        (float("nan"), 0.5, "counterflow", "ntu"),
        (float("inf"), 0.5, "counterflow", "ntu"),
        (1.0, 1.01, "counterflow", "capacity_ratio"),
        (1.0, -0.1, "crossflow-unmixed", "capacity_ratio"),
        (1.0, float("nan"), "crossflow-unmixed", "capacity_ratio"),
        (1.0, 0.5, "sideways", "sideways"),
    ],
)
def test_impossible_inputs_are_refused_by_name(ntu: float, ratio: float, kind: str, named: str) -> None:
    with pytest.raises(BadInput, match=named):
        effectiveness(ntu, ratio, kind)


def test_out_of_reach_is_refused_with_what_can_be_had() -> None:
    with pytest.raises(BadInput, match=r"0\.6667"):
        ntu_for(0.7, 0.5, "parallel")
    with pytest.raises(BadInput, match="out of reach"):
        air_ha_for(0.99, 190.0, 900.0, 100.0)


@given(st.floats(0.3, 0.9), st.floats(20.0, 300.0), st.floats(600.0, 1500.0))
def test_air_side_from_rated_effectiveness_comes_back(rated: float, c_air: float, c_coolant: float) -> None:
    ha_coolant = 40.0 * c_air
    try:
        ha = air_ha_for(rated, c_air, c_coolant, ha_coolant, 10, "box")
    except BadInput:
        best = cell_model_effectiveness(c_air, c_coolant, 50.0 * c_air, ha_coolant, 10, "box")
        assert best < rated
    else:
        assert cell_model_effectiveness(c_air, c_coolant, ha, ha_coolant, 10, "box") == pytest.approx(rated, abs=1e-9)


def test_still_air_meets_the_metal_temperature_and_more_air_less() -> None:
    ntu = air_ntu(450.0, 0.2, 0.65, np.array([0.0, 0.018, 0.19]), 1007.0)
    assert math.isinf(ntu[0])
    assert cell_effectiveness(ntu)[0] == 1.0
    assert np.all(np.diff(cell_effectiveness(ntu)) < 0.0)
    assert air_ntu(450.0, 0.2, 0.65, 0.2, 1007.0) == pytest.approx(450.0 / (0.2 * 1007.0))


def test_coolant_side_never_falls_below_still_coolant() -> None:
    ha = flow_conductance(1600.0, 2.5e-4, 0.55, 60.0, np.array([0.0, 1e-9, 1.25e-4, 2.5e-4]))
    assert ha == pytest.approx([60.0, 60.0, 1600.0 * 0.5**0.55, 1600.0])


@given(st.integers(1, 60), st.floats(2.0, 400.0), st.floats(30.0, 1500.0), st.floats(10.0, 900.0))
def test_cells_stay_within_nought_and_one(cells: int, c_air: float, c_coolant: float, ha_air: float) -> None:
    for profile in ("mixed", "exact"):
        assert 0.0 < cell_model_effectiveness(c_air, c_coolant, ha_air, 1600.0, cells, profile) <= 1.0


def test_floats_give_floats_and_arrays_keep_their_shape() -> None:
    assert isinstance(effectiveness(1.0, 0.5, "crossflow-unmixed"), float)
    assert effectiveness(np.ones((2, 1)), np.full((1, 3), 0.5), "crossflow-unmixed").shape == (2, 3)
    assert isinstance(liquid_coupled_pair(0.8, 150.0, 390.0, 0.6, 900.0, 300.0, 900.0).heat_w, float)


def test_huge_and_tiny_ntu_stay_finite_and_right() -> None:
    """Both unmixed at ratio 1 tends to 1 - 1 / sqrt(pi NTU) (asymptote of the series)."""
    assert effectiveness(1e6, 1.0, "crossflow-unmixed") == pytest.approx(1.0 - 1.0 / math.sqrt(math.pi * 1e6), abs=1e-7)
    for kind in exchanger._FORMS:
        assert effectiveness(1e-9, 0.7, kind) == pytest.approx(1e-9, rel=1e-6)


def test_the_share_of_the_smaller_flow_holds_down_to_a_trickle() -> None:
    air, coolant = np.array([0.2, 5.0, 3.0, 1.0]), np.array([0.5, 0.5, 0.0, 4.0])
    np.testing.assert_allclose(_share(air, coolant), [0.4, 1.0, 1.0, 0.25])
