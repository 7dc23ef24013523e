"""The command line: parse, call, print.

Exit codes: 0 done, 1 a ranked contestant FAILED, 2 bad input, 130 interrupted.
"""

from __future__ import annotations

import json
import math
import sys
from pathlib import Path
from typing import TYPE_CHECKING, Annotated, Any

import typer

from arena.errors import BadInput

if TYPE_CHECKING:
    from collections.abc import Callable

    from arena.units import Units

app = typer.Typer(
    add_completion=False,
    no_args_is_help=True,
    rich_markup_mode=None,
    pretty_exceptions_enable=False,
    help="Which way of driving the coolant pump of a water-to-air charge cooler is best, on your car and roads.",
)

Json = Annotated[bool, typer.Option("--json", help="One JSON document on stdout, nothing else there.")]
Car = Annotated[str, typer.Option("--car", help="Car file or name.")]
Seed = Annotated[int, typer.Option("--seed", help="Root of all random numbers.")]
Workers = Annotated[int | None, typer.Option("--workers", help="Threads; as many as cores if not given.")]
UnitsName = Annotated[str, typer.Option("--units", help="Units printed: metric or us.")]
Columns = Annotated[str | None, typer.Option(help="Which header is which: a TOML file, or NAME=HEADER,...")]
Strategies = Annotated[list[str] | None, typer.Option("--strategy", help="Name or .py file; repeat for several.")]


def units_of(name: str) -> Units:
    """The units asked for. Raises BadInput for others than metric and us."""
    from arena.units import Units

    if name not in ("metric", "us"):
        raise BadInput(f"--units {name}: is neither metric nor us", "Give --units us, or leave it out.")
    return Units("us" if name == "us" else "metric")


def main() -> None:
    """Entry point: runs a command and turns faults into lines and exit codes."""
    code = 0
    try:
        code = app(standalone_mode=False) or 0
        if code == 130:  # ctrl-C is already an exit code here
            sys.stderr.write("interrupted\n")
    except BadInput as fault:
        from arena.report.terminal import complain

        complain([*fault.faults, *([fault.remedy] if fault.remedy else [])])
        code = 2
    except (KeyboardInterrupt, typer.Abort):
        sys.stderr.write("interrupted\n")
        code = 130
    except BrokenPipeError:
        sys.stderr.close()
        code = 0
    except Exception as error:
        if not hasattr(error, "format_message"):
            raise
        sys.stderr.write(f"{error.format_message()}\nSee `arena --help`.\n")
        code = 2
    sys.exit(code)


def emit(document: Any) -> None:
    """One JSON document on stdout; numbers that are not finite become null."""
    sys.stdout.write(json.dumps(plain(document), indent=1) + "\n")


def plain(value: Any) -> Any:
    """A value JSON can hold: no NaN, no numpy."""
    if isinstance(value, dict):
        return {str(k): plain(v) for k, v in value.items()}
    if isinstance(value, list | tuple):
        return [plain(v) for v in value]
    if hasattr(value, "item") and not isinstance(value, str):
        value = value.item()
    if isinstance(value, float) and not math.isfinite(value):
        return None
    return str(value) if isinstance(value, Path) else value


@app.command()
def tournament(
    season: Annotated[str, typer.Argument(help="Season file or name.")] = "temperate-year",
    car: Car = "invented-2200",
    strategy: Strategies = None,
    trials: Annotated[int, typer.Option(help="Candidates tried per strategy; 0 ranks settings as they are.")] = 160,
    replicates: Annotated[int, typer.Option(help="How often the season is played afresh for the ranking.")] = 6,
    seed: Seed = 1,
    workers: Workers = None,
    spread: Annotated[float, typer.Option(help="Spread of the car's assumed numbers; 0 for none.")] = 0.10,
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

        build_page(folder)

    printed, progress = units_of(units), terminal.ProgressLine(quiet=as_json)
    result = hold_tournament(
        season, car, strategy or (), trials=trials, replicates=replicates, seed=seed, workers=workers, spread=spread,
        out=out, resume=resume, tell=progress, command=sys.argv[1:], dress=page_of,
    )  # fmt: skip
    progress.done()
    if as_json:
        from arena.report.documents import tournament_document

        emit(tournament_document(result, per_climate))
    else:
        terminal.tournament(result, per_climate, printed)
    if any(line.ranked and line.failed_runs for line in result.standings.lines):
        raise typer.Exit(1)


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
    spread: Annotated[float, typer.Option(help="Spread of the car's assumed numbers; 0 for none.")] = 0.10,
    workers: Workers = None,
    compare_axes: Annotated[bool, typer.Option("--compare-axes", help="Which pair of axes is worth having.")] = False,
    compare_aims: Annotated[
        bool, typer.Option("--compare-aims", help="Which target and limit the score is flat around.")
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
    progress = terminal.ProgressLine(quiet=as_json)
    aside = "--compare-axes" if compare_axes else "--compare-aims" if compare_aims else ""
    job = make_job(
        climate or (), drive or (), season, strategy, car, axes, against, trials, replicates, seed, spread, aside
    )
    asked = Asked(foresight, compare_axes, compare_aims, tradeoff)
    folder = open_folder(job, out, resume, request, sys.argv[1:])
    keep, kept = (folder.keep_generation, folder.kept_generation) if folder else (None, None)
    result = hold_tuning(job, workers, progress, keep, kept, asked, storage, resume)
    if folder is not None:
        result = write_tuning(folder, result, tune_text.pictures)
    progress.done()
    if as_json:
        emit(tune_text.tuning_document(result))
    else:
        tune_text.show_tuning(result)
    if result.comparison.line(result.comparison.mine).failed:
        raise typer.Exit(1)


@app.command()
def drive(
    name: Annotated[str, typer.Argument(metavar="DRIVE", help="Drive file or name, or a CSV.")],
    climate: Annotated[str, typer.Option(help="Climate file or name.")] = "mild",
    car: Car = "invented-2200",
    strategy: Annotated[str, typer.Option("--strategy", help="Name or .py file.")] = "always-on",
    setting: Annotated[list[str] | None, typer.Option("--setting", help="NAME=VALUE; repeat for several.")] = None,
    seed: Seed = 1,
    fault: Annotated[str | None, typer.Option(help="What breaks: a fault file or name.")] = None,
    trace: Annotated[Path | None, typer.Option(help="Write the run as CSV, 10 Hz.")] = None,
    plot: Annotated[Path | None, typer.Option(help="Draw the run as an SVG.")] = None,
    columns: Columns = None,
    units: UnitsName = "metric",
    as_json: Json = False,
) -> None:
    """Play one drive with one strategy and show its figures.

    Example: arena drive hill-pulls --climate hot --strategy proportional --setting start_c=38
    """
    from arena.contest.single import drive_once, settings_from
    from arena.report import documents, terminal
    from arena.scenario.columns import read_columns
    from arena.scenario.drive import load_drive

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

        write_plot(result, plot)
    if as_json:
        emit(documents.drive_document(result))
    else:
        terminal.drive(result, printed)
    if result.failed and result.contestant.ranked:
        raise typer.Exit(1)


@app.command()
def report(
    folder: Annotated[Path, typer.Argument(metavar="DIR", help="Result folder of a tournament.")],
    units: Annotated[str, typer.Option(help="metric or us.")] = "metric",
    as_json: Json = False,
) -> None:
    """Build the page of a result folder, or build it again.

    Example: arena report results/hot
    """
    from arena.report import terminal
    from arena.report.page import build_page
    from arena.report.wording import units_named

    page = build_page(folder, units_named(units))
    if as_json:
        emit({"page": str(page), "bytes": page.stat().st_size})
    else:
        terminal.say(f"{page}: open it in a browser")


@app.command("list")
def list_(
    kind: Annotated[str | None, typer.Argument(help="cars, climates, drives, seasons, strategies or faults.")] = None,
    as_json: Json = False,
) -> None:
    """Say what there is, one line each.

    Example: arena list drives
    """
    from arena.report import terminal
    from arena.report.documents import listing

    found = listing(kind)
    if as_json:
        emit(found)
        return
    for number, (group, entries) in enumerate(found.items()):
        if kind is None:
            terminal.say(("\n" if number else "") + group)
        rows = [[entry["name"], entry["summary"]] for entry in entries]
        terminal.show(terminal.table([("", "left"), ("", "left")], rows)) if rows else terminal.say("none")


@app.command()
def check(
    files: Annotated[list[Path], typer.Argument(help="Files of ours, or logs.")],
    quick: Annotated[bool, typer.Option("--quick", help="Files only: play nothing, no sensitivity.")] = False,
    car: Annotated[str, typer.Option("--car", help="Car that drives are tried with.")] = "invented-2200",
    columns: Columns = None,
    units: UnitsName = "metric",
    as_json: Json = False,
) -> None:
    """Validate files. A car: what is measured, assumed, and worth measuring. A log: which column is taken for what.

    Example: arena check mycar.toml mydrive.toml
    """
    from arena.garage.checking import examine
    from arena.report import terminal
    from arena.report.check_text import check_document, show_check
    from arena.scenario.columns import read_columns

    faults: list[str] = []
    documents = []
    remedy = ""
    mapped, printed = read_columns(columns), units_of(units)
    for number, path in enumerate(files):
        progress = terminal.ProgressLine(quiet=as_json)
        try:
            found = examine(path, mapped, printed, quick, car, progress)
        except BadInput as fault:
            faults += fault.faults
            remedy = fault.remedy
            continue
        finally:
            progress.done()
        documents.append(check_document(path, found))
        if not as_json:
            if number:
                terminal.say()
            show_check(path, found)
    if as_json:
        emit({"files": documents, "faults": faults})
    if faults:
        raise BadInput(faults, remedy)


@app.command()
def new(
    kind: Annotated[str, typer.Argument(help="car, climate, drive, season, strategy, axes or fault.")],
    path: Annotated[Path, typer.Argument(help="File to write; must not be there yet.")],
    from_logs: Annotated[
        Path | None, typer.Option(metavar="DIR", help="A season: drives and weather from a folder of logs.")
    ] = None,
    drive: Annotated[
        list[str] | None, typer.Option("--drive", help="A season: play this drive; repeat for several.")
    ] = None,
    climate: Annotated[
        list[str] | None, typer.Option("--climate", help="A season: in this climate; repeat for several.")
    ] = None,
    days: Annotated[
        float | None, typer.Option(help="Days the logs were taken over; by the dates in their names, else 30.")
    ] = None,
    columns: Columns = None,
    units: UnitsName = "metric",
    as_json: Json = False,
) -> None:
    """Write a commented starting file that passes `arena check` and runs as it is.

    Example: arena new drive mydrive.toml && arena new season myyear.toml --drive mydrive.toml
    """
    from arena.report import terminal
    from arena.scenario.starters import season_with, write_starter

    printed = units_of(units)
    if kind != "season" and (from_logs is not None or drive or climate or days is not None):
        fault = f"{kind}: --from-logs, --drive, --climate and --days belong to a season"
        raise BadInput(fault, "Write: arena new season PATH.")
    if from_logs is not None:
        from arena.garage.season_from_logs import season_from_logs
        from arena.report.season_text import season_document, show_season_from_logs
        from arena.scenario.columns import read_columns

        made = season_from_logs(from_logs, path, read_columns(columns), days)
        emit(season_document(made)) if as_json else show_season_from_logs(made, printed)
        return
    makers = starters()
    if drive or climate:
        makers["season"] = season_with(path, drive or [], climate or [])
    write_starter(kind, path, makers)
    if as_json:
        emit({"kind": kind, "path": str(path)})
    else:
        terminal.say(f"{path}: {kind} to start from; `arena check {path}` says how it stands")


def starters() -> dict[str, Callable[[str], str]]:
    """The starting file of every kind, by the kind's name: a text for a name."""
    from arena.contest.axes import axes_starter
    from arena.scenario.fault import fault_starter
    from arena.scenario.starters import MAKERS
    from arena.strategies.starter import strategy_starter

    def axes(name: str) -> str:
        return axes_starter().replace('name = "my-table"', f'name = "{name}"', 1)

    return {**MAKERS, "strategy": strategy_starter, "axes": axes, "fault": fault_starter}


@app.command()
def fit(
    log: Annotated[Path | None, typer.Argument(metavar="LOG", help="Log of the real car, CSV.")] = None,
    car: Car = "invented-2200",
    columns: Columns = None,
    out: Annotated[Path | None, typer.Option(help="Car file to write; must not be there yet.")] = None,
    guesses: Annotated[bool, typer.Option("--guesses", help="Also write what is not told, as guesses.")] = False,
    ambient: Annotated[float | None, typer.Option(help="Outside air in degC, where the log has none.")] = None,
    duty: Annotated[float | None, typer.Option(help="Pump duty in %, where the log has none.", min=0, max=100)] = None,
    health: Annotated[
        bool, typer.Option("--health", help="Does coolant flow, is the pump weak, the probe right?")
    ] = False,
    plan: Annotated[bool, typer.Option("--plan", help="Which short drive would tell the rest.")] = False,
    plot: Annotated[Path | None, typer.Option(help="Write the residuals as SVG.")] = None,
    units: UnitsName = "metric",
    as_json: Json = False,
) -> None:
    """Learn the car's unknown numbers from a log, and say which of them the log cannot tell.

    Example: arena fit monday.csv --car mycar.toml --out mycar-fitted.toml
    """
    from arena.garage import fit as fitting
    from arena.report import garage_text
    from arena.scenario.columns import read_columns

    if log is None and not plan:
        raise BadInput("no log is given", "Give a log, or ask for a drive to log with --plan.")
    progress = garage_text.Notice(quiet=as_json)
    mapped, printed = read_columns(columns), units_of(units)
    if health and log is not None:
        from arena.garage.health import check_health

        found = check_health(log, car, mapped, ambient, duty, progress)
        progress.done()
        emit(found.document()) if as_json else garage_text.show_health(found)
        return
    fitted = None
    if log is not None:
        fitted = fitting.fit_log(
            log, car, mapped, ambient, duty, out, hold_out=not plan, guesses=guesses, tell=progress
        )
    if plan:
        from arena.garage.plan import plan_drive

        advice = plan_drive(car, fitted, progress)
        progress.done()
        emit(advice.document()) if as_json else garage_text.show_plan(advice)
        return
    progress.done()
    assert fitted is not None
    if plot is not None:
        garage_text.write_residual_plot(fitted, plot)
    emit(fitting.document(fitted)) if as_json else garage_text.show_fit(fitted, printed)


@app.command()
def compare(
    before: Annotated[Path, typer.Argument(metavar="BEFORE", help="Log before the change.")],
    after: Annotated[Path, typer.Argument(metavar="AFTER", help="Log after it.")],
    car: Annotated[str | None, typer.Option("--car", help="Fitted car: a finer ruler than the shipped one.")] = None,
    columns: Columns = None,
    ambient_before: Annotated[float | None, typer.Option(help="Outside air in degC, where the log has none.")] = None,
    ambient_after: Annotated[float | None, typer.Option(help="The same for AFTER.")] = None,
    units: UnitsName = "metric",
    as_json: Json = False,
) -> None:
    """Say from two logs whether the car got better, at the same conditions.

    Example: arena compare before.csv after.csv --car mycar-fitted.toml
    """
    from arena.garage.before_after import compare_logs, document
    from arena.report import garage_text
    from arena.scenario.columns import read_columns

    printed = units_of(units)
    found = compare_logs(before, after, car, read_columns(columns), (ambient_before, ambient_after))
    emit(document(found)) if as_json else garage_text.show_comparison(found, printed)


@app.command()
def bench(as_json: Json = False) -> None:
    """Measure the speed of the kernel and of a small tournament on this machine.

    Example: arena bench --json
    """
    from arena.contest.bench import measure
    from arena.report import terminal

    found = measure()
    if as_json:
        emit(found)
    else:
        terminal.show(terminal.pairs([(k, terminal.figure(float(v), 2), "") for k, v in found.items()]))


@app.command()
def wiring(
    car: Car = "invented-2200",
    flow_l_min: Annotated[
        float | None, typer.Option(help="Wanted low flow; 6 L/min or 40 % of full flow if not given.")
    ] = None,
    length_m: Annotated[float, typer.Option(help="Battery to pump, one way.")] = 3.5,
    at_v: Annotated[
        list[float] | None, typer.Option(help="Supply voltage; repeat. 12.6, 13.8 and 14.4 if not given.")
    ] = None,
    resistor_ohm: Annotated[
        list[float] | None, typer.Option(help="A resistor at hand, judged in full; repeat for several.")
    ] = None,
    duty_pct: Annotated[list[float] | None, typer.Option(help="Rows of the duty table; repeat.")] = None,
    load_nm: Annotated[
        str | None,
        typer.Option(metavar="CONSTANT,SQUARED", help="Shaft torque in N m and N m s2, instead of the car's."),
    ] = None,
    bay_c: Annotated[float | None, typer.Option(help="Air round resistor, switch and leads.")] = None,
    explain: Annotated[bool, typer.Option("--explain", help="Formula and source of each number.")] = False,
    sketch: Annotated[Path | None, typer.Option(help="Draw the wiring as SVG.")] = None,
    units: UnitsName = "metric",
    as_json: Json = False,
) -> None:
    """Resistor, PWM, conductor, fuse, relay and fail-on wiring for a car's pump, with the cautions.

    Example: arena wiring --car mycar.toml --flow-l-min 6 --length-m 3.5 --sketch wiring.svg
    """
    from arena.garage.wiring import SUPPLIES_V, advise, load_from
    from arena.report.wiring_text import show_wiring, wiring_document
    from arena.scenario.car import load_car

    printed, loaded = units_of(units), load_car(car)
    advice = advise(
        loaded.numbers(), loaded.name, flow_l_min, length_m, tuple(at_v or SUPPLIES_V), tuple(resistor_ohm or ()),
        tuple(d / 100.0 for d in duty_pct or ()), load_from(load_nm), bay_c,
    )  # fmt: skip
    if sketch is not None:
        from arena.report.sketch import write_sketch

        write_sketch(advice, sketch)
    if as_json:
        emit(wiring_document(advice))
    else:
        show_wiring(advice, explain, printed)


@app.command()
def parts(
    season: Annotated[str, typer.Argument(help="Season file or name.")] = "temperate-year",
    car: Car = "invented-2200",
    strategy: Strategies = None,
    replicates: Annotated[int, typer.Option(help="Worlds the figures come from.")] = 4,
    pairs: Annotated[int, typer.Option(help="How many of the most promising pairs to try.")] = 3,
    seed: Seed = 1,
    workers: Workers = None,
    spread: Annotated[float, typer.Option(help="Spread of the car's assumed numbers; 0 for none.")] = 0.10,
    pump_life_h: Annotated[float | None, typer.Option(help="Rated life of the pump, for years of life.")] = None,
    pump_price: Annotated[
        float | None, typer.Option(help="Price of the pump: wear costs price over rated life.")
    ] = None,
    plot: Annotated[Path | None, typer.Option(help="Draw the ranking as SVG.")] = None,
    sensitivity: Annotated[
        bool, typer.Option("--sensitivity", help="Which uncertain numbers of the car the answer hangs on (minutes).")
    ] = False,
    units: UnitsName = "metric",
    as_json: Json = False,
) -> None:
    """What other hardware would buy, each part with its own best control, beside what control buys.

    Example: arena parts temperate-year --car mycar.toml --pump-life-h 3000 --pump-price 120
    """
    from arena.contest.tournament import make_plan
    from arena.garage.parts import what_parts_buy
    from arena.report import parts_text, terminal

    printed, progress = units_of(units), terminal.ProgressLine(quiet=as_json)
    plan = make_plan(season, car, seed, spread)
    if sensitivity and spread <= 0.0:
        raise BadInput("--sensitivity needs a --spread above 0", "Leave --spread away, or give for example 0.1.")
    result = what_parts_buy(
        plan, strategies=strategy or (), replicates=replicates, pairs=pairs,
        workers=workers, pump_life_h=pump_life_h, pump_price=pump_price, tell=progress,
    )  # fmt: skip
    found = None
    if sensitivity:
        from arena.garage.sensitivity import sensitivity as over_spread

        found = over_spread(plan, result.best, workers, tell=progress)
    progress.done()
    if plot is not None:
        parts_text.write_plot(result, plot)
    if as_json:
        more = {"sensitivity": parts_text.sensitivity_document(found)} if found else {}
        emit({**parts_text.parts_document(result), **more})
    else:
        parts_text.show_parts(result, printed)
        if found:
            parts_text.show_sensitivity(found)
