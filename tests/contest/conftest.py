"""A small season that plays in a second or two."""

from __future__ import annotations

from pathlib import Path

import pytest

SEASON = """
[season]
name = "small"
summary = "two short outings, for tests"
source = "invented"

[prices]
tracking_per_k_h = 0.1
tracking_reasoning = "test"
wear_per_h = 0.04
wear_reasoning = "test"
energy_per_kwh = 0.95
energy_reasoning = "test"

[[outing]]
drive = "hill-pulls"
climate = "mild"
per_year = 20

[[outing]]
drive = "recorded-trip"
climate = "hot"
per_year = 50
"""


@pytest.fixture(scope="session")
def small_season(tmp_path_factory: pytest.TempPathFactory) -> Path:
    path = tmp_path_factory.mktemp("season") / "small.toml"
    path.write_text(SEASON, encoding="utf-8")
    return path
