"""Commands about files: what there is, whether yours are in order, one to start from."""

from __future__ import annotations

from pathlib import Path
from typing import TYPE_CHECKING, Annotated

import typer

from arena.cli.base import Columns, Json, UnitsName, app, emit, units_of
from arena.errors import BadInput

if TYPE_CHECKING:
    from collections.abc import Callable


@app.command("list")
def list_(
    kind: Annotated[str | None, typer.Argument(help="cars, climates, drives, seasons, strategies or faults.")] = None,
    as_json: Json = False,
) -> None:
    """Say what there is, one line each.

    Example: arena list drives
    """
    from arena.report.listing import listing, show_listing

    found = listing(kind)
    if as_json:
        emit(found)
    else:
        show_listing(found)


@app.command()
def check(
    files: Annotated[list[Path], typer.Argument(help="Files of ours, or logs.")],
    quick: Annotated[bool, typer.Option("--quick", help="Files only: play nothing, no sensitivity.")] = False,
    whole: Annotated[
        bool, typer.Option("--whole", help="A car: why each number was assumed, down to the last.")
    ] = False,
    car: Annotated[str, typer.Option("--car", help="Car that drives are tried with.")] = "invented-2200",
    columns: Columns = None,
    units: UnitsName = "metric",
    as_json: Json = False,
) -> None:
    """Validate files. A car: what is measured, assumed, and worth measuring. A log: which column is taken for what.

    Example: arena check mycar.toml mydrive.toml
    """
    from arena.garage.checking import examine
    from arena.report import screen, terminal
    from arena.report.check_text import check_document, show_check
    from arena.scenario.columns import read_columns

    faults: list[str] = []
    documents = []
    remedies: dict[str, None] = {}  # in order, each once
    mapped, printed = read_columns(columns), units_of(units)
    for number, path in enumerate(files):
        progress = terminal.ProgressLine(quiet=as_json)
        try:
            found = examine(path, mapped, printed, quick, car, progress)
        except BadInput as fault:
            faults += fault.faults
            remedies[fault.remedy] = None
            continue
        finally:
            progress.done()
        documents.append(check_document(path, found))
        if not as_json:
            if number:
                screen.say()
            show_check(path, found, whole)
    if as_json:
        emit({"files": documents, "faults": faults})
    if faults:
        raise BadInput(faults, " ".join(remedies))


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
    from arena.report import screen
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
        screen.say(f"{path}: {kind} to start from; `arena check {path}` says how it stands")


def starters() -> dict[str, Callable[[str], str]]:
    """The starting file of every kind, by the kind's name: a text for a name."""
    from arena.contest.axes import axes_starter
    from arena.scenario.fault import fault_starter
    from arena.scenario.starters import MAKERS
    from arena.strategies.starter import strategy_starter

    def axes(name: str) -> str:
        return axes_starter().replace('name = "my-table"', f'name = "{name}"', 1)

    return {**MAKERS, "strategy": strategy_starter, "axes": axes, "fault": fault_starter}
