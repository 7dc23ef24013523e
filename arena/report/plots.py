"""The picture of one run as an SVG file: charge temperature, pump, coolant, boost and speed over time.

Drawn with the same panels and colours as the page; stands alone, prints, and carries its own description.
"""

from __future__ import annotations

import os
from collections.abc import Callable
from dataclasses import dataclass
from pathlib import Path
from xml.sax.saxutils import escape

import numpy as np
from numpy.typing import NDArray

from arena.contest.single import SingleRun
from arena.contest.views import thin, thinning
from arena.errors import BadInput
from arena.plant.compile import TICK_S
from arena.units import Units

Floats = NDArray[np.float64]

WIDTH = 1000
LEFT, RIGHT = 62, 16
POINTS = 1600
STYLE = """
text { font: 12px "Avenir Next", "Segoe UI", "Helvetica Neue", "Liberation Sans", Arial, sans-serif; fill: #545c60; }
.head { font-size: 17px; font-weight: 600; fill: #1d2226; }
.title { font-size: 13px; fill: #1d2226; }
.paper { fill: #fbfaf6; } .after { fill: #f0ede2; } .band { fill: #00805f; opacity: 0.1; }
.grid { stroke: #c9c5b8; } .base { stroke: #1d2226; }
.main { stroke: #056cb5; stroke-width: 1.8; } .second { stroke: #b45a0c; stroke-width: 1.2; }
.third { stroke: #1d2226; stroke-width: 1; stroke-dasharray: 1 3; } .plain { stroke: #1d2226; stroke-width: 1.2; }
.target { stroke: #00805f; stroke-width: 1.5; stroke-dasharray: 7 4; }
.limit { stroke: #b23a00; stroke-width: 1.5; stroke-dasharray: 2 3; } path { fill: none; stroke-linejoin: round; }
.failed { stroke: #b23a00; stroke-width: 2; }
"""


@dataclass(frozen=True)
class Panel:
    """One panel: title, lines as (class, name, values), height, and the range it must show at least."""

    title: str
    lines: tuple[tuple[str, str, Floats], ...]
    height: int
    floor: float | None = None
    top: float | None = None
    goals: bool = False


def write_plot(run: SingleRun, path: Path, units: Units | None = None) -> None:
    """Write the picture; the file appears whole or not at all. Raises BadInput where it cannot be written."""
    aside = path.with_name(f".{path.name}.new")
    try:
        aside.write_text(drive_svg(run, units or Units()), encoding="utf-8")
        os.replace(aside, path)
    except OSError as error:
        raise BadInput(f"{path}: cannot be written: {error.strerror}", "Give a --plot path you may write.") from error


def drive_svg(run: SingleRun, units: Units) -> str:
    """The scored part of a recorded run as SVG text."""
    assert run.record is not None
    first = run.played.score_from
    seconds = TICK_S * (len(run.record) - first)
    settings = run.contestant.strategy.make_settings(dict(run.contestant.settings))._asdict()
    worded = ", ".join(f"{k} {v:g}" for k, v in settings.items())
    head = f"{run.contestant.name}: {run.drive.name} in {run.climate.name}"
    under = f"car {run.car.name}, seed {run.seed}" + (f"; {worded}" if worded else "")
    body, y = [], 66
    for panel in panels(run, units):
        body.append(_panel(run, panel, y, seconds, units))
        y += panel.height + 44
    described = " ".join(
        f"{p.title}: " + "; ".join(f"{name} {np.nanmin(v):.0f} to {np.nanmax(v):.0f}" for _, name, v in p.lines) + "."
        for p in panels(run, units)
    )
    return (
        f'<svg xmlns="http://www.w3.org/2000/svg" viewBox="0 0 {WIDTH} {y}" width="{WIDTH}" height="{y}" role="img" '
        f'aria-labelledby="name what"><title id="name">{escape(head)}</title><desc id="what">{escape(described)}</desc>'
        f'<style>{STYLE}</style><rect class="paper" width="{WIDTH}" height="{y}"/>'
        f'<text class="head" x="{LEFT}" y="28">{escape(head)}</text>'
        f'<text x="{LEFT}" y="46">{escape(_cut(under, 140))}</text>{"".join(body)}</svg>\n'
    )


def panels(run: SingleRun, units: Units) -> tuple[Panel, ...]:
    """What is drawn, in the printed units."""
    assert run.record is not None
    first = run.played.score_from
    r, p = run.record[first:], run.played
    if run.failed:
        end = max(int(run.failed_s / TICK_S) - first, 1)
        r = r[:end]
    degree = units.temperature_unit

    def warm(column: int) -> Floats:
        return np.asarray(units.temperature(r[:, column]), dtype=np.float64)

    charge = warm(0)
    charge[p.engine_on[first : first + len(r)] < 0.5] = np.nan  # no charge air while the engine stands
    ambient = np.asarray(units.temperature(p.ambient_k[first:]), dtype=np.float64)
    boost = np.asarray(units.pressure(np.maximum(p.map_pa - p.ambient_pa, 0.0)[first:]), dtype=np.float64)
    speed = np.asarray(units.speed(p.speed_m_s[first:]), dtype=np.float64)
    return (
        Panel(
            f"Charge temperature, {degree}",
            (("third", "outside air", ambient), ("second", "probe", warm(1)), ("main", "charge air", charge)),
            230, goals=True,
        ),
        Panel("Pump duty, %", (("main", "duty", 100.0 * r[:, 8]),), 70, 0.0, 100.0),
        Panel(f"Coolant, {degree}", (("second", "out of the core", warm(4)), ("main", "into the core", warm(3))), 130),
        Panel(f"Boost over the outside air, {units.pressure_unit}", (("plain", "boost", boost),), 70, 0.0),
        Panel(f"Road speed, {units.speed_unit}", (("plain", "speed", speed),), 70, 0.0),
    )  # fmt: skip


def round_steps(low: float, high: float, most: int) -> list[float]:
    """Round values inside low..high, about `most` of them at the most."""
    raw = (high - low) / max(most, 1)
    power = 10.0 ** np.floor(np.log10(raw))
    step = next(m * power for m in (1.0, 2.0, 5.0, 10.0) if m * power >= raw * 0.999)
    return [float(k * step) for k in range(int(np.ceil(low / step - 1e-9)), int(np.floor(high / step + 1e-9)) + 1)]


def _panel(run: SingleRun, panel: Panel, top: int, seconds: float, units: Units) -> str:
    values = np.concatenate([v for _, _, v in panel.lines])
    goals = (float(units.temperature(run.goals.target_k)), float(units.temperature(run.goals.limit_k)))
    low, high = float(np.nanmin(values)), float(np.nanmax(values))
    if panel.goals:
        low, high = min(low, goals[0] - 3.0), max(high, goals[1] + 2.0)
    low = low if panel.floor is None else panel.floor
    high = max(high, low + 1.0) if panel.top is None else panel.top
    room = 0.0 if panel.floor is not None else 0.04 * (high - low)
    low, high = low - room, high + (room or 0.04 * (high - low))
    foot, right = top + 14 + panel.height, WIDTH - RIGHT

    def x(second: float) -> float:
        return LEFT + second / seconds * (right - LEFT)

    def y(value: float) -> float:
        return foot - (value - low) / (high - low) * panel.height

    out = [_heading(panel, top)]
    over = TICK_S * (run.played.drive_until - run.played.score_from)
    if over < seconds:
        box = f'x="{x(over):.1f}" y="{top + 14}" width="{right - x(over):.1f}" height="{panel.height}"'
        out.append(f'<rect class="after" {box}/>')
        if panel.goals and right - x(over) > 90:
            out.append(f'<text x="{right - 4}" y="{top + 28}" text-anchor="end">after the drive</text>')
    for value in round_steps(low, high, max(2, panel.height // 34)):
        out.append(
            _level("grid", y(value)) + f'<text x="{LEFT - 6}" y="{y(value) + 4:.1f}" text-anchor="end">{value:g}</text>'
        )
    if panel.goals:
        for name, value in zip(("target", "limit"), goals, strict=True):
            out.append(
                _level(name, y(value)) + f'<text x="{LEFT + 4}" y="{y(value) - 4:.1f}">{name} {value:.0f}</text>'
            )
    out += [f'<path class="{kind}" d="{_path(v, x, y)}"/>' for kind, _, v in panel.lines]
    if run.failed:
        at = x(run.failed_s - TICK_S * run.played.score_from)
        out.append(f'<line class="failed" x1="{at:.1f}" x2="{at:.1f}" y1="{top + 14}" y2="{foot}"/>')
        if panel.goals:
            out.append(f'<text x="{at + 4:.1f}" y="{top + 44}">FAILED: {escape(run.failed)}</text>')
    out.append(_level("base", foot))
    for minute in round_steps(0.0, seconds / 60.0, 12):
        words = f"{minute:g}" + ("" if minute else " min")
        out.append(f'<text x="{x(60 * minute):.1f}" y="{foot + 15}" text-anchor="middle">{words}</text>')
    return f"<g>{''.join(out)}</g>"


def _heading(panel: Panel, top: int) -> str:
    """Title, and behind it what each line is, with a piece of it."""
    out, at = (
        [f'<text class="title" x="{LEFT}" y="{top + 6}">{escape(panel.title)}</text>'],
        LEFT + 8.0 * len(panel.title) + 20,
    )
    if len(panel.lines) > 1:
        for kind, name, _ in reversed(panel.lines):
            out.append(
                f'<path class="{kind}" d="M{at:.0f} {top + 2}h26"/><text x="{at + 32:.0f}" y="{top + 6}">{name}</text>'
            )
            at += 60 + 7 * len(name)
    return "".join(out)


def _level(kind: str, y: float) -> str:
    return f'<line class="{kind}" x1="{LEFT}" x2="{WIDTH - RIGHT}" y1="{y:.1f}" y2="{y:.1f}"/>'


def _path(values: Floats, x: Callable[[float], float], y: Callable[[float], float]) -> str:
    """The line as one subpath for each stretch that is there."""
    out = ""
    edges = np.flatnonzero(np.diff(np.isfinite(values).astype(np.int8), prepend=0, append=0)).reshape(-1, 2)
    width, _ = thinning(len(values), POINTS)
    for start, end in edges:
        points = max(2, 2 * (-(-int(end - start) // width)))
        _, step = thinning(int(end - start), points)
        last = TICK_S * (end - 1)
        kept = thin(values[start:end], points)
        out += "M" + "L".join(
            f"{x(min(TICK_S * start + k * step, last)):.1f} {y(float(v)):.1f}" for k, v in enumerate(kept)
        )
    return out


def _cut(text: str, most: int) -> str:
    return text if len(text) <= most else text[: most - 1] + "…"
