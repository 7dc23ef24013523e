"""The JSON documents of the commands: what scripts read, in one place."""

from __future__ import annotations

from dataclasses import asdict
from typing import TYPE_CHECKING, Any

if TYPE_CHECKING:
    from arena.contest.single import SingleRun
    from arena.contest.tournament import TournamentResult


def tournament_document(result: TournamentResult, per_climate: bool = False) -> dict[str, Any]:
    """`arena tournament --json`."""
    plan = result.plan
    document = {
        "schema": 1,
        "season": plan.season.name,
        "car": plan.car.name,
        "seed": plan.seed,
        "spread": plan.spread,
        "folder": str(result.folder) if result.folder else None,
        "seconds": result.seconds,
        "standings": _places(result),
        "beats": [{"a": a, "b": b, "share": share} for a, b, share in result.standings.beats],
        "what_if": [{"what": w.what, "order": list(w.order)} for w in result.standings.what_if],
        "outings": [
            {
                "id": o.id,
                "drive": o.drive,
                "climate": o.climate,
                "replicate": o.replicate,
                "drive_seconds": o.drive_seconds,
                "weight": o.weight,
            }
            for o in result.outings
        ],
        "failed": result.failed_runs(),
        "protection": [asdict(p) for p in result.protection],
        "notes": [*result.standings.notes, *result.notes, *result.drive_notes()],
    }
    if per_climate:
        from arena.contest.tournament import climate_standings

        document["per_climate"] = {
            climate: [
                {"place": x.place, "tied_with": list(x.tied_with), "contestant": x.contestant, "score": x.score,
                 "score_low": x.score_low, "score_high": x.score_high, "ranked": x.ranked}
                for x in (its.lines if its is not None else ())
            ]
            for climate, its in climate_standings(result).items()
        }  # fmt: skip
    return document


def _places(result: TournamentResult) -> list[dict[str, Any]]:
    """One entry a contestant, in the order of the standings."""
    from arena.contest.entering import settings_shown

    by_name = {c.name: c for c in result.contestants}
    return [
        {
            "place": line.place,
            "tied_with": list(line.tied_with),
            "contestant": line.contestant,
            "tuned": by_name[line.contestant].tuned,
            "ranked": line.ranked,
            "score": line.score,
            "score_low": line.score_low,
            "score_high": line.score_high,
            "tuning_gap": result.gap(line.contestant),
            "over_limit_k": line.over_limit_k,
            "breaks_limit": line.breaks_limit,
            "settings": settings_shown(by_name[line.contestant]),
            "figures": line.figures,
        }
        for line in result.standings.lines
    ]


def drive_document(run: SingleRun) -> dict[str, Any]:
    """`arena drive --json`."""
    from arena.contest.entering import settings_shown

    return {
        "schema": 1,
        "drive": run.drive.name,
        "climate": run.climate.name,
        "car": run.car.name,
        "strategy": run.contestant.strategy.name,
        "settings": settings_shown(run.contestant),
        "fault": run.fault.name if run.fault else None,
        "carried_cost": run.carried_cost,
        "seed": run.seed,
        "drive_seconds": run.played.scored_s,
        "figures": run.figures,
        "failed": {"reason": run.failed, "time_s": run.failed_s} if run.failed else None,
        "notes": list(run.notes),
    }
