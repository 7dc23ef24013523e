"""Published and independently worked values, read from the table beside this file.

Each row names its source. A check is a function that lists its misses, so that the same function can be asked to
notice a value that is wrong on purpose.
"""

from __future__ import annotations

import csv
import re
from collections.abc import Callable
from pathlib import Path
from typing import NamedTuple

import pytest

NUMBER = re.compile(r"-?[0-9.]+(?:e-?[0-9]+)?")


class Row(NamedTuple):
    quantity: str
    inputs: dict[str, str]
    expected: list[float]
    tolerance: str
    source: str

    def number(self, name: str) -> float:
        found = NUMBER.match(self.inputs[name])
        assert found, f"{name} of {self.quantity} is no number"
        return float(found.group())

    @property
    def allowed(self) -> float:
        """Absolute, on the first expected value."""
        if self.tolerance.startswith("exact"):
            return 1e-12 * abs(self.expected[0])
        found = NUMBER.match(self.tolerance)
        assert found, f"tolerance of {self.quantity} is no number"
        return float(found.group()) * (abs(self.expected[0]) / 100 if "%" in self.tolerance.split("(")[0] else 1.0)


def _inputs(text: str) -> dict[str, str]:
    pairs = (part.split("=", 1) for part in re.split(r"[; (]", text) if "=" in part)
    return {"first": text.split(";", maxsplit=1)[0]} | {key: value.strip(")") for key, value in pairs}


@pytest.fixture(scope="session")
def published() -> Callable[[str], list[Row]]:
    """Rows whose quantity starts with a text; an empty answer is a fault of the test."""
    with (Path(__file__).parent / "check_values.csv").open(newline="") as file:
        table = list(csv.DictReader(file))

    def find(quantity: str) -> list[Row]:
        rows = [
            Row(
                line["quantity"],
                _inputs(line["inputs"]),
                [float(part) for part in line["expected"].split("/")],
                line["tolerance"],
                line["source"],
            )
            for line in table
            if line["quantity"].startswith(quantity)
        ]
        assert rows, f"no published row starts with {quantity!r}"
        return rows

    return find
