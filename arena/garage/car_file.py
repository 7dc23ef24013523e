"""Writes a fitted car: the user's own file with its comments, the told numbers put in and marked as measured.

What the fit moved along without telling it goes in as a guess. Remarks say so to people, the table [fitted] to the
programs: `arena check` counts guesses among the assumed numbers.

Where the file gave a part another way (by dimensions, by a rating), that way is kept as a remark and the numbers it
stood for are written out, since a car file says a thing once.
"""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from pathlib import Path
from typing import Any

from arena.errors import BadInput
from arena.garage.identify import Told
from arena.plant.numbers import CarNumbers
from arena.scenario import loading
from arena.scenario.car import Car, car_toml, load_car, written
from arena.scenario.car_keys import KEY_OF_NUMBER
from arena.scenario.fitted import fitted_toml
from arena.writing import write_whole

_WAYS = {
    "core": (
        "rated_effectiveness",
        "rated_air_",
        "rated_coolant_l_min",
        "length_mm",
        "width_mm",
        "height_mm",
        "fins_per_",
        "size",
    ),
    "front": (
        "rated_effectiveness",
        "rated_air_",
        "rated_coolant_l_min",
        "width_mm",
        "height_mm",
        "depth_mm",
        "fins_per_",
        "size",
    ),
    "loop": ("total_fill_l",),
    "probe": ("type",),
    "pump": ("bucket_",),
}
_ONLY_FOR = {"probe": ("tau_s",), "pump": ("system_kpa",)}  # other numbers of these sections stand beside their ways
_SETTLED_BY_CURRENT = ("pump.friction_nm", "pump.hydraulic_efficiency", "pump.rated_speed_rpm")  # with rated_a given
_NEEDS = {"pump.system_kpa": "system_l_min"}  # a key that cannot stand without another

ALONG = {
    "body.bay_rise_cruise_k": ("bay_rise_traffic_k", "bay_rise_soak_k"),
    "charger.inlet_rise_cruise_k": ("inlet_rise_idle_k",),
}


def write_car(
    base: Car, numbers: CarNumbers, told: Sequence[Told], out: Path, log_name: str, guesses: Sequence[str] = ()
) -> None:
    """Write the base car's file with `numbers` in it. The file appears whole or not at all; raises BadInput.

    guesses: keys of numbers to be written too, marked as not told.
    """
    remarks = {t.name: mark(t, log_name) for t in told if t.identified}
    remarks |= dict.fromkeys(guesses, f"guess, not told by {Path(log_name).name}: goes with the measured numbers")
    spans = {t.name: (t.low, t.high) for t in told if t.identified}
    log = Path(log_name).name
    text = _with_comments(base, numbers, remarks, spans, out.stem, log)
    if text is None:
        name, summary = _named(base.name, out.stem), f"{base.summary}; fitted"
        before = {key: _mark(key, numbers, f"as before the fit to {log}: {why}") for key, why in base.assumed.items()}
        marks = {key: made for key, made in before.items() if made is not None}
        marks |= _marks(remarks, spans, numbers, log)
        text = car_toml(numbers, name, summary, remarks) + fitted_toml(marks)
    try:
        write_whole(out, text)
    except OSError as error:
        raise BadInput(f"{out}: cannot be written: {error.strerror}", "Give an --out path you may write.") from error


def mark(told: Told, log_name: str) -> str:
    """The remark behind a number that was told."""
    assert told.low is not None and told.high is not None
    return f"measured: fitted to {Path(log_name).name}, 90 % interval {told.low:.4g} to {told.high:.4g}"


def _mark(
    key: str, numbers: CarNumbers, by: str, span: tuple[float | None, float | None] | None = None
) -> dict[str, Any] | None:
    """A line of [fitted]: measured where there is an interval, else a guess; None for what is no single number."""
    section, field = key.split(".")
    text = written(section, field, getattr(numbers, section))
    try:
        value = float(text or "")
    except ValueError:
        return None
    if span is None or span[0] is None or span[1] is None:
        return {"status": "guess", "value": value, "by": by}
    low, high = (float(f"{end:.4g}") for end in span if end is not None)
    return {"status": "measured", "value": value, "low": min(low, value), "high": max(high, value), "by": by}


def _marks(
    remarks: dict[str, str], spans: Mapping[str, tuple[float | None, float | None]], numbers: CarNumbers, log: str
) -> dict[str, dict[str, Any]]:
    """Lines of [fitted] for what the fit put in, and for what was scaled along."""
    found = {}
    for key in remarks:
        by = f"fitted to {log}" if key in spans else f"moved along in the fit to {log}, which does not tell it"
        found[key] = _mark(key, numbers, by, spans.get(key))
        for other in ALONG.get(key, ()):
            other_key = f"{key.split('.')[0]}.{other}"
            found[other_key] = _mark(other_key, numbers, f"scaled along with {key} in the fit to {log}")
    return {key: made for key, made in found.items() if made is not None}


def _with_comments(
    base: Car,
    numbers: CarNumbers,
    remarks: dict[str, str],
    spans: Mapping[str, tuple[float | None, float | None]],
    name: str,
    log: str,
) -> str | None:
    """The base file changed in place, or None where that cannot say the same numbers."""
    import tomlkit

    if base.path is None:
        return None
    document: Any = tomlkit.parse(loading.read_text(base.path))
    document["car"]["name"] = _named(base.name, name)
    marks: dict[str, dict[str, Any]] = {}
    for key, remark in remarks.items():
        marks |= _put_in(document, key, remark, base, numbers, log)
    marks |= _marks(remarks, spans, numbers, log)
    _put_marks(document, marks)
    text: str = tomlkit.dumps(document)
    return text if _says(text, numbers) else None


def _put_in(
    document: Any, key: str, remark: str, base: Car, numbers: CarNumbers, log: str
) -> dict[str, dict[str, Any]]:
    """One number into the document, with what it cannot stand without; marks for what was an assumption before."""
    import tomlkit

    section, field = key.split(".")
    if section not in document:
        document[section] = tomlkit.table()
    table, assumed = document[section], {}

    def put(name: str, said: str) -> None:
        value = written(section, name, getattr(numbers, section))
        assert value is not None
        _put(table, name, value, said)

    if section in _WAYS and field in _ONLY_FOR.get(section, (field,)):
        assumed = {kept: f"{why}, as before the fit to {log}" for kept, why in _spell_out(table, section, base).items()}
    put(field, remark)
    need = _NEEDS.get(key)
    if need is not None and need not in table:
        put(need, f"as before the fit: {field} is meant at this flow")
        assumed[f"{section}.{need}"] = f"as before the fit to {log}: {key} is meant at it"
    for other in ALONG.get(key, ()):
        put(other, f"scaled along with {field}")
    made = {name: _mark(name, numbers, by) for name, by in assumed.items() if name in base.assumed}
    return {name: mark for name, mark in made.items() if mark is not None}


def _put_marks(document: Any, marks: Mapping[str, Mapping[str, Any]]) -> None:
    """Marks into the table [fitted], beside those that earlier fits left."""
    import tomlkit

    fresh = tomlkit.parse(fitted_toml(marks))
    if "fitted" not in document:
        if fresh:
            document["fitted"] = fresh["fitted"]
        return
    for key, made in fresh["fitted"].items() if fresh else ():
        document["fitted"][key] = made


def _spell_out(table: Any, section: str, base: Car) -> dict[str, str]:
    """Replace another way of giving a part by the numbers it stood for; the old keys stay as a remark. Says which
    numbers were written out, and where they come from.
    """
    import tomlkit

    ways = [key for key in table if any(key.startswith(way) for way in _WAYS[section])]
    kept: dict[str, str] = {}
    if not ways:
        return kept
    old = ", ".join(
        f"{key} = {table[key].as_string() if hasattr(table[key], 'as_string') else table[key]}" for key in ways
    )
    for key in ways:
        table.remove(key)
    table.add(tomlkit.comment(f"replaced by fitted numbers; stood here: {old}"))
    for number, why in base.origin.items():
        key = KEY_OF_NUMBER[number]
        field = key.split(".")[1]
        theirs = why.startswith("estimated") and any(f"{section}.{way}" in why for way in ways)
        theirs = theirs or key in _SETTLED_BY_CURRENT
        if key.startswith(f"{section}.") and theirs and field not in table:
            value = written(section, field, getattr(base.numbers(), section))
            if value is not None:
                _put(table, field, value, f"{why}, as before the fit")
                kept[key] = why
    return kept


def _put(table: Any, field: str, value: str, remark: str) -> None:
    import tomlkit

    item = tomlkit.item(tomlkit.parse(f"x = {value}")["x"])
    item.comment(remark)
    table[field] = item


def _says(text: str, numbers: CarNumbers) -> bool:
    """Whether the text, read back, is the car that is meant."""
    import tempfile

    with tempfile.TemporaryDirectory() as folder:
        path = Path(folder) / "car.toml"
        path.write_text(text, encoding="utf-8")
        try:
            again = load_car(path).numbers()
        except BadInput:
            return False
    for number in KEY_OF_NUMBER:
        section, field = number.split(".")
        a, b = getattr(getattr(again, section), field), getattr(getattr(numbers, section), field)
        if not _alike(a, b):
            return False
    return True


def _alike(a: Any, b: Any) -> bool:
    """Whether two numbers of a car, or rows of them, are the same but for rounding in the file; words and switches."""
    if isinstance(a, tuple) and isinstance(b, tuple):
        return len(a) == len(b) and all(_alike(x, y) for x, y in zip(a, b, strict=True))
    if isinstance(a, float) and isinstance(b, float):
        return math.isclose(a, b, rel_tol=1e-9, abs_tol=1e-15)
    return bool(a == b)


def _named(base: str, stem: str) -> str:
    return (stem or base)[:60]
