"""The keys a car file may hold: unit in the name, what is impossible (an error) and what is unusual (a note).

Each key says which number of `arena.plant.numbers` it sets; keys without one belong to the other ways of saying a
thing, worked out in `car_ways.py` and its neighbours. Unusual ranges are engineering judgement from memory, no
published source.
"""

from __future__ import annotations

from typing import Annotated, Any, Final, Literal

from pydantic import BaseModel, ConfigDict, Field

from arena.scenario import loading
from arena.scenario.fitted import Mark
from arena.units import ZERO_C_K

Number = float | None
L_MIN: Final = 1.0 / 60000.0


class _Strict(BaseModel):
    model_config = ConfigDict(extra="forbid", frozen=True, allow_inf_nan=False)


def _key(
    to: str,
    factor: float,
    low: float,
    high: float,
    usual: tuple[float, float] | None,
    say: str,
    offset: float = 0.0,
) -> Any:
    """A key that sets number `to` = factor x value + offset; outside low..high refused, outside `usual` noted."""
    extra: dict[str, Any] = {"to": to, "factor": factor, "offset": offset, "usual": list(usual) if usual else None}
    return Field(None, ge=low, le=high, description=say, json_schema_extra=extra)


def _way(low: float, high: float, usual: tuple[float, float] | None, say: str) -> Any:
    """A key that other numbers are worked out from."""
    return Field(None, ge=low, le=high, description=say, json_schema_extra={"usual": list(usual) if usual else None})


def _word(to: str, say: str) -> Any:
    return Field(None, description=say, json_schema_extra={"to": to, "factor": None, "usual": None})


class CarHead(_Strict):
    """The `[car]` table."""

    name: str = Field(min_length=1, max_length=60, pattern=loading.ONE_LINE)
    summary: str = ""
    source: str = Field("", description="'invented' for demo data")


class EngineTable(_Strict):
    """The `[engine]` table."""

    kind: Literal["turbo", "supercharger"] | None = Field(None, description="what makes the boost")
    displacement_l: Number = _key("displacement_m3", 1e-3, 0.05, 20, (0.8, 7.0), "swept volume")
    power_kw: Number = _key("peak_power_w", 1e3, 5, 2000, (50, 600), "peak power")
    map_max_kpa: Number = _key("map_max_pa", 1e3, 115, 600, (135, 320), "highest manifold pressure, absolute")
    boost_kpa: Number = _way(15, 500, (30, 220), "highest boost over the outside air at sea level")
    peak_air_flow_g_s: Number = _key("peak_air_flow_kg_s", 1e-3, 5, 3000, (40, 700), "air flow at full load")
    idle_rpm: Number = _key("idle_rpm", 1, 300, 3000, (600, 1200), "idle speed")
    redline_rpm: Number = _key("redline_rpm", 1, 1500, 20000, (4000, 9000), "highest engine speed")
    boost_starts_rpm: Number = _key("boost_starts_rpm", 1, 500, 15000, (1000, 4000), "boost begins at full throttle")
    boost_full_rpm: Number = _key("boost_full_rpm", 1, 600, 18000, (1500, 6000), "full boost at full throttle")
    volumetric_efficiency: Number = _key(
        "volumetric_efficiency", 1, 0.2, 1.3, (0.75, 1.05), "share of swept volume filled"
    )
    charge_reference_c: Number = _key(
        "manifold_reference_k", 1, -20, 150, (20, 80), "charge temperature air flow is worked out at", ZERO_C_K
    )
    full_load_lambda: Number = _key(
        "full_load_lambda", 1, 0.5, 6, (0.75, 1.6), "mixture at full load, 1 = chemically right"
    )
    indicated_efficiency: Number = _key(
        "indicated_efficiency", 1, 0.05, 0.7, (0.28, 0.48), "of fuel energy, before friction"
    )
    friction_a_kpa: Number = _key("friction_a_pa", 1e3, 0, 500, (30, 150), "friction mean pressure at no speed")
    friction_b_pa_rpm: Number = _key("friction_b_pa_rpm", 1, 0, 200, (0, 40), "friction mean pressure with speed")
    friction_c_pa_rpm2: Number = _key(
        "friction_c_pa_rpm2", 1, 0, 0.1, (0, 0.01), "friction mean pressure with speed squared"
    )
    accessory_w: Number = _key("accessory_w", 1, 0, 20000, (200, 3000), "power of alternator, steering and so on")
    idle_map_kpa: Number = _key("idle_map_pa", 1e3, 5, 105, (20, 105), "manifold pressure with the throttle shut")
    plate_tau_s: Number = _key("plate_tau_s", 1, 0, 5, (0.03, 0.5), "throttle plate's lag behind the pedal")
    spool_tau_s: Number = _key("spool_tau_s", 1, 0, 10, (0.1, 2.0), "boost's lag behind the throttle")
    kmh_per_1000rpm: tuple[Annotated[float, Field(gt=1, le=120)], ...] | None = Field(
        None, min_length=1, max_length=12, description="road speed per 1000 rpm in each gear, lowest first"
    )
    driveline_efficiency: Number = _key("driveline_efficiency", 1, 0.3, 1, (0.8, 0.97), "from engine to wheels")
    warm_up_tau_s: Number = _key("warm_up_tau_s", 1, 10, 7200, (150, 1200), "time constant of the engine's warm-up")


class ChargerTable(_Strict):
    """The `[charger]` table."""

    efficiency: Number = _key("efficiency", 1, 0.2, 1, (0.50, 0.80), "isentropic efficiency at full load")
    low_ratio_efficiency: Number = _key(
        "low_ratio_efficiency", 1, 0.05, 1, (0.3, 0.7), "efficiency near pressure ratio 1"
    )
    intake_loss_kpa: Number = _key("intake_loss_pa", 1e3, 0, 40, (1, 8), "filter and pipe at peak air flow")
    core_loss_kpa: Number = _key("core_loss_pa", 1e3, 0, 60, (2, 14), "pressure lost in the core at peak air flow")
    hot_side_ua_w_k: Number = _key("hot_side_ua_w_k", 1, 0, 20, (0, 3), "heat from the turbine side to the charge")
    turbine_idle_c: Number = _key("turbine_idle_k", 1, 0, 900, (100, 400), "hot side's metal at idle", ZERO_C_K)
    turbine_cruise_c: Number = _key("turbine_cruise_k", 1, 0, 1000, (150, 550), "hot side's metal at cruise", ZERO_C_K)
    turbine_full_c: Number = _key("turbine_full_k", 1, 0, 1200, (500, 980), "hot side's metal at full load", ZERO_C_K)
    turbine_tau_s: Number = _key("turbine_tau_s", 1, 1, 1000, (40, 200), "hot side's lag behind load")
    pipe_capacity_j_k: Number = _key(
        "pipe_capacity_j_k", 1, 0, 20000, (100, 3000), "heat capacity of the pipe before the core"
    )
    pipe_ha_w_k: Number = _key("pipe_ha_w_k", 1, 0, 200, (1, 30), "charge air to that pipe")
    pipe_bay_ua_w_k: Number = _key("pipe_bay_ua_w_k", 1, 0, 50, (0.2, 5), "that pipe to the bay")
    inlet_rise_cruise_k: Number = _key("inlet_rise_cruise_k", 1, 0, 60, (1, 12), "inlet air over ambient at cruise")
    inlet_rise_idle_k: Number = _key("inlet_rise_idle_k", 1, 0, 90, (4, 35), "inlet air over ambient at idle")
    bypass_churn_w: Number = _key("bypass_churn_w", 1, 0, 10000, (0, 2500), "supercharger off boost: heat by churning")


class CoreTable(_Strict):
    """The `[core]` table."""

    air_ha_w_k: Number = _key("air_ha_w_k", 1, 1, 20000, (150, 1500), "air-side conductance at air_ref_g_s")
    air_ref_g_s: Number = _key("air_ref_kg_s", 1e-3, 1, 3000, (50, 600), "air flow that air_ha_w_k stands for")
    air_exponent: Number = _key("air_exponent", 1, 0.2, 0.95, (0.4, 0.85), "of air-side conductance with flow")
    coolant_ha_w_k: Number = _key(
        "coolant_ha_w_k", 1, 5, 50000, (500, 5000), "coolant-side conductance at coolant_ref_l_min"
    )
    coolant_ref_l_min: Number = _key(
        "coolant_ref_m3_s", L_MIN, 0.5, 200, (5, 40), "flow that coolant_ha_w_k stands for"
    )
    coolant_exponent: Number = _key(
        "coolant_exponent", 1, 0.1, 0.95, (0.3, 0.8), "of coolant-side conductance with flow"
    )
    rated_glycol: Literal["ethylene", "propylene", "none"] | None = _word(
        "rated_glycol", "antifreeze in the coolant of the rating, or of coolant_ha_w_k; left out: as in the loop"
    )
    rated_glycol_pct: Number = _key("rated_glycol_volume_fraction", 0.01, 0, 60, (0, 55), "its share by volume there")
    still_ha_w_k: Number = _key("still_ha_w_k", 1, 0.1, 2000, (30, 150), "coolant side with the coolant standing still")
    metal_kg: Number = _key("metal_kg", 1, 0.05, 50, (1.0, 6.0), "aluminium of the core")
    metal_j_kg_k: Number = _key(
        "metal_j_kg_k", 1, 200, 1200, (380, 930), "its heat capacity (aluminium 900, copper 385)"
    )
    coolant_l: Number = _key("coolant_m3", 1e-3, 0.02, 20, (0.2, 2.0), "coolant it holds")
    bay_ua_w_k: Number = _key("bay_ua_w_k", 1, 0, 100, (1.5, 12), "heat from the engine bay into the core")
    pipe_ua_w_k: Number = _key("pipe_ua_w_k", 1, 0, 50, (0.5, 5), "heat from the bay into the pipe behind the core")
    rated_effectiveness: Number = Field(
        None,
        gt=0,
        lt=1,
        description="maker's figure: (air in - air out) / (air in - coolant in)",
        json_schema_extra={"usual": [0.5, 0.95]},
    )
    rated_air_g_s: Number = _way(1, 3000, (30, 600), "air flow of the rating")
    rated_coolant_l_min: Number = _way(0.5, 200, (5, 60), "coolant flow of the rating")
    length_mm: Number = _way(20, 1500, (60, 500), "along the air's way through the fins")
    width_mm: Number = _way(20, 1500, (60, 400), "across the air's way")
    height_mm: Number = _way(20, 1500, (40, 300), "across the air's way, the other way")
    fins_per_inch: Number = _way(2, 60, (8, 24), "fin density")
    fins_per_cm: Number = _way(0.8, 24, (3, 9.5), "fin density")
    size: Literal["small", "medium", "large"] | None = Field(None, description="a guess by size")


class FrontTable(_Strict):
    """The `[front]` table."""

    face_m2: Number = _key("face_m2", 1, 0.005, 2, (0.05, 0.35), "face area")
    air_ha_w_k: Number = _key("air_ha_w_k", 1, 1, 30000, (300, 3000), "air-side conductance at air_ref_kg_s")
    air_ref_kg_s: Number = _key("air_ref_kg_s", 1, 0.01, 20, (0.3, 3), "air flow that air_ha_w_k stands for")
    air_exponent: Number = _key("air_exponent", 1, 0.2, 0.95, (0.4, 0.7), "of air-side conductance with flow")
    coolant_ha_w_k: Number = _key(
        "coolant_ha_w_k", 1, 5, 50000, (600, 5000), "coolant-side conductance at coolant_ref_l_min"
    )
    coolant_ref_l_min: Number = _key(
        "coolant_ref_m3_s", L_MIN, 0.5, 200, (5, 40), "flow that coolant_ha_w_k stands for"
    )
    coolant_exponent: Number = _key(
        "coolant_exponent", 1, 0.1, 0.95, (0.3, 0.8), "of coolant-side conductance with flow"
    )
    rated_glycol: Literal["ethylene", "propylene", "none"] | None = _word(
        "rated_glycol", "antifreeze in the coolant of the rating, or of coolant_ha_w_k; left out: as in the loop"
    )
    rated_glycol_pct: Number = _key("rated_glycol_volume_fraction", 0.01, 0, 60, (0, 55), "its share by volume there")
    still_ha_w_k: Number = _key("still_ha_w_k", 1, 0.1, 2000, (30, 150), "coolant side with the coolant standing still")
    metal_kg: Number = _key("metal_kg", 1, 0.05, 60, (1.5, 7), "aluminium of the exchanger")
    metal_j_kg_k: Number = _key("metal_j_kg_k", 1, 200, 1200, (380, 930), "its heat capacity")
    coolant_l: Number = _key("coolant_m3", 1e-3, 0.02, 30, (0.4, 4), "coolant it holds")
    face_velocity_ratio: Number = _key(
        "face_velocity_ratio", 1, 0.01, 1, (0.10, 0.35), "air speed at the face over road speed"
    )
    fan_m_s: Number = _key("fan_m_s", 1, 0, 10, (0.5, 3.5), "face speed with the fan running")
    still_m_s: Number = _key("still_m_s", 1, 0, 3, (0.02, 0.4), "face speed at standstill without the fan")
    standstill_rise_k: Number = _key(
        "standstill_rise_k", 1, 0, 60, (3, 20), "recirculated bay air at standstill with the fan"
    )
    condenser_rise_k: Number = _key("condenser_rise_k", 1, 0, 40, (0, 12), "preheat by a condenser standing before it")
    rated_effectiveness: Number = Field(
        None,
        gt=0,
        lt=1,
        description="maker's figure: larger temperature change over the inlet difference",
        json_schema_extra={"usual": [0.2, 0.9]},
    )
    rated_air_kg_s: Number = _way(0.01, 20, (0.2, 4), "air flow of the rating")
    rated_coolant_l_min: Number = _way(0.5, 200, (5, 60), "coolant flow of the rating")
    width_mm: Number = _way(50, 2000, (250, 900), "face width")
    height_mm: Number = _way(30, 1500, (80, 600), "face height")
    depth_mm: Number = _way(8, 300, (16, 80), "depth along the air's way")
    fins_per_inch: Number = _way(2, 60, (8, 24), "fin density")
    fins_per_cm: Number = _way(0.8, 24, (3, 9.5), "fin density")
    size: Literal["small", "medium", "large"] | None = Field(None, description="a guess by size")


class LoopTable(_Strict):
    """The `[loop]` table."""

    hose_bore_mm: Number = _key("hose_bore_m", 1e-3, 4, 80, (12, 32), "inside diameter of the hoses")
    hose_total_m: Number = _key("hose_total_m", 1, 0.2, 40, (2, 12), "length of all hoses together")
    hose_in_bay_m: Number = _key("hose_in_bay_m", 1, 0, 40, (0.5, 8), "of that, inside the engine bay")
    hose_ua_w_m_k: Number = _key("hose_ua_w_m_k", 1, 0, 20, (0.3, 2), "heat through a metre of hose")
    tank: Literal["in-flow", "side", "none"] | None = _word("tank", "where the tank stands")
    tank_l: Number = _key("tank_m3", 1e-3, 0, 100, (0, 10), "coolant in the tank; 0: no tank")
    tank_ua_w_k: Number = _key("tank_ua_w_k", 1, 0, 50, (0.3, 4), "heat through the tank's wall")
    side_share: Number = _key("side_share", 1, 0, 1, (0, 0.3), "share of the flow through a tank on a side branch")
    total_fill_l: Number = _way(0.3, 200, (2, 15), "all the coolant it takes to fill the loop")
    extra_l: Number = _key("extra_m3", 1e-3, 0, 50, (0, 5), "coolant in none of the parts named")
    glycol: Literal["ethylene", "propylene", "none"] | None = _word("glycol", "kind of antifreeze")
    glycol_pct: Number = _key("glycol_volume_fraction", 0.01, 0, 60, (0, 55), "antifreeze by volume")
    cap_kpa: Number = _key("cap_gauge_pa", 1e3, 0, 300, (0, 150), "cap pressure over the outside air")
    thermosiphon_l_min: Number = _key("thermosiphon_m3_s", L_MIN, 0, 10, (0, 1), "flow by warmth alone, pump off")


class CurvePoint(_Strict):
    """One point of the pump curve; the head in kPa or in metres of water."""

    flow_l_min: float = Field(ge=0, le=500)
    head_kpa: Number = Field(None, ge=0, le=1000)
    head_m: Number = Field(None, ge=0, le=100)


class PumpTable(_Strict):
    """The `[pump]` table."""

    curve: tuple[CurvePoint, ...] | None = Field(
        None, min_length=2, max_length=100, description="maker's head over flow"
    )
    curve_v: Number = _way(3, 60, (9, 15), "voltage of the curve, or of max_head and max_flow_l_min")
    max_head_kpa: Number = _way(2, 1000, (20, 120), "maker's head with the outlet shut")
    max_head_m: Number = _way(0.2, 100, (2, 12), "the same in metres of water")
    max_flow_l_min: Number = _way(1, 500, (12, 80), "maker's flow with nothing connected")
    bucket_l_min: Number = _way(0.2, 300, (4, 40), "flow measured in the car into a bucket")
    bucket_v: Number = _way(2, 60, (5, 15), "voltage at the pump during that")
    bucket_a: Number = _way(0.05, 100, (0.5, 12), "current during that")
    rated_speed_rpm: Number = _key(
        "rated_rad_s", 0.10471975511965977, 300, 40000, (2000, 9000), "pump speed of the curve"
    )
    rated_v: Number = _key("rated_v", 1, 3, 60, (11, 15), "voltage of rated speed and current")
    rated_a: Number = _key("rated_current_a", 1, 0.05, 100, (1, 12), "current in the car at rated_v")
    hydraulic_efficiency: Number = _key(
        "peak_hydraulic_efficiency", 1, 0.02, 1, (0.15, 0.5), "best hydraulic efficiency"
    )
    system_kpa: Number = _key("system_pa", 1e3, 0.5, 500, (10, 60), "loss round the loop at system_l_min")
    system_l_min: Number = _key("system_ref_m3_s", L_MIN, 0.5, 300, (5, 40), "flow of system_kpa")
    system_exponent: Number = _key("system_exponent", 1, 1, 2.2, (1.7, 2.0), "of that loss with flow")
    resistance_ohm: Number = _key("resistance_ohm", 1, 0.01, 20, (0.2, 2.0), "motor's winding and brushes' leads")
    ke_v_s: Number = _key("ke_v_s", 1, 0.001, 1, (0.012, 0.04), "volts for each rad/s")
    brush_v: Number = _key("brush_v", 1, 0, 4, (0, 2), "drop at the brushes")
    friction_nm: Number = _key("friction_nm", 1, 0, 1, (0.005, 0.04), "running friction")
    breakaway_nm: Number = _way(0, 2, (0.01, 0.15), "torque that breaks a resting rotor away; or start_v")
    start_v: Number = _key("start_v", 1, 0, 20, (2, 6), "lowest direct voltage at the motor that starts it from rest")
    inductance_mh: Number = _key("inductance_h", 1e-3, 0.001, 50, (0.1, 2), "of the motor")
    pwm_hz: Number = _key("pwm_hz", 1, 1, 100000, (10, 25000), "pulse frequency")
    spin_up_tau_s: Number = _key("spin_up_tau_s", 1, 0, 10, (0.05, 1), "time constant of speeding up")
    soft_start_s: Number = _key("soft_start_s", 1, 0, 20, (0, 3), "the controller's ramp at the start")
    kind: Literal["brushed", "signal"] | None = _word("kind", "signal: a pump with its own controller")
    signal_duty_pct: tuple[Annotated[float, Field(ge=0, le=100)], ...] | None = Field(
        None, min_length=2, max_length=50, description="signal duties, rising, of a pump with its own controller"
    )
    signal_speed_pct: tuple[Annotated[float, Field(ge=0, le=100)], ...] | None = Field(
        None, min_length=2, max_length=50, description="share of full speed at each of them"
    )
    head_factor: Number = _key("head_factor", 1, 0.05, 1.5, (0.6, 1.05), "below 1 for a worn pump")


class SupplyTable(_Strict):
    """The `[supply]` table."""

    running_v: Number = _key("running_v", 1, 6, 16, (12.8, 14.8), "with the engine running; 12 V cars only")
    off_v: Number = _key("off_v", 1, 5, 16, (11.8, 12.9), "with the engine off")
    cranking_v: Number = _key("cranking_v", 1, 3, 16, (8, 12), "while cranking")
    sag_v: Number = _key("sag_v", 1, 0, 10, (0, 1.2), "drop at idle with the fan running")
    lead_ohm: Number = _key("lead_ohm", 1, 0, 5, (0.01, 0.25), "the pump's leads, there and back")
    alternator_efficiency: Number = _key("alternator_efficiency", 1, 0.1, 1, (0.45, 0.8), "from crankshaft to battery")
    fuel_mj_l: Number = _key("fuel_j_m3", 1e9, 10, 50, (20, 37), "lower heating value of the fuel")


class ProbeTable(_Strict):
    """The `[probe]` table."""

    type: Literal["open", "closed"] | None = Field(
        None, description="open: bare tip in the air; closed: in a metal tip"
    )
    tau_s: Number = _key("tau_s", 1, 0, 200, (1.5, 45), "time constant at tau_ref_g_s")
    tau_ref_g_s: Number = _key("tau_ref_kg_s", 1e-3, 0.5, 1000, (5, 60), "air flow tau_s stands for")
    boss_share: Number = _key("boss_share", 1, 0, 0.99, (0, 0.4), "share of the metal it sits in, at idle air flow")
    step_k: Number = _key("step_k", 1, 0, 10, (0, 1.5), "step of the reading")
    noise_k: Number = _key("noise_k", 1, 0, 10, (0, 0.6), "noise of the reading")
    place: Literal["core", "plenum"] | None = _word("place", "where it sits")
    coolant_probe: bool | None = _word("coolant_probe", "whether the loop's coolant has a probe too")


class BodyTable(_Strict):
    """The `[body]` table."""

    mass_kg: Number = _key("mass_kg", 1, 100, 20000, (700, 2800), "car with driver")
    cda_m2: Number = _key("cda_m2", 1, 0.05, 10, (0.45, 1.2), "drag area")
    crr: Number = _key("crr", 1, 0, 0.2, (0.006, 0.02), "rolling resistance")
    rotating: Number = _key("rotating", 1, 0, 1, (0.02, 0.12), "turning parts as a share of the mass")
    bay_rise_cruise_k: Number = _key("bay_rise_cruise_k", 1, 0, 120, (12, 45), "bay over ambient at cruise")
    bay_rise_traffic_k: Number = _key("bay_rise_traffic_k", 1, 0, 150, (20, 65), "bay over ambient in traffic")
    bay_rise_soak_k: Number = _key("bay_rise_soak_k", 1, 0, 150, (30, 80), "bay over ambient after shut-down, at most")
    bay_tau_s: Number = _key("bay_tau_s", 1, 5, 5000, (60, 600), "bay's time constant while driving")
    parked_tau_min: Number = _key("parked_tau_s", 60, 1, 1000, (20, 150), "its time constant while parked")


class ControlTable(_Strict):
    """The `[control]` table."""

    period_s: Number = Field(
        None, ge=0.1, le=60, description="the law is evaluated so often", json_schema_extra={"usual": [0.1, 2]}
    )
    duty_step_pct: Number = _key("duty_step", 0.01, 0, 50, (0, 10), "duty steps the engine computer can hold; 0: any")
    start_delay_s: Number = _key("start_delay_s", 1, 0, 60, (0, 3), "relay and pump start delay")


class CarFile(_Strict):
    """A whole car file; every table and every key but the name is optional."""

    car: CarHead
    engine: EngineTable = Field(default_factory=lambda: EngineTable.model_validate({}))
    charger: ChargerTable = Field(default_factory=lambda: ChargerTable.model_validate({}))
    core: CoreTable = Field(default_factory=lambda: CoreTable.model_validate({}))
    front: FrontTable = Field(default_factory=lambda: FrontTable.model_validate({}))
    loop: LoopTable = Field(default_factory=lambda: LoopTable.model_validate({}))
    pump: PumpTable = Field(default_factory=lambda: PumpTable.model_validate({}))
    supply: SupplyTable = Field(default_factory=lambda: SupplyTable.model_validate({}))
    probe: ProbeTable = Field(default_factory=lambda: ProbeTable.model_validate({}))
    body: BodyTable = Field(default_factory=lambda: BodyTable.model_validate({}))
    control: ControlTable = Field(default_factory=lambda: ControlTable.model_validate({}))
    fitted: dict[str, Mark] = Field(default_factory=dict)


SECTIONS: Final[dict[str, type[BaseModel]]] = {
    "engine": EngineTable,
    "charger": ChargerTable,
    "core": CoreTable,
    "front": FrontTable,
    "loop": LoopTable,
    "pump": PumpTable,
    "supply": SupplyTable,
    "probe": ProbeTable,
    "body": BodyTable,
    "control": ControlTable,
}


def extra_of(section: str, key: str) -> dict[str, Any]:
    """What `_key` noted beside a field: to, factor, offset, usual."""
    extra = SECTIONS[section].model_fields[key].json_schema_extra
    return dict(extra) if isinstance(extra, dict) else {}


def _names() -> dict[str, str]:
    names = {
        f"{section}.{extra_of(section, key)['to']}": f"{section}.{key}"
        for section, model in SECTIONS.items()
        for key in model.model_fields
        if "to" in extra_of(section, key)
    }
    names |= {
        "engine.gear_m_s_per_rpm": "engine.kmh_per_1000rpm",
        "engine.supercharged": "engine.kind",
        "pump.head_flow_m3_s": "pump.curve",
        "pump.head_pa": "pump.curve",
        "pump.signal_duty": "pump.signal_duty_pct",
        "pump.signal_speed": "pump.signal_speed_pct",
        "control.period_ticks": "control.period_s",
    }
    return names


KEY_OF_NUMBER: Final[dict[str, str]] = _names()
"""Number ("core.coolant_m3") -> key of a car file ("core.coolant_l")."""
