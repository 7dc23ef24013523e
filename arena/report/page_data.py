"""What the charts of page.html are drawn from: lines, figures, histogram and trade-off, in the page's units."""

from __future__ import annotations

from typing import Any

from arena.contest.standings import REFERENCES
from arena.report.result import Result
from arena.report.wording import PART_WORDS, PARTS, cost_parts, figure_named, front, scale_of
from arena.units import Units

VIEW_KEYS = ("outing", "drive", "climate", "fault", "per_year", "seconds", "drive_s", "engine_off_s")
SHOWN_AT_FIRST = 3  # ranked contestants on the charts when the page opens, besides the references
OUTING_FIGURES = ("tracking_k_h", "over_limit_k_s", "boost_p95_c", "minutes_to_target", "pump_hours", "pump_starts",
                  "energy_wh", "power_kept_pct", "condensing_minutes")  # fmt: skip


def chart_data(result: Result, units: Units) -> dict[str, Any]:
    """What the page's script draws from."""
    views, keys, shown, best = result.views, keys_of(result), at_first(result), front(result)
    order = [line.contestant for line in result.lines]
    kinds = {"iat_c": "degC", "duty_pct": "%", "coolant_in_c": "degC", "coolant_out_c": "degC", "ambient_c": "degC",
             "speed_kmh": "km/h", "boost_kpa": "kPa"}  # fmt: skip
    scales = {name: scale_of(unit, units) for name, unit in kinds.items()}
    temperature = scale_of("degC", units)
    season, histogram = views["season"], views["histogram"]
    figures = [(figure_named(name), scale_of(figure_named(name).unit, units)) for name in OUTING_FIGURES]
    return {
        "contestants": [
            {"name": n, "key": keys[n], "ranked": line.ranked, "shown": n in shown, "front": n in best,
             "score": _short(line.score), "low": _short(line.low), "high": _short(line.high),
             "parts": [_short(share) for share in cost_parts(result, line).values()]}
            for n, line in zip(order, result.lines, strict=True)
        ],
        "scales": {
            n: [views["quantum"][n] * s.scale, s.offset, s.unit] for n, s in scales.items() if n in views["quantum"]
        },
        "parts": [{"name": part, "words": PART_WORDS[part]} for part in PARTS],
        "interval": interval_axis(result),
        "target": temperature.of(season["target_c"]),
        "limit": temperature.of(season["limit_c"]),
        "band": scale_of("K", units).of(season["band_k"]),
        "degree": temperature.unit,
        "views": [
            {
                **{key: v[key] for key in VIEW_KEYS},
                "step": v["step_s"], "phases": v["phases"], "shared": v["shared"],
                "lines": [v["lines"].get(n) for n in order], "failed": [v["failed_s"].get(n) for n in order],
                "notes": v["notes"], "name": outing_name(v),
                "figures": [
                    [_short(s.of(result.runs.get(v["outing"], {}).get(n, {}).get(f.name))) for f, s in figures]
                    for n in order
                ],
            }
            for v in views["views"]
        ],
        "figures": [[title_of(f.name), s.unit, f.better] for f, s in figures],
        "histogram": {
            "from": temperature.of(histogram["from_c"]),
            "bin": scale_of("K", units).of(histogram["bin_k"]),
            "minutes": [histogram["minutes"][n] for n in order],
        },
        "tradeoff": {
            "tracking": [_short(scale_of("K h", units).of(line.figures["tracking_k_h"])) for line in result.lines],
            "hours": [_short(line.figures["pump_hours"]) for line in result.lines],
            "energy": [_short(line.figures["energy_wh"]) for line in result.lines],
            "unit": scale_of("K h", units).unit,
        },
    }  # fmt: skip


def keys_of(result: Result) -> dict[str, str]:
    """A short key for each contestant, in the order of the standings: A, B, ... Z, A1, ..."""
    return {
        line.contestant: chr(65 + k % 26) + (str(k // 26) if k >= 26 else "") for k, line in enumerate(result.lines)
    }


def at_first(result: Result) -> set[str]:
    """Contestants on the charts when the page opens: the first few ranked, always-on and always-off."""
    first = [line.contestant for line in result.ranked[:SHOWN_AT_FIRST]]
    return {*first, *(line.contestant for line in result.lines if line.contestant in REFERENCES)}


def outing_name(view: dict[str, Any]) -> str:
    """An outing in words."""
    return f"{view['drive']} in {view['climate']}" + (f" with {view['fault']}" if view["fault"] else "")


def title_of(name: str) -> str:
    """A figure in words, its unit left off."""
    for ending in ("_k_h", "_k_s", "_k", "_c", "_wh", "_ml", "_pct"):
        name = name.removesuffix(ending)
    words = {"boost_p95": "P95 on boost", "energy": "energy", "fuel": "fuel"}
    return words.get(name, name.replace("_", " "))


def interval_axis(result: Result) -> tuple[float, float]:
    """From and to of the interval plot: the contestants below always-on, with a little room."""
    spans = [
        (line.low, line.high)
        for line in result.lines
        if line.low is not None and line.high is not None and line.high < 0.95
    ] or [(0.0, 1.0)]
    low, high = min(s[0] for s in spans), max(s[1] for s in spans)
    room = 0.06 * max(high - low, 0.01)
    return max(0.0, low - room), high + room


def _short(value: float | None) -> float | None:
    return None if value is None else float(f"{value:.5g}")
