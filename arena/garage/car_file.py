"""Writes a fitted car: the user's own file with its comments, the told numbers put in and marked as measured.

Where the file gave a part another way (by dimensions, by a rating), that way is kept as a remark and the numbers it
stood for are written out, since a car file says a thing once.
"""

from __future__ import annotations

from collections.abc import Sequence
from pathlib import Path
from typing import Any

from arena.errors import BadInput
from arena.garage.identify import Told
from arena.plant.numbers import CarNumbers
from arena.scenario import loading
from arena.scenario.car import Car, car_toml, load_car, written
from arena.scenario.car_keys import KEY_OF_NUMBER
from arena.writing import write_whole

_WAYS = {
    "core": ("rated_", "length_mm", "width_mm", "height_mm", "fins_per_", "size"),
    "front": ("rated_", "width_mm", "height_mm", "depth_mm", "fins_per_", "size"),
    "loop": ("total_fill_l",),
    "probe": ("type",),
}

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
    marks = {t.name: mark(t, log_name) for t in told if t.identified}
    marks |= dict.fromkeys(guesses, f"guess, not told by {Path(log_name).name}: goes with the measured numbers")
    text = _with_comments(base, numbers, marks, out.stem)
    if text is None:
        name, summary = _named(base.name, out.stem), f"{base.summary}; fitted"
        text = car_toml(numbers, name, summary, marks)
    try:
        write_whole(out, text)
    except OSError as error:
        raise BadInput(f"{out}: cannot be written: {error.strerror}", "Give an --out path you may write.") from error


def mark(told: Told, log_name: str) -> str:
    """The remark behind a number that was told."""
    assert told.low is not None and told.high is not None
    return f"measured: fitted to {Path(log_name).name}, 90 % interval {told.low:.4g} to {told.high:.4g}"


def _with_comments(base: Car, numbers: CarNumbers, marks: dict[str, str], name: str) -> str | None:
    """The base file changed in place, or None where that cannot say the same numbers."""
    import tomlkit

    if base.path is None:
        return None
    document: Any = tomlkit.parse(loading.read_text(base.path))
    document["car"]["name"] = _named(base.name, name)
    for key, remark in marks.items():
        section, field = key.split(".")
        if section not in document:
            document[section] = tomlkit.table()
        if section in _WAYS and (section != "probe" or field == "tau_s"):
            _spell_out(document[section], section, base)
        value = written(section, field, getattr(numbers, section))
        assert value is not None
        _put(document[section], field, value, remark)
        for other in ALONG.get(key, ()):
            also = written(section, other, getattr(numbers, section))
            assert also is not None
            _put(document[section], other, also, f"scaled along with {field}")
    text: str = tomlkit.dumps(document)
    return text if _says(text, numbers) else None


def _spell_out(table: Any, section: str, base: Car) -> None:
    """Replace another way of giving a part by the numbers it stood for; the old keys stay as a remark."""
    import tomlkit

    ways = [key for key in table if any(key.startswith(way) for way in _WAYS[section])]
    if not ways:
        return
    old = ", ".join(
        f"{key} = {table[key].as_string() if hasattr(table[key], 'as_string') else table[key]}" for key in ways
    )
    for key in ways:
        table.remove(key)
    table.add(tomlkit.comment(f"replaced by fitted numbers; stood here: {old}"))
    for number, why in base.origin.items():
        key = KEY_OF_NUMBER[number]
        if key.startswith(f"{section}.") and why.startswith("estimated") and key.split(".")[1] not in table:
            field = key.split(".")[1]
            value = written(section, field, getattr(base.numbers(), section))
            if value is not None:
                _put(table, field, value, f"{why}, as before the fit")


def _put(table: Any, field: str, value: str, remark: str) -> None:
    import tomlkit

    item = tomlkit.item(tomlkit.parse(f"x = {value}")["x"])
    item.comment(remark)
    table[field] = item


def _says(text: str, numbers: CarNumbers) -> bool:
    """Whether the text, read back, is the car that is meant."""
    import math
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
        if isinstance(a, float) and isinstance(b, float) and not math.isclose(a, b, rel_tol=1e-9, abs_tol=1e-15):
            return False
    return True


def _named(base: str, stem: str) -> str:
    return (stem or base)[:60]
