"""A current measured with a clamp meter is the current the car draws: in the check, on the bench and in a run."""

from __future__ import annotations

import dataclasses
from pathlib import Path

import plant_builders as make
import pytest
from scipy.optimize import brentq

from arena.contest import run
from arena.errors import BadInput
from arena.garage.bench_pump import BenchPump
from arena.plant import hydraulics
from arena.plant import layout as at
from arena.plant.compile import compile_outing
from arena.plant.numbers import CarNumbers, Goals
from arena.scenario.car import Car, car_toml, load_car
from arena.scenario.check import check_file
from arena.scenario.derived import derive
from arena.scenario.pump_current import plug_a


def car(folder: Path, text: str) -> Car:
    path = folder / "mine.toml"
    path.write_text(f'[car]\nname = "mine"\n[pump]\n{text}', encoding="utf-8")
    return load_car(path)


def drawn_by_the_kernel(numbers: CarNumbers, volts: float) -> float:
    """Motor current after 20 s of full duty, coolant at 40 degC, supply such that `volts` is left at the plug."""
    numbers = dataclasses.replace(
        numbers, supply=dataclasses.replace(numbers.supply, running_v=volts, sag_v=0.0, lead_ohm=0.0)
    )
    made = compile_outing(make.held(200), numbers, Goals(), 1)
    made.X[:, [at.X_HOSE_T, at.X_TANK_T]] = 313.15
    made.X[:, at.X_CORE_R] = (made.X[:, at.X_CORE_A] + made.P[at.P_CORE_BAY]) * 313.15
    made.X[:, at.X_FRONT_R] = made.X[:, at.X_FRONT_A] * 313.15
    played = run.play(dataclasses.replace(made, start_k=313.15), make.one("always-on"))
    return float(played.state[at.CURRENT, 0])


@pytest.mark.parametrize(
    "text",
    [
        "rated_a = 2.8\n",
        "rated_a = 5.2\n",
        "rated_a = 0.9\nmax_head_kpa = 20\nmax_flow_l_min = 16\n",  # less than the friction assumed leaves room for
        "rated_a = 4.5\nresistance_ohm = 0.4\nhydraulic_efficiency = 0.3\n",
        "rated_a = 4.5\nrated_v = 12\nke_v_s = 0.018\n",
        "rated_a = 4\nmax_head_kpa = 70\nmax_flow_l_min = 35\nrated_speed_rpm = 4400\n",
    ],
)
def test_the_current_given_flows(tmp_path: Path, text: str) -> None:
    mine = car(tmp_path, text)
    pump = mine.numbers().pump
    assert mine.notes == () or not any("contradicts" in note for note in mine.notes)
    rows = {what: value for what, value, _ in check_file(tmp_path / "mine.toml").rows}
    assert rows["pump at its rated voltage"] == f"{pump.rated_current_a:.2f} A at {pump.rated_v:g} V at its plug"
    assert BenchPump(mine.numbers()).plug_a(pump.rated_v) == pytest.approx(pump.rated_current_a, rel=2e-3)
    assert drawn_by_the_kernel(mine.numbers(), pump.rated_v) == pytest.approx(pump.rated_current_a, rel=5e-3)
    speed = (pump.rated_v - pump.brush_v - pump.resistance_ohm * pump.rated_current_a) / pump.ke_v_s
    if "speed" not in text:
        assert pump.rated_rad_s == pytest.approx(speed, rel=1e-9), "the curve is that of the speed it has there"


@pytest.mark.parametrize(
    "text",
    [
        "rated_v = 12\nmax_head_kpa = 55\nmax_flow_l_min = 28\n",
        "rated_v = 10\nmax_head_kpa = 55\nmax_flow_l_min = 28\n",
        "rated_v = 12\nmax_head_kpa = 40\nmax_flow_l_min = 20\nfriction_nm = 0.01\n",
        "rated_v = 12\nmax_head_kpa = 55\nmax_flow_l_min = 28\nhydraulic_efficiency = 0.45\n",
        "curve_v = 12\nmax_head_kpa = 55\nmax_flow_l_min = 28\n",
        "curve_v = 12\nrated_v = 14\nmax_head_kpa = 55\nmax_flow_l_min = 28\n",
        "rated_v = 12\nmax_head_kpa = 55\nmax_flow_l_min = 28\nhydraulic_efficiency = 0.4\nfriction_nm = 0.01\n",
    ],
)
def test_a_voltage_alone_puts_the_curve_at_the_speed_the_motor_has_there(tmp_path: Path, text: str) -> None:
    """There flows what the maker gives against the loop, and that current, told, changes nothing."""
    mine = car(tmp_path, text)
    numbers, pump = mine.numbers(), mine.numbers().pump
    given = dict(line.split(" = ") for line in text.splitlines())
    volts = float(given.get("curve_v") or given["rated_v"])
    head, most = 1e3 * float(given["max_head_kpa"]), float(given["max_flow_l_min"]) / 60000.0

    def spare(q: float) -> float:
        return head * (1.0 - (q / most) ** 2) - pump.system_pa * (q / pump.system_ref_m3_s) ** pump.system_exponent

    at_plug = dataclasses.replace(numbers, supply=dataclasses.replace(numbers.supply, running_v=volts, lead_ohm=0.0))
    assert derive(at_plug).flow_m3_s == pytest.approx(float(brentq(spare, 1e-6, most)), rel=6e-3)
    assert mine.assumed["pump.rated_speed_rpm"] in ("estimated from pump.rated_v", "estimated from pump.curve_v")
    assert not any("drive the pump's curve" in note for note in mine.notes)
    again = car(tmp_path, text + f"rated_a = {pump.rated_current_a:.4g}\n").numbers()
    near = 1e-2 if "curve_v" in text else 1e-3  # a curve is carried to rated_v by the current that is known there
    assert derive(again).flow_m3_s == pytest.approx(derive(numbers).flow_m3_s, rel=near)
    assert again.pump.rated_rad_s == pytest.approx(pump.rated_rad_s, rel=near)


def test_a_motor_too_weak_for_its_curve_is_noted(tmp_path: Path) -> None:
    strong = "rated_v = 12\nmax_head_kpa = 120\nmax_flow_l_min = 60\n"
    for text in (strong, strong + "hydraulic_efficiency = 0.3\n"):
        assert any("does not drive the pump's curve at pump.rated_v = 12" in note for note in car(tmp_path, text).notes)
    fixed = car(tmp_path, "rated_v = 12\nrated_speed_rpm = 4297\n")
    assert fixed.numbers().pump.rated_rad_s == pytest.approx(4297 * 3.141592653589793 / 30)


def test_power_in_is_power_out(tmp_path: Path) -> None:
    """V I = I^2 R + brush I + friction w + water's power over efficiency, at the point the current leaves."""
    pump = car(tmp_path, "rated_a = 4.4\nfriction_nm = 0.01\n").numbers().pump
    speed = pump.rated_rad_s

    def spare(q: float) -> float:
        loss = pump.system_pa * (q / pump.system_ref_m3_s) ** pump.system_exponent
        return float(hydraulics.pump_head_pa(pump)(q)) - loss

    flow = float(brentq(spare, 1e-6, pump.head_flow_m3_s[-1]))
    shaft = float(hydraulics.pump_torque_nm(pump)(flow)) * speed + pump.friction_nm * speed
    electrical = pump.rated_v * 4.4 - 4.4**2 * pump.resistance_ohm - 4.4 * pump.brush_v
    assert electrical == pytest.approx(shaft, rel=2e-3)


def test_a_current_not_given_follows_from_the_rest(tmp_path: Path) -> None:
    mine = car(tmp_path, "resistance_ohm = 0.5\nhydraulic_efficiency = 0.25\n")
    pump = mine.numbers().pump
    assert pump.rated_current_a == pytest.approx(plug_a(pump, mine.numbers().loop, pump.rated_v))
    assert pump.rated_current_a > 1.1 * CarNumbers().pump.rated_current_a
    assert mine.assumed["pump.rated_a"].startswith("estimated")


def test_a_current_that_contradicts_is_noted_or_refused(tmp_path: Path) -> None:
    fixed = "hydraulic_efficiency = 0.3\nfriction_nm = 0.018\nrated_speed_rpm = 4300\n"
    noted = [n for n in car(tmp_path, fixed + "rated_a = 7\n").notes if "contradicts" in n]
    assert len(noted) == 1 and "pump.rated_a = 7" in noted[0] and "hydraulic_efficiency" in noted[0]
    with pytest.raises(BadInput, match="could not turn"):
        car(tmp_path, "rated_a = 30\n")
    assert any("contradicts" in n for n in car(tmp_path, "rated_a = 1.1\n").notes), "no pump lifts 55 kPa for that"
    bucket = "max_head_kpa = 55\nmax_flow_l_min = 28\nbucket_l_min = 14\nbucket_v = 12.4\nbucket_a = 3.3\n"
    assert not any("contradicts" in n for n in car(tmp_path, bucket + "rated_a = 3.7\n").notes)
    assert any("contradicts" in n for n in car(tmp_path, bucket + "rated_a = 6\n").notes)


def test_the_default_car_agrees_with_itself(tmp_path: Path) -> None:
    default = CarNumbers()
    assert plug_a(default.pump, default.loop, default.pump.rated_v) == pytest.approx(3.86, rel=1e-9)
    (tmp_path / "all.toml").write_text(car_toml(default, "all", ""), encoding="utf-8")
    back = load_car(tmp_path / "all.toml")
    assert back.numbers() == default and back.notes == ()
    assert load_car("invented-2200").numbers().pump == default.pump
