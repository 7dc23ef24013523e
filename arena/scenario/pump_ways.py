"""Pump of a car file: by its curve, its maker's two ends or one bucket test; with it the resistance of the loop."""

from __future__ import annotations

import dataclasses
from itertools import pairwise
from typing import Final

from arena.plant.numbers import CarNumbers
from arena.scenario.car_found import Found, all_of, given_by, one_way
from arena.scenario.car_keys import CarFile
from arena.scenario.pump_current import LEAST_EFFICIENCY, MOST_EFFICIENCY, current

WATER_PA_M: Final = 1000.0 * 9.80665  # makers give heads in metres of water


def pump(found: Found, file: CarFile, base: CarNumbers) -> None:
    """Head, flow, resistance of the loop and signal of the pump, into `found`."""
    p = file.pump
    one_way(found, "pump", p, {"kpa": ("max_head_kpa",), "m": ("max_head_m",)}, "the highest head")
    way = one_way(
        found,
        "pump",
        p,
        {"curve": ("curve",), "two": ("max_head_kpa", "max_head_m", "max_flow_l_min")},
        "the pump's head and flow",
    )
    tested = one_way(
        found,
        "pump",
        p,
        {"system": ("system_kpa", "system_l_min"), "bucket": ("bucket_l_min", "bucket_v", "bucket_a")},
        "the loop's resistance",
    )
    points = _curve(found, file) if way == "curve" else _two_points(found, file) if way == "two" else None
    if tested == "bucket" and not way:
        found.faults.append(
            (
                ("pump", "max_head_kpa"),
                "is missing: pump.bucket_l_min needs the maker's max_head_kpa and max_flow_l_min, or a curve",
            )
        )
    _signal(found, file)
    if found.faults:
        return
    if points is not None:
        key = "pump.curve" if way == "curve" else "pump.max_flow_l_min"
        volts = float(p.curve_v or found.get(base, "pump", "rated_v"))
        ratio = _speed(found, base, float(found.get(base, "pump", "rated_v"))) / _speed(found, base, volts)
        why = "given" if way == "curve" else f"estimated from {key} and the maker's highest head"
        found.put("pump", "head_flow_m3_s", tuple(q * ratio for q, _ in points), why)
        found.put("pump", "head_pa", tuple(h * ratio**2 for _, h in points), why)
    elif p.curve_v is not None:
        found.faults.append(
            (("pump", "curve_v"), "has no curve to stand for; give pump.curve, or max_head_kpa and max_flow_l_min")
        )
    if tested == "system":
        all_of(found, "pump", p, ("system_kpa", "system_l_min"), "the loop's resistance")
    if tested == "bucket" and all_of(found, "pump", p, ("bucket_l_min", "bucket_v", "bucket_a"), "a bucket test"):
        _bucket(found, file, base)
    if not found.faults:
        current(found, file, base)
    _start(found, file, base)


def _curve(found: Found, file: CarFile) -> list[tuple[float, float]]:
    """The points of a curve, m3/s and Pa; flows must increase, heads must fall."""
    points: list[tuple[float, float]] = []
    loc: tuple[str | int, ...]
    rows = file.pump.curve or ()
    for row, point in enumerate(rows):
        loc = ("pump", "curve", row)
        if (point.head_kpa is None) == (point.head_m is None):
            found.faults.append(((*loc, "head_kpa"), "or head_m must be given, one of the two"))
            continue
        head = point.head_kpa * 1e3 if point.head_kpa is not None else float(point.head_m or 0.0) * WATER_PA_M
        if row and rows[row - 1].flow_l_min >= point.flow_l_min:
            message = f"must increase ({point.flow_l_min:g} after {rows[row - 1].flow_l_min:g})"
            found.faults.append(((*loc, "flow_l_min"), message))
        if points and head >= points[-1][1]:
            shown = "head_kpa" if point.head_kpa is not None else "head_m"
            message = f"must fall as flow increases ({head / 1e3:g} kPa after {points[-1][1] / 1e3:g} kPa)"
            found.faults.append(((*loc, shown), message))
        points.append((point.flow_l_min / 60000.0, head))
    if len(points) >= 2 and not found.faults and points[0][0] > 0.0:
        (q0, h0), (q1, h1) = points[:2]
        top = h0 + (h0 - h1) * q0**2 / (q1**2 - q0**2)
        found.notes.append(f"pump.curve does not start at 0 L/min: carried on to {top / 1e3:.1f} kPa there")
        points.insert(0, (0.0, top))
    return points


def _two_points(found: Found, file: CarFile) -> list[tuple[float, float]] | None:
    """Maker's highest head and flow: a parabola between them, head = H (1 - (Q/Qmax)^2)."""
    p = file.pump
    if p.max_head_kpa is None and p.max_head_m is None:
        found.faults.append((("pump", "max_head_kpa"), "is missing: pump.max_flow_l_min needs it (or max_head_m)"))
        return None
    if p.max_flow_l_min is None:
        key = "max_head_kpa" if p.max_head_kpa is not None else "max_head_m"
        found.faults.append((("pump", "max_flow_l_min"), f"is missing: pump.{key} needs it to give the pump"))
        return None
    head = p.max_head_kpa * 1e3 if p.max_head_kpa is not None else float(p.max_head_m or 0.0) * WATER_PA_M
    flow = p.max_flow_l_min / 60000.0
    return [(flow * x, head * (1.0 - x * x)) for x in (0.0, 0.25, 0.5, 0.75, 1.0)]


def _speed(found: Found, base: CarNumbers, volts: float) -> float:
    """Pump speed in the car at a voltage, rad/s: the load's current goes with the square of the speed."""
    rated_v, rated_a, resistance, brush, ke = (
        float(found.get(base, "pump", name))
        for name in ("rated_v", "rated_current_a", "resistance_ohm", "brush_v", "ke_v_s")
    )
    full = (rated_v - brush - rated_a * resistance) / ke
    k = resistance * rated_a / max(full, 1.0) ** 2
    # ke w + k w^2 = volts - brush
    drive = max(volts - brush, 0.05)
    return float(2.0 * drive / (ke + (ke * ke + 4.0 * k * drive) ** 0.5))


def _bucket(found: Found, file: CarFile, base: CarNumbers) -> None:
    """One bucket test: speed from voltage and current, head from the curve at that speed, and so the loop's resistance.

    The current also gives the pump's hydraulic efficiency and its current at rated voltage.
    """
    from arena.plant import hydraulics

    p = file.pump
    flow, volts, amps = float(p.bucket_l_min or 0) / 60000.0, float(p.bucket_v or 0), float(p.bucket_a or 0)
    resistance, brush, ke, friction, rated_v = (
        float(found.get(base, "pump", name))
        for name in ("resistance_ohm", "brush_v", "ke_v_s", "friction_nm", "rated_v")
    )
    speed = (volts - brush - amps * resistance) / ke
    if speed <= 0.0:
        message = f"is more than a motor of {resistance:g} ohm takes at {volts:g} V while turning (given {amps:g})"
        found.faults.append((("pump", "bucket_a"), message))
        return
    squared = amps / speed**2
    low, high = speed * 0.1, (rated_v - brush) / ke
    for _ in range(200):  # speed at rated voltage, current with the square of speed
        middle = 0.5 * (low + high)
        low, high = (
            (middle, high) if ke * middle + resistance * squared * middle**2 < rated_v - brush else (low, middle)
        )
    rated = 0.5 * (low + high)
    why = "estimated from pump.bucket_l_min, pump.bucket_v and pump.bucket_a"
    found.put("pump", "rated_rad_s", rated, why)
    found.put("pump", "rated_current_a", squared * rated**2, why)
    ratio = speed / rated
    flows, heads = found.get(base, "pump", "head_flow_m3_s"), found.get(base, "pump", "head_pa")
    if flow >= ratio * flows[-1]:
        free = ratio * flows[-1] * 60000.0
        message = (
            f"is more than the pump can move at {volts:g} V with nothing connected, {free:.1f} L/min "
            f"(given {float(p.bucket_l_min or 0):g})"
        )
        found.faults.append((("pump", "bucket_l_min"), message))
        return
    pump = dataclasses.replace(base.pump, head_flow_m3_s=flows, head_pa=heads, head_factor=1.0)
    head = ratio**2 * float(hydraulics.pump_head_pa(pump)(flow / ratio))
    found.put("pump", "system_pa", head, why)
    found.put("pump", "system_ref_m3_s", flow, why)
    torque = ke * amps - friction
    best = hydraulics.BEST_FLOW_SHARE * flows[-1]
    shape = max(0.2, (flow / ratio / best) * (2.0 - flow / ratio / best))
    if torque <= 0.0:
        found.notes.append(
            "pump.bucket_a is less than the assumed friction takes; check the clamp meter, or give pump.friction_nm"
        )
        return
    efficiency = head * flow / (torque * speed) / shape
    if not LEAST_EFFICIENCY <= efficiency <= MOST_EFFICIENCY:
        found.notes.append(
            f"pump.bucket_a would mean a hydraulic efficiency of {efficiency:.2f}, held within "
            f"{LEAST_EFFICIENCY:g} to {MOST_EFFICIENCY:g}: "
            "check flow and current"
        )
    found.put("pump", "peak_hydraulic_efficiency", min(max(efficiency, LEAST_EFFICIENCY), MOST_EFFICIENCY), why)


def _start(found: Found, file: CarFile, base: CarNumbers) -> None:
    """What breaks a resting rotor away, by voltage or by torque; an assumed one is never under the running friction."""
    p = file.pump
    if one_way(found, "pump", p, {"v": ("start_v",), "nm": ("breakaway_nm",)}, "what starts the pump") == "v":
        return
    resistance, brush, ke, friction, start_v = (
        float(found.get(base, "pump", name))
        for name in ("resistance_ohm", "brush_v", "ke_v_s", "friction_nm", "start_v")
    )
    if p.breakaway_nm is not None:
        found.put("pump", "start_v", brush + resistance * p.breakaway_nm / ke, "estimated from pump.breakaway_nm")
    elif ke * (start_v - brush) / resistance < 1.2 * friction:
        settled = ("resistance_ohm", "ke_v_s", "brush_v", "friction_nm")
        why = given_by(p, "pump", *settled) if any(getattr(p, key) is not None for key in settled) else "estimated"
        found.put("pump", "start_v", brush + resistance * 1.2 * friction / ke, why)


def _signal(found: Found, file: CarFile) -> None:
    """A pump with its own controller: as many speeds as duties, duties rising."""
    p = file.pump
    if p.signal_duty_pct is None and p.signal_speed_pct is None:
        return
    if not all_of(found, "pump", p, ("signal_duty_pct", "signal_speed_pct"), "a signal pump"):
        return
    duty, speed = p.signal_duty_pct or (), p.signal_speed_pct or ()
    if len(duty) != len(speed):
        found.faults.append(
            (
                ("pump", "signal_speed_pct"),
                f"must have as many entries as pump.signal_duty_pct ({len(speed)} against {len(duty)})",
            )
        )
    for before, after in pairwise(duty):
        if after <= before:
            found.faults.append((("pump", "signal_duty_pct"), f"must increase ({after:g} after {before:g})"))
    if speed and max(speed) > speed[-1]:
        found.faults.append(
            (
                ("pump", "signal_speed_pct"),
                f"ends at {speed[-1]:g}, below its highest, {max(speed):g}: here more duty means more pump. For a "
                "signal that works the other way round give the speeds at 100 - duty, and have the output inverted",
            )
        )
    if p.kind == "brushed":
        found.faults.append(
            (("pump", "kind"), 'is "brushed", but pump.signal_duty_pct belongs to a "signal" pump; keep one of them')
        )
    found.put("pump", "signal_duty", tuple(v / 100.0 for v in duty))
    found.put("pump", "signal_speed", tuple(v / 100.0 for v in speed))
    found.put("pump", "kind", "signal", "estimated from pump.signal_duty_pct")
