"""Commands that play drives: tournament, tune, drive; the page of a result; the speed of it all."""

from __future__ import annotations

import shlex
import sys
from pathlib import Path
from typing import TYPE_CHECKING, Annotated

import typer

from arena.cli.base import Car, Columns, Json, Seed, Strategies, UnitsName, Workers, app, emit, stoppable, units_of
from arena.errors import BadInput

if TYPE_CHECKING:
    from arena.report.terminal import ProgressLine


@app.command()
def tournament(
    context: typer.Context,
    season: Annotated[str, typer.Argument(help="Season file or name.")] = "temperate-year",
    car: Car = "invented-2200",
    strategy: Strategies = None,
    trials: Annotated[int, typer.Option(help="Candidates tried per strategy; 0 ranks settings as they are.")] = 160,
    replicates: Annotated[int, typer.Option(help="Worlds to rank on: how often the season is played afresh.")] = 6,
    seed: Seed = 1,
    workers: Workers = None,
    spread: Annotated[float, typer.Option(help="How far the car's uncertain numbers vary, given ones less.")] = 0.10,
    out: Annotated[Path | None, typer.Option(help="Result folder to write.")] = None,
    resume: Annotated[Path | None, typer.Option(help="Go on with an interrupted DIR.partial.")] = None,
    per_climate: Annotated[bool, typer.Option("--per-climate", help="Also a standing per climate.")] = False,
    units: UnitsName = "metric",
    as_json: Json = False,
) -> None:
    """Tune every strategy with the same budget, then rank them over a season of outings.

    Example: arena tournament hot-country --trials 320 --out results/hot
    """
    from arena.contest.tournament import hold_tournament
    from arena.report import terminal

    def page_of(folder: Path) -> None:
        from arena.report.page import build_page

        build_page(folder, printed)

    printed, progress = units_of(units), terminal.ProgressLine(quiet=as_json)
    if resume is not None:
        begun_with(context, resume)
    with stoppable(lambda: going_on(progress, resume or out, None)):
        result = hold_tournament(
            season, car, strategy or (), trials=trials, replicates=replicates, seed=seed, workers=workers,
            spread=spread, out=out, resume=resume, tell=progress, command=sys.argv[1:], dress=page_of,
        )  # fmt: skip
    progress.done()
    if as_json:
        from arena.report.documents import tournament_document

        emit(tournament_document(result, per_climate))
    else:
        terminal.tournament(result, per_climate, printed)
    if any(line.ranked and line.failed_runs for line in result.standings.lines):
        raise typer.Exit(1)


def begun_with(context: typer.Context, resume: Path) -> None:
    """Raise BadInput for options that say other than what a result was begun with: they would do nothing."""
    from arena.contest.store import Folder
    from arena.contest.tournament import read_unfinished

    folder = Folder.resume(resume)
    folder.lock.release()
    asked, faults = read_unfinished(folder), list[str]()
    for name, typed in context.params.items():
        given = getattr(context.get_parameter_source(name), "name", "") == "COMMANDLINE"
        key, value = ("strategies", list(typed or ())) if name == "strategy" else (name, typed)
        if given and key in asked and value != asked[key]:
            faults.append(f"--resume: {folder.path} was begun with {name} {asked[key] or 'none'}, not {value}")
        if given and name == "out" and Path(typed) != folder.final:
            faults.append(f"--out {typed}: --resume finishes {folder.final}")
    if faults:
        raise BadInput(faults, "Leave those options out, or begin afresh without --resume.")


@app.command()
def tune(
    climate: Annotated[list[str] | None, typer.Option("--climate", help="Climate; repeat for several.")] = None,
    drive: Annotated[list[str] | None, typer.Option("--drive", help="Drive; commute and hill-pulls if none.")] = None,
    season: Annotated[str | None, typer.Option(help="Season instead, or parts of it with --climate, --drive.")] = None,
    strategy: Annotated[str, typer.Option("--strategy", help="Name or .py file.")] = "gated-table",
    car: Car = "invented-2200",
    axes: Annotated[str | None, typer.Option(help="Axes file: breakpoints, duty step, lowest duty.")] = None,
    against: Annotated[Path | None, typer.Option(metavar="TABLE.csv", help="Your present table, to compare.")] = None,
    trials: Annotated[int, typer.Option(help="Candidates tried.")] = 1280,
    replicates: Annotated[int, typer.Option(help="Fresh worlds for the comparison.")] = 6,
    seed: Seed = 1,
    spread: Annotated[float, typer.Option(help="How far the car's uncertain numbers vary, given ones less.")] = 0.10,
    workers: Workers = None,
    compare_axes: Annotated[bool, typer.Option("--compare-axes", help="Which pair of axes is worth having.")] = False,
    compare_aims: Annotated[
        bool, typer.Option("--compare-aims", help="How far target and limit may move before the score gets worse.")
    ] = False,
    tradeoff: Annotated[
        bool, typer.Option("--tradeoff", help="Named choices between tracking, pump hours and energy.")
    ] = False,
    foresight: Annotated[
        bool, typer.Option("--foresight/--no-foresight", help="What knowing the drive in advance would gain.")
    ] = True,
    storage: Annotated[
        str | None, typer.Option(help="Journal file or database URL of a study that several processes join.")
    ] = None,
    out: Annotated[Path | None, typer.Option(help="Result folder to write.")] = None,
    resume: Annotated[bool, typer.Option("--resume", help="Go on with an interrupted --out or --storage.")] = False,
    units: UnitsName = "metric",
    as_json: Json = False,
) -> None:
    """Settings for one strategy, tuned for your drives and climates; for the table, the table itself.

    Example: arena tune --climate hot --drive commute --drive hill-pulls --out results/hot-table
    """
    from arena.contest.tuning import Asked, hold_tuning, make_job
    from arena.contest.tuning_files import open_folder, write_tuning
    from arena.report import terminal, tune_text

    request = {
        "climates": climate or [], "drives": drive or [], "season": season, "strategy": strategy, "car": car,
        "axes": axes, "against": str(against) if against else None, "trials": trials, "seed": seed, "spread": spread,
    }  # fmt: skip
    printed, progress = units_of(units), terminal.ProgressLine(quiet=as_json)
    aside = "--compare-axes" if compare_axes else "--compare-aims" if compare_aims else ""
    job = make_job(
        climate or (), drive or (), season, strategy, car, axes, against, trials, replicates, seed, spread, aside
    )
    asked = Asked(foresight, compare_axes, compare_aims, tradeoff)
    with stoppable(lambda: going_on(progress, out, storage)):
        folder = open_folder(job, out, resume, request, sys.argv[1:])
        keep, kept = (folder.keep_generation, folder.kept_generation) if folder else (None, None)
        result = hold_tuning(job, workers, progress, keep, kept, asked, storage, resume)
        if folder is not None:
            result = write_tuning(folder, result, tune_text.pictures)
    progress.done()
    if as_json:
        from arena.report.tune_document import tuning_document

        emit(tuning_document(result))
    else:
        tune_text.show_tuning(result, printed)
    if result.comparison.line(result.comparison.mine).failed:
        raise typer.Exit(1)


def going_on(progress: ProgressLine, out: Path | None, storage: str | None) -> str:
    """After ctrl-C: what is kept, and the command that goes on with it."""
    progress.done()
    words = [w for w in sys.argv[1:] if w != "--resume"]
    partial = out.with_name(out.name.removesuffix(".partial") + ".partial") if out else None
    if partial is not None and partial.is_dir():
        again = shlex.join([*words, "--resume"] if words[0] == "tune" else ["tournament", "--resume", str(partial)])
        return f"What was finished is kept in {partial}; go on with: arena {again}"
    if storage is not None:
        return f"What was finished is kept in {storage}; go on with: arena {shlex.join([*words, '--resume'])}"
    if out is not None:
        return "Nothing was finished yet."
    return "Nothing was kept: with --out DIR it can be gone on with."


@app.command()
def drive(
    name: Annotated[str, typer.Argument(metavar="DRIVE", help="Drive file or name, or a CSV.")],
    climate: Annotated[str, typer.Option(help="Climate file or name.")] = "mild",
    car: Car = "invented-2200",
    strategy: Annotated[str, typer.Option("--strategy", help="Name or .py file.")] = "always-on",
    setting: Annotated[list[str] | None, typer.Option("--setting", help="NAME=NUMBER; repeat for several.")] = None,
    seed: Seed = 1,
    fault: Annotated[str | None, typer.Option(help="What breaks: a fault file or name.")] = None,
    trace: Annotated[Path | None, typer.Option(help="Write the run as CSV, 10 Hz.")] = None,
    plot: Annotated[Path | None, typer.Option(help="Draw the run: .svg, .png or .pdf.")] = None,
    columns: Columns = None,
    units: UnitsName = "metric",
    as_json: Json = False,
) -> None:
    """Play one drive with one strategy and show its figures.

    Example: arena drive hill-pulls --climate hot --strategy proportional --setting start_c=38
    """
    from arena.contest.single import drive_once, settings_from
    from arena.report import documents, terminal
    from arena.report.pictures import check_ending
    from arena.scenario.columns import read_columns
    from arena.scenario.drive import load_drive

    check_ending(plot, "--plot")
    printed, mapped = units_of(units), read_columns(columns)
    result = drive_once(
        load_drive(name, columns=mapped), climate, car, strategy, settings_from(setting or []), seed, record=True,
        fault=fault,
    )  # fmt: skip
    if trace is not None:
        from arena.report.trace import write_trace

        write_trace(result, trace)
    if plot is not None:
        from arena.report.plots import write_plot

        write_plot(result, plot, printed)
    if as_json:
        emit(documents.drive_document(result))
    else:
        terminal.drive(result, printed)
    if result.failed and result.contestant.ranked:
        raise typer.Exit(1)


@app.command()
def report(
    folder: Annotated[Path, typer.Argument(metavar="DIR", help="Result folder of a tournament.")],
    units: UnitsName = "metric",
    as_json: Json = False,
) -> None:
    """Build the page of a result folder, or build it again.

    Example: arena report results/hot
    """
    from arena.report import screen
    from arena.report.page import build_page

    page = build_page(folder, units_of(units))
    if as_json:
        emit({"page": str(page), "bytes": page.stat().st_size})
    else:
        screen.say(f"{page}: open it in a browser")


@app.command()
def bench(as_json: Json = False) -> None:
    """Measure the speed of the simulation's inner loop and of a small tournament on this machine.

    Example: arena bench --json
    """
    from arena.contest.bench import measure
    from arena.report import screen, terminal

    found = measure()
    if as_json:
        emit(found)
    else:
        screen.show(terminal.pairs([(k, terminal.figure(float(v), 2), "") for k, v in found.items()]))
