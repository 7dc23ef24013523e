"""The result folder of a tuning: table both ways round, visits, settings, comparison; and its manifest."""

from __future__ import annotations

import csv
import io
from collections.abc import Callable, Sequence
from dataclasses import asdict, replace
from pathlib import Path
from typing import Any

import numpy as np
from numpy.typing import NDArray

from arena.contest.axes import Axes
from arena.contest.comparing import Comparison, Interval
from arena.contest.store import (
    Folder,
    copy_inputs,
    grid_csv,
    manifest,
    number,
    own_files,
    same_inputs,
    settings_toml,
    strategy_digests,
    table_csv,
)
from arena.contest.table_tuning import TunedTable
from arena.contest.tradeoff import Tradeoff
from arena.contest.tuning import Job, TuningResult

Floats = NDArray[np.float64]


def open_folder(
    job: Job, out: Path | None, resume: bool, request: dict[str, Any], command: Sequence[str]
) -> Folder | None:
    """The result folder to write to, a fresh one or an interrupted one gone on with; None if none is wanted."""
    from arena.errors import BadInput

    if out is None:
        return None
    request = {**request, "contents": _contents(job)}
    partial = out.with_name(out.name + ".partial")
    if not (resume and partial.exists()):
        folder = Folder.new(out)
        copied = copy_inputs(folder, [*job.plan.sources, *own_files([job.contestant])])
        folder.write("manifest.json", manifest(job.plan, [job.contestant], request, command, copied))
        folder.begin()
        return folder
    folder = Folder.resume(partial)
    same_inputs(folder, job.plan, [job.contestant])
    before = folder.read_manifest()["request"]
    changed = [k for k, v in request.items() if before.get(k) != v and k not in {"replicates", "contents"}]
    if changed:
        raise BadInput(
            [f"--resume: {k} was {before.get(k)!r} when {partial} was begun, now {request[k]!r}" for k in changed],
            "Give the same options as then, or start afresh in another folder.",
        )
    if before.get("contents") != request["contents"]:
        fault = f"{folder.path}: the axes file or the table of --against has changed since it was begun"
        raise BadInput(fault, "Put it back as it was (copies are in its inputs/), or start afresh in another folder.")
    return folder


def _contents(job: Job) -> dict[str, str]:
    """SHA-256 of what a tuning reads besides season, car and strategy."""
    found = {"axes": job.axes.digest} if job.axes is not None else {}
    return {**found, **({"against": strategy_digests([job.against])[job.against.name]} if job.against else {})}


def write_tuning(
    folder: Folder, result: TuningResult, dress: Callable[[Path, TuningResult], object] | None = None
) -> TuningResult:
    """Everything into the folder, which then gets its final name; `dress` adds what only the report can draw."""
    mine = result.contestant
    folder.write("comparison.csv", comparison_csv(result.comparison))
    if result.table is not None:
        write_table(folder, result.table)
        others = [*(result.seasonal.tables.values() if result.seasonal else ()), *(p.table for p in result.pairs)]
        for table in others:
            write_table(folder, replace(table, name=table.name.replace(" ", "-")))
    else:
        folder.write(f"settings/{mine.name}.toml", settings_toml(mine, "Tuned settings."))
    if result.tradeoff is not None:
        folder.write("tradeoff.csv", front_csv(result.tradeoff))
        for name, made in result.tradeoff.contestants.items():
            if made.table is not None and result.job.axes is not None:
                words = name.replace(" ", "-")
                folder.write(f"tables/{words}.csv", cells_csv(result.job.axes, np.asarray(made.table[2])))
    if dress is not None:
        dress(folder.path, result)
    return replace(result, folder=folder.finish())


def write_table(folder: Folder, table: TunedTable) -> None:
    """tables/NAME.csv and the same turned, visits, and the settings that go with it."""
    axes = table.axes
    folder.write(f"tables/{table.name}.csv", cells_csv(axes, table.cells))
    folder.write(f"tables/{table.name}-turned.csv", cells_csv(axes.turned(), table.cells.T))
    folder.write(f"tables/{table.name}-visits.csv", visits_csv(axes, table.visits_s))
    folder.write(f"settings/{table.name}.toml", table_toml(table))


def cells_csv(axes: Axes, cells: Floats) -> str:
    """A duty table CSV under the axes' own headings, duty in per cent; read back it gives the same bits."""
    return table_csv((axes.down.heading, axes.across.heading), axes.down.given, axes.across.given, cells)


def visits_csv(axes: Axes, visits_s: Floats) -> str:
    """Seconds every cell was read by, weighted as interpolated, over all training outings."""
    words = [[f"{v:.1f}" for v in row] for row in visits_s]
    return grid_csv((axes.down.heading, axes.across.heading), axes.down.given, axes.across.given, words)


def table_toml(table: TunedTable) -> str:
    """The table as settings: axes, output, and cells as rows."""
    import tomlkit

    axes = table.axes
    document = tomlkit.document()
    document.add(tomlkit.comment("A tuned duty table: rows go down the side, duty in per cent."))
    document.add("strategy", tomlkit.item("duty-table"))
    settings = tomlkit.table()
    for key, value in (
        ("duty_step_pct", 100.0 * axes.duty_step),
        ("lowest_pct", 100.0 * axes.floor()),
        ("hysteresis_pct", 100.0 * axes.hysteresis),
    ):
        settings.add(key, float(f"{value:.6g}"))
    settings.add("below_lowest", axes.reading)
    settings.add("down", axes.down.heading)
    settings.add("down_breakpoints", [float(v) for v in axes.down.given])
    settings.add("across", axes.across.heading)
    settings.add("across_breakpoints", [float(v) for v in axes.across.given])
    rows = tomlkit.array()
    for row in table.cells:
        rows.add_line([float(f"{100.0 * c:.6g}") for c in row])
    rows.add_line(indent="")
    settings.add("duty_pct", rows)
    document.add("settings", settings)
    shape = tomlkit.table()
    shape.comment("the six numbers the first stage found")
    for key, value in table.shape.items():
        shape.add(key, float(f"{value:.6g}"))
    document.add("shape", shape)
    return tomlkit.dumps(document)


def front_csv(found: Tradeoff) -> str:
    """One row a point of the front, by rising pump hours, with the name of those that have one."""
    out = io.StringIO()
    writer = csv.writer(out, lineterminator="\n")
    figures, settings = list(found.front[0].figures), list(found.front[0].settings)
    writer.writerow(["choice", "score", *figures, *settings])
    for point in found.front:
        names = " / ".join(n for n, p in found.choices.items() if p is point)
        values = [point.score, *point.figures.values(), *point.settings.values()]
        writer.writerow([names, *(number(v) for v in values)])
    return out.getvalue()


def comparison_csv(comparison: Comparison) -> str:
    """One row a contestant and figure: value with interval, and the difference of the tuned one from it."""
    out = io.StringIO()
    writer = csv.writer(out, lineterminator="\n")
    head = ["contestant", "figure", "value", "low", "high"]
    writer.writerow([*head, "tuned_less_this", "difference_low", "difference_high", "failed_runs"])

    def cells(found: Interval) -> list[str]:
        return [number(x) for x in asdict(found).values()]

    for line in comparison.lines:
        failed = len(line.failed)
        writer.writerow([line.contestant, "score", *cells(line.score), *cells(line.difference), failed])
        for name, found in line.figures.items():
            writer.writerow([line.contestant, name, *cells(found), *cells(line.figure_differences[name]), failed])
    return out.getvalue()
