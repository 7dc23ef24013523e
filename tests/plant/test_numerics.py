"""The kernel's numbers: against an independent integration, closed forms, itself in other lanes and uncompiled."""

from __future__ import annotations

import os
import pickle
import subprocess
import sys
from dataclasses import replace
from pathlib import Path
from typing import Any

import numpy as np
import plant_builders as make
import pytest
import reference
from numpy.typing import NDArray
from scipy.special import gammainc

from arena.contest import run
from arena.contest.run import Contestant, lay_out
from arena.plant import circuit, judging
from arena.plant import layout as at
from arena.plant.compile import CompiledOuting, compile_outing, follow
from arena.plant.numbers import Goals
from arena.plant.probe import update_factor
from arena.strategies import shipped

Floats = NDArray[np.float64]
BAR_K = 0.02
SWEEP_HOSE_1, SWEEP_HOSE_2, CLOSE_LOOP, SENSE = (
    make.for_all_lanes(body) for body in (circuit.hose_1, circuit.hose_2, circuit.close, judging.sense)
)


def window(drive: str, climate: str, tank: str = "in-flow", seconds: float = 150.0) -> CompiledOuting:
    """The part of a drive with most boost in it."""
    made = make.outing(drive, climate, tank)
    ticks = round(seconds / at.TICK_S)
    boost = np.convolve(made.X[:, at.X_BOOST], np.ones(ticks), "valid")
    first = int(boost.argmax())
    return make.shortened(made, first, first + ticks)


def worst_difference(made: CompiledOuting, against: CompiledOuting | None = None, how: Any = None) -> float:
    """Largest difference of charge temperature (K) between kernel and reference, over ticks and switching lanes."""
    trace = make.trace_of(make.traced(made, make.switching()))
    assert np.ptp(trace[:, 0, make.FLOW_C]) > 1e-4, "a pump that switches"
    found = reference.integrate(against or made, trace[:, :, make.FLOW_C], how=how or reference.by_dop853)
    return float(np.abs(found.iat_mean_k - trace[:, :, make.IAT_C]).max())


@pytest.mark.parametrize(
    ("drive", "climate", "tank"),
    [
        ("hill-pulls", "hot", "in-flow"),
        ("track-session", "winter", "in-flow"),
        ("commute", "mild", "in-flow"),
        ("hill-pulls", "mild", "none"),
        ("hill-pulls", "mild", "side"),
    ],
)
def test_charge_temperature_agrees_with_dop853(drive: str, climate: str, tank: str) -> None:
    """scipy's solve_ivp, rtol 1e-8, restarted each tick, on the same cells: within 0.02 K on every tick."""
    assert worst_difference(window(drive, climate, tank)) <= BAR_K


@pytest.mark.slow
def test_a_whole_drive_agrees_with_the_exact_solution() -> None:
    """The power series of the matrix exponential, which agrees with DOP853 to 1e-9 K, is quick enough for this."""
    made = make.outing("recorded-trip", "mild")
    assert worst_difference(made, how=reference.by_series) <= BAR_K


def test_the_two_reference_routes_agree() -> None:
    made = window("hill-pulls", "hot", seconds=30.0)
    flow = make.trace_of(make.traced(made, make.switching()))[:, :, make.FLOW_C]
    by_solver = reference.integrate(made, flow).iat_mean_k
    by_series = reference.integrate(made, flow, how=reference.by_series).iat_mean_k
    assert np.abs(by_solver - by_series).max() < 1e-8


@pytest.mark.parametrize("parameter", ["P_CORE_M", "P_CORE_W", "P_FRONT_M", "P_FRONT_W", "P_HOSE_2_W", "P_LINK_W"])
def test_a_heat_capacity_ten_percent_off_is_noticed(parameter: str) -> None:
    made = window("hill-pulls", "hot", seconds=60.0)
    wrong = made.P.copy()
    wrong[getattr(at, parameter)] *= 1.1
    assert worst_difference(made, replace(made, P=wrong), how=reference.by_series) > BAR_K


def test_capacities_add_up_to_what_is_in_the_car() -> None:
    """Litres and kilograms of the car against the cells: the reference shares P with the kernel, so P is checked."""
    car, made = make.shipped_car(), make.outing("hill-pulls", "hot")
    ring = reference.Ring(made)
    hose_m3 = 0.25 * np.pi * car.loop.hose_bore_m**2 * car.loop.hose_total_m
    wet = car.core.coolant_m3 + car.front.coolant_m3 + car.loop.tank_m3 + car.loop.extra_m3 + hose_m3
    metal = (car.core.metal_kg * car.core.metal_j_kg_k, car.front.metal_kg * car.front.metal_j_kg_k)
    assert ring.capacity[: ring.ring].sum() == pytest.approx(wet * made.volume_heat, rel=1e-12)
    assert ring.capacity[ring.core_metal].sum() == pytest.approx(metal[0], rel=1e-12)
    assert ring.capacity[ring.front_metal].sum() == pytest.approx(metal[1], rel=1e-12)


def lane_bytes(made: CompiledOuting, contestants: list[Contestant]) -> dict[str, list[bytes]]:
    """Everything a lane leaves, as bytes, by the contestant's name."""
    lanes = lay_out(contestants)
    result = run.play(made, lanes)
    state = result.state.reshape(at.ROWS, -1)
    found: dict[str, list[bytes]] = {}
    for n, contestant in enumerate(lanes.contestants):
        cells = np.concatenate([state[at.OMEGA : at.DELAY + 1, n], state[at.CORE_AT :, n]])
        found.setdefault(contestant.name, []).append(result.rows[:, n].tobytes() + cells.tobytes())
    return found


def test_place_and_company_in_a_batch_change_no_byte() -> None:
    made = make.outing("hill-pulls", "hot")
    law = shipped()
    few = [
        Contestant("a", law["proportional"]),
        Contestant("b", law["proportional"], {"start_c": 38.0}),
        Contestant("c", law["two-speed"]),
        Contestant("d", law["always-on"]),
    ]
    plain = lane_bytes(made, few)
    turned = lane_bytes(made, few[::-1])
    wide = lane_bytes(made, [c for c in few for _ in range(16)])
    assert len({v[0] for v in plain.values()}) == len(few), "different contestants differ"
    assert turned == plain
    for name, all_of_it in wide.items():
        assert set(all_of_it) == set(plain[name]), f"sixteen of {name} in a batch of 64"


PLAY_AGAIN = """
import pickle, sys
sys.path[:0] = sys.argv[2:]
import plant_builders as make
from arena.plant.jit import UNCOMPILED
assert UNCOMPILED
made = pickle.load(open(sys.argv[1], "rb"))
result = make.traced(made, make.switching())
pickle.dump((result.rows, result.trace), open(sys.argv[1] + ".out", "wb"))
"""


def test_compiled_and_uncompiled_kernels_agree(tmp_path: Path) -> None:
    made = window("hill-pulls", "hot", seconds=8.0)
    kept = tmp_path / "outing.pickle"
    kept.write_bytes(pickle.dumps(made))
    top = Path(__file__).parents[2]
    subprocess.run(
        [sys.executable, "-c", PLAY_AGAIN, str(kept), str(top), str(Path(__file__).parent)],
        check=True, env={**os.environ, "ARENA_UNCOMPILED": "1"}, cwd=top,
    )  # fmt: skip
    rows, trace = pickle.loads(Path(f"{kept}.out").read_bytes())
    compiled = make.traced(made, make.switching())
    np.testing.assert_allclose(rows, compiled.rows, rtol=1e-9, atol=1e-9)
    np.testing.assert_allclose(trace, make.trace_of(compiled), rtol=1e-9, atol=1e-9)


# --- closed forms, through the kernel's own sweeps ----------------------------------------------------------------


def hose_step(cells: int, volume_m3: float, flow_m3_s: float, seconds: float, capacity: float = 4e6) -> Floats:
    """Outflow of a hose of the kernel, 0 before and 1 after the inflow steps; mean over each tick."""
    if cells == at.HOSE_1:
        sweep, heat = SWEEP_HOSE_1, at.P_HOSE_1_W
    else:
        sweep, heat = SWEEP_HOSE_2, at.P_HOSE_2_W
    state, x, p = run.aligned(at.ROWS * at.LANES), np.zeros(at.X_COLUMNS), np.zeros(at.P_COUNT)
    p[heat] = 2.0 * volume_m3 * capacity / cells / at.TICK_S
    rows = state.reshape(at.ROWS, at.LANES)
    rows[at.FLOW_C] = flow_m3_s * capacity
    out = np.empty(round(seconds / at.TICK_S))
    for tick in range(len(out)):
        rows[at.INFLOW] = 2.0  # the row holds twice the mean
        sweep(state, x, 0, p, at.LANES)
        out[tick] = 0.5 * rows[at.INFLOW, 0]
    return out


def arrived(out: Floats, time_s: float) -> float:
    """Outflow at a time, between the means of the ticks before and after it."""
    return float(np.interp(time_s, (np.arange(len(out)) + 0.5) * at.TICK_S, out))


@pytest.mark.parametrize("cells", [at.HOSE_1, at.HOSE_2])
@pytest.mark.parametrize("theta", [0.5, 1.0, 1.5])
def test_a_hose_is_its_cells_in_series(cells: int, theta: float) -> None:
    """F(theta) = P(n, n theta) for n equal mixed tanks; closed form, scipy's regularised gamma function."""
    volume, flow = 2e-3, 10.0 / 60000.0
    residence = volume / flow
    out = hose_step(cells, volume, flow, 3.0 * residence)
    assert arrived(out, theta * residence) == pytest.approx(gammainc(cells, cells * theta), abs=5e-4)
    assert abs(arrived(out, 1.1 * theta * residence) - gammainc(cells, cells * theta)) > 2e-3, "10 % late is noticed"


@pytest.mark.parametrize(("litres_per_min", "delay_s"), [(5.0, 6.8047), (10.0, 3.4023), (20.0, 1.7012)])
def test_the_mean_delay_of_a_hose_is_that_of_plug_flow(litres_per_min: float, delay_s: float) -> None:
    """19 mm bore, 2 m: delay V/Q, closed form; the cells spread the front about it but keep its mean."""
    out = hose_step(at.HOSE_2, 0.25 * np.pi * 0.019**2 * 2.0, litres_per_min / 60000.0, 8.0 * delay_s)
    mean = at.TICK_S * float(np.sum(1.0 - out))
    assert mean == pytest.approx(delay_s, abs=1e-3)
    spread = 2.0 * at.TICK_S * float(np.sum((np.arange(len(out)) + 0.5) * at.TICK_S * (1.0 - out))) - mean**2
    assert spread == pytest.approx(delay_s**2 / at.HOSE_2, rel=0.05), "variance of n tanks: delay^2 / n"


def mixed_tank(start: float, around: float, seconds: float) -> float:
    """3 kg of 3500 J/(kg K) in the link cell, 180 W/K to `around`, nothing flowing; degC at the end."""
    state, x, p = run.aligned(at.ROWS * at.LANES), np.zeros(at.X_COLUMNS), np.ones(at.P_COUNT)
    rows = state.reshape(at.ROWS, at.LANES)
    rows[at.LINK] = start
    p[at.P_LINK_W], p[at.P_LINK_UA], p[at.P_SIDE_SHARE] = 2.0 * 3.0 * 3500.0 / at.TICK_S, 180.0, 0.0
    x[at.X_TANK_T] = around
    for _ in range(round(seconds / at.TICK_S)):
        CLOSE_LOOP(state, x, 0, p, at.LANES)
    return float(rows[at.LINK, 0])


def test_a_cooling_tank_against_the_closed_form() -> None:
    """tau 58.33 s: 60 degC falls to 43.917 degC in 30 s; with 3 kW from 20 degC it is 30.708 degC after 60 s."""
    assert mixed_tank(60.0, 20.0, 30.0) == pytest.approx(43.91710, abs=1e-4)
    assert mixed_tank(20.0, 20.0 + 3000.0 / 180.0, 60.0) == pytest.approx(30.70804, abs=1e-4)
    assert abs(mixed_tank(60.0, 20.0, 33.0) - 43.91710) > 1.0


def test_mean_residence_of_a_tank_in_the_flow() -> None:
    """2 L at 10 L/min: 12.0 s (V/Q, closed form); the extrapolated outflow keeps the mean to a few milliseconds."""
    state, x, p = run.aligned(at.ROWS * at.LANES), np.zeros(at.X_COLUMNS), np.ones(at.P_COUNT)
    rows = state.reshape(at.ROWS, at.LANES)
    p[at.P_LINK_W], p[at.P_LINK_UA], p[at.P_SIDE_SHARE] = 2.0 * 2e-3 * 4e6 / at.TICK_S, 0.0, 0.0
    rows[at.FLOW_C] = 10.0 / 60000.0 * 4e6
    missing = 0.0
    for _ in range(3000):
        rows[at.LINK_OUT] = 1.5 * rows[at.LINK] - 0.5 * rows[at.LINK_OLD]
        rows[at.LINK_OLD] = rows[at.LINK]
        rows[at.INFLOW] = 2.0  # the row holds twice the mean
        CLOSE_LOOP(state, x, 0, p, at.LANES)
        missing += at.TICK_S * (1.0 - rows[at.LINK_OUT, 0])
    assert missing == pytest.approx(12.0, abs=0.01)


@pytest.mark.parametrize(("times_tau", "share"), [(1, 0.632121), (2, 0.864665), (3, 0.950213), (5, 0.993262)])
def test_the_probe_is_a_first_order_lag(times_tau: int, share: float) -> None:
    """Step response 1 - exp(-t/tau), closed form, through the kernel's own probe; and the compiled lags' helper."""
    tau, ticks = 4.0, round(4.0 * times_tau / at.TICK_S)
    state, x, p = run.aligned(at.ROWS * at.LANES), np.zeros(at.X_COLUMNS), np.ones(at.P_COUNT)
    x[at.X_PROBE0], x[at.X_FAULT_READING] = 1.0, np.nan
    x[at.X_PROBE_K] = update_factor(at.TICK_S, tau)
    for _ in range(ticks):
        SENSE(state, x, 0, p, at.LANES)
    assert state.reshape(at.ROWS, at.LANES)[at.PROBE, 0] == pytest.approx(share, abs=1e-6)
    lagged = follow(np.ones(ticks), np.full(ticks, float(update_factor(at.TICK_S, tau))), 0.0)
    assert lagged[-1] == pytest.approx(share, abs=1e-6)
    assert abs(1.0 - (1.0 - at.TICK_S / tau) ** ticks - share) > 1e-6, "Euler's update is noticed"


def test_the_smallest_loop_agrees_too() -> None:
    """0.3 L in the core, 4 m of 16 mm hose, no tank and a pump half as large again: coolant crosses cells in a tick."""
    car = make.shipped_car()
    tiny = replace(
        make.with_tank(car, "none"),
        core=replace(car.core, coolant_m3=0.3e-3, metal_kg=1.5, coolant_ha_w_k=3000.0),
        front=replace(car.front, coolant_m3=0.7e-3, metal_kg=2.0, coolant_ha_w_k=3000.0),
        loop=replace(make.with_tank(car, "none").loop, hose_bore_m=0.016, hose_total_m=4.0),
        pump=replace(car.pump, head_flow_m3_s=tuple(1.6 * q for q in car.pump.head_flow_m3_s)),
    )
    whole = compile_outing(make.played("hill-pulls", "hot"), tiny, Goals(), 1)
    first = int(np.argmax(whole.X[:, at.X_BOOST] > 0.5)) - 300
    assert worst_difference(make.shortened(whole, first, first + 1500), how=reference.by_series) <= BAR_K
