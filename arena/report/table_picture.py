"""Pictures of a tuned duty table and of a trade-off, as PNG and SVG: even shading, numbers in the cells."""

from __future__ import annotations

from pathlib import Path
from typing import TYPE_CHECKING

import numpy as np

from arena.contest.axes import Axis
from arena.contest.table_tuning import TunedTable
from arena.contest.tradeoff import Tradeoff
from arena.report.pictures import INK, RED, SOFT, new_figure, panel, put, write_picture
from arena.report.shades import dark
from arena.report.wording import SENSE_WORDS, scale_of
from arena.strategies.base import SENSES
from arena.units import Units

if TYPE_CHECKING:
    from matplotlib.figure import Figure

CELL_W, CELL_H, LEFT, TOP = 58, 34, 62, 92  # pixels
MARKS = ("o", "s", "D", "^")  # of the named choices


def write_table(table: TunedTable, title: str, stem: Path) -> None:
    """Write the table as stem.svg and stem.png. Raises BadInput where they cannot be written."""
    for ending in (".svg", ".png"):
        path = stem.with_name(stem.name + ending)
        write_picture(path, lambda: table_figure(table, title), title, table_words(table), "table")


def write_front(found: Tradeoff, title: str, stem: Path) -> None:
    """Write the trade-off as stem.svg and stem.png. Raises BadInput where they cannot be written."""
    what = "Pump hours and kelvin-hours off target of every setting on the front. " + "; ".join(
        f"{name}: {p.figures['pump_hours']:.3g} h, {p.figures['tracking_k_h']:.3g} K h, {p.figures['energy_wh']:.3g} Wh"
        for name, p in found.choices.items()
    )
    for ending in (".svg", ".png"):
        path = stem.with_name(stem.name + ending)
        write_picture(path, lambda: front_figure(found, title), title, what, "trade-off")


def table_words(table: TunedTable) -> str:
    """The table in words, row by row."""
    axes = table.axes
    rows = [
        f"{at:g}: " + ", ".join(f"{100.0 * duty:.4g}" for duty in row)
        for at, row in zip(axes.down.given, table.cells, strict=True)
    ]
    across = ", ".join(f"{at:g}" for at in axes.across.given)
    return f"Pump duty in %, over {words(axes.across)} ({across}), by {words(axes.down)}. " + "; ".join(rows)


def table_figure(table: TunedTable, title: str) -> Figure:
    """The table with its duties; cells no drive visits are hatched, and carry brackets."""
    from matplotlib.patches import Rectangle

    axes = table.axes
    rows, columns = axes.shape
    wide, high = CELL_W * columns, CELL_H * rows
    figure = new_figure(max(LEFT + wide + 24, 560), TOP + high + 66)
    put(figure, 16, 28, title, 16, weight="bold")
    put(figure, 16, 52, f"down: {words(axes.down)}; across: {words(axes.across)}")
    grid = panel(figure, LEFT, TOP, wide, high)
    duty = np.asarray(table.cells, dtype=np.float64)
    grid.pcolormesh(100.0 * duty, cmap="cividis", vmin=0.0, vmax=100.0, edgecolors="white", linewidth=0.8)
    grid.set_ylim(rows, 0)
    grid.grid(False)
    grid.spines[:].set_visible(False)
    grid.xaxis.tick_top()
    grid.set_xticks(np.arange(columns) + 0.5, [f"{v:g}" for v in axes.across.given])
    grid.set_yticks(np.arange(rows) + 0.5, [f"{v:g}" for v in axes.down.given])
    grid.tick_params(length=0, labelcolor=INK)
    for i, j in np.ndindex(rows, columns):
        visited, share = bool(table.visited[i, j]), float(duty[i, j])
        if not visited:
            grid.add_patch(Rectangle((j, i), 1, 1, fill=False, hatch="//", edgecolor=(1.0, 1.0, 1.0, 0.4), linewidth=0))
        text = f"{100.0 * share:.4g}" if visited else f"({100.0 * share:.4g})"
        grid.text(j + 0.5, i + 0.52, text, ha="center", va="center", color="white" if dark(share) else "black")
    put(figure, 16, TOP + high + 26, "pump duty, %; (in brackets, hatched): never visited by these drives")
    put(
        figure, 16, TOP + high + 46,
        f"lowest running duty {100.0 * axes.floor():g} %; 0 = pump off; simulated, not measured", color=SOFT,
    )  # fmt: skip
    return figure


def front_figure(found: Tradeoff, title: str) -> Figure:
    """The front as a scatter: pump hours across, kelvin-hours off target up, shaded by energy; choices are named."""
    hours, off, energy = (
        [p.figures[name] for p in found.front] for name in ("pump_hours", "tracking_k_h", "energy_wh")
    )
    figure = new_figure(760, 480)
    put(figure, 16, 28, title, 16, weight="bold")
    axes = panel(figure, 70, 60, 560, 350)
    shown = axes.scatter(hours, off, c=energy, cmap="cividis", s=26, edgecolors=INK, linewidths=0.5, zorder=3)
    for mark, (name, point) in zip(MARKS, found.choices.items(), strict=False):
        at = (point.figures["pump_hours"], point.figures["tracking_k_h"])
        axes.scatter(*at, s=110, marker=mark, facecolors="none", edgecolors=RED, linewidths=1.4, label=name, zorder=4)
    axes.set_xlabel("pump hours a year")
    axes.set_ylabel("off target, K h a year")
    axes.margins(0.08)
    axes.legend(loc="upper right", labelspacing=0.8)
    bar = figure.colorbar(shown, cax=panel(figure, 652, 60, 16, 350))
    bar.set_label("energy, Wh a year")
    bar.outline.set_visible(False)
    put(figure, 70, 468, "left and down is better; simulated, not measured", color=SOFT)
    return figure


def words(axis: Axis) -> str:
    """What an axis shows, with its unit."""
    units = Units("metric" if axis.heading == axis.heading_metric else "us")
    return f"{SENSE_WORDS[axis.heading_metric]}, {scale_of(SENSES[axis.heading_metric][0], units).unit}"
