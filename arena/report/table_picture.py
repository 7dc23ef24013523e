"""Pictures of a tuned duty table and of a trade-off, as SVG: even shading, numbers in the cells."""

from __future__ import annotations

import os
from collections.abc import Callable, Sequence
from html import escape
from pathlib import Path

from arena.contest.axes import Axis
from arena.contest.table_tuning import TunedTable
from arena.contest.tradeoff import Tradeoff
from arena.errors import BadInput
from arena.report.shades import dark, shade

CELL_W, CELL_H, LEFT, TOP = 58, 34, 92, 92
WORDS = {
    "iat_c": "charge temperature, degC", "iat_f": "charge temperature, degF", "coolant_c": "coolant, degC",
    "coolant_f": "coolant, degF", "throttle_pct": "throttle, %", "pedal_pct": "pedal, %",
    "map_kpa": "manifold pressure, kPa", "map_psi": "manifold pressure, psi absolute", "speed_kmh": "road speed, km/h",
    "speed_mph": "road speed, mph", "rpm": "engine speed, 1/min", "ambient_c": "outside air, degC",
    "ambient_f": "outside air, degF",
}  # fmt: skip


def table_svg(table: TunedTable, title: str) -> str:
    """The table as one SVG document; cells no drive visits are hatched, and carry brackets."""
    axes = table.axes
    rows, columns = axes.shape
    width, height = LEFT + columns * CELL_W + 24, TOP + rows * CELL_H + 74
    drawn = [
        f'<text x="16" y="28" font-size="16" font-weight="bold">{escape(title)}</text>',
        f'<text x="{LEFT}" y="54">{escape(words(axes.across))}</text>',
        f'<text x="16" y="{TOP - 12}">{escape(words(axes.down))}</text>',
    ]
    for j, value in enumerate(axes.across.given):
        drawn.append(f'<text x="{LEFT + (j + 0.5) * CELL_W}" y="{TOP - 12}" text-anchor="middle">{value:g}</text>')
    for i, value in enumerate(axes.down.given):
        y = TOP + (i + 0.5) * CELL_H + 5
        drawn.append(f'<text x="{LEFT - 10}" y="{y}" text-anchor="end">{value:g}</text>')
        for j in range(columns):
            drawn += _cell(i, j, float(table.cells[i, j]), bool(table.visited[i, j]))
    foot = TOP + rows * CELL_H + 26
    drawn.append(f'<text x="16" y="{foot}">pump duty, %; (in brackets, hatched): never visited by these drives</text>')
    low = 100.0 * axes.floor()
    drawn.append(
        f'<text x="16" y="{foot + 20}">lowest running duty {low:g} %; 0 = pump off; simulated, not measured</text>'
    )
    return "\n".join(
        [
            f'<svg xmlns="http://www.w3.org/2000/svg" viewBox="0 0 {max(width, 560)} {height}" '
            f'width="{max(width, 560)}" height="{height}" role="img" font-family="sans-serif" font-size="13">',
            f"<title>{escape(title)}</title>",
            '<defs><pattern id="bars" width="7" height="7" patternUnits="userSpaceOnUse" '
            'patternTransform="rotate(45)"><line x1="0" y1="0" x2="0" y2="7" stroke="#ffffff" stroke-opacity="0.45" '
            'stroke-width="2"/></pattern></defs>',
            '<rect width="100%" height="100%" fill="#ffffff"/>',
            *drawn,
            "</svg>",
            "",
        ]
    )


def _cell(i: int, j: int, duty: float, visited: bool) -> list[str]:
    x, y = LEFT + j * CELL_W, TOP + i * CELL_H
    r, g, b = shade(duty)
    box = f'x="{x}" y="{y}" width="{CELL_W}" height="{CELL_H}"'
    out = [f'<rect {box} fill="#{r:02x}{g:02x}{b:02x}" stroke="#ffffff"/>']
    if not visited:
        out.append(f'<rect {box} fill="url(#bars)"/>')
    text = f"{100.0 * duty:.4g}" if visited else f"({100.0 * duty:.4g})"
    ink = "#ffffff" if dark(duty) else "#000000"
    out.append(f'<text x="{x + CELL_W / 2}" y="{y + CELL_H / 2 + 5}" text-anchor="middle" fill="{ink}">{text}</text>')
    return out


def front_svg(found: Tradeoff, title: str) -> str:
    """The front as a scatter: pump hours across, kelvin-hours off target up, shaded by energy; choices are named."""
    width, height, left, top, right, foot = 720, 460, 78, 56, 150, 66
    hours = [p.figures["pump_hours"] for p in found.front]
    off = [p.figures["tracking_k_h"] for p in found.front]
    energy = [p.figures["energy_wh"] for p in found.front]
    across = _scale(hours, left, width - right)
    up = _scale(off, height - foot, top)
    most = max(energy) or 1.0
    drawn = [f'<text x="16" y="28" font-size="16" font-weight="bold">{escape(title)}</text>']
    for value in _ticks(hours):
        x = across(value)
        drawn.append(f'<path d="M{x:.1f} {height - foot}v5" stroke="#444444"/>')
        drawn.append(f'<text x="{x:.1f}" y="{height - foot + 20}" text-anchor="middle">{value:.3g}</text>')
    for value in _ticks(off):
        y = up(value)
        drawn.append(f'<path d="M{left} {y:.1f}h-5" stroke="#444444"/>')
        drawn.append(f'<text x="{left - 9}" y="{y + 4:.1f}" text-anchor="end">{value:.3g}</text>')
    drawn.append(f'<path d="M{left} {top}V{height - foot}H{width - right}" fill="none" stroke="#444444"/>')
    drawn.append(
        f'<text x="{(left + width - right) / 2}" y="{height - 22}" text-anchor="middle">pump hours a year</text>'
    )
    drawn.append(f'<text x="{left}" y="{top - 8}">off target, K h a year</text>')
    for point, x, y, wh in zip(found.front, hours, off, energy, strict=True):
        r, g, b = shade(wh / most)
        drawn.append(
            f'<circle cx="{across(x):.1f}" cy="{up(y):.1f}" r="4.5" fill="#{r:02x}{g:02x}{b:02x}" stroke="#333333" '
            f'stroke-width="0.6"><title>{wh:.1f} Wh, score {point.score:.3f}</title></circle>'
        )
    for k, (name, point) in enumerate(found.choices.items()):
        x, y = across(point.figures["pump_hours"]), up(point.figures["tracking_k_h"])
        at = top + 24 + 26 * k
        drawn.append(f'<circle cx="{x:.1f}" cy="{y:.1f}" r="8" fill="none" stroke="#b3440a" stroke-width="2"/>')
        drawn.append(
            f'<path d="M{x + 8:.1f} {y:.1f}L{width - right + 8} {at - 4}" stroke="#b3440a" stroke-width="0.8"/>'
        )
        drawn.append(f'<text x="{width - right + 12}" y="{at}">{escape(name)}</text>')
    drawn.append(
        f'<text x="16" y="{height - 6}" font-size="11">light: much energy ({most:.3g} Wh), dark: little</text>'
    )
    return "\n".join(
        [
            f'<svg xmlns="http://www.w3.org/2000/svg" viewBox="0 0 {width} {height}" width="{width}" '
            f'height="{height}" role="img" font-family="sans-serif" font-size="13">',
            f"<title>{escape(title)}</title>",
            '<rect width="100%" height="100%" fill="#ffffff"/>',
            *drawn,
            "</svg>",
            "",
        ]
    )


def _scale(values: Sequence[float], first: float, last: float) -> Callable[[float], float]:
    low, high = min(values), max(values)
    span = high - low or 1.0
    return lambda v: first + (v - low) / span * (last - first)


def _ticks(values: Sequence[float]) -> list[float]:
    low, high = min(values), max(values)
    return [low + k / 4 * (high - low) for k in range(5)] if high > low else [low]


def words(axis: Axis) -> str:
    """What an axis shows, with its unit."""
    return WORDS.get(axis.heading, axis.heading)


def write_svg(text: str, path: Path) -> None:
    """Write a picture, whole or not at all. Raises BadInput where it cannot be written."""
    part = path.with_name(f".{path.name}.new")
    try:
        path.parent.mkdir(parents=True, exist_ok=True)
        part.write_text(text, encoding="utf-8")
        os.replace(part, path)
    except OSError as error:
        raise BadInput(
            f"{path}: cannot be written: {error.strerror or error}", "Name a place you may write."
        ) from error
