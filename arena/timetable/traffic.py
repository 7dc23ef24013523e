"""Other people on the road: random slow-downs that interrupt the driver, and plans for stop-and-go."""

from __future__ import annotations

from collections.abc import Generator
from dataclasses import dataclass
from typing import Any, Protocol

import numpy as np
import simpy

from arena.scenario.drive import TrafficNoise
from arena.timetable.record import ticks_of
from arena.timetable.standard import CRAWL_SHARE


class Slowed(Protocol):
    """Whom traffic can slow down."""

    @property
    def open_to_traffic(self) -> bool:
        """Whether a slow-down can happen now (not in a pull, on a track, in a recorded trace)."""

    def slow_down(self, slow: SlowDown) -> None:
        """Interrupt what is being driven."""


@dataclass(frozen=True)
class SlowDown:
    """Somebody ahead: down to a share of the present speed, for so many ticks."""

    share: float
    ticks: int


def slow_downs(
    env: simpy.Environment, noise: TrafficNoise, rng: np.random.Generator, driver: Slowed
) -> Generator[simpy.Event, Any, None]:
    """Poisson slow-downs; one that meets the driver where traffic cannot reach passes without effect."""
    while noise.slowdowns_per_hour > 0.0:
        yield env.timeout(max(1, ticks_of(rng.exponential(3600.0 / noise.slowdowns_per_hour))))
        slow = SlowDown(rng.uniform(*noise.to_share), max(1, ticks_of(rng.uniform(*noise.seconds))))
        if driver.open_to_traffic:
            driver.slow_down(slow)


@dataclass(frozen=True)
class Hop:
    """From one halt to the next in stop-and-go."""

    metres: float
    crawl_m_s: float


def next_hop(rng: np.random.Generator, mean_m_s: float, stops_per_km: float) -> Hop:
    """A random crawl: length of mean 1000 / stops_per_km metres, speed somewhat over the wanted mean."""
    share = rng.uniform(*CRAWL_SHARE)
    metres = rng.gamma(2.0, 0.5 * 1000.0 / stops_per_km)
    return Hop(max(5.0, metres), share * mean_m_s)
