"""Coolant just above its freezing point still flows, just below it nothing does and the pump is held fast."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import plant_builders as make
import pytest

from arena.contest import run
from arena.plant import fluids
from arena.plant import layout as at
from arena.plant.compile import compile_outing
from arena.plant.hydraulics import build_flow_table
from arena.plant.numbers import Goals

MIXTURES = [
    ("none", 0.0),
    ("ethylene", 0.25),
    ("ethylene", 0.3),
    ("ethylene", 0.33),
    ("ethylene", 0.4),
    ("propylene", 0.4),
]


def played_at(glycol: str, fraction: float, kelvin: float) -> tuple[run.Accumulated, float]:
    """Fifteen seconds of full pump in a car that stands at one temperature, and its mean speed over rated speed."""
    car = make.shipped_car()
    car = replace(car, loop=replace(car.loop, glycol=glycol, glycol_volume_fraction=fraction))
    made = compile_outing(make.held(150, ambient_k=kelvin), car, Goals(), 1)
    x = made.X
    x[:, [at.X_HOSE_T, at.X_TANK_T, at.X_BAY]] = kelvin
    x[:, at.X_CORE_R] = (x[:, at.X_CORE_A] + made.P[at.P_CORE_BAY]) * kelvin
    x[:, at.X_FRONT_R] = x[:, at.X_FRONT_A] * kelvin
    return run.play(replace(made, start_k=kelvin), make.one("always-on")), car.pump.rated_rad_s


@pytest.mark.parametrize(("glycol", "fraction"), MIXTURES)
def test_above_freezing_the_flow_is_that_of_the_hydraulics(glycol: str, fraction: float) -> None:
    kelvin = fluids.freezing_k(glycol, fraction) + 1.0
    played, rated = played_at(glycol, fraction, kelvin)
    car = make.shipped_car()
    speed, flow = played.state[at.SPEED, 0], played.state[at.FLOW, 0]
    loop = replace(car.loop, glycol=glycol, glycol_volume_fraction=fraction)
    mix = fluids.table(glycol, fraction)
    wanted = build_flow_table(car.pump, loop, mix, np.array([speed / rated]), np.array([kelvin])).flow_m3_s[0, 0]
    assert speed > 0.5 * rated
    assert flow == pytest.approx(wanted, rel=0.03)
    assert played.state[at.REASON, 0] == 0.0


@pytest.mark.parametrize(("glycol", "fraction"), MIXTURES)
def test_below_freezing_nothing_flows_and_the_pump_is_told_to_stall(glycol: str, fraction: float) -> None:
    played, _ = played_at(glycol, fraction, fluids.freezing_k(glycol, fraction) - 1.0)
    assert played.state[at.FLOW, 0] == 0.0
    assert played.state[at.OMEGA, 0] == 0.0
    assert at.REASONS[int(played.state[at.REASON, 0])] == "pump stalled"
    assert played.row(at.ENERGY)[0] > 0.0, "a held pump draws current"
