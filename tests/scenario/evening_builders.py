"""Invented recordings, and the commands run in this process as a person would type them."""

from __future__ import annotations

import sys
from pathlib import Path

import numpy as np
import pytest

from arena.cli import main


def run(words: list[str], capsys: pytest.CaptureFixture[str], monkeypatch: pytest.MonkeyPatch) -> tuple[int, str, str]:
    """Exit code, stdout and stderr of one command."""
    monkeypatch.setattr(sys, "argv", ["arena", *words])
    capsys.readouterr()
    with pytest.raises(SystemExit) as ended:
        main()
    shown = capsys.readouterr()
    return int(ended.value.code or 0), shown.out, shown.err


def phone_log(path: Path, seconds: int = 240, fast: bool = False, air_f: float = 59.0, engine_f: float = 180.0) -> Path:
    """A log of an invented drive at 1 Hz in US units: stop and go, or a fast road with boost."""
    t = np.arange(seconds)
    mph = np.clip((58 if fast else 20) + (8 if fast else 22) * np.sin(t / 15.0), 0, 90)
    psi = np.where(fast & (t % 60 < 12), 26.0, 9.0)
    rpm = np.where(mph < 0.5, 800, 1200 + 35 * mph)
    rows = "".join(
        f"{a},{b:.1f},{c:.0f},{d:.2f},{air_f:.1f},{engine_f:.0f}\n" for a, b, c, d in zip(t, mph, rpm, psi, strict=True)
    )
    path.parent.mkdir(exist_ok=True)
    path.write_text(
        "Time [s],GPS Speed [mph],RPM,MAP [psi],Ambient [Â°F],Engine Coolant Temp [Â°F]\n" + rows, encoding="utf-8"
    )
    return path
