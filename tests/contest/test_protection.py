"""What a fault breaks and what is counted of it, by hand: worst charge, seconds over, duty, and what was noticed."""

from __future__ import annotations

from dataclasses import replace
from types import SimpleNamespace
from typing import Any

import numpy as np
import pytest

from arena.contest.faults import AIR_TORQUE, HELD_FAST_NM, LOWEST_BATTERY_V, break_columns, break_tables, car_under
from arena.contest.protection import CHANGED, FULL, _noticed, _onset_share, _Run, _see, _Seen, _summed
from arena.contest.spans import Span, SpannedOuting, spans_of
from arena.plant import layout as at
from arena.plant.compile import TICK_S
from arena.plant.numbers import CarNumbers
from arena.scenario.fault import Fault, FaultFile
from arena.units import ZERO_C_K

LIMIT_K = 320.0


def run_of(boost_tick: list[int], boost_k: list[list[float]], ticks: int = 100, score_from: int = 20) -> _Run:
    """Two contestants: the first at half duty throughout, the second at duty tick / 100; key off at the end."""
    duty = np.stack([np.full(ticks, 0.5), np.arange(ticks) / 100.0], axis=1).astype(np.float32)
    key = np.arange(ticks) < ticks - 10
    return _Run(score_from, np.array(boost_tick), np.array(boost_k, np.float32), duty, key, ("", "pump stalled"))


def test_only_what_comes_after_the_onset_counts() -> None:
    run = run_of([30, 59, 60, 61, 62], [[340, 300], [335, 300], [321, 320], [325, 319], [320, 318]])
    seen = _see(run, LIMIT_K, 0.5)  # the scored part is ticks 20 to 99: half of it begins at 60
    np.testing.assert_array_equal(seen.worst_k, [325.0, 320.0])
    np.testing.assert_allclose(seen.seconds, [2 * TICK_S, 0.0])
    np.testing.assert_allclose(seen.duty, [0.5, np.mean(np.arange(60, 90)) / 100.0], rtol=1e-6)
    assert seen.failed == ("", "pump stalled")
    whole = _see(run, LIMIT_K, 0.0)
    np.testing.assert_allclose(whole.seconds, [4 * TICK_S, 0.0])
    np.testing.assert_allclose(whole.duty, [0.5, np.mean(np.arange(20, 90)) / 100.0], rtol=1e-6)


def test_without_boost_or_key_after_the_onset_there_is_nothing_to_count() -> None:
    seen = _see(run_of([30], [[340, 340]]), LIMIT_K, 0.95)  # from tick 96: no boost, key off
    assert np.isnan(seen.worst_k).all()
    assert seen.seconds.tolist() == [0.0, 0.0] and seen.duty.tolist() == [0.0, 0.0]


def spanned(*later: Span) -> SpannedOuting:
    """An outing of 100 ticks, scored from the 20th, its tables called by letters."""
    fields: dict[str, Any] = dict.fromkeys(SpannedOuting.__dataclass_fields__, None)
    own = {"P": "p", "duty_table": "d", "flow_table": "f", "exchanger_table": "x", "ticks": 100, "score_from": 20}
    return SpannedOuting(**{**fields, **own, "later": later})


@pytest.mark.parametrize(("first", "share"), [(0, 0.0), (20, 0.0), (60, 0.5), (84, 0.8)])
def test_the_onset_is_a_share_of_the_scored_part(first: int, share: float) -> None:
    assert _onset_share(spanned(Span(first, "later"))) == pytest.approx(share)  # type: ignore[arg-type]


@pytest.mark.parametrize(
    ("failsafe", "duty", "usual", "said"),
    [
        (True, 1.0, 1.0, "fail-safe"),
        (False, FULL, FULL, "full already"),
        (False, 1.0, FULL - 0.01, "more"),
        (False, FULL - 0.01, 1.0, "less"),
        (False, 0.5 + CHANGED + 1e-9, 0.5, "more"),
        (False, 0.5 + 0.9 * CHANGED, 0.5, "no"),
        (False, 0.5 - 0.9 * CHANGED, 0.5, "no"),
        (False, 0.5 - CHANGED - 1e-9, 0.5, "less"),
    ],
)
def test_what_a_law_noticed_shows_in_its_duty(failsafe: bool, duty: float, usual: float, said: str) -> None:
    assert _noticed(failsafe, duty, usual) == said


def seen(worst: float, seconds: float, duty: float, failed: str = "") -> _Seen:
    """Of two contestants the second; the first is there to be mistaken for it."""
    return _Seen(np.array([999.0, worst]), np.array([77.0, seconds]), np.array([0.77, duty]), ("other", failed))


def test_a_contestant_is_summed_over_faults_and_averaged_over_worlds() -> None:
    faults = [SimpleNamespace(name="locked", probe_fails=False), None, SimpleNamespace(name="open", probe_fails=True)]
    plan: Any = SimpleNamespace(fault_of=lambda e: faults[e], outing_id=lambda e: f"outing {e}")
    mine: Any = SimpleNamespace(name="mine", ranked=True, strategy=SimpleNamespace(senses=("iat_c",)))
    found = {
        0: [(seen(330.0, 4.0, 0.8), seen(310.0, 1.0, 0.5)), (seen(340.0, 8.0, 0.6), seen(311.0, 2.0, 0.3))],
        2: [
            (seen(np.nan, 0.0, 1.0, "pump stalled"), seen(np.nan, 0.0, 0.4)),
            (seen(np.nan, 0.0, 1.0), seen(0, 0, 0.4)),
        ],
    }
    made = _summed(plan, mine, 1, [0, 2], found)
    locked, opened = made.runs
    assert (locked.outing, locked.fault, locked.noticed, locked.failed) == ("outing 0", "locked", "more", "")
    assert locked.worst_c == pytest.approx(340.0 - ZERO_C_K)
    assert (locked.seconds_over, locked.added_seconds) == (6.0, 4.5)
    assert (locked.duty, locked.added_duty) == pytest.approx((0.7, 0.3))
    assert (opened.worst_c, opened.noticed, opened.failed) == (None, "fail-safe", "pump stalled")
    assert (opened.duty, opened.added_duty) == pytest.approx((1.0, 0.6))
    assert (made.worst_c, made.worst_fault) == (locked.worst_c, "locked")
    assert (made.seconds_over, made.added_seconds, made.noticed, made.failed) == (6.0, 4.5, 2, 1)
    blind: Any = SimpleNamespace(name="mine", ranked=True, strategy=SimpleNamespace(senses=("map_kpa",)))
    assert _summed(plan, blind, 1, [2], found).runs[0].noticed == "more", "no fail-safe without the probe"


def test_spans_follow_one_another_to_the_end() -> None:
    """The kernel is run over every tick once, each with what holds there."""
    whole = ("p", "d", "f", "x")
    for later, wanted in (
        ((), [(0, 100, whole)]),
        ((Span(30, "a"), Span(60, "b")), [(0, 30, whole), (30, 60, "a"), (60, 100, "b")]),  # type: ignore[arg-type]
        ((Span(0, "a"),), [(0, 100, "a")]),  # type: ignore[arg-type]
        ((Span(100, "a"),), [(0, 100, whole)]),  # type: ignore[arg-type]
    ):
        assert list(spans_of(spanned(*later))) == wanted


def broken(**parts: dict[str, Any]) -> Fault:
    return Fault("any", "", FaultFile.model_validate({"fault": {"name": "any"}, **parts}), "")


def test_every_part_is_left_what_the_file_says() -> None:
    base = CarNumbers()
    car = replace(
        base,
        loop=replace(base.loop, tank_m3=2e-3, extra_m3=1e-3),
        front=replace(base.front, face_velocity_ratio=0.5, fan_m_s=3.0, still_m_s=0.4),
        pump=replace(base.pump, head_factor=0.9),
        probe=replace(base.probe, tau_s=6.0),
    )
    fault = broken(
        probe={"tau_s": 20}, pump={"head_left_pct": 50}, loop={"tank_left_pct": 25}, front={"air_left_pct": 40}
    )
    made = car_under(fault, car)
    assert (made.probe.tau_s, made.pump.head_factor) == (20.0, pytest.approx(0.45))
    assert (made.loop.tank_m3, made.loop.extra_m3) == pytest.approx((0.5e-3, 0.25e-3))
    front = made.front
    assert (front.face_velocity_ratio, front.fan_m_s, front.still_m_s) == pytest.approx((0.2, 1.2, 0.16))
    assert car_under(broken(probe={"tau_s": 2}), car).probe.tau_s == 6.0, "a car's own slower probe is no faster for it"
    assert car_under(broken(fan={"dead": True}), car) == car


def test_constants_and_flows_once_the_fault_is_there() -> None:
    def tables(fault: Fault) -> tuple[np.ndarray, np.ndarray]:
        p, flow = np.full(at.P_COUNT, 7.0), np.array([4.0, 3.0, 2.0, 1.0])  # flow and torque by turns
        break_tables(p, flow, fault)
        return p, flow

    p, flow = tables(broken(loop={"flow_left_pct": 25}))
    np.testing.assert_allclose(flow, [1.0, 0.75, 0.5, 0.25])
    assert (p == 7.0).all()
    np.testing.assert_allclose(tables(broken(loop={"flow_left_pct": 0}))[1], [0.0, 3 * AIR_TORQUE, 0.0, AIR_TORQUE])
    p, flow = tables(broken(pump={"stalled": True}))
    assert p[at.P_FRICTION] == HELD_FAST_NM and p[at.P_STALL_TICKS] == np.inf and p[at.P_QUIET_KMH] == 7.0
    np.testing.assert_array_equal(flow, [4.0, 3.0, 2.0, 1.0])
    for reads in ("open", "short"):
        p, _ = tables(broken(probe={"reads": reads}))
        assert p[at.P_QUIET_KMH] == -1.0 and p[at.P_FRICTION] == 7.0


def test_reading_and_supply_from_the_onset_on() -> None:
    car = CarNumbers()

    def columns(fault: Fault) -> np.ndarray:
        x = np.full((72001, at.X_COLUMNS), 13.9)
        x[40000:, at.X_SUPPLY] = 10.0
        break_columns(x, fault, car, 1)
        return x

    for reads, wanted in (("open", -40.0), ("short", 150.0)):
        x = columns(broken(probe={"reads": reads}))
        assert x[0, at.X_FAULT_READING] == 13.9
        np.testing.assert_allclose(x[1:, at.X_FAULT_READING], wanted + ZERO_C_K)
        assert (x[:40000, at.X_SUPPLY] == 13.9).all()
    x = columns(broken(supply={"alternator_off": True, "fall_v_per_h": 1.5}))
    off = car.supply.off_v
    np.testing.assert_allclose(x[[0, 1, 36001], at.X_SUPPLY], [13.9, off, off - 1.5])
    assert x[50001, at.X_SUPPLY] == 10.0, "no more than there was"
    x = columns(broken(supply={"alternator_off": True, "fall_v_per_h": 30.0}))
    assert x[39999, at.X_SUPPLY] == LOWEST_BATTERY_V


@pytest.mark.parametrize("order", [1, -1])
def test_a_world_without_boost_hides_no_other(order: int) -> None:
    plan: Any = SimpleNamespace(fault_of=lambda _: SimpleNamespace(name="x", probe_fails=False), outing_id=str)
    mine: Any = SimpleNamespace(name="mine", ranked=True, strategy=SimpleNamespace(senses=()))
    pairs = [(seen(np.nan, 0.0, 1.0), seen(np.nan, 0.0, 1.0)), (seen(350.0, 2.0, 1.0), seen(320.0, 0.0, 1.0))][::order]
    assert _summed(plan, mine, 1, [0], {0: pairs}).worst_c == pytest.approx(350.0 - ZERO_C_K)
