"""What every command shares: the app, options that several commands take, JSON out."""

from __future__ import annotations

import json
import sys
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from typing import TYPE_CHECKING, Annotated, Any

import typer

from arena.errors import BadInput, Interrupted
from arena.writing import plain

if TYPE_CHECKING:
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


@contextmanager
def stoppable(going_on: Callable[[], str]) -> Iterator[None]:
    """Ctrl-C ends what is done within it with a word on what is kept and how to go on."""
    try:
        yield
    except KeyboardInterrupt:
        raise Interrupted(going_on()) from None


def emit(document: Any) -> None:
    """One JSON document on stdout; numbers that are not finite become null."""
    sys.stdout.write(json.dumps(plain(document), indent=1) + "\n")
