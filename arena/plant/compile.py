"""From a played drive and a car to the arrays the kernel runs on: everything that does not depend on the candidate.

Air path, bay, probe, supply and figure weights become columns of X (a row a tick); pump and exchangers become
tables; the car's constants become P. Equations and their sources: docs/model.md.
"""

from __future__ import annotations

from dataclasses import dataclass
from functools import lru_cache
from typing import Any, Protocol

import numpy as np
from numpy.typing import NDArray

from arena.errors import BadInput
from arena.plant import air, exchanger, fluids, probe
from arena.plant import layout as at
from arena.plant.car_tables import COLDEST_K, HOTTEST_K, tables, top_flow, top_speed
from arena.plant.jit import compiled
from arena.plant.numbers import CarNumbers, Goals, Loop

Floats = NDArray[np.float64]

TICK_S = at.TICK_S
WARM_ENGINE_K = 363.15
LEAST_LINK_M3 = 0.15e-3  # smallest mixed cell that may close the loop: its outflow is extrapolated
BOOST_FROM_PA = 110e3  # boost share is 0 here and 1 at the car's highest MAP
LIMIT_FROM_PA = 130e3  # the same of the limit, but for cars of little boost: no more than half way up it
STALL_S = 10.0  # commanded on for so long without turning: stalled
LOOP_OVER_AMBIENT_K = 12.0  # expected coolant temperature over the outside air, for its one heat capacity
_TURBINE_FLOW = (0.005, 0.018, 0.190)  # kg/s of idle, cruise and full load: where turbine temperatures are given


class Inputs(Protocol):
    """What the physics needs of a played drive; arrays of shape (ticks,), SI. The timetable's `Played` has it."""

    # fmt: off
    @property
    def ticks(self) -> int: ...  # noqa: D102
    @property
    def score_from(self) -> int: ...  # noqa: D102
    @property
    def start(self) -> str: ...  # noqa: D102
    @property
    def speed_m_s(self) -> Floats: ...  # noqa: D102
    @property
    def pedal(self) -> Floats: ...  # noqa: D102
    @property
    def throttle(self) -> Floats: ...  # noqa: D102
    @property
    def rpm(self) -> Floats: ...  # noqa: D102
    @property
    def map_pa(self) -> Floats: ...  # noqa: D102
    @property
    def air_flow_kg_s(self) -> Floats: ...  # noqa: D102
    @property
    def engine_on(self) -> Floats: ...  # noqa: D102
    @property
    def key_on(self) -> Floats: ...  # noqa: D102
    @property
    def cranking(self) -> Floats: ...  # noqa: D102
    @property
    def fan_on(self) -> Floats: ...  # noqa: D102
    @property
    def engine_k(self) -> Floats: ...  # noqa: D102
    @property
    def ambient_k(self) -> Floats: ...  # noqa: D102
    @property
    def ambient_pa(self) -> Floats: ...  # noqa: D102
    @property
    def humidity(self) -> Floats: ...  # noqa: D102
    @property
    def wind_m_s(self) -> Floats: ...  # noqa: D102
    @property
    def bay_extra_k(self) -> Floats: ...  # noqa: D102
    # fmt: on


@dataclass(frozen=True)
class AirPath:
    """Charge air before the core, and what stands round it; arrays of shape (ticks,)."""

    charger_out_k: Floats
    bay_k: Floats
    heat_capacity: Floats  # J/(kg K)


@dataclass(frozen=True)
class CompiledOuting:
    """One outing on one car, ready to run. `X` has shape (ticks, X_COLUMNS); tables are flat."""

    ticks: int
    score_from: int
    X: Floats
    P: Floats
    duty_table: Floats
    flow_table: Floats
    exchanger_table: Floats
    boost_rows: int
    boost_weight: Floats  # (boost_rows,)
    start_k: float  # every part of the loop at tick 0
    air: AirPath
    volume_heat: float  # J/(m3 K)


def compile_outing(drive: Inputs, car: CarNumbers, goals: Goals, noise_seed: int) -> CompiledOuting:
    """The arrays of one played drive on one car. The same arguments give the same bytes."""
    path = air_path(drive, car)
    x = np.zeros((drive.ticks, at.X_COLUMNS))
    core_columns(x, drive, car, path)
    front_and_hose_columns(x, drive, car, path)
    sense_columns(x, drive, car, path, noise_seed)
    boost_rows, weight = figure_columns(x, drive, car)
    expected = float(np.mean(drive.ambient_k)) + LOOP_OVER_AMBIENT_K
    p, volume_heat = parameters(car, goals, expected, float(np.mean(drive.ambient_pa)))
    duty, flow, conductances = tables(car, volume_heat)
    start = float(drive.ambient_k[0]) + (0.0 if drive.start == "cold" else LOOP_OVER_AMBIENT_K)
    outing = CompiledOuting(
        drive.ticks, drive.score_from, x, p, duty, flow, conductances, boost_rows, weight, start, path, volume_heat
    )
    set_goals(outing, goals)
    return outing


def set_goals(outing: CompiledOuting, goals: Goals, low_k: Floats | None = None, high_k: Floats | None = None) -> None:
    """Write the goal columns; `low_k` and `high_k` (ticks,) are the attainable charge temperatures, if known.

    Nobody is charged for the impossible: the target on the hot side is never below `low_k`, on the cold side never
    above `high_k`, and the limit never below `low_k`.
    """
    low = np.full(outing.ticks, -np.inf) if low_k is None else low_k
    high = np.full(outing.ticks, np.inf) if high_k is None else high_k
    outing.X[:, at.X_HOT_T] = np.maximum(goals.target_k, low) + goals.band_k
    outing.X[:, at.X_COLD_T] = np.minimum(goals.target_k, high) - goals.band_k
    outing.X[:, at.X_LIMIT_T] = np.maximum(goals.limit_k, low)


def air_path(drive: Inputs, car: CarNumbers) -> AirPath:
    """Inlet, charger, hot side and pipe up to the core; the bay. See docs/model.md, sections air path and bay."""
    charger, engine, body = car.charger, car.engine, car.body
    flow = np.maximum(drive.air_flow_kg_s, 1e-6)
    on = drive.engine_on > 0.5
    warm = warmth(drive)
    slow = np.exp(-drive.speed_m_s / 6.0)
    driving = body.bay_rise_cruise_k + (body.bay_rise_traffic_k - body.bay_rise_cruise_k) * slow
    rise = np.where(on, driving, body.bay_rise_soak_k) * warm + drive.bay_extra_k
    rate = float(probe.update_factor(TICK_S, body.bay_tau_s))
    first = drive.ambient_k[0] + (0.0 if drive.start == "cold" else rise[0])
    bay = follow(drive.ambient_k + rise, np.full(drive.ticks, rate), float(first))
    idle_share = charger.inlet_rise_idle_k / max(body.bay_rise_traffic_k, 1.0)
    cruise_share = charger.inlet_rise_cruise_k / max(body.bay_rise_cruise_k, 1.0)
    inlet = drive.ambient_k + (cruise_share + (idle_share - cruise_share) * slow) * (bay - drive.ambient_k)
    load = (flow / engine.peak_air_flow_kg_s) ** 2
    ratio = np.maximum(
        (drive.map_pa + charger.core_loss_pa * load) / (drive.ambient_pa - charger.intake_loss_pa * load), 1.0
    )
    efficiency = air.charger_efficiency(ratio, charger.efficiency, charger.low_ratio_efficiency)
    compressed = np.asarray(air.charger_outlet_k(inlet, ratio, efficiency))
    cp = np.asarray(air.heat_capacity(compressed))
    turbine = turbine_temperature(drive, car, flow, on)
    if engine.supercharged:
        churn = charger.bypass_churn_w * np.clip(1.2 - ratio, 0.0, 0.2) / 0.2
        heated = compressed + np.where(on, churn / (flow * cp), 0.0)
    else:
        share = np.interp(flow, _TURBINE_FLOW[:2], (0.5, 1.0))
        heated = np.asarray(air.heated_along_wall_k(compressed, turbine, charger.hot_side_ua_w_k * share, flow, cp))
    passing = -np.expm1(-charger.pipe_ha_w_k / (flow * cp))
    conduct = flow * cp * passing
    total = conduct + charger.pipe_bay_ua_w_k
    goal = conduct * heated + charger.pipe_bay_ua_w_k * bay
    wall_goal = np.divide(goal, total, out=heated.copy(), where=total > 0.0)  # without a pipe nothing comes of it
    wall = follow(
        wall_goal,
        -np.expm1(-TICK_S * total / charger.pipe_capacity_j_k),
        float(wall_goal[0] if drive.start != "cold" else bay[0]),
    )
    return AirPath(heated + (wall - heated) * passing, bay, cp)


def warmth(drive: Inputs) -> Floats:
    """How warm the engine is, (ticks,): 0 at ambient, 1 at WARM_ENGINE_K, at most 1.1."""
    return np.clip((drive.engine_k - drive.ambient_k) / (WARM_ENGINE_K - drive.ambient_k), 0.0, 1.1)


def turbine_temperature(drive: Inputs, car: CarNumbers, flow: Floats, on: NDArray[np.bool_]) -> Floats:
    """Hot-side temperature: lags the load while running, cools towards the bay's ambient when off (20 min, assumed)."""
    charger = car.charger
    given = (charger.turbine_idle_k, charger.turbine_cruise_k, charger.turbine_full_k)
    goal = np.where(on, np.interp(flow, _TURBINE_FLOW, given), drive.ambient_k)
    tau = np.where(on, charger.turbine_tau_s, 1200.0)
    first = float(drive.ambient_k[0]) if drive.start == "cold" else float(goal[0])
    return follow(goal, np.asarray(probe.update_factor(TICK_S, tau)), first)


def core_columns(x: Floats, drive: Inputs, car: CarNumbers, path: AirPath) -> None:
    """Air side of the core, the pipe behind it, and IAT as a straight line of the core's mean metal temperature."""
    core = car.core
    flow = drive.air_flow_kg_s
    capacity = np.maximum(flow, 1e-9) * path.heat_capacity
    left = np.exp(
        -np.asarray(
            exchanger.air_ntu(
                core.air_ha_w_k, core.air_ref_kg_s, core.air_exponent, np.maximum(flow, 1e-9), path.heat_capacity
            )
        )
    )
    conductance = np.where(flow > 0.0, capacity * (1.0 - left), 0.0) / at.CORE_CELLS
    bay_ua = core.bay_ua_w_k / at.CORE_CELLS
    x[:, at.X_CORE_A] = conductance
    x[:, at.X_CORE_R] = conductance * path.charger_out_k + bay_ua * path.bay_k
    kept = np.exp(-core.pipe_ua_w_k / capacity)
    x[:, at.X_IAT0] = path.bay_k * (1.0 - kept) + kept * left * path.charger_out_k
    x[:, at.X_IAT1] = kept * (1.0 - left)
    x[:, at.X_BAY] = path.bay_k
    share = np.asarray(probe.boss_share(car.probe.boss_share, flow))
    before = car.probe.place == "core"
    base = left * path.charger_out_k if before else x[:, at.X_IAT0]
    slope = 1.0 - left if before else x[:, at.X_IAT1]
    x[:, at.X_PROBE0] = (1.0 - share) * base + share * path.bay_k
    x[:, at.X_PROBE1] = (1.0 - share) * slope
    lag = probe.lag_s(car.probe.tau_s, car.probe.tau_ref_kg_s, flow)
    x[:, at.X_PROBE_K] = probe.update_factor(TICK_S, lag)


def front_and_hose_columns(x: Floats, drive: Inputs, car: CarNumbers, path: AirPath) -> None:
    """Air through the front exchanger, and what hoses and tank stand in."""
    front, loop = car.front, car.loop
    fan = front.fan_m_s * drive.fan_on
    face = np.sqrt((front.face_velocity_ratio * drive.speed_m_s) ** 2 + fan**2 + front.still_m_s**2)
    flow = face * front.face_m2 * np.asarray(air.density(drive.ambient_pa, drive.ambient_k))
    cp = np.asarray(air.heat_capacity(drive.ambient_k))
    left = np.exp(-np.asarray(exchanger.air_ntu(front.air_ha_w_k, front.air_ref_kg_s, front.air_exponent, flow, cp)))
    warm = warmth(drive)
    recirculated = front.standstill_rise_k * np.exp(-drive.speed_m_s / 3.0) * warm * drive.fan_on
    inlet = drive.ambient_k + recirculated + front.condenser_rise_k
    x[:, at.X_FRONT_A] = flow * cp * (1.0 - left) / at.FRONT_CELLS
    x[:, at.X_FRONT_R] = x[:, at.X_FRONT_A] * inlet
    inside = min(loop.hose_in_bay_m / loop.hose_total_m, 1.0)
    x[:, at.X_HOSE_T] = inside * path.bay_k + (1.0 - inside) * drive.ambient_k
    x[:, at.X_TANK_T] = path.bay_k


def sense_columns(x: Floats, drive: Inputs, car: CarNumbers, path: AirPath, noise_seed: int) -> None:
    """Supply, key, and what the engine computer senses besides the charge probe."""
    supply = car.supply
    idle_fan = drive.fan_on * (drive.rpm < 1.25 * car.engine.idle_rpm)
    running = supply.running_v - supply.sag_v * idle_fan
    volts = np.where(drive.engine_on > 0.5, running, supply.off_v)
    x[:, at.X_SUPPLY] = np.where(drive.cranking > 0.5, supply.cranking_v, volts)
    x[:, at.X_KEY] = drive.key_on
    x[:, at.X_ENGINE] = drive.engine_on
    tick = np.arange(drive.ticks)
    last_on = np.maximum.accumulate(np.where(drive.key_on > 0.5, tick, -1))
    x[:, at.X_KEY_OFF_S] = np.where(last_on < 0, 1e9, TICK_S * (tick - last_on))
    noise = np.random.Generator(np.random.PCG64(noise_seed)).standard_normal(drive.ticks)
    x[:, at.X_NOISE] = car.probe.noise_k * noise
    x[:, at.X_FAULT_READING] = np.nan
    x[:, at.X_SPEED] = 3.6 * drive.speed_m_s
    x[:, at.X_THROTTLE] = 100.0 * drive.throttle
    x[:, at.X_PEDAL] = 100.0 * drive.pedal
    x[:, at.X_MAP] = 1e-3 * drive.map_pa
    x[:, at.X_RPM] = drive.rpm
    x[:, at.X_AMBIENT] = drive.ambient_k - 273.15
    x[:, at.X_TIME] = TICK_S * tick
    vapour = air.vapour_pressure_pa(drive.ambient_k, drive.humidity)
    before_plate = np.maximum(drive.map_pa / drive.ambient_pa, 1.0)  # the core stands before the throttle
    compressed = np.maximum(np.asarray(vapour) * before_plate, 0.01)
    x[:, at.X_DEW] = np.interp(np.log(compressed), *_dew_points())


@lru_cache(maxsize=1)
def _dew_points() -> tuple[Floats, Floats]:
    """Dew point (K) over ln vapour pressure (Pa), fine enough to be within 0.001 K of `air.dew_point_k`."""
    log_pa = np.linspace(np.log(0.01), np.log(2e5), 4001)
    return log_pa, np.asarray(air.dew_point_k(np.exp(log_pa)))


def figure_columns(x: Floats, drive: Inputs, car: CarNumbers) -> tuple[int, Floats]:
    """Weights of the figures; the number of ticks on boost and their weights."""
    engine = car.engine
    scored = (np.arange(drive.ticks) >= drive.score_from).astype(np.float64)
    density = float(air.density(engine.idle_map_pa, engine.manifold_reference_k))
    idle = engine.volumetric_efficiency * density * engine.displacement_m3 * engine.idle_rpm / 120.0
    judged = scored * (drive.engine_on > 0.5) * (drive.air_flow_kg_s > 1.15 * idle)
    boost = np.clip((drive.map_pa - BOOST_FROM_PA) / (engine.map_max_pa - BOOST_FROM_PA), 0.0, 1.0)
    x[:, at.X_SCORED] = scored
    x[:, at.X_BOOST] = judged * boost
    x[:, at.X_CRUISE] = judged * (1.0 - boost)
    limit_from = min(LIMIT_FROM_PA, 0.5 * (BOOST_FROM_PA + engine.map_max_pa))
    x[:, at.X_LIMIT] = judged * np.clip((drive.map_pa - limit_from) / (engine.map_max_pa - limit_from), 0.0, 1.0)
    x[:, at.X_STILL] = scored * (drive.speed_m_s < 0.5) * (drive.engine_on > 0.5)
    x[:, at.X_REACH] = scored if drive.start == "cold" else 0.0
    on_boost = x[:, at.X_BOOST] > 0.0
    x[:, at.X_BOOST_ROW] = np.where(on_boost, np.cumsum(on_boost) - 1, -1)
    return int(on_boost.sum()), x[on_boost, at.X_BOOST].copy()


def parameters(car: CarNumbers, goals: Goals, expected_k: float, ambient_pa: float) -> tuple[Floats, float]:
    """The constants P of one car at one expected coolant temperature, and the coolant's heat capacity per volume."""
    core, front, loop, pump = car.core, car.front, car.loop, car.pump
    coolant = fluids.table(loop.glycol, loop.glycol_volume_fraction).at(expected_k)
    volume_heat = float(coolant.density) * float(coolant.heat_capacity)
    twice = 2.0 / TICK_S
    p = np.zeros(at.P_COUNT)
    hose, link, side = volumes(loop)
    metres = tuple(share * loop.hose_total_m for share in HOSE_SHARES)
    for k, (cells, length) in enumerate(zip((at.HOSE_1, at.HOSE_2, at.HOSE_3), metres, strict=True)):
        p[(at.P_HOSE_1_W, at.P_HOSE_2_W, at.P_HOSE_3_W)[k]] = twice * volume_heat * hose * HOSE_SHARES[k] / cells
        p[(at.P_HOSE_1_UA, at.P_HOSE_2_UA, at.P_HOSE_3_UA)[k]] = loop.hose_ua_w_m_k * length / cells
    p[at.P_CORE_M] = twice * core.metal_kg * core.metal_j_kg_k / at.CORE_CELLS
    p[at.P_CORE_W] = twice * core.coolant_m3 * volume_heat / at.CORE_CELLS
    p[at.P_FRONT_M] = twice * front.metal_kg * front.metal_j_kg_k / at.FRONT_CELLS
    p[at.P_FRONT_W] = twice * front.coolant_m3 * volume_heat / at.FRONT_CELLS
    p[at.P_LINK_W] = twice * link * volume_heat
    p[at.P_SIDE_W] = twice * (side or 1e-3) * volume_heat
    p[at.P_LINK_UA] = loop.tank_ua_w_k if loop.tank == "in-flow" else 0.0
    p[at.P_SIDE_UA] = loop.tank_ua_w_k if loop.tank == "side" else 0.0
    p[at.P_SIDE_SHARE] = loop.side_share if loop.tank == "side" else 0.0
    p[at.P_CORE_BAY] = core.bay_ua_w_k / at.CORE_CELLS
    p[at.P_VOLUME_C] = volume_heat
    p[at.P_RESISTANCE], p[at.P_KE], p[at.P_BRUSH] = pump.resistance_ohm, pump.ke_v_s, pump.brush_v
    p[at.P_FRICTION], p[at.P_LEAD] = pump.friction_nm, car.supply.lead_ohm
    p[at.P_START_A] = pump.start_a
    p[at.P_SPIN_K] = probe.update_factor(TICK_S, pump.spin_up_tau_s)
    p[at.P_SPIN_MEAN] = p[at.P_SPIN_K] * pump.spin_up_tau_s / TICK_S
    p[at.P_SOFT] = TICK_S / pump.soft_start_s if pump.soft_start_s > TICK_S else 1.0
    p[at.P_RATED_W], p[at.P_RATED_A] = pump.rated_rad_s, pump.rated_current_a
    p[at.P_TARGET], p[at.P_REACH] = goals.target_k, goals.target_k - goals.band_k
    p[at.P_BOIL] = _boiling_k(loop.glycol, loop.glycol_volume_fraction, ambient_pa + loop.cap_gauge_pa)
    p[at.P_FREEZE] = fluids.freezing_k(loop.glycol, loop.glycol_volume_fraction)
    p[at.P_QUIET], p[at.P_QUIET_KMH] = goals.quiet_duty, 3.6 * goals.quiet_m_s
    p[at.P_STEP] = max(car.probe.step_k, 1e-6)
    p[at.P_SIGNAL] = 1.0 if pump.kind == "signal" else 0.0
    p[at.P_PERIOD], p[at.P_DUTY_STEP] = car.control.period_ticks, car.control.duty_step
    p[at.P_DELAY] = round(car.control.start_delay_s / TICK_S)
    p[at.P_STALL_TICKS] = STALL_S / TICK_S
    p[at.P_SPEED_STEP] = top_speed(pump) / (at.SPEED_ROWS - 1)
    p[at.P_TEMP_0] = COLDEST_K
    p[at.P_TEMP_STEP] = (HOTTEST_K - COLDEST_K) / (at.TEMP_COLUMNS - 1)
    p[at.P_FLOW_STEP] = top_flow(pump) / (at.FLOW_ROWS - 1)
    return p, volume_heat


_boiling_k = lru_cache(maxsize=256)(fluids.boiling_k)
HOSE_SHARES = (0.25, 0.5, 0.25)  # of hose length: link to core, core to front, front to link


def volumes(loop: Loop) -> tuple[float, float, float]:
    """Coolant in the hoses, in the link cell, in a side-branch tank (m3); raises BadInput if the loop is too small."""
    hose = 0.25 * np.pi * loop.hose_bore_m**2 * loop.hose_total_m
    if loop.tank == "in-flow" and loop.tank_m3 + loop.extra_m3 >= LEAST_LINK_M3:
        return float(hose), loop.tank_m3 + loop.extra_m3, 0.0
    side, small = (loop.tank_m3, 0.0) if loop.tank == "side" else (0.0, loop.tank_m3 * (loop.tank == "in-flow"))
    rest = hose + loop.extra_m3 + small - LEAST_LINK_M3
    if rest < LEAST_LINK_M3:
        raise BadInput(
            f"the hoses hold {1e3 * hose:.2f} L; without a tank at least {2e3 * LEAST_LINK_M3:.1f} L is needed",
            "give the hoses their real bore and length, or a tank",
        )
    return float(rest), LEAST_LINK_M3, side


@compiled
def _follow(goal: Any, rate: Any, first: float, out: Any) -> None:
    value = first
    for k in range(len(goal)):
        value += rate[k] * (goal[k] - value)
        out[k] = value


def follow(goal: Floats, rate: Floats, first: float) -> Floats:
    """A first-order lag behind `goal` (ticks,) going `rate` (ticks,) of the way each tick, starting at `first`."""
    out = np.empty(len(goal))
    _follow(np.ascontiguousarray(goal), np.ascontiguousarray(rate), first, out)
    return out
