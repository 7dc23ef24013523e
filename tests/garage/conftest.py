"""Synthetic logs shared by the garage's tests."""

from __future__ import annotations

import sys
from pathlib import Path

import pytest

sys.path.insert(0, str(Path(__file__).parent))

import garage_builders as make


@pytest.fixture(scope="session")
def pulled(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """Eight minutes of hill pulls by a car unlike the base car, pump on and off in turn, by the reference."""
    truth = make.driven(make.drawn_car(7)[0], "hill-pulls", "mild", "every_half_minute.py", 7, seconds=480.0)
    return make.write_log(tmp_path_factory.mktemp("logs") / "pulled.csv", truth, 7)


@pytest.fixture(scope="session")
def always_full(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """Five minutes with the pump never changing."""
    truth = make.driven(make.drawn_car(8)[0], "hill-pulls", "mild", "always-on", 8, seconds=300.0, exact=False)
    return make.write_log(tmp_path_factory.mktemp("logs") / "full.csv", truth, 8)
