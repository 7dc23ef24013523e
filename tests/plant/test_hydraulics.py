"""What the loop's hydraulics promise: one operating point always, cold starts included; sane flows; refusals."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from arena.errors import BadInput
from arena.plant import fluids, hydraulics
from arena.plant.hydraulics import build_flow_table, operating_point, pump_head_pa, pump_torque_nm, system_pressure_pa
from arena.plant.numbers import Loop, Pump

L_MIN = 1.0 / 60000.0


def flows(pump: Pump, loop: Loop, ratios: list[float], celsius: list[float], fraction: float = 0.4) -> np.ndarray:
    mix = fluids.table("ethylene", fraction)
    made = build_flow_table(pump, loop, mix, np.array(ratios), np.array(celsius) + 273.15)
    return made.flow_m3_s / L_MIN


def test_cold_start_with_half_glycol_still_flows() -> None:
    """50 % glycol at -20 degC is eleven times as thick as at 40 degC; the pump moves less, but moves it."""
    cold, warm = flows(Pump(), Loop(), [0.2, 1.0], [-20.0, 40.0], fraction=0.5).T
    assert np.all(cold > 0.5)
    assert 0.4 < cold[1] / warm[1] < 0.8
    assert fluids.coolant("ethylene", 0.5, 253.15).viscosity > 10.0 * fluids.coolant("ethylene", 0.5, 313.15).viscosity


def test_flow_at_rated_speed_is_in_the_plausible_range() -> None:
    """12 to 18 L/min at 13.5 V (judgement from memory), which is about rated speed."""
    assert 12.0 < flows(Pump(), Loop(), [1.0], [40.0])[0, 0] < 18.0


@settings(max_examples=40, deadline=None)
@given(
    st.floats(15e3, 50e3),
    st.floats(1.6, 2.0),
    st.floats(0.012, 0.030),
    st.floats(2.0, 12.0),
    st.floats(0.3, 1.0),
    st.sampled_from([0.0, 0.3, 0.5, 0.6]),
)
def test_every_car_has_one_operating_point_at_every_speed_and_temperature(
    loss: float, exponent: float, bore: float, length: float, wear: float, fraction: float
) -> None:
    """The system's loss rises with flow everywhere, so that the point found is the only one; it lies on both curves."""
    pump = replace(Pump(), system_pa=loss, system_exponent=exponent, head_factor=wear)
    loop = replace(Loop(), hose_bore_m=bore, hose_total_m=length)
    mix = fluids.table("ethylene", fraction)
    system, head = system_pressure_pa(pump, loop, mix), pump_head_pa(pump)
    t = np.array([253.15, 293.15, 313.15, 373.15])
    q = np.geomspace(0.05, 40.0, 200)[:, None] * L_MIN
    assert np.all(np.diff(system(q, t[None, :]), axis=0) > 0.0)
    n = np.array([0.0, 0.15, 0.5, 1.0, 1.2])
    made = build_flow_table(pump, loop, mix, n, t)
    assert np.all(np.isfinite(made.flow_m3_s) & np.isfinite(made.head_pa) & np.isfinite(made.torque_nm))
    assert np.all(made.flow_m3_s[0] == 0.0)
    assert np.all(np.diff(made.flow_m3_s, axis=0) > 0.0)
    # thinner coolant flows no less, but for up to 1 % where it turns turbulent in the hoses (friction jumps by 1.57)
    assert np.all(np.diff(made.flow_m3_s, axis=1)[1:] > -0.01 * made.flow_m3_s[1:, :-1])
    assert system(made.flow_m3_s, t[None, :]) == pytest.approx(made.head_pa, rel=1e-6, abs=1e-6)
    thicker = mix.at(t).density / mix.at(hydraulics.REFERENCE_K).density
    lift = n[1:, None] ** 2 * thicker * head(made.flow_m3_s[1:] / n[1:, None])
    assert made.head_pa[1:] == pytest.approx(lift, rel=1e-9, abs=1e-9)


def test_system_is_the_curve_of_the_car_at_the_reference_temperature() -> None:
    pump = Pump()
    system = system_pressure_pa(pump, Loop(), fluids.table("ethylene", 0.4))
    x = np.array([0.0, 0.2, 0.5, 1.0, 1.5])
    expected = pump.system_pa * x**pump.system_exponent
    assert system(x * pump.system_ref_m3_s, hydraulics.REFERENCE_K) == pytest.approx(expected, rel=1e-9, abs=1e-9)


def test_operating_point_agrees_with_the_table() -> None:
    """The two root finders, one on callables in metres and one on the car's curves, meet in one point."""
    pump, loop = Pump(), Loop()
    mix = fluids.table("ethylene", 0.4)
    weight = mix.at(hydraulics.REFERENCE_K).density * 9.80665
    head, system = pump_head_pa(pump), system_pressure_pa(pump, loop, mix)
    n = np.array([0.3, 0.7, 1.0])
    point = operating_point(
        lambda q: head(q * L_MIN) / weight, lambda q: system(q * L_MIN, hydraulics.REFERENCE_K) / weight, n
    )
    assert point.flow_l_min == pytest.approx(flows(pump, loop, list(n), [40.0])[:, 0], rel=1e-9)


def test_a_pump_too_weak_for_a_static_lift_gives_no_flow() -> None:
    point = operating_point(lambda q: 5.0 - 0.01 * q**2, lambda q: 2.0 + 0.01 * q**2, np.array([0.0, 0.5, 1.0]))
    assert point.flow_l_min[:2] == pytest.approx([0.0, 0.0])
    assert point.head_m[1] == pytest.approx(5.0 * 0.25)
    assert point.flow_l_min[2] > 0.0


def test_curves_that_never_meet_are_refused() -> None:
    with pytest.raises(BadInput, match="do not meet"):
        operating_point(lambda q: 5.0, lambda q: 1.0, 1.0)
    with pytest.raises(BadInput, match="speed_ratio"):
        operating_point(lambda q: 5.0 - q, lambda q: q, -0.5)
    with pytest.raises(BadInput, match="not a number"):
        operating_point(lambda q: float("nan"), lambda q: q, 1.0)


def test_a_closed_valve_still_costs_finite_torque_which_never_falls_with_flow() -> None:
    torque = pump_torque_nm(Pump())(np.linspace(0.0, 30.0, 61) * L_MIN)
    assert 0.02 < torque[0] < 0.08
    assert np.all(np.diff(torque) >= 0.0)


def test_peak_hydraulic_efficiency_is_reached_and_not_passed() -> None:
    pump = Pump()
    q = np.linspace(0.5, 27.0, 200) * L_MIN
    efficiency = q * pump_head_pa(pump)(q) / (pump_torque_nm(pump)(q) * pump.rated_rad_s)
    assert np.max(efficiency) == pytest.approx(pump.peak_hydraulic_efficiency, rel=0.01)


def test_a_worn_pump_moves_less_for_no_less_torque_at_equal_flow() -> None:
    new, worn = Pump(), replace(Pump(), head_factor=0.7)
    assert flows(worn, Loop(), [1.0], [40.0])[0, 0] < 0.9 * flows(new, Loop(), [1.0], [40.0])[0, 0]
    assert pump_torque_nm(worn)(2e-4) == pump_torque_nm(new)(2e-4)


@pytest.mark.parametrize(
    ("changes", "named"),
    [
        ({"head_pa": (55e3, 40e3, 45e3, 20e3, 0.0)}, "never rise"),
        ({"head_flow_m3_s": (0.0, 2e-4, 1e-4, 3e-4, 4e-4)}, "increase"),
        ({"head_flow_m3_s": (1e-5, 1e-4, 2e-4, 3e-4, 4e-4)}, "start at 0"),
        ({"head_pa": (0.0, 0.0, 0.0, 0.0, 0.0)}, "above 0"),
        ({"head_pa": (5e4, 4e4, 3e4, 2e4, float("nan"))}, "not a number"),
        ({"head_pa": (5e4, 4e4)}, "2 heads"),
    ],
)
def test_impossible_pump_curves_are_refused(changes: dict[str, tuple[float, ...]], named: str) -> None:
    with pytest.raises(BadInput, match=named):
        pump_head_pa(replace(Pump(), **changes))


@pytest.mark.parametrize("head", [(55e3, 20e3), (55e3, 10e3, 0.0), (55e3, 0.0, 0.0)])
def test_short_curves_and_shut_off_beyond(head: tuple[float, ...]) -> None:
    """Two points that do not reach nought go on straight; beyond free flow the head is below nought."""
    flow = tuple(k * 1e-4 for k in range(len(head)))
    if head[-2:] == (0.0, 0.0):
        with pytest.raises(BadInput, match="fall at the end"):
            pump_head_pa(replace(Pump(), head_flow_m3_s=flow, head_pa=head))
        return
    curve = pump_head_pa(replace(Pump(), head_flow_m3_s=flow, head_pa=head))
    assert curve(0.0) == pytest.approx(55e3)
    slope, last = (head[-1] - head[-2]) / 1e-4, flow[-1]
    for beyond in (0.0, 1e-6, 1e-4, 1e-3):
        assert curve(last + beyond) == pytest.approx(head[-1] + slope * beyond, abs=1e-9)
    assert curve(5e-4) < 0.0


@pytest.mark.parametrize("bad", [{"bore_m": 0.0}, {"flow_m3_s": -1e-4}, {"viscosity_pa_s": float("nan")}])
def test_impossible_hoses_are_refused_by_name(bad: dict[str, float]) -> None:
    right = {"flow_m3_s": 1e-4, "bore_m": 0.019, "length_m": 1.0, "density_kg_m3": 1050.0, "viscosity_pa_s": 2e-3}
    with pytest.raises(BadInput, match=next(iter(bad))):
        hydraulics.hose_pressure_drop_pa(**(right | bad))


@pytest.mark.parametrize(
    ("flow", "head", "free"),
    [
        ((0.0, 1e-4, 2e-4), (50e3, 40e3, 25e3), 2e-4 + 25e3 * 1e-4 / 15e3),  # straight on from the last two points
        ((0.0, 1e-4, 2e-4), (50e3, 40e3, 0.0), 2e-4),
        ((0.0, 3e-4), (50e3, 20e3), 5e-4),
    ],
)
def test_the_free_flow_is_where_the_curve_has_no_head_left(
    flow: tuple[float, ...], head: tuple[float, ...], free: float
) -> None:
    pump = replace(Pump(), head_flow_m3_s=flow, head_pa=head)
    assert hydraulics._free_flow(pump) == pytest.approx(free)
    assert pump_head_pa(pump)(free) == pytest.approx(0.0, abs=1e-9)


def test_a_bore_of_nothing_has_no_reynolds_number() -> None:
    assert hydraulics.reynolds(0.0, 0.019, 1000.0, 1e-3) == 0.0
    for bore in (0.0, -0.01, float("nan")):
        with pytest.raises(BadInput, match="bore_m"):
            hydraulics.reynolds(1e-4, bore, 1000.0, 1e-3)


def test_no_flow_costs_no_pressure() -> None:
    assert hydraulics.hose_pressure_drop_pa(0.0, 0.019, 6.0, 1050.0, 2e-3) == 0.0
