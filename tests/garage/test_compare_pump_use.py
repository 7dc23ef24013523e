"""Pump use of two logs is compared where they drove alike, or not at all; the step of the outside air as logged."""

from __future__ import annotations

from pathlib import Path

import numpy as np
import pytest

from arena.garage.before_after import Change, compare_logs
from arena.garage.read_log import read_garage_log

PUMP = ("pump_hours_per_100_km", "pump_share_pct")


def invented(
    path: Path, seconds: float, kmh: float, on: tuple[float, float] = (1.0, 0.0), air_c: float = 20.0, seed: int = 1
) -> Path:
    """An invented log: a road speed that swings by 5 km/h, the pump on for on[0] s and off for on[1] s in turn."""
    rng = np.random.default_rng(seed)
    t = np.arange(0.0, seconds, 0.5)
    speed, kpa = kmh + 5.0 * np.sin(t / 17.0), 60.0 + 20.0 * np.sin(t / 11.0) + rng.normal(0.0, 1.0, len(t))
    iat = air_c + 12.0 + 2.0 * np.sin(t / 40.0) + rng.normal(0.0, 0.2, len(t))
    duty = np.where((t + 7.0 * seed) % sum(on) < on[0], 100, 0)
    rows = zip(t, speed, 1200.0 + 20.0 * speed, kpa, iat, duty, strict=True)
    lines = [f"{a:.2f},{b:.2f},{c:.0f},{d:.1f},{e:.2f},{air_c:.1f},{f}" for a, b, c, d, e, f in rows]
    path.write_text(
        "\n".join(["time_s,speed_kmh,rpm,map_kpa,iat_c,ambient_c,duty_pct", *lines]) + "\n", encoding="utf-8"
    )
    return path


def pump_use(before: Path, after: Path) -> list[Change]:
    found = {c.name: c for c in compare_logs(before, after).changes}
    return [found[name] for name in PUMP]


def test_pumps_always_on_are_not_told_apart_by_their_roads(tmp_path: Path) -> None:
    town, motorway = invented(tmp_path / "town.csv", 700, 30), invented(tmp_path / "motorway.csv", 700, 100, seed=2)
    for change in pump_use(town, motorway):
        assert (change.verdict, change.change, change.low, change.high) == ("cannot tell", None, None, None)
        assert "has 0 s at speeds and loads like the other's" in change.why


def test_few_stretches_tell_nothing_and_many_leave_an_interval(tmp_path: Path) -> None:
    short = [invented(tmp_path / f"short{k}.csv", 210, 60 + k, seed=k + 1) for k in range(2)]
    for change in pump_use(*short):
        assert change.verdict == "cannot tell" and change.low is None and "separate stretches" in change.why
    full = [invented(tmp_path / f"full{k}.csv", 900, 60 + k, seed=k + 1) for k in range(2)]
    for change in pump_use(*full):
        assert change.change == pytest.approx(0.0, abs=1e-6)
        assert change.low is not None and change.high is not None and change.low < -1e-3 and change.high > 1e-3
        assert "about " in change.why and "minutes on the same roads in each log would tell" in change.why


def test_a_pump_that_switches_seldom_is_not_taken_for_many_facts(tmp_path: Path) -> None:
    slow = invented(tmp_path / "slow.csv", 700, 60, (400.0, 400.0))
    for change in pump_use(slow, invented(tmp_path / "more.csv", 700, 61, (600.0, 400.0), seed=2)):
        assert change.verdict == "cannot tell" and "separate stretches" in change.why


def test_half_the_pump_use_is_seen_and_put_as_hours_at_one_speed(tmp_path: Path) -> None:
    before = invented(tmp_path / "before.csv", 1200, 60)
    hours, share = pump_use(before, invented(tmp_path / "after.csv", 1200, 61, (30.0, 30.0), seed=2))
    assert hours.verdict == share.verdict == "better"
    assert share.change == pytest.approx(-50.0, abs=10.0)
    # -50 % of the 100 / 60.5 h that 100 km take at the mean of both speeds.
    assert hours.change is not None and share.change is not None
    assert hours.change == pytest.approx(share.change / 100.0 * 100.0 / 60.5, rel=0.02)


def test_a_pump_that_follows_temperature_is_not_compared_over_days_unlike(tmp_path: Path) -> None:
    mild = invented(tmp_path / "mild.csv", 700, 60, (40.0, 20.0))
    hot = invented(tmp_path / "hot.csv", 700, 60, (60.0, 5.0), air_c=31.0, seed=2)
    for change in pump_use(mild, hot):
        assert change.verdict == "cannot tell" and "outside air differs by 11 K" in change.why


@pytest.mark.parametrize(
    ("header", "airs", "step_k"),
    [
        ("ambient_c", ("20", "21"), 1.0), ("ambient_c", ("20.3", "20.4"), 0.1), ("ambient_c", ("20", "20.5"), 0.1),
        ("outside air [degF]", ("67", "69"), 1.0 / 1.8),
    ],
)  # fmt: skip
def test_whole_degrees_are_known_however_they_were_polled(
    tmp_path: Path, header: str, airs: tuple[str, str], step_k: float
) -> None:
    rng = np.random.default_rng(3)
    t = np.cumsum(rng.uniform(0.6, 0.9, 300))
    lines = [f"{a:.3f},60,2000,80,35,{airs[(k // 40) % 2]}" for k, a in enumerate(t)]
    path = tmp_path / "uneven.csv"
    path.write_text("\n".join([f"time_s,speed_kmh,rpm,map_kpa,iat_c,{header}", *lines]) + "\n", encoding="utf-8")
    assert read_garage_log(path).ambient_step_k == pytest.approx(step_k)
    assert read_garage_log(path, ambient_c=20.0).ambient_step_k == 1.0
