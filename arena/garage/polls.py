"""How far a fit hangs on the moments a logger happened to look: fitted again to every other poll of the inputs.

Boost and pump between polls are guesses, and errors of inputs are not noise of the reading: they bend the numbers.
From what leaving out every other poll does to each number follows the size of what the polls that are there do to it.
"""

from __future__ import annotations

from dataclasses import replace

import numpy as np
from numpy.typing import NDArray

from arena.garage.estimate import Estimate, refine
from arena.garage.predict import Kept
from arena.garage.read_log import TICK_S, GarageLog

Floats = NDArray[np.float64]

# A step lies evenly within half a poll either way of where it seems (0.29 of a poll); leaving out every other poll
# moves where it seems by half a poll.
HALVED = 0.58
FINE_S = 0.4  # polls closer than this miss nothing that matters


def poll_error(found: Estimate) -> Floats:
    """Standard deviation of each number of the fit, in spreads, that comes from polling; zeros for a fast log."""
    log = found.problem.log
    if log.period_s < FINE_S:
        return np.zeros(len(found.z))
    moves = []
    for phase in (0, 1):
        other = replace(found.problem, log=every_other_poll(log, phase), _inputs=None, _kept=Kept(), slopes={})
        moves.append(refine(other, found.z, found.low, found.high) - found.z)
    return np.asarray(HALVED * np.sqrt(np.mean(np.square(moves), axis=0)))


def every_other_poll(log: GarageLog, phase: int) -> GarageLog:
    """The log with its fast inputs read at the even (0) or odd (1) polls only, each standing for two periods."""
    width = max(round(log.period_s / TICK_S), 1)
    tick = np.arange(log.ticks)
    at = np.clip((2 * np.rint((tick - phase * width) / (2 * width)).astype(np.intp) + phase) * width, 0, log.ticks - 1)

    def seen(values: Floats | None) -> Floats | None:
        return None if values is None else values[at]

    return replace(
        log, map_pa=log.map_pa[at], rpm=log.rpm[at], throttle=seen(log.throttle), duty=seen(log.duty),
        air_flow_kg_s=seen(log.air_flow_kg_s),
    )  # fmt: skip
