"""What `arena check` prints, and its JSON document."""

from __future__ import annotations

import textwrap
from typing import TYPE_CHECKING, Any, Final

from arena.report import screen

if TYPE_CHECKING:
    from collections.abc import Sequence
    from pathlib import Path

    from arena.garage.checking import Examined


TELLING: Final = 0.02  # of score: an assumed number that moves it by less is named without its own row


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


def show_check(path: Path, found: Examined, whole: bool = False) -> None:
    """A file that passed, for a person; `whole`: also why each number was assumed that hardly moves the score."""
    checked = found.checked
    screen.say(f"{path}: {checked.kind}, in order")
    for note in checked.notes:
        screen.say(f"  note: {note}")
    if checked.kind == "car":
        _show_car(found, whole)
    elif checked.rows:
        made = screen.table([("", "left"), ("", "left"), ("", "left")], checked.rows)
        made.show_header = False
        for column in made.columns[1:]:
            column.no_wrap = False
        screen.show(made)
    if checked.text:
        screen.say()
        for line in checked.text.rstrip().split("\n"):
            screen.say(line)


def _show_car(found: Examined, whole: bool) -> None:
    derived = [row for row in found.checked.rows if row[2] == "derived"]
    given = [row for row in found.checked.rows if row[2] == "measured (given)"]
    fitted = [row for row in found.checked.rows if row[2].startswith("measured: ")]
    assumed = [row for row in found.checked.rows if row[2].startswith("assumed")]
    screen.say()
    _show(("measured (given)", "value"), [(what, value) for what, value, _ in given])
    screen.say()
    if fitted:
        _show(
            ("measured (from a log)", "value", ""),
            [(w, value, how.removeprefix("measured: ")) for w, value, how in fitted],
        )
        screen.say()
    narrow = screen.console().width < 100
    if not found.effects:
        _show(("assumed", "value", "why"), [(what, value, _why(why, narrow)) for what, value, why in assumed])
    else:
        tried = sorted((row for row in assumed if row[0] in found.effects), key=lambda r: -found.effects[r[0]].change)
        rows = []
        minor = [(what, value) for what, value, _ in tried if found.effects[what].change < TELLING]
        untried = [(what, value) for what, value, _ in assumed if what not in found.effects]
        for what, value, why in tried if whole else tried[: len(tried) - len(minor)]:
            effect = found.effects[what]
            moves = f"{effect.change:.3f}{' !' if effect.turns else '  '}"
            rows.append((what, value, f"{effect.tried:.4g}", moves, _why(why, narrow)))
        _show(("assumed", "value", "tried", "score moves", "why"), rows)
        screen.say()
        screen.say("score moves: the most any strategy's score changes on a short drive with the number tried:")
        screen.say("half-way to the far end of what is usual, a fifth for estimates; ! if the order turns.")
        screen.say()
        if whole:
            rest = [(what, value, _why(why, narrow)) for what, value, why in assumed if what not in found.effects]
            _show(("assumed, not tried", "value", "why"), rest)
        else:
            _run_on(f"Assumed too, and each moves it by less than {TELLING:g}", minor)
            _run_on("Assumed and not tried", untried)
            screen.say("Why each was assumed so: --whole.")
    screen.say()
    _show(("derived", "value"), [(what, value) for what, value, _ in derived])
    worth = found.worth_measuring()
    if found.effects:
        screen.say()
        screen.say("Worth measuring first:" if worth else "Nothing more is worth measuring for the ranking.")
        for line in worth:
            screen.say(f"  {line}")


def _run_on(head: str, pairs: Sequence[tuple[str, str]]) -> None:
    """Numbers one after the other, section by section, in as few lines as they take."""
    if not pairs:
        return
    screen.say(f"{head}:")
    sections: dict[str, list[str]] = {}
    for key, value in sorted(pairs):
        section, _, name = key.partition(".")
        sections.setdefault(section, []).append(f"{name} {value}")
    for section, words in sections.items():
        lines = textwrap.wrap(
            ", ".join(words), screen.console().width, initial_indent=f"  {section}: ", subsequent_indent="    ",
            break_on_hyphens=False,
        )  # fmt: skip
        for line in lines:
            screen.say(line)
    screen.say()


def _why(known: str, narrow: bool) -> str:
    """Why a number was assumed: in full, or in a word."""
    why = known.removeprefix("assumed: ")
    return why.split(",")[0].split(" from ")[0] if narrow else why


def _show(headers: tuple[str, ...], rows: Sequence[tuple[str, ...]]) -> None:
    right = {"tried", "score moves"}
    made = screen.table([(text, "right" if text in right else "left") for text in headers], rows)
    made.columns[-1].no_wrap = False
    screen.show(made)
