"""page.html of a result folder: one self-contained file, made from the folder alone, that opens offline.

Text and tables are HTML; the charts are drawn in the page by Plotly, which the page carries, from data inside it, at
the width there is. Nothing is fetched.
"""

from __future__ import annotations

import json
import re
from pathlib import Path
from typing import Any

from arena.contest.figures import FIGURES
from arena.errors import BadInput
from arena.report.page_data import at_first, chart_data, keys_of, outing_name, title_of
from arena.report.result import Line, Result, read_result
from arena.report.shades import dark, shade
from arena.report.wording import (
    PART_WORDS,
    PARTS,
    SENSE_WORDS,
    cost_parts,
    digits_for,
    front,
    limit_notes,
    number,
    scale_of,
    verdict,
)
from arena.strategies.base import SENSES
from arena.units import Units
from arena.writing import write_whole

MOST_BYTES = 6_000_000
TEMPLATES = Path(__file__).parent / "templates"
PLOTLY = Path(__file__).parent / "plotly" / "plotly-basic.min.js"
SCRIPTS = ("data.js", "charts.js", "road.js", "page.js")
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
    try:
        write_whole(path, text)
    except OSError as error:
        raise BadInput(
            f"{path}: cannot be written: {error.strerror or error}", "Make the folder writable, and make room there."
        ) from error
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
    style, *scripts = ((TEMPLATES / name).read_text(encoding="utf-8") for name in ("page.css", *SCRIPTS))
    version, library = chart_library()
    return env.get_template("page.html.j2").render(
        style=Markup(style), script=Markup("\n".join(scripts)), data=Markup(script_json(chart_data(result, units))),
        plotly=Markup(library), plotly_version=version, **context(result, units),
    )  # fmt: skip


def chart_library() -> tuple[str, str]:
    """Version of Plotly's script, and the script as it may stand inside a script element."""
    script = PLOTLY.read_text(encoding="utf-8")
    found = re.search(r"^\* plotly\.js .*v(\d[\w.]*)$", script[:500], flags=re.M)
    assert found is not None, f"{PLOTLY} does not begin as plotly.js does"
    return found[1], script.replace("</script", "<\\/script")


def script_json(value: Any) -> str:
    """JSON that may stand inside a script element whatever its strings hold."""
    text = json.dumps(value, separators=(",", ":"), allow_nan=False, ensure_ascii=False)
    return text.replace("<", "\\u003c").replace("\u2028", "\\u2028").replace("\u2029", "\\u2029")


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


def _standing(
    result: Result, line: Line, keys: dict[str, str], best: set[str], about: dict[str, Any], shown: set[str], k: int
) -> dict[str, Any]:
    place = str(line.place) if line.place else ("FAILED" if line.failed_runs else "ref.")
    return {
        "line": line,
        "index": k,
        "key": keys[line.contestant],
        "shown": line.contestant in shown,
        "place": place + ("=" if line.place and line.tied_with else ""),
        "about": about[line.contestant],
        "parts": list(cost_parts(result, line).items()),
        "on_front": line.contestant in best,
    }


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
    down, across = (scale_of(SENSES[table[side]][0], units) for side in ("down", "across"))
    total = sum(map(sum, visits)) if visits else 0.0
    rows = []
    for i, (at, cells) in enumerate(zip(table["down_breakpoints"], table["duty_pct"], strict=True)):
        row = []
        for j, duty in enumerate(cells):
            share = 100.0 * visits[i][j] / total if visits and total > 0.0 else 0.0
            row.append({"duty": f"{duty:.3g}", "share": share, **_shade(duty)})
        rows.append((f"{down.of(at):.4g}", row))
    return {
        "down": f"{SENSE_WORDS[table['down']]}, {down.unit}",
        "across": f"{SENSE_WORDS[table['across']]}, {across.unit}",
        "columns": [f"{across.of(x):.4g}" for x in table["across_breakpoints"]],
        "rows": rows,
    }


def _shade(duty_pct: float) -> dict[str, str]:
    """Background and text colour of a cell."""
    share = duty_pct / 100.0
    return {"back": "#{:02x}{:02x}{:02x}".format(*shade(share)), "ink": "#ffffff" if dark(share) else "#000000"}


def _year(result: Result, units: Units) -> list[dict[str, Any]]:
    """Rows of the year's table: a figure each, over all contestants."""
    rows = []
    for f in FIGURES:
        scale = scale_of(f.unit, units)
        values = [scale.of(line.figures[f.name]) for line in result.lines]
        digits = digits_for(values)
        rows.append(
            {
                "name": title_of(f.name),
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
            "winner": bool(order) and w["order"][0] == order[0],
        }
        for w in result.views["what_if"]
    ]
