"""Exchangers against the library `ht`, published tables and the closed form of a liquid-coupled pair."""

from __future__ import annotations

import warnings
from collections.abc import Callable

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from arena.plant import exchanger
from arena.plant.exchanger import (
    cell_model_conductance,
    cell_model_effectiveness,
    cell_model_ntu,
    effectiveness,
    liquid_coupled_pair,
    ntu_for,
)

with warnings.catch_warnings():
    warnings.simplefilter("ignore")
    import ht

ROWS = {  # quantity in the table -> our word
    "effectiveness counterflow": "counterflow",
    "effectiveness parallel": "parallel",
    "effectiveness crossflow both unmixed (exact series)": "crossflow-unmixed",
    "effectiveness crossflow Cmax mixed": "crossflow-cmax-mixed",
    "effectiveness crossflow Cmin mixed": "crossflow-cmin-mixed",
    "effectiveness 1-shell 2n-tube": "shell-and-tube",
    "effectiveness crossflow both mixed": "crossflow-mixed",
}
IN_HT = {  # our word -> subtype of ht.effectiveness_from_NTU
    "counterflow": "counterflow",
    "parallel": "parallel",
    "crossflow-unmixed": "crossflow",
    "crossflow-cmax-mixed": "crossflow, mixed Cmax",
    "crossflow-cmin-mixed": "crossflow, mixed Cmin",
    "shell-and-tube": "S&T",
}
Form = Callable[[float, float, str], float]
ntus = st.floats(0.0, 12.0)
ratios = st.floats(0.0, 1.0)
kinds = st.sampled_from(sorted(exchanger._FORMS))


def misses_of_table(form: Form, published: Callable) -> list[str]:
    return [
        f"{row.quantity} {row.inputs}: {form(row.number('NTU'), row.number('Cr'), kind):.7f} for {row.expected[0]}"
        for quantity, kind in ROWS.items()
        for row in published(quantity)
        if abs(form(row.number("NTU"), row.number("Cr"), kind) - row.expected[0]) > row.allowed
    ]


def test_effectiveness_table(published: Callable) -> None:
    """Source beside each row: ht 1.2.0, each also equal to an independently typed closed form."""
    assert misses_of_table(effectiveness, published) == []


@pytest.mark.parametrize(
    "wrong",
    [
        lambda n, c, kind: effectiveness(1.1 * n, c, kind),  # hA or cp 10 % off
        lambda n, c, kind: effectiveness(n, 0.9 * c, kind),
        lambda n, c, kind: effectiveness(n, c, "crossflow-unmixed" if kind == "crossflow-cmin-mixed" else kind),
        lambda n, c, kind: 1.0 - np.exp(n**0.22 / c * np.expm1(-c * n**0.78)),  # the usual approximate unmixed equation
    ],
)
def test_effectiveness_table_notices_wrong_values(wrong: Form, published: Callable) -> None:
    assert misses_of_table(wrong, published)


@pytest.mark.parametrize("kind", sorted(IN_HT))
def test_effectiveness_agrees_with_ht_over_the_grid(kind: str) -> None:
    """ht.effectiveness_from_NTU, to 1e-6; capacity ratio 0 is checked apart, since ht divides by it."""
    n, c = (
        a.ravel()
        for a in np.meshgrid([1e-3, 0.03, 0.2, 0.6, 1.0, 1.7, 2.5, 4.0, 7.0, 12.0], [0.01, 0.2, 0.5, 0.8, 0.97, 1.0])
    )
    theirs = [ht.effectiveness_from_NTU(float(a), float(b), subtype=IN_HT[kind]) for a, b in zip(n, c, strict=True)]
    assert effectiveness(n, c, kind) == pytest.approx(theirs, abs=1e-6)


@pytest.mark.parametrize("kind", sorted(exchanger._FORMS))
def test_capacity_ratio_zero_is_one_answer_for_all_arrangements(kind: str) -> None:
    """Closed form 1 - exp(-NTU): one side boils, or its pump is off."""
    n = np.array([0.0, 0.3, 1.0, 2.0, 5.0, 40.0])
    assert effectiveness(n, 0.0, kind) == pytest.approx(1.0 - np.exp(-n), abs=1e-12)
    assert effectiveness(n, 1e-9, kind) == pytest.approx(1.0 - np.exp(-n), abs=1e-6)


def test_kays_and_london_printed_table() -> None:
    """Kays and London, Compact Heat Exchangers, both unmixed, NTU 1 (printed to three digits; from memory)."""
    printed = [0.588, 0.547, 0.510, 0.476]
    assert effectiveness(1.0, np.array([0.25, 0.5, 0.75, 1.0]), "crossflow-unmixed") == pytest.approx(printed, abs=1e-3)


def test_incropera_finned_tube_example() -> None:
    """Incropera, finned-tube crossflow exchanger (6th ed., ex. 11.3; problem and answer from memory).

    Gas 300 to 100 degC, water 1 kg/s from 35 to 125 degC, U 100 W/m2K: NTU about 2.1 read off a chart, area 39.7 m2.
    """
    c_water = 1.0 * 4197.0
    c_gas = c_water * (125.0 - 35.0) / (300.0 - 100.0)
    ntu = ntu_for((300.0 - 100.0) / (300.0 - 35.0), c_gas / c_water, "crossflow-unmixed")
    assert c_gas == pytest.approx(1888.65)
    assert ntu == pytest.approx(2.1, abs=0.1)
    assert ntu == pytest.approx(2.0808, abs=1e-4)  # exact series, ht 1.2.0
    assert ntu * c_gas / 100.0 == pytest.approx(39.30, abs=0.01)


def core(ua: float, cp_air: float = 1007.0, cp_coolant: float = 3500.0) -> tuple[float, float, float, float]:
    """Effectiveness, heat and both outlets (degC) of the worked core: air at 120, coolant at 40 degC in."""
    c_air, c_coolant = 0.15 * cp_air, 0.25 * cp_coolant
    e = effectiveness(ua / c_air, c_air / c_coolant, "crossflow-unmixed")
    heat = e * c_air * (120.0 - 40.0)
    return e, heat, 120.0 - heat / c_air, 40.0 + heat / c_coolant


def test_worked_core() -> None:
    """ht 1.2.0 on a charge-cooler core, crossflow unmixed, UA 300 W/K; then 150 and 450."""
    assert core(300.0) == pytest.approx((0.81622, 9863.3, 54.702, 51.272), rel=1e-4)
    assert core(150.0)[0::2] == pytest.approx((0.59892, 72.087), rel=1e-4)
    assert core(450.0)[0::2] == pytest.approx((0.90737, 47.411), rel=1e-4)


@pytest.mark.parametrize("wrong", [{"cp_air": 1107.7}, {"cp_coolant": 3850.0}])
def test_worked_core_notices_heat_capacity_ten_per_cent_off(wrong: dict[str, float]) -> None:
    assert core(300.0, **wrong) != pytest.approx((0.81622, 9863.3, 54.702, 51.272), rel=1e-4)


PAIRS = [  # coolant W/K, heat W, coolant cold and hot degC, air out degC; closed form, equal to brute-force iteration
    (875.0, 10511.977, 33.0091, 45.0228, 50.4073),
    (120.0, 5947.826, 58.0435, 107.6087, 80.6235),
]


def pair_misses(pair: Callable, c_air: float = 151.05) -> list[str]:
    found = []
    for c_coolant, *expected in PAIRS:
        got = pair(0.80, c_air, 120.0, 0.60, 900.0, 25.0, c_coolant)
        if got[:4] != pytest.approx(expected, rel=2e-6):
            found.append(f"{c_coolant}: {got}")
    return found


def test_liquid_coupled_pair_coolant_as_larger_and_smaller_capacity() -> None:
    """Kays and London, liquid-coupled pair: the whole loop at steady state."""
    assert pair_misses(liquid_coupled_pair) == []


def test_liquid_coupled_pair_notices_wrong_values() -> None:
    assert len(pair_misses(liquid_coupled_pair, c_air=151.05 * 1.1)) == 2
    assert pair_misses(lambda e1, c1, th, e2, c2, tc, cl: liquid_coupled_pair(e2, c1, th, e1, c2, tc, cl))
    assert pair_misses(lambda e1, c1, th, e2, c2, tc, cl: liquid_coupled_pair(e1, c1, tc, e2, c2, th, cl))


@given(
    st.floats(0.05, 1.0), st.floats(5.0, 400.0), st.floats(0.05, 1.0), st.floats(50.0, 3000.0), st.floats(1.0, 2000.0)
)
def test_liquid_coupled_pair_satisfies_both_exchangers(e1: float, c1: float, e2: float, c2: float, cl: float) -> None:
    """Independent of the closed form: each exchanger's own definition, and heat that balances everywhere."""
    hot, cold = 400.0, 300.0
    pair = liquid_coupled_pair(e1, c1, hot, e2, c2, cold, cl)
    assert pair.heat_w == pytest.approx(e1 * min(c1, cl) * (hot - pair.coolant_cold_k), rel=1e-9)
    assert pair.heat_w == pytest.approx(e2 * min(c2, cl) * (pair.coolant_hot_k - cold), rel=1e-9)
    assert pair.heat_w == pytest.approx(cl * (pair.coolant_hot_k - pair.coolant_cold_k), rel=1e-9)
    assert pair.heat_w == pytest.approx(c1 * (hot - pair.hot_out_k), rel=1e-9)
    assert pair.heat_w == pytest.approx(c2 * (pair.cold_out_k - cold), rel=1e-9)
    assert cold - 1e-9 <= pair.hot_out_k <= hot


def test_liquid_coupled_pair_passes_nothing_without_coolant_flow() -> None:
    pair = liquid_coupled_pair(0.8, 150.0, 390.0, 0.6, 900.0, 300.0, 0.0)
    assert (pair.heat_w, pair.hot_out_k, pair.cold_out_k) == (0.0, 390.0, 300.0)


def cells_against_ht(c_air: float, c_coolant: float, ha_air: float, ha_coolant: float, ntu_scale: float = 1.0) -> float:
    """Cell model less textbook: single-pass crossflow, coolant mixed across its passage and air unmixed."""
    coolant_is = "Cmax" if c_coolant >= c_air else "Cmin"
    c_min, c_max = sorted((c_air, c_coolant))
    ua = cell_model_ntu(c_air, ha_air, ha_coolant) * c_air * ntu_scale
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


def test_air_side_effectiveness_is_the_capacity_ratio_zero_case() -> None:
    assert cell_model_conductance(190.0, 440.0, 1e15) / 190.0 == pytest.approx(
        effectiveness(440 / 190, 0.0, "counterflow")
    )


@given(ntus, ratios, kinds)
def test_effectiveness_lies_between_nought_and_counterflow(ntu: float, ratio: float, kind: str) -> None:
    value = effectiveness(ntu, ratio, kind)
    assert 0.0 <= value <= effectiveness(ntu, ratio, "counterflow") + 1e-12
    assert effectiveness(ntu, ratio, "counterflow") <= 1.0


@given(ntus, st.floats(1.0, 3.0), ratios, kinds.filter(lambda kind: kind != "crossflow-mixed"))
def test_more_ntu_never_costs_effectiveness(ntu: float, more: float, ratio: float, kind: str) -> None:
    assert effectiveness(ntu * more, ratio, kind) >= effectiveness(ntu, ratio, kind) - 1e-12


def test_both_mixed_falls_at_high_ntu() -> None:
    """ht 1.2.0: 0.5645 at NTU 3 and 0.5514 at 5, capacity ratio 1. Physics, not a fault."""
    assert effectiveness(np.array([3.0, 5.0]), 1.0, "crossflow-mixed") == pytest.approx([0.5645, 0.5514], abs=1e-4)
