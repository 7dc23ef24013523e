"""Prints every plausible range beside what the shipped car does in the model. `python tests/bench/sanity.py`."""

from __future__ import annotations

import sys
from pathlib import Path

ROOT = Path(__file__).parents[2]
sys.path[:0] = [str(ROOT), str(ROOT / "tests" / "plant")]

import plant_sanity  # noqa: E402
from test_sanity import DEPARTURES  # noqa: E402

if __name__ == "__main__":
    print(plant_sanity.table(plant_sanity.all_checks(), DEPARTURES))
