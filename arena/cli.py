"""The command line: parse, call, print.

Exit codes: 0 done, 1 a ranked contestant FAILED, 2 bad input, 130 interrupted.
"""

from __future__ import annotations

import json
import math
import sys
from pathlib import Path
from typing import Annotated, Any

import typer

from arena.errors import BadInput

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
Strategies = Annotated[list[str] | None, typer.Option("--strategy", help="Name or .py file; repeat for several.")]


def main() -> None:
    """Entry point: runs a command and turns faults into lines and exit codes."""
    code = 0
    try:
        code = app(standalone_mode=False) or 0
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

    progress = terminal.ProgressLine(quiet=as_json)
    result = hold_tournament(
        season, car, strategy or (), trials=trials, replicates=replicates, seed=seed, workers=workers, spread=spread,
        out=out, resume=resume, tell=progress, command=sys.argv[1:], dress=page_of,
    )  # fmt: skip
    progress.done()
    if as_json:
        from arena.report.documents import tournament_document

        emit(tournament_document(result, per_climate))
    else:
        terminal.tournament(result, per_climate)
    if any(line.ranked and line.failed_runs for line in result.standings.lines):
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
    as_json: Json = False,
) -> None:
    """Play one drive with one strategy and show its figures.

    Example: arena drive hill-pulls --climate hot --strategy proportional --setting start_c=38
    """
    from arena.contest.single import drive_once, settings_from
    from arena.report import documents, terminal

    result = drive_once(name, climate, car, strategy, settings_from(setting or []), seed, record=True, fault=fault)
    if trace is not None:
        from arena.report.trace import write_trace

        write_trace(result, trace)
    if plot is not None:
        from arena.report.plots import write_plot

        write_plot(result, plot)
    if as_json:
        emit(documents.drive_document(result))
    else:
        terminal.drive(result)
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
    as_json: Json = False,
) -> None:
    """Validate files; for a car also say which numbers are measured and which assumed.

    Example: arena check mycar.toml mydrive.toml
    """
    from arena.report import terminal
    from arena.scenario.check import check_file

    faults: list[str] = []
    documents = []
    remedy = ""
    for path in files:
        try:
            found = check_file(path)
        except BadInput as fault:
            faults += fault.faults
            remedy = fault.remedy
            continue
        rows = [{"what": a, "value": b, "known": c} for a, b, c in found.rows]
        documents.append({"file": str(path), "kind": found.kind, "notes": list(found.notes), "rows": rows})
        if not as_json:
            terminal.say(f"{path}: a {found.kind}, in order")
            for note in found.notes:
                terminal.say(f"  note: {note}")
            if found.rows:
                terminal.show(terminal.pairs(found.rows))
    if as_json:
        emit({"files": documents, "faults": faults})
    if faults:
        raise BadInput(faults, remedy)


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
    as_json: Json = False,
) -> None:
    """Resistor, PWM, conductor, fuse, relay and fail-on wiring for a car's pump, with the cautions.

    Example: arena wiring --car mycar.toml --flow-l-min 6 --length-m 3.5 --sketch wiring.svg
    """
    from arena.garage.wiring import SUPPLIES_V, advise, load_from
    from arena.report.wiring_text import show_wiring, wiring_document
    from arena.scenario.car import load_car

    loaded = load_car(car)
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
        show_wiring(advice, explain)
