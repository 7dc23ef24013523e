"""Cars on disk and the command run in-process, for the garage's tests."""

from __future__ import annotations

import json
from pathlib import Path
from typing import Any

from typer.testing import CliRunner

from arena.cli import app

# A motor on a bench: no leads, no brush drop, its load given with the command. The file ends inside [pump].
WORKED_CAR = """[car]
name = "bench-motor"
[supply]
lead_ohm = 0
[pump]
resistance_ohm = 0.6
ke_v_s = 0.018
brush_v = 0
inductance_mh = 50
pwm_hz = 20000
"""


def car_file(folder: Path, text: str) -> Path:
    path = folder / "car.toml"
    path.write_text(text, encoding="utf-8")
    return path


def ask(*words: str) -> str:
    """What a command prints; a fault is raised."""
    found = CliRunner().invoke(app, list(words), catch_exceptions=False)
    assert found.exit_code == 0
    return found.stdout


def worked(folder: Path, *options: str) -> dict[str, Any]:
    """`arena wiring --json` for the worked motor at 12 V."""
    car = car_file(folder, WORKED_CAR)
    words = ("wiring", "--car", str(car), "--load-nm", "0.004,4e-7", "--at-v", "12", "--json", *options)
    found: dict[str, Any] = json.loads(ask(*words))
    return found
