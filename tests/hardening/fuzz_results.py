"""A small result folder, whole and unfinished, made once; its files as kinds to be damaged."""

from __future__ import annotations

import re
import shutil
from pathlib import Path
from typing import Any

import numpy as np
from fuzz_kinds import Kind

from arena.contest.store import Folder
from arena.contest.tournament import hold_tournament, read_unfinished
from arena.report.page import build_page

SEASON = """
[season]
name = "short"

[prices]
tracking_per_k_h = 0.1
wear_per_h = 0.04
energy_per_kwh = 0.9

[[outing]]
drive = "short.toml"
climate = "hot"
per_year = 20

[[outing]]
drive = "short.toml"
climate = "mild"
per_year = 5
"""
DRIVE = """
[drive]
name = "short"

[[phase]]
do = "cruise"
speed_kmh = 50
seconds = 20

[[phase]]
do = "pull"
to_kmh = 90
"""
NAMES = ("short.toml", "short-season.toml")


def make(place: Path) -> tuple[Path, Path]:
    """A whole result folder and one that was interrupted just before the end, below `place`."""
    (place / "short.toml").write_text(DRIVE, encoding="utf-8")
    season = place / "short-season.toml"
    season.write_text(SEASON, encoding="utf-8")

    def dress(folder: Path) -> None:
        shutil.copytree(folder, place / "cut.partial")
        build_page(folder)

    hold_tournament(
        season, strategies=["gated-table", "proportional"], trials=2, replicates=2, seed=3, out=place / "done",
        command=["tournament", "short-season.toml", "--out", "done"], dress=dress,
    )  # fmt: skip
    return place / "done", place / "cut.partial"


def _beside(folder: Path, but: str) -> dict[str, bytes]:
    keep = [f for f in folder.rglob("*") if f.is_file() and f.name != "page.html" and "inputs" not in f.parts]
    return {str(f.relative_to(folder)): f.read_bytes() for f in keep if str(f.relative_to(folder)) != but}


def _report(path: Path) -> Any:
    """The page of a folder, in which no figure may be without value."""
    text = build_page(path.parent).read_text(encoding="utf-8")
    shown = re.sub(r"(?s)<style.*?</style>|<script>.*?</script>", "", text)
    found = re.search(r"(?<![\w&-])(nan|inf|infinity)(?![\w-])", shown, re.IGNORECASE)
    return {"page": float("nan") if found else 0.0}


def _resume(path: Path) -> Any:
    """What `--resume` reads of an unfinished folder before anything is run."""
    folder = Folder.resume(_root(path, "manifest.json"))
    try:
        asked = read_unfinished(folder)
        generations = [folder.kept_generation(name, 0) for name in ("gated-table", "proportional")]
        worlds = [folder.kept_world(k) for k in range(2)]
    finally:
        folder.lock.release()
    parts = [world[0] for world in worlds if world is not None]
    figures = [np.nan_to_num(values, nan=0.0, posinf=np.inf) for table in parts for values in table.values.values()]
    sound = [(table.wear_parts, table.weights, table.limit_s) for table in parts]  # a figure may have no value
    return asked, generations, figures, sound, [world[1] for world in worlds if world is not None]


def _root(path: Path, mark: str) -> Path:
    return next(up for up in path.parents if (up / mark).exists())


def kinds(done: Path, partial: Path) -> dict[str, Kind]:
    """Every file of a result folder that a command reads back."""
    found = [
        Kind(
            f"report {name}",
            name,
            ((done / name).read_bytes(),),
            _report,
            _beside(done, name),
            ("page.html", ".page.html.new"),
        )
        for name in ("manifest.json", "standings.csv", "runs.csv", "views.json")
    ]
    found += [
        Kind(f"resume {name}", f"cut.partial/{name}", ((partial / name).read_bytes(),), _resume,
             {f"cut.partial/{n}": data for n, data in _beside(partial, name).items()})
        for name in ("manifest.json", "tuning/gated-table.json", "working/world-0.npz")
    ]  # fmt: skip
    return {kind.name: kind for kind in found}
