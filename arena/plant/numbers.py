"""The numbers that describe one car and one goal to the physics: SI units only, no files, no printing.

`scenario/car.py` makes these from a car file; every default here is the invented car of the project
(2.2 litres, about 190 kW). The defaults are engineering judgement from memory, no published source.
"""

from __future__ import annotations

from dataclasses import dataclass, field
from typing import Literal

Glycol = Literal["ethylene", "propylene", "none"]
TankPlace = Literal["in-flow", "side", "none"]


@dataclass(frozen=True)
class Engine:
    """Engine and gearbox: displacement, limits of boost and air flow, friction, gearing."""

    displacement_m3: float = 2.2e-3
    map_max_pa: float = 205e3
    peak_air_flow_kg_s: float = 0.19
    peak_power_w: float = 190e3
    idle_rpm: float = 800.0
    redline_rpm: float = 6300.0
    boost_starts_rpm: float = 1400.0
    boost_full_rpm: float = 2700.0
    volumetric_efficiency: float = 0.92
    manifold_reference_k: float = 318.15  # air flow is worked out at this fixed charge temperature
    full_load_lambda: float = 0.85
    indicated_efficiency: float = 0.37
    friction_a_pa: float = 0.75e5  # Chen-Flynn style: a + b rpm + c rpm^2, mean effective pressure
    friction_b_pa_rpm: float = 12.0
    friction_c_pa_rpm2: float = 0.0016
    accessory_w: float = 900.0
    idle_map_pa: float = 32e3  # closed throttle floor
    plate_tau_s: float = 0.10
    spool_tau_s: float = 0.7
    gear_m_s_per_rpm: tuple[float, ...] = (0.00222, 0.00389, 0.00569, 0.00764, 0.00958, 0.01153)  # 8..41.5 km/h a 1000
    driveline_efficiency: float = 0.92
    warm_up_tau_s: float = 420.0
    supercharged: bool = False


@dataclass(frozen=True)
class Charger:
    """Turbo or supercharger and the air path round it."""

    efficiency: float = 0.70
    low_ratio_efficiency: float = 0.50  # efficiency as the pressure ratio goes to 1; blends up to PR 1.2
    intake_loss_pa: float = 4e3  # filter and pipe at peak air flow, grows with flow squared
    core_loss_pa: float = 6e3  # pressure lost across the core at peak air flow
    hot_side_ua_w_k: float = 1.2  # turbine side to charge air at cruise and above; half of it at idle
    turbine_idle_k: float = 493.15
    turbine_cruise_k: float = 623.15
    turbine_full_k: float = 1123.15
    turbine_tau_s: float = 90.0
    pipe_capacity_j_k: float = 600.0
    pipe_ha_w_k: float = 8.0
    pipe_bay_ua_w_k: float = 1.0
    inlet_rise_cruise_k: float = 4.0
    inlet_rise_idle_k: float = 15.0
    bypass_churn_w: float = 0.0  # supercharger off boost: heat put into the air by churning


@dataclass(frozen=True)
class Core:
    """The charge cooler under the bonnet."""

    air_ha_w_k: float = 450.0  # at air_ref_kg_s
    air_ref_kg_s: float = 0.2
    air_exponent: float = 0.65
    coolant_ha_w_k: float = 1600.0  # at coolant_ref_m3_s
    coolant_ref_m3_s: float = 15.0 / 60000.0
    coolant_exponent: float = 0.55
    rated_glycol: Glycol = "ethylene"  # the coolant that coolant_ha_w_k stands for
    rated_glycol_volume_fraction: float = 0.40
    still_ha_w_k: float = 60.0
    metal_kg: float = 2.2
    metal_j_kg_k: float = 900.0
    coolant_m3: float = 0.6e-3
    bay_ua_w_k: float = 4.0
    pipe_ua_w_k: float = 1.5  # pipe between core and engine


@dataclass(frozen=True)
class Front:
    """The heat exchanger at the front of the car."""

    face_m2: float = 0.15
    air_ha_w_k: float = 900.0  # at air_ref_kg_s
    air_ref_kg_s: float = 0.9
    air_exponent: float = 0.5
    coolant_ha_w_k: float = 1800.0
    coolant_ref_m3_s: float = 15.0 / 60000.0
    coolant_exponent: float = 0.55
    rated_glycol: Glycol = "ethylene"  # the coolant that coolant_ha_w_k stands for
    rated_glycol_volume_fraction: float = 0.40
    still_ha_w_k: float = 60.0
    metal_kg: float = 3.0
    metal_j_kg_k: float = 900.0
    coolant_m3: float = 1.2e-3
    face_velocity_ratio: float = 0.20
    fan_m_s: float = 1.5
    still_m_s: float = 0.1
    standstill_rise_k: float = 10.0  # recirculated engine-bay air at standstill with the fan running
    condenser_rise_k: float = 0.0  # preheat by a condenser standing before it


@dataclass(frozen=True)
class Loop:
    """Hoses, tank and coolant."""

    hose_bore_m: float = 0.019
    hose_total_m: float = 6.0
    hose_in_bay_m: float = 3.5
    hose_ua_w_m_k: float = 0.85
    tank: TankPlace = "in-flow"
    tank_m3: float = 2.0e-3
    tank_ua_w_k: float = 1.2
    side_share: float = 0.05  # share of the flow through a side-branch tank
    extra_m3: float = 0.0  # coolant that is in the fill but in none of the parts above
    glycol: Glycol = "ethylene"
    glycol_volume_fraction: float = 0.40
    cap_gauge_pa: float = 110e3
    thermosiphon_m3_s: float = 0.0


@dataclass(frozen=True)
class Pump:
    """Electric pump: hydraulics at rated speed, the motor, and what switches it."""

    head_flow_m3_s: tuple[float, ...] = (0.0, 7 / 60000, 14 / 60000, 21 / 60000, 28 / 60000)
    head_pa: tuple[float, ...] = (55e3, 51.5625e3, 41.25e3, 24.0625e3, 0.0)  # at rated_rad_s
    rated_rad_s: float = 449.98078774918  # 4297 rpm
    rated_v: float = 13.5
    rated_current_a: float = 3.86
    peak_hydraulic_efficiency: float = 0.30046281760058  # makes it rated_current_a at rated_v in the loop below
    system_pa: float = 30e3  # at system_ref_m3_s, viscosity_ref
    system_ref_m3_s: float = 15 / 60000
    system_exponent: float = 1.9
    resistance_ohm: float = 0.7
    ke_v_s: float = 0.0225
    brush_v: float = 1.0
    friction_nm: float = 0.018
    start_v: float = 3.5  # at the motor, direct voltage: what breaks a resting rotor away
    inductance_h: float = 0.5e-3
    pwm_hz: float = 1000.0
    spin_up_tau_s: float = 0.2
    soft_start_s: float = 0.5
    kind: Literal["brushed", "signal"] = "brushed"  # "signal": a pump with its own controller
    signal_duty: tuple[float, ...] = (0.0, 0.10, 0.90, 1.0)  # "signal" only: duty -> share of full speed
    signal_speed: tuple[float, ...] = (0.0, 0.0, 1.0, 1.0)
    head_factor: float = 1.0  # below 1 for a worn pump

    @property
    def start_a(self) -> float:
        """Current that breaks a resting rotor away: at rest there is no back EMF."""
        return (self.start_v - self.brush_v) / self.resistance_ohm

    @property
    def breakaway_nm(self) -> float:
        """Torque that current makes."""
        return self.ke_v_s * self.start_a


@dataclass(frozen=True)
class Supply:
    """Battery, alternator and the pump's leads."""

    running_v: float = 13.8
    off_v: float = 12.4
    cranking_v: float = 10.0
    sag_v: float = 0.4  # drop at idle with the fan running
    lead_ohm: float = 0.05
    alternator_efficiency: float = 0.60
    fuel_j_m3: float = 32.0e9  # lower heating value of petrol by volume


@dataclass(frozen=True)
class Probe:
    """The charge temperature probe and what the engine computer makes of it."""

    tau_s: float = 4.0  # at tau_ref_kg_s
    tau_ref_kg_s: float = 0.020
    boss_share: float = 0.15  # share of boss temperature in the reading at idle air flow, fades as 1/flow
    step_k: float = 0.5
    noise_k: float = 0.15
    place: Literal["core", "plenum"] = "plenum"
    coolant_probe: bool = False


@dataclass(frozen=True)
class Body:
    """The car on the road, and the air under its bonnet."""

    mass_kg: float = 1500.0
    cda_m2: float = 0.68
    crr: float = 0.011
    rotating: float = 0.05
    bay_rise_cruise_k: float = 28.0
    bay_rise_traffic_k: float = 42.0
    bay_rise_soak_k: float = 50.0
    bay_tau_s: float = 200.0
    parked_tau_s: float = 3600.0


@dataclass(frozen=True)
class Control:
    """What the engine computer can do with the pump."""

    period_ticks: int = 1  # law evaluated every so many 0.1 s ticks
    duty_step: float = 0.0  # 0: as fine as wanted
    start_delay_s: float = 0.0  # relay and pump start delay


@dataclass(frozen=True)
class CarNumbers:
    """One car, all of it, in SI units."""

    engine: Engine = field(default_factory=Engine)
    charger: Charger = field(default_factory=Charger)
    core: Core = field(default_factory=Core)
    front: Front = field(default_factory=Front)
    loop: Loop = field(default_factory=Loop)
    pump: Pump = field(default_factory=Pump)
    supply: Supply = field(default_factory=Supply)
    probe: Probe = field(default_factory=Probe)
    body: Body = field(default_factory=Body)
    control: Control = field(default_factory=Control)


@dataclass(frozen=True)
class Goals:
    """What a season asks for, in K and SI: enters the figures, not the physics."""

    target_k: float = 303.15
    limit_k: float = 318.15
    band_k: float = 3.0
    quiet_duty: float = 0.6
    quiet_m_s: float = 10.0 / 3.6
