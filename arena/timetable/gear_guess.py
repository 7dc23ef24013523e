"""Road speed of a recording without one: from engine speed and the car's gearing, the gear guessed.

The most likely run of gears is found (Viterbi) on half-second steps. A gear fits where the engine's speed changes as
the power made, the car's mass and the road's resistance let it change in that gear; between gears, and at idle, the
car stands or rolls. Where the recording says the gear, only that one or an open clutch is open to it. Level road, no
slipping converter. The numbers below are judgement, chosen on drives whose speed is known (tests/bench/gears.py).
"""

from __future__ import annotations

from dataclasses import dataclass
from functools import lru_cache

import numpy as np
from numpy.typing import NDArray

from arena.errors import BadInput
from arena.scenario.drive import TraceData
from arena.scenario.trace_csv import ENGINE_STOPPED_RPM
from arena.timetable import powertrain
from arena.timetable.powertrain import RoadCar

Floats = NDArray[np.float64]

STEP_S = 0.5
BIN_M_S = 0.5  # of the speed while the clutch is open
AIR_K = 288.15  # the air's density is taken at this temperature

TRUST = 0.25  # of one step's evidence beside a gear change: slopes and wind last longer than a step
CHANGE = 2.0  # what a gear change costs, in log likelihood; half of it to open the clutch and half to close it
UP_M_S2, UP_SHARE = 0.4, 0.4  # acceleration over what the power explains: deviation, and as a share of the pull
BRAKED_M_S2 = 1.5  # deviation below, off the power: people brake
NOISE_RPM = 40.0  # of a step's change, from slow polling
BLIND = 3.0  # wider by so much where the pressure says nothing of the load
TAIL = 4.0  # deviations from which a misfit costs little more
MEET_M_S = 0.7  # how far the speed may seem to jump at a gear change
TOO_FAST_M_S2, TOO_SLOW_M_S2, PULLED_SLOW_M_S2 = 2.0, 4.0, 1.5  # beyond the power; slowing; slowing under power
HARD = 12.0  # most that an impossible step costs
LUG = 0.4  # for each 15 % of idle speed under the least a driver lets a gear turn
LEAST_TURN = (0.7, 1.05, 1.3)  # of idle speed, in first, second and higher gears
ROLL = 0.5  # a step of rolling at idle with the clutch open, where the car may as well stand
BEGINS_ROLLING = 8.0  # a recording that begins with the engine at idle begins standing
IDLE = 1.3  # up to this many times idle speed the engine may be idling
IDLE_RPM, ANY_RPM = 150.0, 5000.0  # spread of the engine's speed with the clutch open, at idle and else
OFF = 50.0  # what cannot be
GUESSES_OFF = "off by 1 to 17 km/h on average where it could be compared"


@dataclass(frozen=True)
class Guess:
    """Speed (m/s) and gear (0: clutch open or neutral) at the times of the recording."""

    speed_m_s: Floats
    gear: NDArray[np.int64]

    def told(self, name: str, trace: TraceData) -> str:
        """What the user should know of it."""
        seconds = np.gradient(trace.time_s)
        mean = 3.6 * float(np.average(self.speed_m_s, weights=seconds))
        standing = 100.0 * float(np.average(self.speed_m_s < 0.5, weights=seconds))
        by = "the gear recorded" if trace.gear is not None else "a gear guessed from load and continuity"
        off = "" if trace.gear is not None else f" ({GUESSES_OFF}; a gear column makes it sure)"
        return (
            f"{name} has no road speed: it is worked out from engine speed and the car's gearing "
            f"(engine.kmh_per_1000rpm) with {by}{off}: mean {mean:.0f} km/h, at most "
            f"{3.6 * float(self.speed_m_s.max()):.0f}, standing {standing:.0f} % of the time; if the car stood on a "
            "dyno, say speed_kmh = 0 in the drive's phase"
        )


def guess_speed(trace: TraceData, car: RoadCar, gears: Floats, ambient_pa: float) -> Guess:
    """Speed and gear of a recording with `rpm` and `map_pa`; `gears` in m/s per 1/min, lowest first.

    The same trace and car are worked out once. Raises BadInput if the recording is in a gear that the car has not.
    """
    assert trace.rpm is not None and trace.map_pa is not None
    if trace.gear is not None and trace.gear.max() > len(gears):
        raise BadInput(
            f"the recording is in gear {trace.gear.max():.0f}; the car has {len(gears)}",
            "Give the road speed of every gear in the car file: engine.kmh_per_1000rpm.",
        )
    load = trace.pedal if trace.pedal is not None else trace.throttle
    columns = (trace.time_s, trace.rpm, trace.map_pa, load, trace.gear)
    packed = tuple(b"" if c is None else np.ascontiguousarray(c, dtype=np.float64).tobytes() for c in columns)
    return _guessed(packed, car, tuple(float(g) for g in gears), float(np.round(ambient_pa, -3)))


@lru_cache(maxsize=32)
def _guessed(packed: tuple[bytes, ...], car: RoadCar, ratios: tuple[float, ...], ambient_pa: float) -> Guess:
    time_s, rpm, map_pa, load, gear = (np.frombuffer(p) if p else None for p in packed)
    assert time_s is not None and rpm is not None and map_pa is not None
    at = np.arange(time_s[0], time_s[-1] + STEP_S, STEP_S)
    turning, pressure = np.interp(at, time_s, rpm), np.interp(at, time_s, map_pa)
    pedal = None if load is None else np.interp(at, time_s, load)
    gears = np.array(ratios)
    closed = _misfit(turning, pressure, pedal, car, gears, ambient_pa)
    if gear is not None:
        said = gear[np.searchsorted(time_s, at, side="right").clip(1) - 1].round()
        closed = np.where((said == np.arange(1, len(gears) + 1)[:, None]) & (closed < OFF), 0.0, OFF)
    speed, which = _likeliest(turning, closed, gears, car.idle_rpm)
    nearest = np.clip(np.round((time_s - time_s[0]) / STEP_S).astype(int), 0, len(at) - 1)
    found = np.where(which[nearest] > 0, gears[which[nearest] - 1] * rpm, np.interp(time_s, at, speed))
    return Guess(found, which[nearest])


def _misfit(
    rpm: Floats, map_pa: Floats, pedal: Floats | None, car: RoadCar, gears: Floats, ambient_pa: float
) -> Floats:
    """How badly each gear explains each step, (gears, steps), in log likelihood."""
    power, blind = _power(rpm, map_pa, pedal, car, ambient_pa)
    count = len(rpm)
    first, last = np.maximum(np.arange(count) - 2, 0), np.minimum(np.arange(count) + 2, count - 1)
    summed = np.concatenate([[0.0], np.cumsum(power)])
    power = (summed[last + 1] - summed[first]) / (last - first + 1)
    pulling = np.clip(power / (0.05 * car.peak_power_w), 0.0, 1.0)
    speed = np.maximum(gears[:, None] * rpm, 1.0)
    pull = np.where(power > 0.0, power * car.driveline, power / car.driveline) / speed / car.moving_kg
    density = ambient_pa / (powertrain.AIR_GAS * AIR_K)
    drag = (0.5 * density * car.cda_m2 * speed**2 + car.crr * car.mass_kg * powertrain.GRAVITY) / car.moving_kg
    smooth = gears[:, None] * (rpm[last] - rpm[first]) / np.maximum((last - first) * STEP_S, STEP_S)
    over = smooth - (pull - drag)
    noise = NOISE_RPM * gears[:, None] / STEP_S
    above = np.sqrt((blind * UP_M_S2) ** 2 + (UP_SHARE * pull) ** 2 + noise**2)
    below = above + (1.0 - pulling) * BRAKED_M_S2
    off = np.abs(np.where(over > 0.0, over / above, over / below))
    fit = np.where(off < TAIL, 0.5 * off**2, 0.5 * TAIL**2 + 2.0 * np.log(np.maximum(off / TAIL, 1.0)))
    misfit = TRUST * (fit + np.log(2.5 * 0.5 * (above + below) * STEP_S / gears[:, None]))
    step = np.diff(gears[:, None] * rpm, axis=1, prepend=gears[:, None] * rpm[0]) / STEP_S
    slow = PULLED_SLOW_M_S2 + (TOO_SLOW_M_S2 - PULLED_SLOW_M_S2) * (1.0 - pulling)
    misfit += np.minimum(0.5 * (np.maximum(step - (pull - drag) - TOO_FAST_M_S2, 0.0) / 0.7) ** 2, HARD)
    misfit += np.minimum(0.5 * np.maximum(-step - slow, 0.0) ** 2, HARD)
    least = car.idle_rpm * np.array([LEAST_TURN[min(k, 2)] for k in range(len(gears))])[:, None]
    misfit += LUG * np.clip((least - rpm) / (0.15 * car.idle_rpm), 0.0, 4.0)
    return np.where(rpm < LEAST_TURN[0] * car.idle_rpm, OFF, misfit)


def _power(rpm: Floats, map_pa: Floats, pedal: Floats | None, car: RoadCar, ambient_pa: float) -> tuple[Floats, float]:
    """Power at the crank in W, and how much less it is to be trusted than usual.

    From the manifold pressure; where that stands near ambient at idle (no throttle plate) from the pedal.
    """
    idling = (rpm < IDLE * car.idle_rpm) & (rpm > ENGINE_STOPPED_RPM)
    if pedal is not None:
        off = idling & (pedal < 0.05)
        if off.sum() > 4 and np.median(map_pa[off]) > 0.8 * ambient_pa:
            full = np.array([powertrain.full_load_w(car, max(n, car.idle_rpm), ambient_pa) for n in rpm])
            return np.where(pedal > 0.02, pedal * full, -0.05 * full), BLIND
    made = [powertrain.brake_power_w(car, max(n, 300.0), p, ambient_pa) for n, p in zip(rpm, map_pa, strict=True)]
    return np.array(made), 1.0


def _likeliest(rpm: Floats, closed: Floats, gears: Floats, idle_rpm: float) -> tuple[Floats, NDArray[np.int64]]:
    """The cheapest way through: speed (m/s) and gear (0 open) of every step.

    States: the speeds a car with an open clutch can have, then the gears, in which the engine tells the speed.
    """
    road: Floats = np.arange(int(gears[-1] * rpm.max() * 1.02 / BIN_M_S) + 2, dtype=np.float64) * BIN_M_S
    slots, count = len(road), len(rpm)
    idling = rpm < IDLE * idle_rpm
    waiting = TRUST * np.log(np.where(idling, IDLE_RPM, ANY_RPM))
    rolling = waiting + np.where(idling, ROLL, 0.0)
    from_slot, coasting, slipping = _open_moves(road)
    other = CHANGE * ~np.eye(len(gears), dtype=bool)
    narrow = TRUST * np.log(2.5 * MEET_M_S / gears)[:, None]
    back = np.zeros((count, slots + len(gears)), np.int32)
    cost = np.concatenate([np.where(road > 0.0, BEGINS_ROLLING + rolling[0], waiting[0]), closed[:, 0] + 2.0])
    before = gears * rpm[0]
    rows, lines = np.arange(slots), np.arange(len(gears))
    barred = np.where(closed >= OFF, OFF, 0.0)
    for k in range(1, count):
        now = gears * rpm[k]
        opened, shut = cost[:slots], cost[slots:]
        slips = (road < now[0] - 0.3) & ~idling[k]  # pulling away in first with the clutch slipping
        ways = opened[from_slot] + np.where(slips[:, None], slipping, coasting)
        best = np.argmin(ways, axis=1)
        let_go = shut + 0.5 * CHANGE + _met(road[:, None] - before)
        gear = np.argmin(let_go, axis=1)
        held, freed = ways[rows, best], let_go[rows, gear]
        back[k, :slots] = np.where(freed < held, slots + gear, from_slot[rows, best])
        new_open = np.minimum(freed, held) + np.where(road > 0.0, rolling[k], waiting[k])
        into = narrow + barred[:, k][:, None]
        taken = opened + 0.5 * CHANGE + _met(now[:, None] - road) + into
        slot = np.argmin(taken, axis=1)
        changed = shut + np.where(other > 0.0, other + _met(now[:, None] - before) + into, closed[:, k][:, None])
        gear = np.argmin(changed, axis=1)
        kept, met = changed[lines, gear], taken[lines, slot]
        back[k, slots:] = np.where(kept <= met, slots + gear, slot)
        cost = np.concatenate([new_open, np.minimum(kept, met)])
        cost -= cost.min()
        before = now
    state = _traced(back, int(np.argmin(cost)))
    which = np.where(state >= slots, state - slots + 1, 0)
    speed = np.where(which > 0, gears[which - 1] * rpm, road[np.minimum(state, slots - 1)])
    return speed, which


def _open_moves(road: Floats) -> tuple[NDArray[np.int64], Floats, Floats]:
    """With the clutch open: from which speeds each is reached in a step, and what that costs, (speeds, moves)."""
    moves = np.arange(-int(4.0 * STEP_S / BIN_M_S), int(9.0 * STEP_S / BIN_M_S) + 1)  # how much faster it was before
    rate = -moves * BIN_M_S / STEP_S
    coast = TRUST * 0.5 * np.where(rate > -0.2, (rate + 0.2) / 0.4, (rate + 0.2) / BRAKED_M_S2) ** 2
    slip = TRUST * 0.5 * np.where(rate > 0.0, rate / 2.0, rate / 0.7) ** 2
    source = np.arange(len(road))[:, None] + moves
    there = (source >= 0) & (source < len(road))
    coasting, slipping = np.where(there, coast, np.inf), np.where(there, slip, np.inf)
    coasting[0, moves == 0] = 0.0  # a car that stands goes on standing
    return np.clip(source, 0, len(road) - 1), coasting, slipping


def _met(jump_m_s: Floats) -> Floats:
    """What it costs that the speed seems to jump at a gear change."""
    off = np.abs(jump_m_s) / MEET_M_S
    return np.where(off < 4.0, 0.5 * off**2, 8.0 + 4.0 * (off - 4.0))


def _traced(back: NDArray[np.int32], last: int) -> NDArray[np.int64]:
    """States from the first step to the last."""
    state = np.empty(len(back), np.int64)
    for k in range(len(back) - 1, -1, -1):
        state[k] = last
        last = int(back[k, last])
    return state
