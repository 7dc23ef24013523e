"""Car files: every way of giving a thing leads to numbers that give it back, and says where each came from."""

from __future__ import annotations

from pathlib import Path

import numpy as np
import pytest

from arena.errors import BadInput
from arena.plant import air, exchanger, fluids, hydraulics
from arena.plant.numbers import CarNumbers
from arena.scenario.car import Car, car_toml, load_car
from arena.scenario.car_keys import KEY_OF_NUMBER, SECTIONS, extra_of
from arena.scenario.check import check_file
from arena.scenario.derived import derive

HEAD = '[car]\nname = "mine"\n'


def car(folder: Path, text: str, base: Car | CarNumbers | None = None) -> Car:
    path = folder / "mine.toml"
    path.write_text(HEAD + text, encoding="utf-8")
    return load_car(path, base)


def test_a_car_with_nothing_but_a_name_is_the_default_car(tmp_path: Path) -> None:
    mine = car(tmp_path, "")
    assert mine.numbers() == CarNumbers()
    assert mine.given == frozenset()
    assert mine.assumed["core.metal_kg"] == "typical, from memory"
    assert mine.origin["core.coolant_m3"] == "typical, from memory"


def test_every_number_of_the_physics_has_a_key() -> None:
    import dataclasses

    for section, values in dataclasses.asdict(CarNumbers()).items():
        for number in values:
            section_of, key = KEY_OF_NUMBER[f"{section}.{number}"].split(".")
            assert section_of == section and key in SECTIONS[section].model_fields


def test_every_default_lies_within_its_usual_range(tmp_path: Path) -> None:
    mine = car(tmp_path, car_toml(CarNumbers(), "mine", "").split("\n", 2)[2])
    assert mine.notes == ()
    usual = [
        key for section, model in SECTIONS.items() for key in model.model_fields if extra_of(section, key).get("usual")
    ]
    assert len(usual) > 90


def test_a_written_car_reads_back_as_the_same_numbers(tmp_path: Path) -> None:
    path = tmp_path / "all.toml"
    path.write_text(car_toml(CarNumbers(), "all", "everything given"), encoding="utf-8")
    back = load_car(path)
    assert back.numbers() == CarNumbers()
    assert back.assumed == {}, "nothing is left to assume"


def test_an_unusual_value_is_noted_not_refused(tmp_path: Path) -> None:
    mine = car(tmp_path, "[core]\nmetal_kg = 9\n")
    assert mine.numbers().core.metal_kg == 9.0
    assert any("core.metal_kg = 9 is unusual" in note for note in mine.notes)


@pytest.mark.parametrize(
    ("effectiveness", "air_g_s", "coolant_l_min"), [(0.75, 190, 15), (0.6, 150, 8), (0.9, 120, 20)]
)
def test_a_rated_core_reaches_its_rating_in_the_cell_model(
    tmp_path: Path, effectiveness: float, air_g_s: float, coolant_l_min: float
) -> None:
    text = f"[core]\nrated_effectiveness = {effectiveness}\nrated_air_g_s = {air_g_s}\n"
    text += f"rated_coolant_l_min = {coolant_l_min}\n"
    core = car(tmp_path, text).numbers().core
    coolant = fluids.coolant("ethylene", 0.4, 313.15)
    flow, q = air_g_s / 1e3, coolant_l_min / 60000.0
    ha_air = core.air_ha_w_k * (flow / core.air_ref_kg_s) ** core.air_exponent
    ha_coolant = core.coolant_ha_w_k * (q / core.coolant_ref_m3_s) ** core.coolant_exponent
    c_air, c_coolant = flow * air.heat_capacity(340.0), q * coolant.density * coolant.heat_capacity
    of_minimum = exchanger.cell_model_effectiveness(c_air, c_coolant, ha_air, ha_coolant)
    assert of_minimum * min(c_air, c_coolant) / c_air == pytest.approx(effectiveness, abs=1e-9)


def test_a_core_by_its_dimensions_grows_with_them(tmp_path: Path) -> None:
    def core(length: float, width: float, fins: str = "fins_per_inch = 14") -> tuple[float, float, float]:
        text = f"[core]\nlength_mm = {length}\nwidth_mm = {width}\nheight_mm = 240\n{fins}\n"
        got = car(tmp_path, text).numbers().core
        return got.air_ha_w_k, got.metal_kg, got.coolant_m3

    default, longer, wider = core(125, 115), core(250, 115), core(125, 230)
    assert default == (450.0, 2.2, 0.6e-3)
    np.testing.assert_allclose(longer, np.array(default) * 2.0)
    assert default[0] < wider[0] < longer[0], "twice as wide is as big, but the air is slower"
    assert core(125, 115, "fins_per_inch = 18")[0] > default[0] > core(125, 115, "fins_per_inch = 10")[0]
    np.testing.assert_allclose(core(125, 115, f"fins_per_cm = {14 / 2.54}"), default)


def test_size_classes_stand_in_order(tmp_path: Path) -> None:
    for section in ("core", "front"):
        ha = [
            getattr(car(tmp_path, f'[{section}]\nsize = "{size}"\n').numbers(), section).air_ha_w_k
            for size in ("small", "medium", "large")
        ]
        assert ha[0] < ha[1] < ha[2]
        assert ha[1] == getattr(CarNumbers(), section).air_ha_w_k


def test_front_by_dimensions_takes_its_air_by_its_face(tmp_path: Path) -> None:
    front = car(tmp_path, "[front]\nwidth_mm = 600\nheight_mm = 400\ndepth_mm = 32\n").numbers().front
    assert front.face_m2 == pytest.approx(0.24)
    assert front.air_ha_w_k / front.air_ref_kg_s == pytest.approx(900.0 / 0.9), (
        "the same speed through more of the same"
    )


def test_boost_gauge_and_absolute_are_the_same_car(tmp_path: Path) -> None:
    gauge = car(tmp_path, "[engine]\nboost_kpa = 98.675\n")
    absolute = car(tmp_path, "[engine]\nmap_max_kpa = 200\n")
    assert gauge.numbers() == absolute.numbers()
    assert gauge.digest == absolute.digest


def test_power_scales_what_is_not_given_and_says_so(tmp_path: Path) -> None:
    mine = car(tmp_path, "[engine]\npower_kw = 95\n")
    engine = mine.numbers().engine
    assert engine.peak_air_flow_kg_s == pytest.approx(0.095)
    assert engine.displacement_m3 == pytest.approx(1.1e-3)
    assert mine.assumed["engine.peak_air_flow_g_s"] == "estimated from engine.power_kw"
    by_swept = car(tmp_path, "[engine]\ndisplacement_l = 1.1\n")
    assert by_swept.numbers().engine.peak_power_w == pytest.approx(95e3)


def test_total_fill_goes_into_the_tank_or_the_rest(tmp_path: Path) -> None:
    hoses = 1e3 * np.pi / 4 * 0.019**2 * 6.0
    into_tank = car(tmp_path, "[loop]\ntotal_fill_l = 6\n").numbers().loop
    assert into_tank.tank_m3 * 1e3 == pytest.approx(6 - 0.6 - 1.2 - hoses)
    rest = car(tmp_path, "[loop]\ntotal_fill_l = 6\ntank_l = 2\n").numbers().loop
    assert rest.extra_m3 * 1e3 == pytest.approx(6 - 0.6 - 1.2 - 2 - hoses)
    none = car(tmp_path, "[loop]\ntotal_fill_l = 3.5\n").numbers().loop
    assert (none.tank, none.tank_m3) == ("none", 0.0)


def test_a_bucket_test_is_met_again(tmp_path: Path) -> None:
    """The default pump in the default loop moves about 15 L/min at 13.5 V: told so, the same loop comes out."""
    text = "[pump]\nmax_head_kpa = 55\nmax_flow_l_min = 28\nbucket_l_min = {}\nbucket_v = {}\nbucket_a = {}\n"
    pump = car(tmp_path, text.format(12, 12.0, 3.0)).numbers().pump
    speed = (12.0 - pump.brush_v - 3.0 * pump.resistance_ohm) / pump.ke_v_s
    ratio = speed / pump.rated_rad_s
    lift = ratio**2 * hydraulics.pump_head_pa(pump)(12 / 60000 / ratio)
    loss = pump.system_pa * (12 / 60000 / pump.system_ref_m3_s) ** pump.system_exponent
    assert lift == pytest.approx(loss, rel=1e-9)
    torque = pump.ke_v_s * 3.0 - pump.friction_nm
    assert ratio**2 * hydraulics.pump_torque_nm(pump)(12 / 60000 / ratio) == pytest.approx(torque, rel=0.02)
    rated = (pump.rated_v - pump.brush_v - pump.rated_current_a * pump.resistance_ohm) / pump.ke_v_s
    assert rated == pytest.approx(pump.rated_rad_s, rel=1e-9)


def test_a_curve_at_another_voltage_is_carried_to_the_rated_one(tmp_path: Path) -> None:
    curve = "[pump]\ncurve_v = 12\ncurve = [{ flow_l_min = 0, head_m = 5 }, { flow_l_min = 25, head_m = 0 }]\n"
    pump = car(tmp_path, curve).numbers().pump
    ratio = pump.head_flow_m3_s[-1] * 60000.0 / 25.0
    assert 1.05 < ratio < 13.5 / 12.0 + 0.02, "a little less than in proportion to voltage, brush drop apart"
    assert pump.head_pa[0] == pytest.approx(5 * 9806.65 * ratio**2)


def test_probe_types_and_signal_pumps(tmp_path: Path) -> None:
    assert car(tmp_path, '[probe]\ntype = "closed"\n').numbers().probe.tau_s == 15.0
    pump = car(tmp_path, "[pump]\nsignal_duty_pct = [0, 10, 90]\nsignal_speed_pct = [100, 0, 100]\n").numbers().pump
    assert (pump.kind, pump.signal_duty, pump.signal_speed) == ("signal", (0.0, 0.1, 0.9), (1.0, 0.0, 1.0))


def test_a_supercharger_has_no_turbine_to_heat_the_charge(tmp_path: Path) -> None:
    numbers = car(tmp_path, '[engine]\nkind = "supercharger"\n').numbers()
    assert numbers.engine.supercharged
    assert numbers.charger.hot_side_ua_w_k == 0.0
    assert numbers.charger.bypass_churn_w > 0.0


def test_a_base_car_fills_in_what_is_not_given(tmp_path: Path) -> None:
    first = car(tmp_path, "[core]\nmetal_kg = 3\n[pump]\nresistance_ohm = 0.5\n")
    second = car(tmp_path, "[core]\nmetal_kg = 2.5\n", base=first)
    assert second.numbers().core.metal_kg == 2.5
    assert second.numbers().pump.resistance_ohm == 0.5
    assert second.assumed["pump.resistance_ohm"] == "taken from mine"


def test_derived_values_of_the_default_car_lie_where_such_cars_do() -> None:
    """Plausible ranges for such a car are engineering judgement from memory, no published source."""
    d = derive(CarNumbers())
    assert d.coolant_m3 * 1e3 == pytest.approx(0.6 + 1.2 + 2.0 + d.hose_m3 * 1e3)
    assert 12 < d.flow_m3_s * 60000 < 18
    assert 3 < d.pump_a < 6
    assert 12 < d.stall_a < 25
    assert 15 < d.circulation_s < 35
    assert 0.70 < d.core_effectiveness < 0.85
    assert d.freezing_k - 273.15 == pytest.approx(-24.4, abs=1.5)  # 0.375 by volume: -22.3, 0.476: -33.8 (ASHRAE)
    assert 115 < d.boiling_k - 273.15 < 135


def test_checking_a_car_tells_measured_assumed_and_derived_apart(tmp_path: Path) -> None:
    path = tmp_path / "mine.toml"
    path.write_text(HEAD + "[engine]\npower_kw = 150\n[core]\ncoolant_l = 0.7\n", encoding="utf-8")
    rows = {what: (value, how) for what, value, how in check_file(path).rows}
    assert rows["engine.power_kw"] == ("150", "measured (given)")
    assert rows["core.coolant_l"] == ("0.7", "measured (given)")
    assert rows["engine.peak_air_flow_g_s"][1] == "assumed: estimated from engine.power_kw"
    assert rows["pump.resistance_ohm"][1] == "assumed: typical, from memory"
    assert rows["pump flat out"][1] == "derived"


def test_a_loop_too_small_to_be_closed_is_told_by_the_check(tmp_path: Path) -> None:
    path = tmp_path / "mine.toml"
    path.write_text(
        HEAD + '[loop]\ntank = "none"\nhose_bore_mm = 8\nhose_total_m = 2\nhose_in_bay_m = 1\n', encoding="utf-8"
    )
    with pytest.raises(BadInput) as caught:
        check_file(path)
    assert "mine.toml: loop: the hoses hold 0.10 L" in caught.value.faults[0]
    assert "tank" in caught.value.remedy


def test_power_that_does_not_fit_the_engine_is_noted(tmp_path: Path) -> None:
    mine = car(tmp_path, "[engine]\ndisplacement_l = 1.0\nmap_max_kpa = 150\npower_kw = 300\n")
    assert any("engine.power_kw = 300 does not fit well" in note for note in mine.notes)
    assert mine.assumed["engine.peak_air_flow_g_s"] == "estimated from engine.power_kw"


def test_marks_of_a_fit_count_guesses_as_assumed(tmp_path: Path) -> None:
    mine = car(
        tmp_path,
        """[core]
metal_kg = 3.1
air_ha_w_k = 300
[fitted]
"core.metal_kg" = { status = "guess", value = 3.1, by = "moved along" }
"core.air_ha_w_k" = { status = "measured", value = 300, low = 270, high = 330, by = "fitted to monday.csv" }
""",
    )
    assert "core.metal_kg" not in mine.given and mine.assumed["core.metal_kg"] == "guess: moved along"
    assert "core.air_ha_w_k" in mine.given and "core.air_ha_w_k" not in mine.assumed
    assert mine.measured("core.air_ha_w_k") and not mine.measured("core.metal_kg")
    assert mine.origin["core.air_ha_w_k"] == "fitted to monday.csv, 90 % interval 270 to 330"


@pytest.mark.parametrize(
    ("line", "said"),
    [
        ('"core.metal" = { status = "guess", value = 1.0, by = "x" }', "is no number of a car file, did you mean"),
        ('"core.metal_kg" = { status = "measured", value = 1.0, by = "x" }', "needs low and high"),
        ('"core.metal_kg" = { status = "sure", value = 1.0, by = "x" }', "status"),
        ('"core.metal_kg" = { status = "guess", by = "x" }', "value is missing"),
    ],
)
def test_marks_that_cannot_be_are_refused(tmp_path: Path, line: str, said: str) -> None:
    with pytest.raises(BadInput, match=said):
        car(tmp_path, f"[fitted]\n{line}\n")


@pytest.mark.parametrize(
    ("text", "said"),
    [
        ("[control]\nduty_step_pct = 8\n", "duty_step_pct 8 does not go into 100 a whole number of times"),
        ("[pump]\nsignal_duty_pct = [10, 90]\nsignal_speed_pct = [100, 0]\n", "signal_speed_pct ends at 0, below its"),
        ("[pump]\nsignal_duty_pct = [0, 50, 90]\nsignal_speed_pct = [0, 100, 99]\n", "ends at 99, below its highest"),
        ("[supply]\nrunning_v = 27.6\n", "supply.running_v must be at most 16"),
        ("[engine]\nmap_max_kpa = 110\n", "engine.map_max_kpa must be at least 115"),
        ("[engine]\nboost_kpa = 10\n", "engine.boost_kpa must be at least 15"),
        ("[probe]\nboss_share = 1\n", "probe.boss_share must be at most 0.99"),
    ],
)
def test_what_no_run_could_be_right_with_is_refused(tmp_path: Path, text: str, said: str) -> None:
    with pytest.raises(BadInput) as caught:
        car(tmp_path, text)
    assert said in caught.value.faults[0] and len(caught.value.faults) == 1


@pytest.mark.parametrize("step", [0, 0.5, 1, 4, 5, 12.5, 20, 25, 50])
def test_duty_steps_that_go_into_a_hundred_are_taken(tmp_path: Path, step: float) -> None:
    assert car(tmp_path, f"[control]\nduty_step_pct = {step}\n").numbers().control.duty_step == pytest.approx(
        step / 100
    )
