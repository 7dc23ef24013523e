"""What the pump's current tells of the loop: logged or not, and with the pump full or not; and whose code plays it."""

from __future__ import annotations

from pathlib import Path

import garage_builders as make
import numpy as np
import pytest

from arena.garage import predict
from arena.garage.estimate import pose
from arena.garage.health import _always, _current
from arena.garage.read_log import read_garage_log


def current_of(path: Path, most_duty_pct: float, full_s: float, amps: float | None) -> str:
    """What the current is taken to say on an invented log: pump off, then at `most_duty_pct`, full for `full_s`."""
    t = np.arange(0.0, 200.0, 0.5)
    duty = np.where(t < 100.0, 0.0, most_duty_pct)
    duty[(t >= 150.0) & (t < 150.0 + full_s)] = 100.0
    lines = [
        "time_s,speed_kmh,rpm,map_kpa,iat_c,ambient_c,duty_pct" + ",pump_current_a" * (amps is not None),
        *(
            f"{a:g},80,2000,90,{35 + a % 3:g},20,{b:g}" + (f",{amps * b / 100:g}" if amps is not None else "")
            for a, b in zip(t, duty, strict=True)
        ),
    ]
    path.write_text("\n".join(lines) + "\n", encoding="utf-8")
    return _current(pose(read_garage_log(path), make.base_car()))[1]


def test_a_current_that_is_logged_is_not_said_to_be_missing(tmp_path: Path) -> None:
    rated = make.base_car().pump.rated_current_a
    assert current_of(tmp_path / "none.csv", 100.0, 0.0, None) == "not logged"
    assert current_of(tmp_path / "full.csv", 100.0, 0.0, rated) == "usual"
    assert current_of(tmp_path / "light.csv", 80.0, 20.0, 0.5 * rated) == "light"
    for most, full_s in ((80.0, 0.0), (90.0, 3.0)):
        assert current_of(tmp_path / "part.csv", most, full_s, rated) == "not at full duty"
    assert "is not logged" in _always("not logged")[0]
    (said,) = _always("not at full duty")
    assert "is logged, but not for 5 s above 95 % duty" in said and "run the pump full" in said
    assert _always("usual") == []


def test_the_garages_own_law_is_not_told_of_as_somebodys_code(monkeypatch: pytest.MonkeyPatch) -> None:
    told: list[Path] = []
    monkeypatch.setattr("arena.strategies.base.on_code", [told.append])
    lanes = predict._lanes.__wrapped__(2)
    assert lanes is not None and told == []
