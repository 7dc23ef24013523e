"""`arena list`: what there is, as a document and as lines. Imports nothing heavy: it answers at once."""

from __future__ import annotations

import sys
from dataclasses import asdict
from typing import Any

from arena.errors import BadInput
from arena.scenario.loading import list_all

KINDS = ("cars", "climates", "drives", "seasons", "strategies", "faults")


def listing(kind: str | None) -> dict[str, Any]:
    """`arena list --json`: {"cars": [{"name", "summary", "path"}], ...}."""
    if kind is not None and kind not in KINDS:
        raise BadInput(f"unknown kind {kind!r}", f"One of {', '.join(KINDS)}.")
    out: dict[str, Any] = {}
    for k in KINDS if kind is None else (kind,):
        if k == "strategies":
            out[k] = strategies()
        else:
            out[k] = [{"name": e.name, "summary": e.summary, "path": str(e.path)} for e in list_all(k)]
    return out


def strategies() -> list[dict[str, Any]]:
    """Shipped strategies with their senses, settings and fail-safe; `carried` is what any of them takes besides."""
    from arena.strategies import shipped
    from arena.strategies.base import CARRIED

    return [
        {
            "name": s.name,
            "summary": s.summary,
            "path": s.path,
            "senses": list(s.senses),
            "actuator": s.actuator,
            "failsafe_duty": s.failsafe_duty,
            "ranked": s.ranked,
            "settings": [asdict(x) for x in s.settings],
            "carried": [asdict(x) for x in CARRIED],
        }
        for s in shipped().values()
    ]


def show_listing(found: dict[str, Any]) -> None:
    """One line an entry on stdout, names in a column; kinds under their own heading if there are several."""
    lines: list[str] = []
    for group, entries in found.items():
        if len(found) > 1:
            lines += ["", group] if lines else [group]
        width = max((len(entry["name"]) for entry in entries), default=0)
        lines += [f"{entry['name']:{width}}  {entry['summary']}" for entry in entries] or ["none"]
    sys.stdout.write("\n".join(lines) + "\n")
    sys.stdout.flush()  # a reader who has gone, or a full disk, is noticed here
