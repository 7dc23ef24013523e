"""Car files: what can be measured in a garage goes in, the numbers the physics needs come out, with their origin.

`load_car` takes a name or a path. Whatever the file does not give is filled in, and each such number says whether it
is typical or was estimated from what was given.
"""

from __future__ import annotations

import dataclasses
import json
from collections.abc import Callable, Mapping
from dataclasses import dataclass, field
from pathlib import Path
from typing import Any

from arena.errors import BadInput
from arena.plant.numbers import CarNumbers
from arena.scenario import loading
from arena.scenario.car_keys import KEY_OF_NUMBER, SECTIONS, CarFile, extra_of
from arena.scenario.car_ways import Found, work_out
from arena.scenario.fitted import Mark, marked

__all__ = ["Car", "car_toml", "load_car", "written"]

TYPICAL = "typical, from memory"


@dataclass(frozen=True)
class Car:
    """A loaded car. `given`, `assumed` go by file keys ("core.coolant_l"), `origin` by numbers ("core.coolant_m3")."""

    name: str
    summary: str
    digest: str  # SHA-256 over the numbers: two files with the same numbers are the same car
    given: frozenset[str]
    assumed: dict[str, str]  # file key -> why: "typical, from memory", "estimated from engine.power_kw", ...
    notes: tuple[str, ...]
    path: Path | None = None
    origin: dict[str, str] = field(default_factory=dict)  # number -> "given", how it was fitted, or the same why
    marks: dict[str, Mark] = field(default_factory=dict)  # number -> its mark in [fitted]
    typed: dict[str, object] = field(default_factory=dict)  # given by keys that only lead to numbers, by file key
    _numbers: CarNumbers = field(default_factory=CarNumbers)

    def numbers(self) -> CarNumbers:
        """The car in SI, as the physics takes it."""
        return self._numbers

    def measured(self, number: str) -> bool:
        """Whether a number ("core.air_ha_w_k") is given, or was told by a log: not assumed, and no guess of a fit."""
        mark = self.marks.get(number)
        return self.origin.get(number) == "given" if mark is None else mark.status == "measured"


def load_car(name: str | Path, base: Car | CarNumbers | None = None, near: Path | None = None) -> Car:
    """A car by name or path; `base` fills in what the file does not give (else the project's invented car does).

    Raises BadInput with every fault, one line each.
    """
    path = loading.find("cars", name, near)
    text = loading.read_text(path)
    file = loading.validate(path, text, loading.parse(path, text), CarFile)
    start, filler = _base(base)
    found = work_out(file, start)
    marks, bad_marks, old_marks = marked(
        file.fitted, {section: getattr(file, section) for section in SECTIONS}, KEY_OF_NUMBER
    )
    guesses = {KEY_OF_NUMBER[number] for number, mark in marks.items() if mark.status == "guess"}
    given = frozenset(f"{section}.{key}" for section in SECTIONS for key in getattr(file, section).model_fields_set)
    faults = [loading.fault_line(path, text, tuple(loc), message) for loc, message in (*found.faults, *bad_marks)]
    numbers = start if faults else _numbers(start, found)
    faults += [] if faults else [loading.fault_line(path, text, tuple(loc), said) for loc, said in _impossible(numbers)]
    if faults:
        raise BadInput(faults, f"Correct {loading.shown(path)} and run `arena check {loading.shown(path)}`.")
    origin = {number: found.why.get(number, filler) for number in KEY_OF_NUMBER}
    origin |= {number: mark.why for number, mark in marks.items()}
    assumed = _assumed(given - guesses, origin, numbers.pump.kind == "brushed")
    notes = tuple([*_unusual(file), *found.notes, *old_marks])
    head = file.car
    return Car(
        head.name, head.summary, _digest(numbers), given - guesses, assumed, notes, path, origin, marks, _typed(file),
        numbers,
    )  # fmt: skip


def car_toml(numbers: CarNumbers, name: str, summary: str, comments: Mapping[str, str] | None = None) -> str:
    """A car file that gives every number; `comments` by file key ("core.metal_kg") go behind the value."""
    lines = ["[car]", f"name = {loading.toml_text(name)}", f"summary = {loading.toml_text(summary)}"]
    for section, model in SECTIONS.items():
        lines += ["", f"[{section}]"]
        values = getattr(numbers, section)
        for key, model_field in model.model_fields.items():
            text = written(section, key, values)
            if text is not None:
                comment = (comments or {}).get(f"{section}.{key}") or model_field.description or ""
                lines.append(f"{key} = {text}" + (f"  # {comment}" if comment else ""))
    return "\n".join(lines) + "\n"


def written(section: str, key: str, values: Any) -> str | None:
    """One value of a car file from a section's numbers; None for keys that are only another way of saying it."""
    special: dict[str, Callable[[], str | None]] = {
        "engine.kind": lambda: '"supercharger"' if values.supercharged else '"turbo"',
        "engine.kmh_per_1000rpm": lambda: _row(v * 3600.0 for v in values.gear_m_s_per_rpm),
        "pump.curve": lambda: _curve(values.head_flow_m3_s, values.head_pa),
        "pump.signal_duty_pct": lambda: (
            _row(100.0 * v for v in values.signal_duty) if values.kind == "signal" else None
        ),
        "pump.signal_speed_pct": lambda: (
            _row(100.0 * v for v in values.signal_speed) if values.kind == "signal" else None
        ),
        "control.period_s": lambda: _short(values.period_ticks / 10.0),
    }
    if f"{section}.{key}" in special:
        return special[f"{section}.{key}"]()
    extra = extra_of(section, key)
    if "to" not in extra:
        return None
    value = getattr(values, extra["to"])
    if isinstance(value, bool):
        return "true" if value else "false"
    if isinstance(value, str):
        return json.dumps(value)
    if isinstance(value, int):
        return str(value)
    return _short((value - float(extra.get("offset") or 0.0)) / float(extra["factor"]))


def _base(base: Car | CarNumbers | None) -> tuple[CarNumbers, str]:
    if base is None:
        return CarNumbers(), TYPICAL
    if isinstance(base, CarNumbers):
        return base, "taken from the base car"
    return base.numbers(), f"taken from {base.name}"


def _numbers(start: CarNumbers, found: Found) -> CarNumbers:
    sections = {
        section: dataclasses.replace(getattr(start, section), **values) for section, values in found.values.items()
    }
    return dataclasses.replace(start, **sections)


def _assumed(given: frozenset[str], origin: Mapping[str, str], brushed: bool) -> dict[str, str]:
    """Why, for every key that the file does not give and no other key settles."""
    assumed = {}
    for number, why in origin.items():
        key = KEY_OF_NUMBER[number]
        if key not in given and why != "given" and not (brushed and key.startswith("pump.signal_")):
            assumed[key] = why
    return assumed


def _typed(file: CarFile) -> dict[str, object]:
    """What is given by keys that set no number themselves: sizes, a bucket test, boost over the atmosphere."""
    ours = set(KEY_OF_NUMBER.values())
    return {
        f"{section}.{key}": getattr(getattr(file, section), key)
        for section, model in SECTIONS.items()
        for key in model.model_fields
        if f"{section}.{key}" not in ours and getattr(getattr(file, section), key) is not None
    }


def _unusual(file: CarFile) -> list[str]:
    """A note for each value that is possible but unusual."""
    notes = []
    for section in SECTIONS:
        table = getattr(file, section)
        for key in type(table).model_fields:
            value, usual = getattr(table, key), extra_of(section, key).get("usual")
            if usual and isinstance(value, int | float) and not usual[0] <= value <= usual[1]:
                notes.append(f"{section}.{key} = {value:g} is unusual (most cars: {usual[0]:g} to {usual[1]:g})")
    return notes


def _impossible(n: CarNumbers) -> list[tuple[tuple[str, str], str]]:
    """Numbers that are each possible but not together."""
    found: list[tuple[tuple[str, str], str]] = []

    def order(section: str, low: tuple[str, float], high: tuple[str, float]) -> None:
        if not low[1] < high[1]:
            found.append(((section, high[0]), f"must be above {section}.{low[0]} ({high[1]:g} against {low[1]:g})"))

    e, p, s = n.engine, n.pump, n.supply
    order("engine", ("idle_rpm", e.idle_rpm), ("redline_rpm", e.redline_rpm))
    order("engine", ("boost_starts_rpm", e.boost_starts_rpm), ("boost_full_rpm", e.boost_full_rpm))
    order("engine", ("boost_full_rpm", e.boost_full_rpm), ("redline_rpm", e.redline_rpm))
    if e.idle_map_pa >= e.map_max_pa:
        found.append((("engine", "idle_map_kpa"), "must be below the highest manifold pressure"))
    steps = 1.0 / n.control.duty_step if n.control.duty_step > 0.0 else 1.0
    if abs(steps - round(steps)) > 1e-9:
        message = f"{100.0 * n.control.duty_step:g} does not go into 100 a whole number of times"
        found.append((("control", "duty_step_pct"), message))
    if n.loop.hose_in_bay_m > n.loop.hose_total_m:
        message = f"is longer than loop.hose_total_m ({n.loop.hose_in_bay_m:g} against {n.loop.hose_total_m:g})"
        found.append((("loop", "hose_in_bay_m"), message))
    if n.loop.glycol == "none" and n.loop.glycol_volume_fraction > 0:
        found.append((("loop", "glycol_pct"), 'must be 0 where loop.glycol is "none"'))
    if p.start_v <= p.brush_v:
        found.append((("pump", "start_v"), f"is not above pump.brush_v ({p.brush_v:g}): no current would flow"))
    elif p.breakaway_nm < p.friction_nm * (1.0 - 1e-9):
        message = (
            f"makes {p.breakaway_nm:.4f} N m at rest, less than pump.friction_nm ({p.friction_nm:g}): "
            "a pump that could not keep turning would start"
        )
        found.append((("pump", "start_v"), message))
    if s.off_v > s.running_v:
        found.append((("supply", "off_v"), f"must not be above supply.running_v ({s.off_v:g} against {s.running_v:g})"))
    if p.start_v >= s.running_v:
        found.append((("pump", "start_v"), f"is not below supply.running_v, so the pump never starts ({p.start_v:g})"))
    return found


def _digest(numbers: CarNumbers) -> str:
    return loading.digest_of(json.dumps(dataclasses.asdict(numbers), sort_keys=True))


def _row(values: Any) -> str:
    return "[" + ", ".join(_short(v) for v in values) + "]"


def _curve(flows: tuple[float, ...], heads: tuple[float, ...]) -> str:
    points = (
        f"    {{ flow_l_min = {_short(q * 60000.0)}, head_kpa = {_short(h / 1e3)} }},"
        for q, h in zip(flows, heads, strict=True)
    )
    return "[\n" + "\n".join(points) + "\n]"


def _short(value: float) -> str:
    """A number as people write it, to 14 digits, without an exponent where that is readable."""
    text = f"{value:.14g}"
    if "e" in text and 1e-9 < abs(value) < 1e15:
        text = f"{value:.24f}".rstrip("0").rstrip(".")
    return text
