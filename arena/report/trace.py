"""The trace of one run as CSV, 10 Hz, in the units people read."""

from __future__ import annotations

from pathlib import Path

import numpy as np
from numpy.typing import NDArray

from arena.contest.single import SingleRun
from arena.errors import BadInput
from arena.plant import layout as at
from arena.plant.compile import TICK_S
from arena.units import ZERO_C_K
from arena.writing import write_whole

Floats = NDArray[np.float64]


def trace_columns(run: SingleRun) -> dict[str, Floats | NDArray[np.object_]]:
    """Columns of the trace by name, each of shape (ticks,); temperatures are means over the tick."""
    assert run.record is not None
    r, x, p, k = run.record, run.compiled.X, run.played, ZERO_C_K
    heat_air = np.diff(r[:, at.T_HEAT_AIR], prepend=0.0) / TICK_S
    heat_out = np.diff(r[:, at.T_HEAT_OUT], prepend=0.0) / TICK_S
    phases = np.array(p.phases, dtype=object)
    return {
        "time_s": TICK_S * np.arange(p.ticks),
        "phase": phases[p.phase],
        "speed_kmh": 3.6 * p.speed_m_s,
        "pedal_pct": 100.0 * p.pedal,
        "throttle_pct": 100.0 * p.throttle,
        "rpm": p.rpm,
        "map_kpa": 1e-3 * p.map_pa,
        "air_flow_g_s": 1e3 * p.air_flow_kg_s,
        "ambient_c": p.ambient_k - k,
        "bay_c": run.compiled.air.bay_k - k,
        "charger_out_c": run.compiled.air.charger_out_k - k,
        "iat_c": r[:, at.T_IAT] - k,
        "probe_c": r[:, at.T_READING] - k,
        "core_metal_c": r[:, at.T_CORE_METAL] - k,
        "coolant_into_core_c": r[:, at.T_CORE_IN] - k,
        "coolant_out_of_core_c": r[:, at.T_CORE_OUT] - k,
        "coolant_into_front_c": r[:, at.T_FRONT_IN] - k,
        "coolant_out_of_front_c": r[:, at.T_FRONT_OUT] - k,
        "tank_c": r[:, at.T_TANK] - k,
        "duty_pct": 100.0 * r[:, at.T_DUTY],
        "supply_v": x[:, at.X_SUPPLY],
        "pump_v": r[:, at.T_PUMP_V],
        "pump_a": r[:, at.T_PUMP_A],
        "pump_rpm": r[:, at.T_PUMP_SPEED] * 30.0 / np.pi,
        "flow_l_min": 60000.0 * r[:, at.T_FLOW],
        "pump_w": r[:, at.T_SUPPLY_W],
        "resistor_w": r[:, at.T_RESISTOR_W],
        "heat_from_air_w": heat_air,
        "heat_to_outside_w": heat_out,
    }


def write_trace(run: SingleRun, path: Path) -> None:
    """Write the trace; the file appears whole or not at all."""
    columns = trace_columns(run)
    lines = [",".join(columns)]
    numbers = {n: [f"{v:.6g}" for v in c] for n, c in columns.items() if n not in {"phase", "time_s"}}
    numbers["time_s"] = [f"{v:.1f}" for v in columns["time_s"]]
    numbers["phase"] = [f'"{v}"' if "," in v else str(v) for v in columns["phase"]]
    lines += [",".join(row) for row in zip(*(numbers[n] for n in columns), strict=True)]
    try:
        write_whole(path, "\n".join(lines) + "\n")
    except OSError as error:
        raise BadInput(f"{path}: cannot be written: {error.strerror}", "Give a --trace path you may write.") from error
