"""The strategies shipped with the project, found by looking at the files of this folder; and those a user names."""

from __future__ import annotations

import importlib
import math
import re
from functools import cache
from pathlib import Path

from arena.errors import BadInput
from arena.strategies.base import Strategy, from_module, load_strategy

_NOT_STRATEGIES = {"__init__", "base", "contract", "reference", "starter", "table_law"}
_GIVEN = re.compile(r"\+([a-z_][a-z0-9_]*)=([^+]*)$")


@cache
def shipped() -> dict[str, Strategy]:
    """Every shipped strategy by name, in the order of the file names."""
    found: dict[str, Strategy] = {}
    for path in sorted(Path(__file__).parent.glob("*.py")):
        if path.stem not in _NOT_STRATEGIES:
            strategy = from_module(importlib.import_module(f"arena.strategies.{path.stem}"), path)
            if strategy.name in found:
                raise BadInput(
                    f"{path}: is called {strategy.name!r}, as {found[strategy.name].path} is",
                    "Change `name` in one of the two files.",
                )
            found[strategy.name] = strategy
    return found


def strategy_named(name: str) -> Strategy:
    """A strategy by id; or from an explicit path to a .py file, which runs that file.

    A user's file is tried on made-up drives first. Raises BadInput for what is not there or breaks a promise.
    """
    if name.endswith(".py"):
        path = Path(name)
        if not path.is_file():
            raise BadInput(f"{name}: no such strategy file", "Give the path of a .py file that exists.")
        from arena.strategies.contract import require

        return require(load_strategy(path))
    if name not in shipped():
        import difflib

        near = difflib.get_close_matches(name, shipped(), n=3)
        hint = f"Did you mean {' or '.join(near)}? " if near else ""
        raise BadInput(
            f"unknown strategy {name if len(name) <= 60 else name[:57] + '...'!r}",
            f"{hint}Known: {', '.join(shipped())}; or a path to a .py file, or table:FILE.csv.",
        )
    return shipped()[name]


def split_argument(argument: str) -> tuple[str, dict[str, float]]:
    """A strategy argument and the settings hung on it: `proportional+start_c=35+quiet_cap_pct=40`."""
    values: dict[str, float] = {}
    name = argument
    while (found := _GIVEN.search(name)) is not None:
        try:
            value = float(found[2])
        except ValueError:
            value = float("nan")
        if not math.isfinite(value):
            raise BadInput(f"--strategy {argument}: {found[1]}={found[2]} is no number", "Write NAME+SETTING=NUMBER.")
        values = {found[1]: value, **values}
        name = name[: found.start()]
    return name, values
