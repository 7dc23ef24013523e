"""Tables on a narrow terminal: no number is cut off to look like another; columns that do not fit are left out."""

from __future__ import annotations

import io

import pytest
from rich.console import Console

from arena.report import screen
from arena.report.screen import fitting, show, table
from arena.report.terminal import CAUTIONS

HEADERS = [("name", "left"), ("score", "right"), ("first", "right"), ("second", "right"), ("last", "right")]
ROWS = [["proportional", "0.349", "12345", "1.5", "0.08"], ["on", "1.000", "7", "22222222", "0.00"]]


def lines_of(made: object, width: int) -> list[str]:
    out = io.StringIO()
    Console(file=out, width=width).print(made)
    return [line.rstrip() for line in out.getvalue().splitlines()]


@pytest.mark.parametrize(
    ("width", "columns"),
    [
        (43, "name score first second last"), (40, "name score first last"), (32, "name score first last"),
        (31, "name score last"), (24, "name last"), (18, "name last"),
    ],
)  # fmt: skip
def test_what_fits_is_shown_whole_and_the_rest_left_out(width: int, columns: str) -> None:
    found = lines_of(fitting(HEADERS, ROWS, width, (0, 4)), width)
    assert found[0].split() == columns.split()
    places = [[h for h, _ in HEADERS].index(name) for name in columns.split()]
    assert [line.split() for line in found[1:]] == [[row[k] for k in places] for row in ROWS]
    assert max(map(len, found)) <= width


@pytest.mark.parametrize(("width", "left"), [(60, ""), (43, ""), (40, "last"), (30, "second, last")])
def test_columns_that_do_not_fit_are_named(monkeypatch: pytest.MonkeyPatch, width: int, left: str) -> None:
    out = io.StringIO()
    monkeypatch.setattr(screen, "console", lambda: Console(file=out, width=width))
    show(table(HEADERS, ROWS))
    text = out.getvalue()
    told = " ".join(text[text.index("left out") :].split()) if "left out" in text else ""
    assert told == (f"left out for want of width: {left}" if left else "")
    if width >= 30:
        kept = len(HEADERS) - len([x for x in left.split(", ") if x])
        assert [line.split() for line in text.splitlines()[1:3]] == [row[:kept] for row in ROWS]


def test_words_are_wrapped_before_anything_is_left_out(monkeypatch: pytest.MonkeyPatch) -> None:
    out = io.StringIO()
    monkeypatch.setattr(screen, "console", lambda: Console(file=out, width=30))
    show(
        table(
            [("", "left"), ("A", "right"), ("why", "left")], [["fuse", "7.5", "the next size above the stall current"]]
        )
    )
    assert "left out" not in out.getvalue()
    assert " ".join(out.getvalue().split()[2:]) == "fuse 7.5 the next size above the stall current"


def test_cautions_are_whole_sentences_each() -> None:
    assert all(line[0].isupper() and line.endswith(".") and line.count(". ") == 0 for line in CAUTIONS)
