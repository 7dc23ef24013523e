"""`arena tune --json`: the tuned table or settings, the comparison and the further answers as plain data."""

from __future__ import annotations

from typing import Any

import numpy as np

from arena.contest.aims import flat_span
from arena.contest.comparing import Comparison
from arena.contest.entering import settings_shown
from arena.contest.figures import FIGURES
from arena.contest.seasonal import Seasonal
from arena.contest.table_tuning import TunedTable
from arena.contest.tuning import TuningResult


def tuning_document(result: TuningResult) -> dict[str, Any]:
    """`arena tune --json`."""
    job, plan, found = result.job, result.job.plan, result.comparison
    mine = found.line(found.mine)
    document: dict[str, Any] = {
        "schema": 1,
        "strategy": job.contestant.name,
        "season": plan.season.name,
        "car": plan.car.name,
        "seed": plan.seed,
        "spread": plan.spread,
        "trials": job.trials,
        "outings": [{"id": plan.outing_id(e), "weight": float(w)} for e, w in enumerate(plan.weights)],
        "folder": str(result.folder) if result.folder else None,
        "seconds": result.seconds,
        "score": mine.score.value,
        "score_low": mine.score.low,
        "score_high": mine.score.high,
        "train_score": result.train_score,
        "tuning_gap": mine.score.value - result.train_score,
        "settings": settings_shown(result.contestant),
        "table": table_document(result.table) if result.table is not None else None,
        "resistors": [vars(r) for r in result.resistors],
        "comparison": comparison_document(found),
        "wrong_core": {name: comparison_document(c) for name, c in result.wrong_core.items()},
        "notes": list(result.notes),
    }
    if result.foresight is not None:
        f = result.foresight
        document["foresight"] = {
            "score": vars(f.score),
            "tuned_score": vars(f.tuned_score),
            "share_of_gain": vars(f.share),
            "by_outing": f.by_outing,
        }
    if result.seasonal is not None:
        document["seasonal"] = seasonal_document(result.seasonal)
    if result.pairs:
        document["axes"] = [
            {"pair": p.pair, "score": vars(p.score), "less_first": vars(p.less_first), "table": table_document(p.table)}
            for p in result.pairs
        ]
    if result.aims:
        season = plan.season
        document["aims"] = {
            "tried": [
                {"target_c": a.target_c, "limit_c": a.limit_c, "score": vars(a.score), "less_own": vars(a.less_own),
                 "flat": a.flat, "failed": a.failed}
                for a in result.aims
            ],
            "flat": {k: list(v) for k, v in flat_span(result.aims, season.target_c, season.limit_c).items()},
        }  # fmt: skip
    if result.tradeoff is not None:
        t = result.tradeoff
        document["tradeoff"] = {
            "front": [{"score": p.score, "figures": p.figures, "settings": p.settings} for p in t.front],
            "choices": {n: {"settings": p.settings, "figures": p.figures} for n, p in t.choices.items()},
            "comparison": comparison_document(t.comparison),
        }
    return document


def seasonal_document(found: Seasonal) -> dict[str, Any]:
    """One table against one a climate."""
    return {
        "tables": {climate: table_document(made) for climate, made in found.tables.items()},
        "every_table_in_every_climate": [
            {"climate": c.climate, "table": c.table, "score": vars(c.score), "less_own": vars(c.less_own)}
            for c in found.cells
        ],
        "one_score": vars(found.one_score),
        "own_score": vars(found.own_score),
        "one_less_own": vars(found.one_costs),
    }


def table_document(made: TunedTable) -> dict[str, Any]:
    """A tuned table as plain data; duties in per cent."""
    axes = made.axes
    return {
        "down": axes.down.heading,
        "across": axes.across.heading,
        "down_breakpoints": list(axes.down.given),
        "across_breakpoints": list(axes.across.given),
        "duty_pct": np.round(100.0 * made.cells, 6).tolist(),
        "visits_s": np.round(made.visits_s, 1).tolist(),
        "visited": made.visited.tolist(),
        "never_runs": made.never_runs,
        "lowest_pct": 100.0 * axes.floor(),
        "hysteresis_pct": 100.0 * axes.hysteresis,
        "duty_step_pct": 100.0 * axes.duty_step,
        "below_lowest": axes.reading,
        "falls_along_speed": made.falling,
        "shape": made.shape,
        "roughness": made.roughness,
        "world_scores": list(made.world_scores),
    }


def comparison_document(found: Comparison) -> list[dict[str, Any]]:
    """Every contestant's figures with interval, and the tuned one's difference from it."""
    return [
        {
            "contestant": line.contestant,
            "score": vars(line.score),
            "figures": {f.name: vars(line.figures[f.name]) for f in FIGURES},
            "tuned_less_this": {
                "score": vars(line.difference),
                **{n: vars(v) for n, v in line.figure_differences.items()},
            },
            "tuned_better_share": line.wins,
            "failed": list(line.failed),
            "over_limit_k": line.over_limit_k,
        }
        for line in found.lines
    ]
