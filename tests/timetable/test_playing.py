"""What is promised of every outing: ticks, seeds, scoring marks, limits, and that every phase kind plays."""

from __future__ import annotations

import subprocess
import sys
from collections.abc import Callable
from dataclasses import fields
from typing import Any

import numpy as np
import pytest
from timetable_builders import climate, cycle, drive, labelled

from arena.errors import BadInput
from arena.plant.numbers import CarNumbers
from arena.timetable.outing import Played, outing_seed, play

ANY_TRAFFIC: list[dict[str, Any]] = [
    {"do": "cruise", "speed_kmh": [50, 90], "seconds": 300},
    {"do": "traffic", "seconds": 120},
    {"do": "stop", "seconds": [5, 30]},
]


def as_bytes(run: Played) -> bytes:
    return b"".join(
        value.tobytes() if isinstance(value, np.ndarray) else repr(value).encode()
        for value in (getattr(run, field.name) for field in fields(run))
    )


def test_same_seed_same_bytes() -> None:
    plan = drive(*ANY_TRAFFIC, slow_downs=60.0)
    seed = outing_seed(7, "commute/winter", 2)
    first, second = (play(plan, climate(), CarNumbers(), seed) for _ in range(2))
    assert as_bytes(first) == as_bytes(second)
    assert as_bytes(play(plan, climate(), CarNumbers(), outing_seed(7, "commute/winter", 2))) == as_bytes(first)


def test_another_replicate_is_another_drive() -> None:
    plan = drive(*ANY_TRAFFIC, slow_downs=60.0)
    runs = [play(plan, climate(), CarNumbers(), outing_seed(7, "commute/winter", k)) for k in range(3)]
    assert len({as_bytes(run) for run in runs}) == 3


def test_seed_is_keyed_by_root_outing_and_replicate() -> None:
    states = {
        tuple(outing_seed(*key).generate_state(4))
        for key in ((1, "a", 0), (2, "a", 0), (1, "b", 0), (1, "a", 1), (1, "a ", 0))
    }
    assert len(states) == 5
    assert outing_seed(1, "a", 0).entropy[1] == 0xCA978112  # the first word of SHA-256("a"), FIPS 180-4


def test_every_array_has_one_row_per_tick(played: Callable[..., Played]) -> None:
    run = played(*ANY_TRAFFIC)
    arrays = {field.name: getattr(run, field.name) for field in fields(run)}
    arrays = {name: value for name, value in arrays.items() if isinstance(value, np.ndarray)}
    assert {value.shape for value in arrays.values()} == {(run.ticks,)}
    assert all(np.isfinite(value).all() for value in arrays.values())
    assert isinstance(run.ticks, int) and isinstance(run.score_from, int) and isinstance(run.drive_until, int)
    assert all(isinstance(event.tick, int) for event in run.events)
    for share in ("pedal", "throttle", "engine_on", "key_on", "fan_on", "cranking"):
        assert (arrays[share] >= 0.0).all() and (arrays[share] <= 1.0).all()


def test_long_drive_does_not_drift(played: Callable[..., Played]) -> None:
    """1800.1 s are 18,001 ticks and 1800 s are 18,000; sums of 0.1 in floating point are off by then."""
    for seconds, ticks in ((1800.1, 18_001), (1800.0, 18_000)):
        run = played({"do": "idle", "seconds": seconds})
        assert run.drive_until - run.score_from == ticks


def test_preroll_and_tail(played: Callable[..., Played]) -> None:
    idle = {"do": "idle", "seconds": 10}
    cold, warm, soaked = (played(idle, start=start) for start in ("cold", "warm", "soaked"))
    assert cold.score_from == 0
    assert cold.engine_k[0] == pytest.approx(298.15)
    assert cold.key_on[0] == 1.0 and cold.engine_on[0] == 0.0 and cold.cranking.sum() == 8
    assert warm.score_from == 6000
    assert warm.engine_on[0] == 1.0 and warm.speed_m_s[:6000].max() > 20.0
    assert 355.0 < warm.engine_k[6000] < 372.0
    assert soaked.score_from == 12_000
    assert not soaked.engine_on[6000:12_000].any() and not soaked.key_on[6000:12_000].any()
    assert soaked.key_on[12_000] == 1.0
    for run in (cold, warm, soaked):
        assert run.drive_until < run.ticks
        assert not run.key_on[-300:].any() and run.key_on[-301] == 1.0
        assert run.engine_on[-900:-300].all() and (run.speed_m_s[-900:-300] == 0.0).all()
        held = np.abs(run.speed_m_s[run.drive_until :] * 3.6 - 50.0) < 1.0
        assert 2400 <= held.sum() < 2500


def test_drive_that_ends_parked_is_started_for_the_tail(played: Callable[..., Played]) -> None:
    run = played({"do": "cruise", "speed_kmh": 50, "seconds": 20}, {"do": "park", "minutes": 5})
    last = run.drive_until - 1
    assert not run.engine_on[last] and not run.key_on[last]
    assert run.cranking[run.drive_until :].sum() == 8
    assert run.speed_m_s[run.drive_until :].max() > 13.0


STEPS: dict[str, dict[str, Any]] = {
    "idle": {"do": "idle", "seconds": 5},
    "stop": {"do": "stop", "seconds": [5, 9]},
    "cruise": {"do": "cruise", "speed_kmh": [60, 70], "seconds": 20},
    "accelerate": {"do": "accelerate", "to_kmh": 80, "m_s2": 2},
    "brake": {"do": "brake", "to_kmh": 30},
    "pull": {"do": "pull", "to_kmh": 100, "throttle_pct": 80},
    "descend": {"do": "descend", "speed_kmh": 50, "seconds": 20, "grade_pct": -7},
    "traffic": {"do": "traffic", "seconds": 60},
    "lap": {"do": "lap", "straights_m": [400, 200], "corner_kmh": [80, 60]},
    "park": {"do": "park", "minutes": 1},
    "trace": {"do": "trace", "file": "trace.csv"},
}


@pytest.mark.parametrize("kind", STEPS)
def test_every_kind_plays_alone_and_after_a_cruise(played: Callable[..., Played], kind: str) -> None:
    traces = {"trace.csv": cycle("us_hwfet")}
    cruise = {"do": "cruise", "speed_kmh": 60, "seconds": 10}
    for phases in ((STEPS[kind],), (cruise, STEPS[kind], cruise)):
        run = played(*phases, traces=traces)
        number = len(phases) // 2 + 1
        during = labelled(run, f"{number} {kind}")
        if kind == "brake" and len(phases) == 1:
            assert not during.any()  # already slower
        else:
            assert during.any()
        assert run.speed_m_s.min() >= 0.0


def test_repeats_nest_and_are_numbered_phase_round_step(played: Callable[..., Played]) -> None:
    inner = {"do": "repeat", "times": 2, "steps": [{"do": "idle", "seconds": 1}]}
    run = played(
        {"do": "idle", "seconds": 2},
        {"do": "repeat", "times": 3, "steps": [{"do": "idle", "seconds": 4}, inner]},
    )
    expected = ["1 idle"]
    for turn in (1, 2, 3):
        expected += [f"2.{turn}.1 idle", f"2.{turn}.2.1.1 idle", f"2.{turn}.2.2.1 idle"]
    assert [label for label in run.phases if label[0].isdigit()] == expected
    assert run.drive_until - run.score_from == 10 * (2 + 3 * (4 + 2))


def test_lengths_in_seconds_count_from_when_the_speed_is_reached(played: Callable[..., Played]) -> None:
    run = played({"do": "cruise", "speed_kmh": 90, "seconds": 60})
    held = np.abs(run.speed_m_s[labelled(run, "1 cruise")] * 3.6 - 90.0) < 0.6
    assert 595 <= held.sum() <= 605


def test_lap_takes_corners_at_their_speed(played: Callable[..., Played]) -> None:
    run = played({"do": "lap", "straights_m": [600, 300], "corner_kmh": [70, 90], "corner_m": 100})
    for number, corner_kmh, straight_m in ((1, 70.0, 600.0), (2, 90.0, 300.0)):
        corner = run.speed_m_s[labelled(run, f"1 lap corner {number}")]
        straight = labelled(run, f"1 lap straight {number}")
        assert corner[-1] * 3.6 == pytest.approx(corner_kmh, abs=1.0)
        braking_m = corner[corner > corner_kmh / 3.6 + 0.2].sum() * 0.1
        assert run.speed_m_s[straight].sum() * 0.1 + braking_m == pytest.approx(straight_m, abs=8.0)
        assert (run.pedal[straight] == 1.0).mean() > 0.8


def test_impossible_pull_is_told_once_and_the_drive_goes_on(played: Callable[..., Played]) -> None:
    pull = {"do": "pull", "to_kmh": 300, "longest_s": 12}
    run = played(
        {"do": "repeat", "times": 3, "steps": [pull, {"do": "stop", "seconds": 2}]},
        {"do": "idle", "seconds": 3},
    )
    assert len(run.notes) == 1
    assert run.notes[0].startswith("phase 1.1.1 (pull) could not reach 300 km/h within 12 s, it got to 1")
    assert "2 more times" in run.notes[0]
    assert labelled(run, "2 idle").sum() == 30
    assert labelled(run, "1.2.1 pull").sum() == 120


def test_hill_too_steep_for_the_car_is_told(played: Callable[..., Played]) -> None:
    run = played({"do": "cruise", "speed_kmh": 200, "seconds": 5, "grade_pct": 20})
    assert any("did not reach 200 km/h" in note for note in run.notes)


def test_possible_drive_leaves_no_notes(played: Callable[..., Played]) -> None:
    assert played(*ANY_TRAFFIC).notes == ()


def test_too_long_a_drive_is_refused_before_it_is_played() -> None:
    hours = {"do": "repeat", "times": 300, "steps": [{"do": "idle", "seconds": 3600}]}
    with pytest.raises(BadInput, match=r'"test drive".*10,000,000 ticks') as caught:
        play(drive(hours), climate(), CarNumbers(), 1)
    assert caught.value.remedy


def test_drive_that_turns_out_too_long_is_refused(monkeypatch: pytest.MonkeyPatch) -> None:
    """Ways to a speed are not known beforehand, so the limit also holds while playing, whoever passes it."""
    monkeypatch.setattr("arena.timetable.record.MOST_TICKS", 9_000)
    monkeypatch.setattr("arena.timetable.vehicle.MOST_TICKS", 9_000)
    for phases in (
        [{"do": "cruise", "speed_kmh": 100, "seconds": 280}],
        [{"do": "cruise", "speed_kmh": 100, "seconds": 270}, {"do": "park", "minutes": 1}],
    ):
        with pytest.raises(BadInput) as caught:
            play(drive(*phases), climate(), CarNumbers(), 1)
        assert len(caught.value.faults) == 1 and "the limit for one outing" in caught.value.faults[0]


def test_import_stays_light() -> None:
    code = "import sys, arena.timetable.outing; print(any(m in sys.modules for m in ('numba', 'scipy', 'simpy')))"
    out = subprocess.run([sys.executable, "-c", code], capture_output=True, text=True, check=True)
    assert out.stdout.strip() == "False"


def test_plain_and_compiled_kernel_agree(played: Callable[..., Played], monkeypatch: pytest.MonkeyPatch) -> None:
    from arena.timetable import heat_kernel, vehicle_kernel

    phases = (
        {"do": "cruise", "speed_kmh": 50, "seconds": 5},
        {"do": "pull", "to_kmh": 120},
        {"do": "stop", "seconds": 5},
    )
    fast = played(*phases, start="cold", slow_downs=60.0)
    monkeypatch.setattr(vehicle_kernel, "compiled", lambda: vehicle_kernel.integrate)
    monkeypatch.setattr(heat_kernel, "compiled", lambda: heat_kernel.warm)
    plain = played(*phases, start="cold", slow_downs=60.0)
    assert plain.ticks == fast.ticks
    for name in ("speed_m_s", "map_pa", "rpm", "engine_k"):
        np.testing.assert_allclose(getattr(plain, name), getattr(fast, name), rtol=1e-9)
