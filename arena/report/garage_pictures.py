"""Pictures of the garage: what parts buy, and the residuals of a fit."""

from __future__ import annotations

import math
from pathlib import Path
from typing import TYPE_CHECKING

import numpy as np

from arena.garage.fit import Fit
from arena.garage.part_figures import PartsResult
from arena.report.pictures import BLUE, INK, ORANGE, SOFT, new_figure, panel, put, write_picture
from arena.units import Units

if TYPE_CHECKING:
    from matplotlib.figure import Figure


def write_parts(result: PartsResult, path: Path) -> None:
    """Write the ranking of parts. Raises BadInput for an unknown ending, or where it cannot be written."""
    rows = [r for r in [*result.results, *result.pairs] if not r.failed]
    title = f"What parts buy for {result.car} over {result.season}"
    what = "Saved in money a year: " + "; ".join(f"{r.part.words} {-r.changes['cost'].mean:.2f}" for r in rows)
    write_picture(path, lambda: parts_figure(result), title, what)


def parts_figure(result: PartsResult) -> Figure:
    """Dots with intervals: money saved a year by each part and pair, control's own in words."""
    rows = [r for r in [*result.results, *result.pairs] if not r.failed]
    tall, names = 24.0 * max(1, len(rows)), [r.part.words for r in rows]
    left = min(420.0, 24.0 + 7.2 * max(map(len, names), default=0))
    figure = new_figure(940, 62 + tall + 56)
    put(figure, 16, 26, "Saved in money a year, each part with its own best control", 16, weight="bold")
    control = result.control
    interval = "" if math.isnan(control.low) else f" ({-control.high:+.2f} to {-control.low:+.2f})"
    put(
        figure, 16, 46,
        f"control itself, always-on to {result.best.strategy.name}: "
        f"{result.control_failed or f'{-control.mean:.1f}{interval}'}; "
        "squares: pairs of parts", color=SOFT,
    )  # fmt: skip
    axes = panel(figure, left, 62, 920 - left, tall)
    axes.axvline(0.0, color=INK, linewidth=0.9)
    for k, r in enumerate(rows):
        c, pair = r.changes["cost"], r.part.family == "pair"
        paint = ORANGE if pair else BLUE
        if math.isfinite(c.low):
            axes.plot([-c.high, -c.low], [k, k], color=paint, linewidth=1.6)
        axes.plot([-c.mean], [k], color=paint, marker="s" if pair else "o", markersize=5)
    axes.set_ylim(len(rows) - 0.5, -0.5)
    axes.set_yticks(range(len(rows)), names)
    axes.tick_params(axis="y", length=0, labelcolor=INK)
    axes.grid(False, axis="y")
    axes.spines["left"].set_visible(False)
    axes.margins(x=0.05)
    axes.set_xlabel("money a year; right of zero: saved")
    return figure


def write_residuals(found: Fit, path: Path, units: Units | None = None) -> None:
    """Write the residuals of a fit. Raises BadInput for an unknown ending, or where it cannot be written."""
    printed = units or Units()
    rms, label = printed.labelled(found.rms_k, "K")
    title = f"{Path(found.log.name).name}: reading less prediction; {rms:.2f} {label} RMS"
    write_picture(path, lambda: residual_figure(found, title, printed), title, title)


def residual_figure(found: Fit, title: str, units: Units) -> Figure:
    """Reading less prediction over time; the few beyond the scale lie on its edge."""
    scale, label = units.labelled(1.0, "K")
    most = max(float(np.quantile(np.abs(found.residual_k), 0.998)) * 1.1, 0.5)
    figure = new_figure(900, 320)
    put(figure, 60, 26, title, 15, weight="bold")
    axes = panel(figure, 60, 46, 820, 220)
    kept = np.clip(found.residual_k, -most, most) * scale
    axes.plot(found.time_s / 60.0, kept, ".", color=BLUE, markersize=2.5)
    axes.axhline(0.0, color=INK, linewidth=0.8)
    axes.set_xlim(0.0, max(float(found.time_s[-1]), 1.0) / 60.0)
    axes.set_ylim(-1.05 * most * scale, 1.05 * most * scale)
    axes.set_xlabel("minutes")
    axes.set_ylabel(label)
    return figure
