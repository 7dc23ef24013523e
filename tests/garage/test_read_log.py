"""A log becomes what the plant needs: forward fill, engine stops, gaps, units and what is not there."""

from __future__ import annotations

from pathlib import Path

import numpy as np
import pytest

from arena.errors import BadInput
from arena.garage.read_log import read_garage_log, real_samples


def written(path: Path, rows: int = 300, **columns: np.ndarray) -> Path:
    """A log of one row a second, steady driving where nothing else is given."""
    time = np.arange(rows, dtype=np.float64)
    usual = {
        "time_s": time,
        "speed_kmh": 60.0 + 0.0 * time,
        "rpm": 2000.0 + 5.0 * (time % 7),
        "map_kpa": 120.0 + time % 3,
        "iat_c": 30.0 + 0.5 * (time % 2),
        "ambient_c": 20.0 + 0.0 * time,
        "duty_pct": 100.0 * (time > 150),
    }
    table = {name: values for name, values in {**usual, **columns}.items() if values is not None}
    lines = [",".join(table)] + [",".join(f"{v:g}" for v in row) for row in zip(*table.values(), strict=True)]
    path.write_text("\n".join(lines) + "\n", encoding="utf-8")
    return path


def test_forward_fill_is_told_from_readings() -> None:
    time = np.round(np.arange(0.0, 20.0, 0.1), 1)
    value = np.floor(time + 1e-9)  # a new reading every second, held for ten rows
    times, values = real_samples(time, value, 1.0)
    assert np.allclose(times, np.arange(20.0))
    assert np.array_equal(values, np.arange(20.0))


def test_a_held_reading_counts_once_a_period() -> None:
    time = np.round(np.arange(0.0, 10.0, 0.1), 1)
    times, values = real_samples(time, np.where(time < 4.95, 1.0, 2.0), 1.0)
    assert len(times) == 10
    assert (values == 1.0).sum() == 5


def test_readings_in_and_after_an_engine_stop_are_left_out(tmp_path: Path) -> None:
    time = np.arange(500.0)
    stopped = (time >= 200) & (time < 210)
    log = read_garage_log(written(tmp_path / "a.csv", 500, rpm=np.where(stopped, 0.0, 2000.0 + time % 7)))
    assert log.usable[1000] and not log.usable[2050] and not log.usable[3200] and log.usable[3400]
    assert any("engine stops" in note for note in log.notes)


def test_a_long_gap_leaves_the_longest_piece(tmp_path: Path) -> None:
    time = np.concatenate([np.arange(100.0), 400.0 + np.arange(200.0)])
    log = read_garage_log(written(tmp_path / "a.csv", 300, time_s=time))
    assert log.seconds == pytest.approx(199.1)
    assert any("longest piece" in note for note in log.notes)


def test_a_short_gap_is_masked(tmp_path: Path) -> None:
    time = np.arange(300.0) + np.where(np.arange(300) >= 150, 8.0, 0.0)
    log = read_garage_log(written(tmp_path / "a.csv", 300, time_s=time))
    assert not log.usable[1530] and log.usable[1480] and log.usable[1900]


def test_without_ambient_it_is_asked_for(tmp_path: Path) -> None:
    path = written(tmp_path / "a.csv", ambient_c=None)
    with pytest.raises(BadInput) as fault:
        read_garage_log(path)
    assert "ambient_c" in fault.value.faults[0] and "--ambient" in fault.value.remedy
    assert read_garage_log(path, ambient_c=25.0).ambient_k[0] == pytest.approx(298.15)


def test_duty_logged_given_or_unknown(tmp_path: Path) -> None:
    path = written(tmp_path / "a.csv")
    assert read_garage_log(path).pump_changes
    assert not read_garage_log(path, duty_pct=100.0).pump_changes
    bare = read_garage_log(written(tmp_path / "b.csv", duty_pct=None))
    assert bare.duty is None and "not known" in bare.duty_from


def test_units_in_headers(tmp_path: Path) -> None:
    path = written(tmp_path / "a.csv", iat_c=None, **{"Intake air temp [F]": 86.0 + 0.9 * (np.arange(300) % 2)})
    assert read_garage_log(path).observed["iat"].value_k[0] == pytest.approx(303.15)


def test_too_short_is_refused(tmp_path: Path) -> None:
    with pytest.raises(BadInput, match="at least 90 s"):
        read_garage_log(written(tmp_path / "a.csv", 60))
