"""What a car file comes to while it is worked out, and the ways a thing can be given: one of them, and whole."""

from __future__ import annotations

from dataclasses import dataclass, field
from typing import Any

from pydantic import BaseModel

from arena.plant.numbers import CarNumbers
from arena.scenario.car_keys import SECTIONS


@dataclass
class Found:
    """What a file comes to: numbers by section, where each came from, faults (key path, message) and notes."""

    values: dict[str, dict[str, Any]] = field(default_factory=lambda: {section: {} for section in SECTIONS})
    why: dict[str, str] = field(default_factory=dict)  # "core.coolant_m3" -> "given" or "estimated from ..."
    faults: list[tuple[tuple[str | int, ...], str]] = field(default_factory=list)
    notes: list[str] = field(default_factory=list)

    def put(self, section: str, number: str, value: Any, why: str = "given") -> None:
        """Set a number, unless the file gives it itself."""
        if isinstance(value, float):
            value = float(f"{value:.14g}")  # unit conversions leave no crumbs
        elif isinstance(value, tuple):
            value = tuple(float(f"{item:.14g}") for item in value)
        if self.why.get(f"{section}.{number}") != "given":
            self.values[section][number] = value
            self.why[f"{section}.{number}"] = why

    def has(self, number: str) -> bool:
        """Whether the file gives or settles the number ("core.metal_kg")."""
        return number in self.why

    def get(self, base: CarNumbers, section: str, number: str) -> Any:
        """The number as it stands now."""
        return self.values[section].get(number, getattr(getattr(base, section), number))


def given(table: BaseModel, *keys: str) -> list[str]:
    """Those of the keys that the file gives."""
    return [key for key in keys if getattr(table, key) is not None]


def one_way(found: Found, section: str, table: BaseModel, ways: dict[str, tuple[str, ...]], thing: str) -> str:
    """The one way a thing is given ("" for none); two ways are a fault that names both."""
    used = {way: given(table, *keys) for way, keys in ways.items()}
    used = {way: keys for way, keys in used.items() if keys}
    if len(used) > 1:
        first, second = list(used.values())[:2]
        message = f"and {section}.{first[0]} are two ways of giving {thing}; keep one of them"
        found.faults.append(((section, second[0]), message))
        return ""
    return next(iter(used), "")


def all_of(found: Found, section: str, table: BaseModel, keys: tuple[str, ...], thing: str) -> bool:
    """Whether every key of a way is there; each missing one is a fault."""
    missing = [key for key in keys if getattr(table, key) is None]
    needs = next((f"{section}.{key} needs it" for key in given(table, *keys)), "it is needed")
    for key in missing:
        found.faults.append(((section, key), f"is missing: {needs} to give {thing}"))
    return not missing


def given_by(table: BaseModel, section: str, *keys: str) -> str:
    """In words, which of the keys a number was estimated from."""
    names = [f"{section}.{key}" for key in given(table, *keys)]
    return "estimated from " + (f"{', '.join(names[:-1])} and {names[-1]}" if len(names) > 1 else names[0])
