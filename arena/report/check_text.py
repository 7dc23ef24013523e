"""What `arena check` prints, and its JSON document."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

from arena.report import terminal

if TYPE_CHECKING:
    from collections.abc import Sequence
    from pathlib import Path

    from arena.garage.checking import Examined


def check_document(path: Path, found: Examined) -> dict[str, Any]:
    """One file of `arena check --json`; a car's rows say how far the score moves (`score_moves`, null if untried)."""
    rows = []
    for what, value, known in found.checked.rows:
        row: dict[str, Any] = {"what": what, "value": value, "known": known}
        effect = found.effects.get(what)
        if found.checked.kind == "car":
            row["score_moves"] = None if effect is None else effect.change
            row["order_turns"] = None if effect is None else effect.turns
            row["tried"] = None if effect is None else effect.tried
        rows.append(row)
    return {
        "file": str(path),
        "kind": found.checked.kind,
        "notes": list(found.checked.notes),
        "rows": rows,
        "worth_measuring": found.worth_measuring(),
    }


def show_check(path: Path, found: Examined) -> None:
    """A file that passed, for a person."""
    checked = found.checked
    terminal.say(f"{path}: {checked.kind}, in order")
    for note in checked.notes:
        terminal.say(f"  note: {note}")
    if checked.kind == "car":
        _show_car(found)
    elif checked.rows:
        made = terminal.table([("", "left"), ("", "left"), ("", "left")], checked.rows)
        made.show_header = False
        for column in made.columns[1:]:
            column.no_wrap = False
        terminal.show(made)
    if checked.text:
        terminal.say()
        for line in checked.text.rstrip().split("\n"):
            terminal.say(line)


def _show_car(found: Examined) -> None:
    derived = [row for row in found.checked.rows if row[2] == "derived"]
    given = [row for row in found.checked.rows if row[2].startswith("measured")]
    assumed = [row for row in found.checked.rows if row[2].startswith("assumed")]
    terminal.say()
    _show(("measured (given)", "value"), [(what, value) for what, value, _ in given])
    terminal.say()
    if not found.effects:
        _show(("assumed", "value", "why"), [(a, b, c.removeprefix("assumed: ")) for a, b, c in assumed])
    else:
        rows = []
        by_weight = sorted(assumed, key=lambda row: -found.effects[row[0]].change if row[0] in found.effects else 1.0)
        for what, value, why in by_weight:
            effect = found.effects.get(what)
            moves = "-" if effect is None else f"{effect.change:.3f}{' !' if effect.turns else ''}"
            tried = "" if effect is None else f"{effect.tried:.3g}"
            rows.append((what, value, tried, moves, why.removeprefix("assumed: ")))
        _show(("assumed", "value", "tried", "score moves", "why"), rows)
        terminal.say()
        terminal.say(
            "score moves: largest change of a strategy's score on a short drive if the number were the tried one,"
        )
        terminal.say("half-way to the far end of what is usual; ! if that turns the order of the strategies.")
    terminal.say()
    _show(("derived", "value"), [(what, value) for what, value, _ in derived])
    worth = found.worth_measuring()
    if found.effects:
        terminal.say()
        terminal.say("Worth measuring first:" if worth else "Nothing more is worth measuring for the ranking.")
        for line in worth:
            terminal.say(f"  {line}")


def _show(headers: tuple[str, ...], rows: Sequence[tuple[str, ...]]) -> None:
    right = {"tried", "score moves"}
    made = terminal.table([(text, "right" if text in right else "left") for text in headers], rows)
    made.columns[-1].no_wrap = False
    terminal.show(made)
