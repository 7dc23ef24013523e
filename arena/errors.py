"""The one way the project says that what it was given cannot be used.

A `BadInput` carries one line per fault, each naming file, key or row, and one closing line that says
what to do. The command line prints it on stderr and ends with exit code 2; nothing else is written.
"""

from __future__ import annotations

from collections.abc import Sequence


class BadInput(Exception):
    """Input that cannot be used: `faults` has one line each, `remedy` one line saying what to do."""

    def __init__(self, faults: str | Sequence[str], remedy: str = "") -> None:
        self.faults: list[str] = [faults] if isinstance(faults, str) else list(faults)
        self.remedy = remedy
        super().__init__("\n".join([*self.faults, remedy] if remedy else self.faults))


class Interrupted(Exception):
    """Ctrl-C during something long: `remedy` is one line saying what is kept and how to go on."""

    def __init__(self, remedy: str) -> None:
        self.remedy = remedy
        super().__init__(remedy)
