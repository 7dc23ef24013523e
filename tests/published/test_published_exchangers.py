"""What the exchangers' cells settle to against the library `ht`, crossflow with the coolant mixed."""

from __future__ import annotations

import warnings

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from arena.plant.exchanger import cell_model_conductance, cell_model_effectiveness

with warnings.catch_warnings():
    warnings.simplefilter("ignore")
    import ht


def cells_against_ht(c_air: float, c_coolant: float, ha_air: float, ha_coolant: float, ntu_scale: float = 1.0) -> float:
    """Cell model less textbook: single-pass crossflow, coolant mixed across its passage and air unmixed."""
    coolant_is = "Cmax" if c_coolant >= c_air else "Cmin"
    c_min, c_max = sorted((c_air, c_coolant))
    ua = -np.log1p(-cell_model_conductance(c_air, ha_air, ha_coolant) / c_air) * c_air * ntu_scale
    textbook = ht.effectiveness_from_NTU(ua / c_min, c_min / c_max, subtype=f"crossflow, mixed {coolant_is}")
    return cell_model_effectiveness(c_air, c_coolant, ha_air, ha_coolant) - textbook


@given(st.floats(2.0, 900.0), st.floats(10.0, 1500.0), st.floats(20.0, 1500.0), st.floats(60.0, 3000.0))
def test_cells_are_the_textbook_core_with_coolant_mixed_and_air_unmixed(
    c_air: float, c_coolant: float, ha_air: float, ha_coolant: float
) -> None:
    """ht crossflow with one fluid mixed, for core and front exchanger alike, coolant as C_max and as C_min."""
    assert cells_against_ht(c_air, c_coolant, ha_air, ha_coolant) == pytest.approx(0.0, abs=1e-9)


def test_cells_notice_ten_per_cent_on_the_conductance() -> None:
    assert abs(cells_against_ht(190.0, 900.0, 440.0, 1600.0, ntu_scale=1.1)) > 0.01
    assert abs(cells_against_ht(190.0, 120.0, 440.0, 1600.0, ntu_scale=1.1)) > 0.01


def test_cells_without_coolant_side_resistance_need_no_adjustment() -> None:
    """With the coolant side perfect, UA is hA_air: ht at exactly that NTU."""
    theirs = ht.effectiveness_from_NTU(440.0 / 190.0, 190.0 / 900.0, subtype="crossflow, mixed Cmax")
    assert cell_model_effectiveness(190.0, 900.0, 440.0, 1e12) == pytest.approx(theirs, abs=1e-6)


@pytest.mark.parametrize(
    ("c_air", "c_coolant", "ha_air", "ha_coolant", "lost"),
    [
        (201.0, 880.0, 450.0, 1600.0, 0.0187),  # core, full load
        (18.1, 880.0, 94.0, 1600.0, 0.009),  # core, cruise
        (906.0, 880.0, 900.0, 1800.0, 0.004),  # front exchanger, fast
    ],
)
def test_metal_of_one_temperature_costs_little_against_the_textbook_sum_of_resistances(
    c_air: float, c_coolant: float, ha_air: float, ha_coolant: float, lost: float
) -> None:
    """The cells' metal is one temperature along the air's way: lower than ht at 1/UA = 1/hA_air + 1/hA_w.

    By 0.0187 at full load and 0.009 at cruise in the core, 0.004 in the front exchanger: computed, not published.
    """
    c_min, c_max = sorted((c_air, c_coolant))
    ua = 1.0 / (1.0 / ha_air + 1.0 / ha_coolant)
    kind = "crossflow, mixed Cmax" if c_coolant >= c_air else "crossflow, mixed Cmin"
    textbook = ht.effectiveness_from_NTU(ua / c_min, c_min / c_max, subtype=kind)
    assert textbook - cell_model_effectiveness(c_air, c_coolant, ha_air, ha_coolant) == pytest.approx(lost, abs=5e-4)


def test_air_side_effectiveness_is_that_of_any_exchanger_whose_other_side_stays() -> None:
    """Capacity ratio towards 0: ht has one answer for all arrangements."""
    theirs = ht.effectiveness_from_NTU(440 / 190, 1e-9, subtype="counterflow")
    assert cell_model_conductance(190.0, 440.0, 1e15) / 190.0 == pytest.approx(theirs, abs=1e-8)
