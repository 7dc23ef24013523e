"""page.html of a result folder: one self-contained file, made from the folder alone, that opens offline.

Text, tables and bars are HTML; the charts are drawn in the page by its own script from data inside it, at the
width there is. Nothing is fetched.
"""

from __future__ import annotations

import json
import os
from collections.abc import Sequence
from pathlib import Path
from typing import Any

from arena.contest.figures import FIGURES
from arena.errors import BadInput
from arena.report.result import Line, Result, read_result
from arena.report.wording import (
    PART_WORDS,
    PARTS,
    cost_parts,
    digits_for,
    figure_named,
    front,
    limit_notes,
    number,
    scale_of,
    verdict,
)
from arena.units import Units

MOST_BYTES = 6_000_000
TEMPLATES = Path(__file__).parent / "templates"
VIEW_KEYS = ("outing", "drive", "climate", "fault", "per_year", "seconds", "drive_s", "engine_off_s")
SHOWN_AT_FIRST = 3  # ranked contestants on the charts when the page opens, besides the references
# cividis (Nunez, Anderton, Renslow 2018, PLoS ONE 13(7): e0199239), ten even steps
CIVIDIS = ("00224e", "123570", "3b496c", "575d6d", "707173", "8a8678", "a59c74", "c3b369", "e1cc55", "fee838")
OUTING_FIGURES = ("tracking_k_h", "over_limit_k_s", "boost_p95_c", "minutes_to_target", "pump_hours", "pump_starts",
                  "energy_wh", "power_kept_pct", "condensing_minutes")  # fmt: skip
LEFT_OUT = (
    "Left out of the model: the effect of charge temperature on air flow, latent heat of condensing moisture, layers "
    "in the tank, warming of the pump's winding, rain, inertia of the coolant, the compressor's map.",
    "What can be attained on an outing is taken from the pump always on and always off, tick by tick: approximate, a "
    "pump switched cleverly can at moments be outside.",
    "Nobody is charged for the impossible: target and limit move to what can be attained where it is worse.",
    "Numbers of the car that were not given are typical or estimated, from memory; a log of the real car tells better.",
)


def build_page(folder: str | Path, units: Units | None = None) -> Path:
    """Write page.html into a result folder, whole or not at all, and return its path. Raises BadInput."""
    result = read_result(folder)
    try:
        text = page_html(result, units or Units())
    except KeyError as error:
        raise BadInput(
            f"{result.path / 'views.json'}: {error} is missing", "It is of another version: run the tournament again."
        ) from error
    path = result.path / "page.html"
    aside = path.with_name(".page.html.new")
    aside.write_text(text, encoding="utf-8")
    os.replace(aside, path)
    return path


def page_html(result: Result, units: Units) -> str:
    """The page as text. The same folder gives the same bytes."""
    from jinja2 import Environment, FileSystemLoader, StrictUndefined
    from markupsafe import Markup

    env = Environment(
        loader=FileSystemLoader(TEMPLATES), autoescape=True, undefined=StrictUndefined, trim_blocks=True,
        lstrip_blocks=True,
    )  # fmt: skip
    env.filters["n"] = number
    style, script = (Markup((TEMPLATES / name).read_text(encoding="utf-8")) for name in ("page.css", "page.js"))
    return env.get_template("page.html.j2").render(
        style=style, script=script, data=Markup(script_json(chart_data(result, units))), **context(result, units)
    )


def script_json(value: Any) -> str:
    """JSON that may stand inside a script element whatever its strings hold."""
    text = json.dumps(value, separators=(",", ":"), allow_nan=False, ensure_ascii=False)
    return text.replace("<", "\\u003c").replace("\u2028", "\\u2028").replace("\u2029", "\\u2029")


def keys_of(result: Result) -> dict[str, str]:
    """A short key for each contestant, in the order of the standings: A, B, ... Z, A1, ..."""
    return {
        line.contestant: chr(65 + k % 26) + (str(k // 26) if k >= 26 else "") for k, line in enumerate(result.lines)
    }


def at_first(result: Result) -> set[str]:
    """Contestants on the charts when the page opens: the first few ranked, always-on and always-off."""
    first = [line.contestant for line in result.ranked[:SHOWN_AT_FIRST]]
    return {*first, *(line.contestant for line in result.lines if line.contestant in {"always-on", "always-off"})}


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
            {"name": n, "key": keys[n], "ranked": line.ranked, "shown": n in shown, "front": n in best}
            for n, line in zip(order, result.lines, strict=True)
        ],
        "scales": {
            n: [views["quantum"][n] * s.scale, s.offset, s.unit] for n, s in scales.items() if n in views["quantum"]
        },
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
        "figures": [[_title(f.name), s.unit, f.better] for f, s in figures],
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


def context(result: Result, units: Units) -> dict[str, Any]:
    """What the page's template is filled with."""
    views, keys, shown = result.views, keys_of(result), at_first(result)
    about = {c["name"]: c for c in views["contestants"]}
    answer = verdict(result, units)
    best = front(result)
    return {
        "season": views["season"],
        "car": views["car"],
        "views": views,
        "verdict": answer,
        "winner": about[answer["winner"].contestant] if answer["winner"] else None,
        "lines": [_standing(result, line, keys, best, about, shown, k) for k, line in enumerate(result.lines)],
        "parts": [(part, PART_WORDS[part]) for part in PARTS],
        "axis": _interval_axis(result),
        "drives": list(dict.fromkeys(v["drive"] for v in views["views"])),
        "climates": list(dict.fromkeys(v["climate"] for v in views["views"])),
        "faults": list(dict.fromkeys(v["fault"] for v in views["views"])),
        "left_out_views": [outing_name(v) for v in views["views"] if not v["lines"]],
        "settings": [_settings(about[line.contestant], line, keys, result, units) for line in result.ranked],
        "year": _year(result, units),
        "failed": views["failed"],
        "protection": _protection(result, units),
        "limit_notes": limit_notes(result, units),
        "drive_notes": {outing_name(v): v["notes"] for v in views["views"] if v["notes"]},
        "left_out": LEFT_OUT,
        "measured": sum(1 for _, _, how in views["car"]["known"] if how.startswith("measured")),
        "assumed": sum(1 for _, _, how in views["car"]["known"] if how.startswith("assumed")),
        "cautions": cautions(),
        "manifest": result.manifest,
        "command": command_line(result.manifest["command"]),
        "what_if": _what_if(result),
        "temperature": scale_of("degC", units),
        "kelvin": scale_of("K", units),
        "target": number(scale_of("degC", units).of(views["season"]["target_c"]), 0),
        "limit": number(scale_of("degC", units).of(views["season"]["limit_c"]), 0),
    }


def cautions() -> list[str]:
    """The cautions as sentences."""
    from arena.report.terminal import CAUTIONS

    text = " ".join(CAUTIONS)
    return [sentence.strip().rstrip(".") + "." for sentence in text.split(". ") if sentence.strip()]


def command_line(words: list[str]) -> str:
    """The command as it can be typed again, without the folder it was written to."""
    import shlex

    kept: list[str] = []
    skip = False
    for word in words:
        if skip or word in {"--out", "--resume"} or word.startswith(("--out=", "--resume=")):
            skip = word in {"--out", "--resume"}
            continue
        kept.append(word)
    return shlex.join(["arena", *kept])


def outing_name(view: dict[str, Any]) -> str:
    """An outing in words."""
    return f"{view['drive']} in {view['climate']}" + (f" with {view['fault']}" if view["fault"] else "")


def _short(value: float | None) -> float | None:
    return None if value is None else float(f"{value:.5g}")


def _title(name: str) -> str:
    for ending in ("_k_h", "_k_s", "_k", "_c", "_wh", "_ml", "_pct"):
        name = name.removesuffix(ending)
    words = {"boost_p95": "P95 on boost", "energy": "energy", "fuel": "fuel"}
    return words.get(name, name.replace("_", " "))


def _standing(
    result: Result, line: Line, keys: dict[str, str], best: set[str], about: dict[str, Any], shown: set[str], k: int
) -> dict[str, Any]:
    place = str(line.place) if line.place else ("FAILED" if line.failed_runs else "ref.")
    low, high = _interval_axis(result)
    width = max(high - low, 1e-9)
    inside = line.low is not None and line.high is not None and line.score is not None and line.low < high
    return {
        "line": line,
        "index": k,
        "key": keys[line.contestant],
        "shown": line.contestant in shown,
        "place": place + ("=" if line.place and line.tied_with else ""),
        "about": about[line.contestant],
        "parts": [(part, 100.0 * share) for part, share in cost_parts(result, line).items()],
        "on_front": line.contestant in best,
        "whisker": (
            (100 * (line.low - low) / width, 100 * (line.high - line.low) / width, 100 * (line.score - low) / width)
            if inside and line.low is not None and line.high is not None and line.score is not None
            else None
        ),
    }  # fmt: skip


def _interval_axis(result: Result) -> tuple[float, float]:
    """From and to of the interval plot: the contestants below always-on, with a little room."""
    spans = [
        (line.low, line.high)
        for line in result.lines
        if line.low is not None and line.high is not None and line.high < 0.95
    ] or [(0.0, 1.0)]
    low, high = min(s[0] for s in spans), max(s[1] for s in spans)
    room = 0.06 * max(high - low, 0.01)
    return max(0.0, low - room), high + room


def _settings(about: dict[str, Any], line: Line, keys: dict[str, str], result: Result, units: Units) -> dict[str, Any]:
    rows = []
    for s in about["settings"]:
        scale = scale_of(s["unit"], units)
        rows.append(
            {
                **s,
                "shown": f"{scale.of(s['value']):.4g}",
                "unit": scale.unit,
                "range": f"{scale.of(s['low']):.4g} to {scale.of(s['high']):.4g}",
                "before": f"{scale.of(s['default']):.4g}",
            }
        )
    table = about["table"]
    return {
        "name": about["name"],
        "key": keys[about["name"]],
        "summary": about["summary"],
        "tuned": about["tuned"],
        "gap": f"{line.gap:+.3f}".replace("-", "\N{MINUS SIGN}") if line.gap is not None else None,
        "about": about,
        "rows": rows,
        "table": _duty_table(table, result.views["visits"].get(about["name"]), units) if table else None,
    }


def _duty_table(table: dict[str, Any], visits: list[list[float]] | None, units: Units) -> dict[str, Any]:
    scale = scale_of("degC", units)
    total = sum(map(sum, visits)) if visits else 0.0
    rows = []
    for i, (at, cells) in enumerate(zip(table["iat_c"], table["duty_pct"], strict=True)):
        row = []
        for j, duty in enumerate(cells):
            share = 100.0 * visits[i][j] / total if visits and total > 0.0 else 0.0
            row.append({"duty": f"{duty:.3g}", "share": share, **_shade(duty)})
        rows.append((f"{scale.of(at):.4g}", row))
    return {"unit": scale.unit, "columns": [f"{x:.4g}" for x in table["throttle_pct"]], "rows": rows}


def _shade(duty_pct: float) -> dict[str, str]:
    """Background and text colour of a cell."""
    place = min(max(duty_pct / 100.0, 0.0), 1.0) * (len(CIVIDIS) - 1)
    low = min(int(place), len(CIVIDIS) - 2)
    channels = [
        round(a + (place - low) * (b - a))
        for a, b in zip(bytes.fromhex(CIVIDIS[low]), bytes.fromhex(CIVIDIS[low + 1]), strict=True)
    ]
    light = luminance(channels)
    black_reads_better = (light + 0.05) / 0.05 > 1.05 / (light + 0.05)
    return {"back": "#{:02x}{:02x}{:02x}".format(*channels), "ink": "#000000" if black_reads_better else "#ffffff"}


def luminance(channels: Sequence[int]) -> float:
    """Relative luminance of an sRGB colour of three bytes, 0..1 (WCAG 2.2, definition of relative luminance)."""
    linear = [c / 255.0 for c in channels]
    linear = [c / 12.92 if c <= 0.04045 else ((c + 0.055) / 1.055) ** 2.4 for c in linear]
    return 0.2126 * linear[0] + 0.7152 * linear[1] + 0.0722 * linear[2]


def _year(result: Result, units: Units) -> list[dict[str, Any]]:
    """Rows of the year's table: a figure each, over all contestants."""
    rows = []
    for f in FIGURES:
        scale = scale_of(f.unit, units)
        values = [scale.of(line.figures[f.name]) for line in result.lines]
        digits = digits_for(values)
        rows.append(
            {
                "name": _title(f.name),
                "unit": "" if f.unit == "1" else scale.unit,
                "better": f.better,
                "meaning": f.meaning,
                "over": f.over,
                "values": [number(v, digits) for v in values],
            }
        )
    return rows


def _protection(result: Result, units: Units) -> dict[str, Any]:
    """Who protects the engine when a part fails: a row a contestant, and seconds over the limit by outing."""
    temperature, keys = scale_of("degC", units), keys_of(result)
    rows = [
        {**p, "key": keys[p["contestant"]], "worst": number(temperature.of(p["worst_c"]), 0)}
        for p in result.views["protection"]
    ]
    outings = [run[0] for run in rows[0]["runs"]] if rows else []
    return {"rows": rows, "outings": [(name, [p["runs"][k] for p in rows]) for k, name in enumerate(outings)]}


def _what_if(result: Result) -> list[dict[str, Any]]:
    """What changes with prices and wear law: the first three of each case, and whether the winner stays."""
    keys = keys_of(result)
    order = [line.contestant for line in result.ranked if not line.failed_runs]
    return [
        {
            "what": w["what"],
            "order": [(keys[n], n, s) for n, s in zip(w["order"], w["scores"], strict=True)],
            "same": w["order"] == order,
            "winner": bool(order) and w["order"][0] == order[0],
        }
        for w in result.views["what_if"]
    ]
