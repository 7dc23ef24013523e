"""The pump's current in the car: what a clamp meter read settles, or what the other numbers make it.

A steady motor has one torque balance, Ke I = friction + hydraulic torque at the speed that voltage and current leave.
The current given fixes whichever of its numbers is not; the voltage given alone, the speed of the curve.
"""

from __future__ import annotations

import dataclasses
from functools import lru_cache
from typing import Final

import numpy as np
from numpy.typing import NDArray

from arena.plant.numbers import CarNumbers, Loop, Pump
from arena.scenario.car_found import Found, given
from arena.scenario.car_keys import CarFile

Floats = NDArray[np.float64]

LEAST_EFFICIENCY, MOST_EFFICIENCY = 0.05, 0.7  # of a pump this size, at its best; from memory
FRICTION_SHARE: Final = 0.25  # of the torque, where the friction assumed is more than the current given allows; assumed
CONTRADICTS: Final = 0.10  # relative difference from which a current given is said not to fit the rest


def current(found: Found, file: CarFile, base: CarNumbers) -> None:
    """Settle the current at rated_v, measured at the pump's plug in the car, coolant at 40 degC."""
    pump, loop = _as_found(found, base)
    by_bucket = file.pump.bucket_l_min is not None
    if file.pump.rated_a is None:
        volts = given(file.pump, "rated_v", "curve_v")
        if volts and not found.has("pump.rated_rad_s"):
            _by_voltage(found, pump, loop, f"estimated from pump.{volts[0]}")
            pump, loop = _as_found(found, base)
            _note_too_weak(found, pump, loop)
        if not by_bucket and (found.values["pump"] or found.values["loop"]):
            found.put("pump", "rated_current_a", plug_a(pump, loop, pump.rated_v), "estimated from the pump's numbers")
        return
    amps, stalled = pump.rated_current_a, (pump.rated_v - pump.brush_v) / pump.resistance_ohm
    if amps >= stalled:
        message = (
            f"is not below the current of a stalled motor, (rated_v - brush_v) / resistance_ohm = {stalled:.1f} A: "
            f"it could not turn (given {amps:g})"
        )
        found.faults.append((("pump", "rated_a"), message))
        return
    if not by_bucket:
        _settle(found, pump, loop, amps)
        pump, loop = _as_found(found, base)
    made = plug_a(pump, loop, pump.rated_v)
    if abs(made / amps - 1.0) > CONTRADICTS:
        found.notes.append(
            f"pump.rated_a = {amps:g} contradicts the rest of the pump: curve, loop, resistance_ohm, ke_v_s, "
            f"friction_nm and hydraulic_efficiency make {made:.2f} A at {pump.rated_v:g} V, and those are what runs; "
            "leave out what you have not measured"
        )


def plug_a(pump: Pump, loop: Loop, volts: float) -> float:
    """Current in A at a voltage at the pump's plug, in the car's loop with coolant at 40 degC."""
    from arena.plant import electrics

    def load(speed: float) -> float:
        return pump.friction_nm + _hydraulic_nm(pump, loop, speed)

    made = electrics.motor_point(pump.resistance_ohm, pump.ke_v_s, load, volts, brush_v=pump.brush_v)
    return float(made.current_a)


def _by_voltage(found: Found, pump: Pump, loop: Loop, why: str) -> None:
    """Speed of the curve where only its voltage is given: as if the current these numbers make had been measured.

    With a hydraulic efficiency given, that stays, and the speed is the one at which the motor drives its own curve:
    Ke (V - brush - Ke w) / R = friction + P / w, the higher of the two; P: the water's power there over the efficiency.
    """
    if not found.has("pump.peak_hydraulic_efficiency"):
        amps = plug_a(pump, loop, pump.rated_v)
        if amps * pump.resistance_ohm < pump.rated_v - pump.brush_v:  # it turns
            _settle(found, pump, loop, amps, why)
        return
    power = _hydraulic_nm(pump, loop, pump.rated_rad_s) * pump.rated_rad_s
    squared = pump.ke_v_s**2 / pump.resistance_ohm
    linear = pump.ke_v_s * (pump.rated_v - pump.brush_v) / pump.resistance_ohm - pump.friction_nm
    root = linear**2 - 4.0 * squared * power
    if linear > 0.0 and root >= 0.0:
        found.put("pump", "rated_rad_s", (linear + root**0.5) / (2.0 * squared), why)


def _note_too_weak(found: Found, pump: Pump, loop: Loop) -> None:
    """Say so where the motor does not reach the speed of the curve at rated_v."""
    amps = plug_a(pump, loop, pump.rated_v)
    wanted = (pump.rated_v - pump.brush_v - pump.ke_v_s * pump.rated_rad_s) / pump.resistance_ohm
    if abs(amps - wanted) > CONTRADICTS * amps:
        found.notes.append(
            f"a motor of these numbers does not drive the pump's curve at pump.rated_v = {pump.rated_v:g}, so less "
            "flows than the maker's figures say; give pump.rated_a, resistance_ohm or rated_speed_rpm"
        )


def _settle(found: Found, pump: Pump, loop: Loop, amps: float, why: str = "estimated from pump.rated_a") -> None:
    """Speed of the curve, hydraulic efficiency and, if need be, friction from the current; what is given stays."""
    speed = (pump.rated_v - pump.brush_v - pump.resistance_ohm * amps) / pump.ke_v_s
    if not found.has("pump.rated_rad_s"):
        found.put("pump", "rated_rad_s", speed, why)
        pump = dataclasses.replace(pump, rated_rad_s=speed)
    torque, friction = pump.ke_v_s * amps, pump.friction_nm
    friction_known, efficiency_known = found.has("pump.friction_nm"), found.has("pump.peak_hydraulic_efficiency")
    perfect = _hydraulic_nm(dataclasses.replace(pump, peak_hydraulic_efficiency=1.0), loop, speed)
    if not efficiency_known:
        if not friction_known and friction > (1.0 - FRICTION_SHARE) * torque:
            friction = FRICTION_SHARE * torque
            found.put("pump", "friction_nm", friction, why)
        wanted = perfect / max(torque - friction, 1e-9)
        held = min(max(wanted, LEAST_EFFICIENCY), MOST_EFFICIENCY)
        found.put("pump", "peak_hydraulic_efficiency", held, why)
        if held == wanted:
            return
        pump = dataclasses.replace(pump, peak_hydraulic_efficiency=held)
    rest = torque - perfect / pump.peak_hydraulic_efficiency
    if not friction_known and rest > 0.0:
        found.put("pump", "friction_nm", rest, why)


def _hydraulic_nm(pump: Pump, loop: Loop, speed: float) -> float:
    """Torque the water asks for at a speed in rad/s."""
    ratios, per_square = _torques(pump, loop)
    return float(np.interp(speed / pump.rated_rad_s, ratios, per_square)) * speed**2


@lru_cache(maxsize=64)
def _torques(pump: Pump, loop: Loop) -> tuple[Floats, Floats]:
    """Speed over rated speed, and torque over speed squared (N m s2) there."""
    from arena.plant import fluids, hydraulics

    coolant = fluids.table(loop.glycol, loop.glycol_volume_fraction)
    ratios = np.linspace(0.02, 2.0, 100)
    made = hydraulics.build_flow_table(pump, loop, coolant, ratios, np.array([hydraulics.REFERENCE_K]))
    return ratios, made.torque_nm[:, 0] / (ratios * pump.rated_rad_s) ** 2


def _as_found(found: Found, base: CarNumbers) -> tuple[Pump, Loop]:
    """Pump and loop as they stand now."""
    return (
        dataclasses.replace(base.pump, **found.values["pump"]),
        dataclasses.replace(base.loop, **found.values["loop"]),
    )
