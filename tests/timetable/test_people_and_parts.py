"""Traffic, ignition, and the engine's heat with its fan."""

from __future__ import annotations

from collections.abc import Callable

import numpy as np
import pytest
from timetable_builders import climate, labelled

from arena.timetable.outing import Played

CRUISE = {"do": "cruise", "speed_kmh": 80, "seconds": 600}


def test_slow_downs_lengthen_the_drive_and_slow_it(played: Callable[..., Played]) -> None:
    free, busy = (played(CRUISE, slow_downs=rate, seed=3) for rate in (0.0, 60.0))
    slowed = [event for event in busy.events if event.source == "traffic"]
    assert len(slowed) >= 4
    assert busy.drive_until > free.drive_until
    assert busy.speed_m_s[labelled(busy, "1 ")].min() < 0.8 * 80 / 3.6 < free.speed_m_s[labelled(free, "1 ")][300]
    assert labelled(busy, "1 slowed").sum() == busy.drive_until - busy.score_from - labelled(busy, "1 cruise").sum()


def test_before_the_first_slow_down_nothing_differs(played: Callable[..., Played]) -> None:
    """A segment taken back and played again leaves no trace before the interruption."""
    free, busy = (played(CRUISE, slow_downs=rate, seed=3) for rate in (0.0, 60.0))
    first = next(event.tick for event in busy.events if event.source == "traffic")
    assert first > busy.score_from
    for name in ("speed_m_s", "map_pa", "throttle", "rpm", "air_flow_kg_s"):
        np.testing.assert_array_equal(getattr(free, name)[:first], getattr(busy, name)[:first])
    jump = np.abs(np.diff(busy.speed_m_s[busy.score_from : busy.drive_until]))
    assert jump.max() < 0.4  # no tick is skipped or played twice: 4 m/s2 at most


def test_slow_downs_come_as_often_as_asked(played: Callable[..., Played]) -> None:
    long = {"do": "cruise", "speed_kmh": 60, "seconds": 7200}
    count = [
        sum(event.source == "traffic" for event in played(long, slow_downs=30.0, seed=seed).events) for seed in range(6)
    ]
    # 60 expected in each drive of two hours, some lost while one is being played; Poisson spread
    assert 48 < np.mean(count) < 68


def test_traffic_leaves_pulls_traces_and_the_tail_alone(played: Callable[..., Played]) -> None:
    run = played(
        {"do": "repeat", "times": 10, "steps": [{"do": "pull", "to_kmh": 150}, {"do": "stop", "seconds": 1}]},
        slow_downs=240.0,
    )
    assert not [event for event in run.events if event.source == "traffic"]


@pytest.mark.parametrize(("mean_kmh", "stops_per_km"), [(15.0, 4.0), (10.0, 8.0), (30.0, 1.0)])
def test_stop_and_go_meets_its_mean_and_its_stops(
    played: Callable[..., Played], mean_kmh: float, stops_per_km: float
) -> None:
    phase = {"do": "traffic", "seconds": 3000, "mean_kmh": mean_kmh, "stops_per_km": stops_per_km}
    for seed in range(3):
        run = played(phase, seed=seed)
        speed = run.speed_m_s[labelled(run, "1 traffic")]
        assert speed.size == 30_000
        stops = np.sum((speed[1:] == 0.0) & (speed[:-1] > 0.0)) / (speed.sum() * 0.1 / 1000.0)
        assert speed.mean() * 3.6 == pytest.approx(mean_kmh, rel=0.1)
        assert stops == pytest.approx(stops_per_km, rel=0.4)


def test_stop_and_go_that_cannot_keep_its_mean_says_so(played: Callable[..., Played]) -> None:
    run = played({"do": "traffic", "seconds": 900, "mean_kmh": 60, "stops_per_km": 12})
    assert any("cannot average 60 km/h" in note for note in run.notes)


def test_traffic_without_stops_flows(played: Callable[..., Played]) -> None:
    run = played({"do": "traffic", "seconds": 900, "mean_kmh": 30, "stops_per_km": 0})
    speed = run.speed_m_s[labelled(run, "1 traffic")][200:]
    assert speed.min() > 3.0
    assert speed.mean() * 3.6 == pytest.approx(30.0, rel=0.15)


def test_park_turns_the_key_off_and_the_next_phase_turns_it_on(played: Callable[..., Played]) -> None:
    run = played(
        {"do": "cruise", "speed_kmh": 60, "seconds": 20},
        {"do": "park", "minutes": 12},
        {"do": "cruise", "speed_kmh": 60, "seconds": 20},
    )
    parked = labelled(run, "2 park") & (run.key_on == 0.0)
    assert parked.sum() == 7200
    for name in ("engine_on", "rpm", "air_flow_kg_s", "speed_m_s", "pedal", "throttle", "fan_on"):
        assert not getattr(run, name)[parked].any()
    assert (run.map_pa[parked] == run.ambient_pa[parked]).all()
    what = [event.what for event in run.events if event.source == "ignition" and event.tick < run.drive_until]
    assert what == ["engine off", "key off", "key on", "cranking", "engine on"]
    after = np.flatnonzero(parked)[-1] + 1
    assert run.key_on[after : after + 28].all() and not run.engine_on[after : after + 28].any()
    assert run.cranking[after : after + 28].sum() == 8
    assert run.engine_on[after + 28]


def test_engine_warms_up_first_order_and_is_held_by_the_thermostat(played: Callable[..., Played]) -> None:
    """63 % of the way from ambient to 90 degC in about warm_up_tau_s at a cruise."""
    run = played({"do": "cruise", "speed_kmh": 80, "seconds": 2400}, start="cold", air=climate(20.0))
    assert run.engine_k[0] == pytest.approx(293.15)
    passed = int(np.argmax(run.engine_k > 293.15 + 0.632 * 70.0))
    assert 0.8 * 4200 < passed < 1.2 * 4200
    last = run.engine_k[run.drive_until - 1]
    assert 359.0 < last < 369.0
    assert np.diff(run.engine_k[:3000]).min() > -0.01


def test_engine_cools_slowly_when_parked(played: Callable[..., Played]) -> None:
    run = played({"do": "park", "minutes": 60})
    off = np.flatnonzero(labelled(run, "1 park") & (run.key_on == 0.0))
    start, end = run.engine_k[off[0]], run.engine_k[off[-1]]
    assert (end - 298.15) / (start - 298.15) == pytest.approx(np.exp(-1.0), rel=1e-3)


def test_fan_has_hysteresis_and_only_runs_when_the_air_is_slow(played: Callable[..., Played]) -> None:
    run = played({"do": "cruise", "speed_kmh": 90, "seconds": 60}, {"do": "idle", "seconds": 3600}, air=climate(32.0))
    on = [event.tick for event in run.events if event.what == "fan on"]
    off = [event.tick for event in run.events if event.what == "fan off"]
    assert len(on) >= 2
    assert run.engine_k[on].min() > 273.15 + 97.0 and run.engine_k[on].max() < 273.15 + 97.2
    idle_off = [tick for tick in off if tick < run.drive_until]
    assert run.engine_k[idle_off].max() < 273.15 + 92.0
    assert not (run.fan_on[run.speed_m_s > 16.0]).any()
    switched = np.flatnonzero(np.diff(run.fan_on)) + 1
    assert sorted(on + off) == switched.tolist()
    assert run.engine_k.max() < 273.15 + 100.0


def test_fan_is_not_needed_in_the_cold(played: Callable[..., Played]) -> None:
    run = played({"do": "idle", "seconds": 3600}, air=climate(-15.0))
    assert not run.fan_on.any()
