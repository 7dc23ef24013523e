"""Ranks ways of driving the coolant pump of a water-to-air charge cooler on real drives.

From Python: `arena.drive(...)`, `arena.tournament(...)`, `arena.tune(...)`; see docs/scripting.md. Importing the
package is quick: what each needs is loaded when it is called.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from pathlib import Path
from typing import TYPE_CHECKING, Any

if TYPE_CHECKING:
    from arena.contest.single import SingleRun
    from arena.contest.tournament import TournamentResult
    from arena.contest.tuning import TuningResult

__all__ = ["drive", "tournament", "tune"]


def drive(
    drive: str | Path,
    climate: str | Path = "mild",
    car: str | Path = "invented-2200",
    strategy: str = "always-on",
    settings: Mapping[str, float] | None = None,
    seed: int = 1,
) -> SingleRun:
    """Play one drive with one strategy. `figures` by name; `arena.report.trace.trace_columns(run)` gives the 10 Hz run.

    Raises arena.errors.BadInput for whatever cannot be used.
    """
    from arena.contest.single import drive_once

    return drive_once(drive, climate, car, strategy, dict(settings or {}), seed, record=True)


def tournament(
    season: str | Path = "temperate-year", car: str | Path = "invented-2200", **options: Any
) -> TournamentResult:
    """Tune and rank strategies over a season; options as `arena.contest.tournament.hold_tournament`.

    `standings.lines` are the places, `table.values[figure]` has shape (contestants, outings, replicates).
    """
    from arena.contest.tournament import hold_tournament

    return hold_tournament(season, car, **options)


def tune(
    climates: Sequence[str] = (),
    drives: Sequence[str] = (),
    strategy: str = "gated-table",
    **options: Any,
) -> TuningResult:
    """Settings for one strategy (for the table: the table itself) for drives in climates, with the evidence.

    With `season=`: its outings, cut down to the climates and drives that are named. Options as
    `arena.contest.tuning.make_job`, and `workers`.
    """
    from arena.contest.tuning import hold_tuning, make_job

    workers = options.pop("workers", None)
    return hold_tuning(make_job(climates, drives, strategy=strategy, **options), workers)
