"""A resting pump starts where torque at standstill overcomes what holds it, not where a turning one would run.

At rest there is no back EMF: the current of a held rotor is integrated here step by step through switch, winding,
brushes and freewheel diode, and what comes out is compared with the plant and with every duty people are told.
"""

from __future__ import annotations

from dataclasses import replace
from functools import cache
from pathlib import Path

import numpy as np
import plant_builders as make
import pytest

from arena.contest import run
from arena.contest.axes import default_axes
from arena.contest.run import Contestant, lay_out
from arena.errors import BadInput
from arena.garage.bench_pump import BenchPump
from arena.garage.part_list import second_pump, stronger_pump
from arena.plant import electrics
from arena.plant import layout as at
from arena.plant.compile import compile_outing
from arena.plant.numbers import CarNumbers, Goals, Pump
from arena.scenario.car import load_car
from arena.scenario.check import check_file
from arena.scenario.derived import derive, low_v, sure_duty
from arena.strategies import shipped

CAR = CarNumbers()


def integrated_a(pump: Pump, supply_v: float, duty: float, lead_ohm: float) -> float:
    """Mean current of a held rotor over the last of 40 pulse periods, explicit steps of a 2000th of a period."""
    step, current, total = 1.0 / (2000.0 * pump.pwm_hz), 0.0, 0.0
    for period in range(40):
        for k in range(2000):
            pushed = supply_v if k < 2000.0 * duty else 0.0
            volts = pushed - pump.brush_v - current * (pump.resistance_ohm + lead_ohm)
            current = max(current + step * volts / pump.inductance_h, 0.0)  # the diode lets nothing flow back
            total += current if period == 39 else 0.0
    return total / 2000.0


@pytest.mark.parametrize(("supply_v", "duty"), [(13.8, 0.17), (13.8, 0.27), (12.4, 0.12)])
def test_current_of_a_held_rotor_is_that_of_the_integrated_circuit(supply_v: float, duty: float) -> None:
    own = float(electrics.at_rest_a(CAR.pump, supply_v, duty, CAR.supply.lead_ohm))
    assert own == pytest.approx(integrated_a(CAR.pump, supply_v, duty, CAR.supply.lead_ohm), rel=5e-3)


def test_direct_voltage_starts_the_pump_at_its_start_voltage() -> None:
    """Duty 1 at the start voltage and the voltage the leads then take is the edge, by the definition of start_v."""
    edge = CAR.pump.start_v + CAR.pump.start_a * CAR.supply.lead_ohm
    assert electrics.start_duty(CAR.pump, edge + 1e-6, CAR.supply.lead_ohm) == pytest.approx(1.0, abs=1e-5)
    assert electrics.start_duty(CAR.pump, edge - 1e-3, CAR.supply.lead_ohm) is None


@cache
def turned(duties: tuple[float, ...], supply_v: float, hz: float, soft_s: float) -> tuple[bool, ...]:
    """Whether a resting pump of the kernel turns after three seconds at each duty, standing car."""
    car = replace(
        CAR,
        pump=replace(CAR.pump, soft_start_s=soft_s, pwm_hz=hz),
        supply=replace(CAR.supply, running_v=supply_v, sag_v=0.0),
    )
    made = compile_outing(make.held(30, speed_m_s=0.0, rpm=800.0), car, Goals(), 1)
    law = shipped()["always-on"]
    lanes = lay_out([Contestant(f"{d}", law, quiet_cap_pct=100.0 * d) for d in duties])
    speed = run.play(made, lanes).state.reshape(at.ROWS, -1)[at.OMEGA, : len(duties)]
    return tuple(bool(w > 1.0) for w in speed)


@pytest.mark.parametrize("supply_v", [12.4, 13.4, 13.8])
@pytest.mark.parametrize("hz", [300.0, 1000.0, 20000.0])
def test_the_kernel_starts_its_pump_at_the_start_duty(supply_v: float, hz: float) -> None:
    pump = replace(CAR.pump, pwm_hz=hz)
    least = electrics.start_duty(pump, supply_v, CAR.supply.lead_ohm)
    assert least is not None
    assert turned((least - 0.01, least + 0.01), supply_v, hz, 0.0) == (False, True)


def test_duties_between_turning_and_starting_run_on_but_do_not_start() -> None:
    """A soft start does not help either: it comes from below."""
    assert not any(turned((0.12, 0.17, 0.20, 0.25), 13.8, 1000.0, 0.5))
    car = replace(CAR, supply=replace(CAR.supply, sag_v=0.0))
    made = compile_outing(make.held(60, speed_m_s=0.0, rpm=800.0), car, Goals(), 1)
    made.X[:20, at.X_SPEED] = 50.0  # the cap holds at low speed only: two seconds of full duty, then 20 %
    lanes = lay_out([Contestant("slows down", shipped()["always-on"], quiet_cap_pct=20.0)])
    assert run.play(made, lanes).state.reshape(at.ROWS, -1)[at.OMEGA, 0] > 50.0


def test_every_place_tells_the_same_duty(tmp_path: Path) -> None:
    """check, wiring, the table's lowest duty and the kernel's own: one definition, each named for what it is."""
    d, bench = derive(CAR), BenchPump(CAR)
    low = bench.start_duty(low_v(CAR), CAR.pump.pwm_hz)
    assert low is not None
    assert d.start_duty == bench.start_duty(CAR.supply.running_v, CAR.pump.pwm_hz)
    assert d.stall_duty == pytest.approx(bench.stall_duty(CAR.supply.running_v, CAR.pump.pwm_hz), rel=0.02)
    half = bench.pwm(CAR.supply.running_v, 0.5, CAR.pump.pwm_hz)
    assert d.half_flow_m3_s * 60000.0 == pytest.approx(half.flow_l_min, rel=1e-3), "the leads count in both"
    assert d.half_a == pytest.approx(half.current_a, rel=1e-3)
    assert sure_duty(CAR) == pytest.approx(np.ceil(low * 1.15 / 0.05) * 0.05)
    (tmp_path / "mine.toml").write_text('[car]\nname = "mine"\n', encoding="utf-8")
    rows = {what: value for what, value, _ in check_file(tmp_path / "mine.toml").rows}
    axes = default_axes().for_car(CAR)
    assert rows["pump starts from"] == f"{100 * d.start_duty:.0f} % duty at 13.8 V, standing still"
    assert rows["lowest duty of a table"] == f"{100 * axes.floor():.0f} %: {axes.lowest_why}"
    assert f"{100 * low:.0f} %" in axes.lowest_why and "13.4 V" in axes.lowest_why


def test_breakaway_by_torque_is_the_same_as_by_voltage(tmp_path: Path) -> None:
    def pump(text: str) -> Pump:
        path = tmp_path / "mine.toml"
        path.write_text(f'[car]\nname = "mine"\n[pump]\n{text}', encoding="utf-8")
        return load_car(path).numbers().pump

    assert pump("breakaway_nm = 0.06\n").start_v == pytest.approx(1.0 + 0.7 * 0.06 / 0.0225)
    assert pump("breakaway_nm = 0.06\n").breakaway_nm == pytest.approx(0.06)
    with pytest.raises(BadInput, match="two ways"):
        pump("breakaway_nm = 0.06\nstart_v = 3.5\n")
    with pytest.raises(BadInput, match="could not keep turning would start"):
        pump("friction_nm = 0.05\nbreakaway_nm = 0.04\n")
    with pytest.raises(BadInput, match="no current would flow"):
        pump("brush_v = 3.5\nstart_v = 3.2\n")
    weak = pump("resistance_ohm = 2\nke_v_s = 0.012\n")  # what is assumed does not contradict what is given
    assert weak.breakaway_nm == pytest.approx(1.2 * weak.friction_nm)


def test_other_pumps_break_away_by_their_own_torque() -> None:
    own = CAR.pump.breakaway_nm
    assert second_pump(CAR).pump.breakaway_nm == pytest.approx(2.0 * own)
    assert stronger_pump(CAR).pump.breakaway_nm == pytest.approx(1.2 * own)
