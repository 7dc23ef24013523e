"""The picture of one run: charge temperature, pump, coolant, boost and speed over time, with the page's colours."""

from __future__ import annotations

from dataclasses import dataclass
from pathlib import Path
from typing import TYPE_CHECKING, Any

import numpy as np
from numpy.typing import NDArray

from arena.contest.entering import settings_shown
from arena.contest.single import SingleRun
from arena.contest.views import thin, thinning
from arena.plant import layout as at
from arena.plant.compile import TICK_S
from arena.report.pictures import (
    BLUE,
    GREEN,
    INK,
    ORANGE,
    PAPER,
    RED,
    SOFT,
    WASH,
    new_figure,
    panel,
    put,
    write_picture,
)
from arena.units import Units

if TYPE_CHECKING:
    from matplotlib.axes import Axes
    from matplotlib.figure import Figure

Floats = NDArray[np.float64]

WIDTH, LEFT, RIGHT, HEAD, TITLE, FOOT = 1000, 62, 16, 62, 26, 44  # pixels
POINTS = 1600  # of one line
MAIN: dict[str, Any] = {"color": BLUE, "linewidth": 1.3}
SECOND: dict[str, Any] = {"color": ORANGE, "linewidth": 0.9, "linestyle": (0, (6, 1.5))}
THIRD: dict[str, Any] = {"color": INK, "linewidth": 0.8, "linestyle": (0, (1, 2.5))}
PLAIN: dict[str, Any] = {"color": INK, "linewidth": 0.9}


@dataclass(frozen=True)
class Panel:
    """One panel: title, lines as (name, look, values), height, and the range it must show at least."""

    title: str
    lines: tuple[tuple[str, dict[str, Any], Floats], ...]
    height: int
    floor: float | None = None
    top: float | None = None
    goals: bool = False


def write_plot(run: SingleRun, path: Path, units: Units | None = None) -> None:
    """Write the picture as .svg, .png or .pdf. Raises BadInput for another ending, or where it cannot be written."""
    printed = units or Units()
    write_picture(path, lambda: drive_figure(run, printed), headline(run), described(run, printed))


def headline(run: SingleRun) -> str:
    """Who drives what, where."""
    return f"{run.contestant.name}: {run.drive.name} in {run.climate.name}"


def described(run: SingleRun, units: Units) -> str:
    """The picture in words: each panel with the range of its lines."""
    return " ".join(
        f"{p.title}: " + "; ".join(f"{name} {np.nanmin(v):.0f} to {np.nanmax(v):.0f}" for name, _, v in p.lines) + "."
        for p in panels(run, units)
    ) + (f" FAILED: {run.failed}." if run.failed else "")


def drive_figure(run: SingleRun, units: Units) -> Figure:
    """The scored part of a recorded run."""
    assert run.record is not None
    first, drawn = run.played.score_from, panels(run, units)
    seconds = TICK_S * (len(run.record) - first)
    worded = ", ".join(f"{k} {v:g}" for k, v in settings_shown(run.contestant).items())
    under = f"car {run.car.name}, seed {run.seed}" + (f"; {worded}" if worded else "")
    height = HEAD + FOOT + sum(p.height + TITLE for p in drawn)
    figure = new_figure(WIDTH, height)
    put(figure, LEFT, 28, headline(run), 17, weight="bold")
    put(figure, LEFT, 47, under if len(under) <= 130 else under[:129] + "…", color=SOFT)
    top = HEAD
    for p in drawn:
        axes = panel(figure, LEFT, top + TITLE, WIDTH - LEFT - RIGHT, p.height)
        _panel(axes, run, p, seconds, units)
        axes.tick_params(axis="x", labelbottom=p is drawn[-1])
        top += p.height + TITLE
    axes.set_xlabel("minutes")
    return figure


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

    charge = warm(at.T_IAT)
    charge[p.engine_on[first : first + len(r)] < 0.5] = np.nan  # no charge air while the engine stands
    ambient = np.asarray(units.temperature(p.ambient_k[first:]), dtype=np.float64)
    boost = np.asarray(units.pressure(np.maximum(p.map_pa - p.ambient_pa, 0.0)[first:]), dtype=np.float64)
    speed = np.asarray(units.speed(p.speed_m_s[first:]), dtype=np.float64)
    return (
        Panel(
            f"Charge temperature, {degree}",
            (("outside air", THIRD, ambient), ("probe", SECOND, warm(at.T_READING)), ("charge air", MAIN, charge)),
            230, goals=True,
        ),
        Panel("Pump duty, %", (("duty", MAIN, 100.0 * r[:, at.T_DUTY]),), 70, 0.0, 100.0),
        Panel(
            f"Coolant, {degree}",
            (("out of the core", SECOND, warm(at.T_CORE_OUT)), ("into the core", MAIN, warm(at.T_CORE_IN))), 130,
        ),
        Panel(f"Boost over the outside air, {units.pressure_unit}", (("boost", PLAIN, boost),), 70, 0.0),
        Panel(f"Road speed, {units.speed_unit}", (("speed", PLAIN, speed),), 70, 0.0),
    )  # fmt: skip


def _panel(axes: Axes, run: SingleRun, panel: Panel, seconds: float, units: Units) -> None:
    axes.set_title(panel.title, pad=5)
    axes.set_xlim(0.0, seconds / 60.0)
    axes.locator_params(axis="x", nbins=12)
    axes.locator_params(axis="y", nbins=max(2, panel.height // 30))
    axes.set_ylim(*_range(run, panel, units))
    over = TICK_S * (run.played.drive_until - run.played.score_from)
    if over < seconds:
        axes.axvspan(over / 60.0, seconds / 60.0, color=WASH, linewidth=0.0, zorder=0)
    for name, look, values in panel.lines:
        x, y = line_of(values)
        axes.plot(x / 60.0, y, label=name, **look)
    if len(panel.lines) > 1:
        axes.legend(
            loc="lower right", bbox_to_anchor=(1.0, 1.0), ncols=len(panel.lines), borderaxespad=0.0, reverse=True
        )
    if panel.goals:
        if over < seconds:
            axes.annotate(
                "after the drive", (over / 60.0, 1.0), (4, -4), xycoords=axes.get_xaxis_transform(), va="top",
                textcoords="offset points", color=SOFT, clip_on=True,
            )  # fmt: skip
        for name, kelvin, paint, dashes in (
            ("target", run.goals.target_k, GREEN, (0, (7, 4))), ("limit", run.goals.limit_k, RED, (0, (2, 3))),
        ):  # fmt: skip
            at = float(units.temperature(kelvin))
            axes.axhline(at, color=paint, linewidth=1.1, linestyle=dashes)
            axes.annotate(
                f"{name} {at:.0f}", (0.0, at), (4, 3), xycoords=axes.get_yaxis_transform(), textcoords="offset points",
                bbox={"facecolor": PAPER, "edgecolor": "none", "pad": 0.5, "alpha": 0.8},
            )  # fmt: skip
    if run.failed:
        at = (run.failed_s - TICK_S * run.played.score_from) / 60.0
        late = at > 0.5 * seconds / 60.0
        axes.axvline(at, color=RED, linewidth=1.5)
        if panel.goals:
            axes.annotate(
                f"FAILED: {run.failed}", (at, 0.85), (-4 if late else 4, 0), xycoords=axes.get_xaxis_transform(),
                textcoords="offset points", ha="right" if late else "left",
            )  # fmt: skip


def _range(run: SingleRun, panel: Panel, units: Units) -> tuple[float, float]:
    values = np.concatenate([v for _, _, v in panel.lines])
    low, high = float(np.nanmin(values)), float(np.nanmax(values))
    if panel.goals:
        low = min(low, float(units.temperature(run.goals.target_k)) - 3.0)
        high = max(high, float(units.temperature(run.goals.limit_k)) + 2.0)
    low = low if panel.floor is None else panel.floor
    high = max(high, low + 1.0) if panel.top is None else panel.top
    room = 0.04 * (high - low)
    return low - (room if panel.floor is None else 0.0), high + room


def line_of(values: Floats) -> tuple[Floats, Floats]:
    """Seconds and values of a line thinned to about POINTS, with every extreme kept; NaN between its stretches."""
    xs, ys = [], []
    edges = np.flatnonzero(np.diff(np.isfinite(values).astype(np.int8), prepend=0, append=0)).reshape(-1, 2)
    width, _ = thinning(len(values), POINTS)
    for start, end in edges:
        points = max(2, 2 * (-(-int(end - start) // width)))
        _, step = thinning(int(end - start), points)
        kept = thin(values[start:end], points)
        xs += [np.minimum(TICK_S * start + step * np.arange(len(kept)), TICK_S * (end - 1)), [np.nan]]
        ys += [kept, [np.nan]]
    return np.concatenate([*xs, []]), np.concatenate([*ys, []])
