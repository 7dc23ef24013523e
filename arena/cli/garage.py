"""Commands that meet the real car: learn it from a log, prove a change, wire the pump, weigh hardware."""

from __future__ import annotations

from pathlib import Path
from typing import Annotated

import typer

from arena.cli.base import Car, Columns, Json, Seed, Strategies, UnitsName, Workers, app, emit, units_of
from arena.errors import BadInput


@app.command()
def fit(
    log: Annotated[Path | None, typer.Argument(metavar="LOG", help="Log of the real car, CSV.")] = None,
    car: Car = "invented-2200",
    columns: Columns = None,
    out: Annotated[Path | None, typer.Option(help="Car file to write; must not be there yet.")] = None,
    told_only: Annotated[
        bool, typer.Option("--told-only", help="Leave what is not told as in the car, not at the fit's guess.")
    ] = False,
    ambient: Annotated[float | None, typer.Option(help="Outside air in degC, where the log has none.")] = None,
    duty: Annotated[float | None, typer.Option(help="Pump duty in %, where the log has none.", min=0, max=100)] = None,
    health: Annotated[
        bool, typer.Option("--health", help="Does coolant flow, is the pump weak, the probe right?")
    ] = False,
    plan: Annotated[bool, typer.Option("--plan", help="Which short drive would tell the rest.")] = False,
    plot: Annotated[Path | None, typer.Option(help="Draw the residuals: .svg, .png or .pdf.")] = None,
    units: UnitsName = "metric",
    as_json: Json = False,
) -> None:
    """Learn the car's unknown numbers from a log, and say which of them the log cannot tell.

    Example: arena fit monday.csv --car mycar.toml --out mycar-fitted.toml
    """
    from arena.garage import fit as fitting
    from arena.report import garage_text
    from arena.report.pictures import check_ending
    from arena.scenario.columns import read_columns

    check_ending(plot, "--plot")
    writes = {"--out": out is not None, "--told-only": told_only, "--plot": plot is not None}
    reads = {"--columns": columns is not None, "--ambient": ambient is not None, "--duty": duty is not None}
    _refuse_idle(log, health, plan, writes, reads)
    progress = garage_text.Notice(quiet=as_json)
    mapped, printed = read_columns(columns), units_of(units)
    if health and log is not None:
        from arena.garage.health import check_health

        found = check_health(log, car, mapped, ambient, duty, progress, units_of("metric") if as_json else printed)
        progress.done()
        emit(found.document()) if as_json else garage_text.show_health(found)
        return
    fitted = None
    if log is not None:
        judged = not plan or out is not None
        fitted = fitting.fit_log(
            log, car, mapped, ambient, duty, out, hold_out=judged, told_only=told_only, tell=progress
        )
    if fitted is not None and plot is not None:
        from arena.report.garage_pictures import write_residuals

        write_residuals(fitted, plot, printed)
    if plan:
        from arena.garage.plan import plan_drive

        advice = plan_drive(car, fitted, progress)
        progress.done()
        if as_json:
            emit(advice.document(fitted.out if fitted is not None else None))
            return
        garage_text.show_plan(advice, printed)
        if fitted is not None and out is not None:
            garage_text.show_file(fitted)
        return
    progress.done()
    assert fitted is not None
    emit(fitting.document(fitted)) if as_json else garage_text.show_fit(fitted, printed)


def _refuse_idle(log: Path | None, health: bool, plan: bool, writes: dict[str, bool], reads: dict[str, bool]) -> None:
    """What was asked for and would do nothing beside the rest: options of a fit's files, and of reading a log."""
    if log is None and not plan:
        raise BadInput("no log is given", "Give a log, or ask for a drive to log with --plan.")
    if log is None:
        idle, why = {"--health": health, **writes, **reads}, "without a log"
    elif health:
        idle, why = {"--plan": plan, **writes}, "beside --health, which judges the loop and fits no car"
    else:
        idle, why = {"--told-only": writes["--told-only"] and not writes["--out"]}, "without --out"
    faults = [f"{name} does nothing {why}" for name, asked in idle.items() if asked]
    if faults:
        raise BadInput(faults, "Leave it out, or give two commands: `arena fit --help` says what each option is for.")


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
    sketch: Annotated[Path | None, typer.Option(help="Draw the wiring: .svg, .png or .pdf.")] = None,
    units: UnitsName = "metric",
    as_json: Json = False,
) -> None:
    """Resistor, PWM, conductor, fuse, relay and fail-on wiring for a car's pump, with the cautions.

    Example: arena wiring --car mycar.toml --flow-l-min 6 --length-m 3.5 --sketch wiring.svg
    """
    from arena.garage.wiring import SUPPLIES_V, advise, load_from
    from arena.report.pictures import check_ending
    from arena.report.wiring_text import show_wiring, wiring_document
    from arena.scenario.car import load_car

    check_ending(sketch, "--sketch")
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
    spread: Annotated[float, typer.Option(help="How far the car's uncertain numbers vary, given ones less.")] = 0.10,
    pump_life_h: Annotated[float | None, typer.Option(help="Rated life of the pump, for years of life.")] = None,
    pump_price: Annotated[
        float | None, typer.Option(help="Price of the pump: wear costs price over rated life.")
    ] = None,
    plot: Annotated[Path | None, typer.Option(help="Draw the ranking: .svg, .png or .pdf.")] = None,
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
    from arena.report.pictures import check_ending

    check_ending(plot, "--plot")
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
        from arena.report.garage_pictures import write_parts

        write_parts(result, plot)
    if as_json:
        more = {"sensitivity": parts_text.sensitivity_document(found)} if found else {}
        emit({**parts_text.parts_document(result), **more})
    else:
        parts_text.show_parts(result, printed)
        if found:
            parts_text.show_sensitivity(found)
