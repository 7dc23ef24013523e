"""On which line of a TOML text a table or key stands, as far as a plain scan can tell."""

from __future__ import annotations

import re
from functools import lru_cache

from arena.scenario.wording import Loc


@lru_cache(maxsize=4)  # a file with a hundred faults is asked for a hundred places
def index_lines(text: str) -> dict[Loc, int]:
    """Line number (from 1) of every table and key in a TOML text, by a plain scan; not to be changed."""
    lines: dict[Loc, int] = {}
    table: Loc = ()
    counts: dict[Loc, int] = {}
    open_key: Loc = ()
    depth, rows, in_text = 0, 0, ""
    for number, line in enumerate(text.split("\n"), start=1):
        if in_text:
            in_text = "" if in_text in line else in_text
            continue
        bare = _without_texts(line)
        if depth == 0:
            header = re.match(r"^\s*(\[\[?)([^\[\]]+)\]", line)
            if header:
                table = _table_loc(header[2], header[1] == "[[", counts)
                lines.setdefault(table, number)
                continue
            key = re.match(r"""^\s*((?:[\w-]+|"[^"]*"|'[^']*')(?:\s*\.\s*(?:[\w-]+|"[^"]*"|'[^']*'))*)\s*=""", line)
            if not key:
                continue
            open_key = (*table, *_split_key(key[1]))
            lines.setdefault(open_key, number)
            bare, rows = bare.split("=", 1)[-1], 0
            if bare.lstrip().startswith("{"):
                _index_inline(lines, open_key, bare, number)
        for fence in ('"""', "'''"):
            if line.count(fence) % 2:
                in_text = fence
        for position, letter in enumerate(bare):
            if letter == "{" and depth == 1:
                lines.setdefault((*open_key, rows), number)
                end = bare.find("}", position)
                _index_inline(lines, (*open_key, rows), bare[position : end if end > 0 else None], number)
                rows += 1
            depth += (letter in "[{") - (letter in "]}")
        depth = max(depth, 0)
    return lines


def _index_inline(lines: dict[Loc, int], loc: Loc, bare: str, number: int) -> None:
    for key in re.findall(r"([\w-]+)\s*=", bare.split("}", maxsplit=1)[0]):
        lines.setdefault((*loc, key), number)


def _without_texts(line: str) -> str:
    """The line with its quoted texts blanked and its comment cut off."""
    return re.sub(r"#.*$", "", re.sub(r'"(?:[^"\\]|\\.)*"|' + r"'[^']*'", '""', line))


def _split_key(dotted: str) -> Loc:
    return tuple(part.strip().strip("\"'") for part in dotted.split("."))


def _table_loc(name: str, is_row: bool, counts: dict[Loc, int]) -> Loc:
    """Where a table header leads: rows of tables are counted, `[[phase.steps]]` goes to the last phase."""
    loc: Loc = ()
    parts = _split_key(name)
    for position, part in enumerate(parts):
        loc = (*loc, part)
        if is_row and position == len(parts) - 1:
            counts[loc] = counts.get(loc, -1) + 1
        if loc in counts:
            loc = (*loc, counts[loc])
    return loc
