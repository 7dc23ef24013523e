"""Lags of the probe against closed forms."""

from __future__ import annotations

import math
from collections.abc import Callable

import numpy as np
import pytest

from arena.plant.probe import lag_s, update_factor

Factor = Callable[[float, float], float]


def stepped(signal: Callable[[float], float], tau: float, step: float, seconds: float, factor: Factor) -> float:
    """Lag output after some seconds, starting at nought, input taken at the middle of each step."""
    value = 0.0
    for k in range(round(seconds / step)):
        value += factor(step, tau) * (signal((k + 0.5) * step) - value)
    return value


def lag_misses(factor: Factor) -> list[str]:
    found = []
    for seconds, expected in ((1.0, 0.632121), (2.0, 0.864665), (3.0, 0.950213), (5.0, 0.993262)):
        if stepped(lambda t: 1.0, 1.0, 0.1, seconds, factor) != pytest.approx(expected, abs=1e-6):
            found.append(f"step after {seconds} time constants")
    if factor(1.0, 5.0) != pytest.approx(0.181269, abs=1e-6):
        found.append("one second of five")
    if stepped(lambda t: 2.0 * t, 5.0, 0.1, 10.0, factor) != pytest.approx(20.0 - 8.64665, abs=1e-3):
        found.append("ramp of 2 K/s")
    return found


def test_first_order_lag() -> None:
    """Closed forms: step, one 1 s update with tau 5 s, and a ramp that lags 8.64665 K after 10 s."""
    assert lag_misses(update_factor) == []


def test_lag_notices_euler_and_wrong_time_constant() -> None:
    assert len(lag_misses(lambda step, tau: step / tau)) == 6  # 0.2 for 0.181269
    assert len(lag_misses(lambda step, tau: update_factor(step, 1.1 * tau))) == 6


def test_lag_of_a_sine() -> None:
    """0.05 Hz through 5 s: gain 0.537029, 57.518 degrees late (closed form)."""
    w, step = 2.0 * math.pi * 0.05, 0.01
    factor = update_factor(step, 5.0)
    value, out = 0.0, []
    for k in range(12000):
        value += factor * (math.sin(w * (k + 0.5) * step) - value)
        out.append(value)
    t = (np.arange(12000) + 1) * step
    whole = t > 80.0  # settled; two whole periods
    a, b = (2.0 * np.mean(np.array(out)[whole] * f(w * t[whole])) for f in (np.sin, np.cos))
    assert math.hypot(a, b) == pytest.approx(0.537029, abs=1e-4)
    assert math.degrees(math.atan2(b, a)) == pytest.approx(-57.518, abs=0.02)


def test_probe_lag_follows_the_root_of_air_flow() -> None:
    """Exponent 0.5 of a small cylinder across a flow (handbook range 0.4 to 0.6, from memory)."""
    assert lag_s(4.0, 0.020, 0.080) == pytest.approx(2.0)
    assert lag_s(4.0, 0.020, 0.005) == pytest.approx(8.0)
