"""The strategies shipped with the project, found by looking at the files of this folder."""

from __future__ import annotations

import importlib
from functools import cache
from pathlib import Path

from arena.errors import BadInput
from arena.strategies.base import Strategy, from_module, load_strategy

_NOT_STRATEGIES = {"__init__", "base"}


@cache
def shipped() -> dict[str, Strategy]:
    """Every shipped strategy by name, in the order of the file names."""
    found = {}
    for path in sorted(Path(__file__).parent.glob("*.py")):
        if path.stem not in _NOT_STRATEGIES:
            strategy = from_module(importlib.import_module(f"arena.strategies.{path.stem}"), path)
            found[strategy.name] = strategy
    return found


def strategy_named(name: str) -> Strategy:
    """A strategy by id, or from an explicit path to a .py file (which runs that file)."""
    if name.endswith(".py"):
        path = Path(name)
        if not path.is_file():
            raise BadInput(f"{name}: no such strategy file", "Give the path of a .py file that exists.")
        return load_strategy(path)
    if name not in shipped():
        import difflib

        near = difflib.get_close_matches(name, shipped(), n=3)
        hint = f"Did you mean {' or '.join(near)}? " if near else ""
        raise BadInput(
            f"unknown strategy {name!r}", f"{hint}Known: {', '.join(shipped())}; or give a path to a .py file."
        )
    return shipped()[name]
