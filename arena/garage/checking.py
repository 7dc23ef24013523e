"""`arena check` beyond the file itself: what the standings hang on, whether the car can do the drive, and the files of
strategies, settings, axes and duty tables by their own readers.
"""

from __future__ import annotations

import re
from dataclasses import dataclass, field, replace
from pathlib import Path
from typing import TYPE_CHECKING, Any, Final

import numpy as np

from arena.errors import BadInput
from arena.plant.compile import BOOST_FROM_PA
from arena.scenario import loading
from arena.scenario.car import Car, load_car
from arena.scenario.check import Checked, check_file
from arena.scenario.climate import load_climate
from arena.scenario.drive import Drive
from arena.scenario.log_columns import Columns
from arena.scenario.log_csv import Log
from arena.units import Units

if TYPE_CHECKING:
    from arena.contest.pool import Tell
    from arena.garage.worth_measuring import Effect

MOST_NAMED: Final = 6
HOW: Final[dict[str, str]] = {  # how a number can be had in a garage; those not here are learnt from a log (arena fit)
    "engine.displacement_l": "handbook",
    "engine.power_kw": "handbook",
    "engine.map_max_kpa": "boost gauge",
    "engine.redline_rpm": "handbook",
    "engine.kmh_per_1000rpm": "both gauges, in each gear",
    "engine.idle_map_kpa": "a log: MAP at idle",
    "engine.boost_starts_rpm": "a log of one pull",
    "engine.boost_full_rpm": "a log of one pull",
    "core.metal_kg": "a scale, empty",
    "core.coolant_l": "a measuring jug",
    "core.air_ha_w_k": "core.length_mm, width_mm, height_mm, fins_per_inch with a tape measure",
    "core.coolant_ha_w_k": "core.length_mm, width_mm, height_mm with a tape measure",
    "front.face_m2": "front.width_mm, height_mm with a tape measure",
    "front.air_ha_w_k": "front.width_mm, height_mm, depth_mm, fins_per_inch with a tape measure",
    "front.coolant_ha_w_k": "front.width_mm, height_mm, depth_mm with a tape measure",
    "front.metal_kg": "a scale, empty",
    "front.coolant_l": "a measuring jug",
    "front.condenser_rise_k": "look whether a condenser stands before it; two thermometers",
    "loop.hose_bore_mm": "callipers",
    "loop.hose_total_m": "tape measure",
    "loop.hose_in_bay_m": "tape measure",
    "loop.tank_l": "a measuring jug",
    "loop.glycol_pct": "refractometer",
    "loop.cap_kpa": "stamped on the cap",
    "loop.thermosiphon_l_min": "feel whether the front exchanger warms up with the pump off",
    "pump.rated_a": "clamp meter",
    "pump.rated_speed_rpm": "bucket test: pump.bucket_l_min, bucket_v, bucket_a",
    "pump.system_kpa": "bucket test: pump.bucket_l_min, bucket_v, bucket_a",
    "pump.system_l_min": "bucket test: pump.bucket_l_min, bucket_v, bucket_a",
    "pump.curve": "the maker's curve, or his highest head and flow",
    "pump.resistance_ohm": "ohmmeter at the plug",
    "pump.start_v": "bench supply turned up until it starts",
    "pump.pwm_hz": "the engine computer's settings",
    "supply.running_v": "voltmeter at the plug",
    "supply.off_v": "voltmeter at the plug",
    "supply.lead_ohm": "voltage drop along the lead over the current",
    "probe.tau_s": "probe.type: look at the tip",
    "body.mass_kg": "the papers, or a weighbridge",
    "control.start_delay_s": "the engine computer's settings",
    "control.duty_step_pct": "the engine computer's settings",
}


@dataclass(frozen=True)
class Examined:
    """A file that passed, and what else was found out about it."""

    checked: Checked
    effects: dict[str, Effect] = field(default_factory=dict)  # cars only, by file key

    def worth_measuring(self) -> list[str]:
        """The assumed numbers that can be measured and on which the standings depend most, with how to measure them."""
        why = {what: known for what, _, known in self.checked.rows}
        ordered = sorted(self.effects.values(), key=lambda e: -e.change)
        left = [e.key for e in ordered if e.matters and e.key in HOW and not _done(HOW[e.key], why.get(e.key, ""))]
        return [f"{key} ({HOW[key]})" for key in left][:MOST_NAMED]


def _done(how: str, why: str) -> bool:
    """Whether a number already comes from the measurement that would give it."""
    return any(key in why for key in re.findall(r"[a-z]+\.[a-z_]+", how))


def examine(
    path: Path,
    columns: Columns | None = None,
    units: Units | None = None,
    quick: bool = False,
    car: str = "invented-2200",
    tell: Tell | None = None,
) -> Examined:
    """Check a file in full. With `quick` nothing is played. Raises BadInput with every fault, one line each."""
    checked = check_file(path, columns, units)
    if checked.kind == "car" and not quick:
        from arena.garage.worth_measuring import sensitivity

        return Examined(checked, sensitivity(_car(checked), tell))
    if checked.kind == "drive" and not quick:
        return Examined(rehearsed(checked, load_car(car), units or Units()))
    own = {"strategy": _strategy, "settings": _settings, "axes": _axes, "table": _table, "columns": _columns}
    if checked.kind in own:
        return Examined(own[checked.kind](path, checked))
    return Examined(_usable(checked) if checked.kind == "log" else checked)


def rehearsed(checked: Checked, car: Car, units: Units) -> Checked:
    """A drive played once on a mild day: how long, how far, how much of it on boost, and what the car could not do."""
    from arena.timetable.outing import play

    drive = checked.loaded
    assert isinstance(drive, Drive)
    played = play(drive, load_climate("mild"), car.numbers(), 1)
    part = slice(played.score_from if played.start != "cold" else 0, played.drive_until)
    running = played.engine_on[part] > 0.5
    boost = (played.map_pa[part] > BOOST_FROM_PA) & running
    metres = float(played.speed_m_s[part].sum()) * 0.1
    far, mark = units.labelled(metres / 1e3, "km")
    rows = (
        *checked.rows,
        (f"played with {car.name}", f"{0.1 * (part.stop - part.start) / 60.0:.1f} min, {far:.1f} {mark}", ""),
        (
            "on boost",
            f"{100.0 * float(boost.sum()) / max(1, int(running.sum())):.1f} % of the time the engine runs",
            "",
        ),
    )
    said = [note for note in played.notes if note not in checked.notes]
    return replace(checked, rows=rows, notes=(*checked.notes, *said))


def _car(checked: Checked) -> Car:
    assert isinstance(checked.loaded, Car)
    return checked.loaded


def _usable(checked: Checked) -> Checked:
    """A log, and what it can be used for."""
    log = checked.loaded
    assert isinstance(log, Log)
    have = set(log.values)
    engine = {"rpm", "map"} <= have
    if "speed" in have:
        as_drive = "rpm, MAP and speed" if engine else "speed"
    else:
        as_drive = "rpm and MAP, its speed worked out from the gearing" if engine else ""
    drives = f"yes, by {as_drive}: arena drive {loading.shown(log.path)}"
    if not as_drive:
        drives = "no: it has no speed, nor rpm and MAP to work it out from"
    lacks = [name for key, name in (("rpm", "rpm"), ("map", "MAP"), ("iat", "charge temperature")) if key not in have]
    fits = "yes: arena fit" if not lacks and "speed" in have else f"no: it has no {', '.join(lacks) or 'speed'}"
    rows = (*checked.rows, ("runs as a drive", drives, ""), ("can be fitted", fits, ""))
    if "map" in have:
        share = float(np.mean(log.values["map"] > BOOST_FROM_PA))
        rows = (*rows, ("on boost", f"{100 * share:.1f} % of the samples", ""))
    return replace(checked, rows=rows)


def _strategy(path: Path, checked: Checked) -> Checked:
    """A .py is run and tried on made-up drives; a settings file names a strategy."""
    if path.suffix.lower() != ".py":
        return _settings(path, checked)
    from arena.strategies import strategy_named

    found = strategy_named(str(path))
    rows = [
        ("name", found.name, ""),
        ("senses", ", ".join(found.senses), ""),
        ("when the probe fails", f"{100 * found.failsafe_duty:g} % duty", ""),
    ]
    rows += [(s.name, f"{s.low:g} to {s.high:g} {s.unit}, default {s.default:g}", s.meaning) for s in found.settings]
    return Checked("strategy", (), tuple(rows), found)


def _settings(path: Path, checked: Checked) -> Checked:
    """Settings as a result folder holds them: strategy = "name", then [settings]. A file never names code to run."""
    from arena.contest.entering import check_settings
    from arena.strategies import shipped, strategy_named

    data: dict[str, Any] = dict(checked.loaded or {})
    text = loading.read_text(path)
    name, table = data.get("strategy"), data.get("settings", {})
    where = loading.shown(path)
    if name == "duty-table":
        raise BadInput(f"{where}: is the record of a tuned table", "Give the table itself: tables/NAME.csv.")
    unknown = [key for key in data if key not in ("strategy", "settings")]
    faults = [loading.fault_line(path, text, (key,), "is not a key of a settings file") for key in unknown]
    if not isinstance(name, str):
        faults.append(f'{where}: strategy is missing, e.g. strategy = "proportional"')
    elif name not in shipped() and (name.endswith(".py") or ":" in name):
        message = f'"{loading.one_line(name)}" is a file; a settings file may name a shipped strategy only'
        faults.append(loading.fault_line(path, text, ("strategy",), message))
    numbers = isinstance(table, dict) and all(
        isinstance(v, int | float) and not isinstance(v, bool) and np.isfinite(v) for v in table.values()
    )
    if not numbers:
        faults.append(f"{where}: [settings] must hold NAME = NUMBER rows only")
    if faults:
        raise BadInput(faults, 'Write strategy = "proportional", then [settings] with one number a row.')
    remedy = ""
    try:
        strategy = strategy_named(str(name))
    except BadInput as fault:
        raise BadInput(
            [loading.fault_line(path, text, ("strategy",), said) for said in fault.faults], fault.remedy
        ) from None
    for key, value in table.items():
        try:
            check_settings(strategy, {key: float(value)})
        except BadInput as fault:
            faults += [loading.fault_line(path, text, ("settings", key), said) for said in fault.faults]
            remedy = fault.remedy
    if faults:
        raise BadInput(faults, remedy)
    return Checked("settings", (), tuple((k, f"{v:g}", "") for k, v in table.items()), data)


def _axes(path: Path, checked: Checked) -> Checked:
    from arena.contest.axes import load_axes

    axes = load_axes(path)
    rows = (("name", axes.name, ""), ("down", _axis(axes.down), ""), ("across", _axis(axes.across), ""))
    return Checked("axes", (), rows, axes)


def _axis(axis: Any) -> str:
    return f"{axis.heading}: {', '.join(f'{v:g}' for v in axis.given)}"


def _table(path: Path, checked: Checked) -> Checked:
    from arena.contest.duty_table import read_table

    table = read_table(path)
    rows = (
        ("down", f"{table.row_sense}: {', '.join(f'{v:g}' for v in table.rows)}", ""),
        ("across", f"{table.column_sense}: {', '.join(f'{v:g}' for v in table.columns)}", ""),
    )
    note = f"it competes as it stands with --strategy table:{loading.shown(path)}"
    return Checked("table", (*table.notes, note), rows, table)


def _columns(path: Path, checked: Checked) -> Checked:
    from arena.scenario.columns import read_columns

    columns = read_columns(path)
    rows = tuple(
        (name, f'"{header if isinstance(header, str) else header.header}"', "") for name, header in columns.items()
    )
    return Checked("columns", (), rows, columns)
