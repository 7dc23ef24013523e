"""Texts as they may stand in a message: one line, printable, not too long; names near what was meant."""

from __future__ import annotations

import difflib
from collections.abc import Iterable
from pathlib import Path

Loc = tuple[int | str, ...]  # a key's path in a file, rows from 0: ("phase", 2, "seconds")


def shown(path: Path) -> str:
    """A path as people should see it: from the working folder if it is inside, else as it was given."""
    try:
        text = str(path.resolve().relative_to(Path.cwd())) if path.is_absolute() else str(path)
    except (ValueError, OSError):
        text = str(path)
    return one_line(text, 300)


def one_line(text: str, most: int = 60) -> str:
    """Text from a file or a person as it may stand in a message: one line, printable, not too long."""
    plain = "".join(letter if letter.isprintable() else repr(letter)[1:-1] for letter in text)
    return plain if len(plain) <= most else f"{plain[: most - 3]}..."


def key_name(loc: Iterable[int | str]) -> str:
    """A key's path as people read it, rows counted from 1: ("phase", 2, "seconds") -> phase[3].seconds."""
    name = ""
    for step in loc:
        if isinstance(step, int):
            name += f"[{step + 1}]"
        else:
            name += ("." if name else "") + one_line(step)
    return name


def nearest(name: str, known: Iterable[str]) -> str:
    """The known word most like `name`, or an empty text when none is near."""
    words = {word.lower(): word for word in known}
    close = difflib.get_close_matches(name.lower(), list(words), n=1, cutoff=0.55)
    return words[close[0]] if close else ""


def did_you_mean(name: str, known: Iterable[str]) -> str:
    """The words `, did you mean ...?`, or an empty text when no known word is near."""
    near = nearest(name, known)
    return f', did you mean "{near}"?' if near else ""
