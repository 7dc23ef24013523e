"""Lines and tables on a terminal or into a pipe: plain, readable without colour, nothing cut off."""

from __future__ import annotations

import sys
from collections.abc import Iterable, Sequence

from rich.console import Console
from rich.markup import escape
from rich.table import Column, Table


def console(stderr: bool = False) -> Console:
    """A console that neither wraps nor colours when its stream is not a terminal."""
    stream = sys.stderr if stderr else sys.stdout
    if stream.isatty():
        return Console(file=stream, highlight=False)
    return Console(file=stream, width=1000, highlight=False, no_color=True, force_terminal=False)


def say(text: str = "") -> None:
    """One line on stdout, unwrapped when piped."""
    console().print(text, markup=False)


def complain(lines: Iterable[str]) -> None:
    """Error lines on stderr, one each, never wrapped."""
    for line in lines:
        sys.stderr.write(f"{line}\n")


def table(headers: Sequence[tuple[str, str]], rows: Iterable[Sequence[str]]) -> Table:
    """A table without frames; headers are (text, "left" or "right")."""
    out = Table(box=None, pad_edge=False, padding=(0, 2, 0, 0), header_style="bold")
    for text, side in headers:
        out.add_column(text, justify="right" if side == "right" else "left", no_wrap=True, overflow="fold")
    for row in rows:
        out.add_row(*(escape(cell) for cell in row))  # names and headers may hold brackets
    return out


def fitting(
    headers: Sequence[tuple[str, str]], rows: Sequence[Sequence[str]], width: int, rather: Sequence[int] = ()
) -> Table:
    """A table of the columns that fit a width: first, whatever comes of it, those of `rather`, then others in order."""
    wide = [2 + max([len(h), *(len(row[k]) for row in rows)]) for k, (h, _) in enumerate(headers)]
    kept, room = set(rather), width + 2 - sum(wide[k] for k in rather)
    for k in range(len(headers)):
        if k not in kept and wide[k] <= room:
            kept.add(k)
            room -= wide[k]
    order = sorted(kept)
    return table([headers[k] for k in order], [[row[k] for k in order] for row in rows])


def show(made: Table) -> None:
    """A table on stdout. Too wide, its words are wrapped and columns that still do not fit left out and named."""
    on, left = console(), []
    if _width(made) > on.width:
        for column in made.columns[1:]:
            column.no_wrap = column.justify != "left"
        while _width(made) > on.width and len(made.columns) > 1:
            left.append(str(made.columns.pop().header))
        spare = on.width - _width(made)
        for column in made.columns:
            least, wanted = _least(column), max(len(str(cell)) for cell in (column.header, *column.cells))
            column.width = min(wanted, least + max(spare, 0))
            spare -= column.width - least
    on.print(made)
    if left:
        say(f"left out for want of width: {', '.join(reversed(left))}")


def _width(made: Table) -> int:
    """Least width of a table in which no cell is cut."""
    return sum(_least(column) + 2 for column in made.columns) - 2


def _least(column: Column) -> int:
    """Least width of a column: of whole cells, or of whole words where words may be wrapped."""
    cells = [str(cell) for cell in (column.header, *column.cells)]
    return max(len(cell) if column.no_wrap else max(map(len, cell.split() or [""])) for cell in cells)
