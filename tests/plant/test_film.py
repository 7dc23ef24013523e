"""The coolant side's film: what another mixture makes of it, against correlations of a reference library.

`ht` holds published correlations: Colburn (turbulent, Nu = 0.023 Re^0.8 Pr^(1/3)) and Hausen (developing laminar).
"""

from __future__ import annotations

from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest
from CoolProp.CoolProp import PropsSI
from ht.conv_internal import laminar_entry_thermal_Hausen, turbulent_Colburn

from arena.errors import BadInput
from arena.garage.part_list import PARTS
from arena.plant import car_tables, fluids
from arena.plant.film import FILM_K, coolant_conductance, coolant_ha_w_k, film_gain
from arena.plant.numbers import CarNumbers
from arena.scenario.car import load_car
from arena.scenario.derived import derive

CAR = CarNumbers()
WATER = replace(CAR.loop, glycol="none", glycol_volume_fraction=0.0)
PROPYLENE_HALF = replace(CAR.loop, glycol="propylene", glycol_volume_fraction=0.5)


def of(fluid: str) -> tuple[float, float, float, float]:
    """Density, heat capacity, conductivity and viscosity at FILM_K straight from the library."""
    rho, cp, k, mu = (float(PropsSI(letter, "T", FILM_K, "P", 2e5, fluid)) for letter in "DCLV")
    return rho, cp, k, mu


def test_turbulent_film_of_water_over_half_propylene_is_colburns() -> None:
    def h(fluid: str) -> float:
        rho, cp, k, mu = of(fluid)
        return float(turbulent_Colburn(Re=rho * 2.0 * 0.01 / mu, Pr=cp * mu / k)) * k / 0.01

    own = film_gain(0.8, fluids.coolant("none", 0.0, FILM_K), fluids.coolant("propylene", 0.5, FILM_K))
    assert own == pytest.approx(h("Water") / h("INCOMP::APG[0.5]"), rel=2e-3)
    assert own > 2.0


def test_developing_laminar_film_does_not_know_viscosity() -> None:
    """At a = 1/3 (Leveque's limit of Hausen's entry-length formula, far from the end value) only k and rho cp count."""

    def h(fluid: str) -> float:
        rho, cp, k, mu = of(fluid)
        re, pr = rho * 0.3 * 0.003 / mu, cp * mu / k
        # The entry term alone for a very short passage: what is left of the fully developed 3.66 is under 2 %.
        return float(laminar_entry_thermal_Hausen(Re=re, Pr=pr, L=0.003 * re * pr * 3e-5, Di=0.003)) * k

    water, mixed = fluids.coolant("none", 0.0, FILM_K), fluids.coolant("propylene", 0.5, FILM_K)
    own = film_gain(1.0 / 3.0, water, mixed)
    thick = mixed._replace(viscosity=9.0 * np.asarray(mixed.viscosity))
    assert film_gain(1.0 / 3.0, water, thick) == pytest.approx(own, rel=1e-12)
    rho, cp, k, _ = (np.array(of("Water")) / np.array(of("INCOMP::APG[0.5]"))).tolist()
    # Same passage length and flow: the Graetz number goes as rho cp / k, the entry term as its cube root times k.
    assert own == pytest.approx(k * (rho * cp / k) ** (1.0 / 3.0), rel=2e-3)
    assert h("Water") / h("INCOMP::APG[0.5]") == pytest.approx(k, rel=0.02)  # the same Graetz number: k alone


def test_the_shipped_exponent_puts_water_well_above_glycol() -> None:
    """Between the two limits above, the exponents of laminar and of turbulent flow."""
    gain = coolant_ha_w_k(CAR.core, WATER) / coolant_ha_w_k(CAR.core, PROPYLENE_HALF)
    water, mixed = fluids.coolant("none", 0.0, FILM_K), fluids.coolant("propylene", 0.5, FILM_K)
    assert 1.4 < film_gain(1.0 / 3.0, water, mixed) < gain < film_gain(0.8, water, mixed) < 3.0
    assert coolant_ha_w_k(CAR.core, CAR.loop) == CAR.core.coolant_ha_w_k
    assert coolant_conductance(CAR.core, WATER, 0.0) == CAR.core.still_ha_w_k


def test_the_cells_and_what_is_derived_take_the_loops_own_film() -> None:
    heat = 3.6e6
    tables = [car_tables.exchanger_table(replace(CAR, loop=loop), heat).reshape(-1, 4) for loop in (CAR.loop, WATER)]
    gain = coolant_ha_w_k(CAR.core, WATER) / CAR.core.coolant_ha_w_k
    np.testing.assert_allclose(tables[1][5:, 0] / tables[0][5:, 0], gain, rtol=1e-12)
    np.testing.assert_allclose(tables[1][5:, 2] / tables[0][5:, 2], gain, rtol=1e-12)
    stiff = replace(CAR, core=replace(CAR.core, rated_glycol="none", rated_glycol_volume_fraction=0.0))
    assert derive(stiff).core_effectiveness < derive(CAR).core_effectiveness


def test_glycol_parts_keep_the_exchangers_and_change_the_film() -> None:
    for part in (p for p in PARTS if p.family == "glycol"):
        changed = part.change(CAR)
        assert changed.core == CAR.core and changed.front == CAR.front
        fraction = changed.loop.glycol_volume_fraction
        assert (coolant_ha_w_k(changed.core, changed.loop) > CAR.core.coolant_ha_w_k) == (fraction < 0.4)


def car(folder: Path, text: str) -> CarNumbers:
    path = folder / "mine.toml"
    path.write_text('[car]\nname = "mine"\n' + text, encoding="utf-8")
    return load_car(path).numbers()


def test_whose_coolant_a_conductance_stands_for(tmp_path: Path) -> None:
    water = '[loop]\nglycol = "none"\n'
    by_size = car(tmp_path, water + '[core]\nsize = "medium"\n').core
    assert (by_size.rated_glycol, by_size.rated_glycol_volume_fraction) == ("ethylene", 0.4)
    measured = car(tmp_path, water + "[core]\ncoolant_ha_w_k = 2000\n")
    assert (measured.core.rated_glycol, measured.core.rated_glycol_volume_fraction) == ("none", 0.0)
    assert coolant_ha_w_k(measured.core, measured.loop) == 2000.0
    rated = "[core]\nrated_effectiveness = 0.75\nrated_air_g_s = 190\nrated_coolant_l_min = 15\n"
    same = car(tmp_path, rated)
    assert (same.core.rated_glycol, same.core.rated_glycol_volume_fraction) == ("ethylene", 0.4)
    by_water = car(tmp_path, rated + "rated_glycol_pct = 0\n")
    assert by_water.core.rated_glycol == "none"
    # A core that needed water to reach 0.75 is a worse one with glycol in it.
    assert coolant_ha_w_k(by_water.core, by_water.loop) < coolant_ha_w_k(same.core, same.loop)


@pytest.mark.parametrize(
    ("text", "said"),
    [
        ("[core]\nrated_glycol_pct = 30\n", "has no rating to belong to"),
        ('[front]\ncoolant_ha_w_k = 900\nrated_glycol = "propylene"\n', "front.rated_glycol_pct is missing"),
        ('[core]\ncoolant_ha_w_k = 900\nrated_glycol = "none"\nrated_glycol_pct = 30\n', "must be 0 where"),
    ],
)
def test_rated_mixtures_that_cannot_be(tmp_path: Path, text: str, said: str) -> None:
    with pytest.raises(BadInput, match=said):
        car(tmp_path, text)
