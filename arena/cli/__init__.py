"""The command line: parse, call, print.

Exit codes: 0 done, 1 a ranked contestant FAILED, 2 bad input, 130 interrupted.
"""

from __future__ import annotations

import sys

import typer

from arena.cli import contests, files, garage  # noqa: F401  (each adds its commands)
from arena.cli.base import app
from arena.errors import BadInput

__all__ = ["app", "main"]


def main() -> None:
    """Entry point: runs a command and turns faults into lines and exit codes."""
    code = 0
    try:
        code = app(standalone_mode=False) or 0
        if code == 130:  # ctrl-C is already an exit code here
            sys.stderr.write("interrupted\n")
    except BadInput as fault:
        from arena.report.terminal import complain

        complain([*fault.faults, *([fault.remedy] if fault.remedy else [])])
        code = 2
    except (KeyboardInterrupt, typer.Abort):
        sys.stderr.write("interrupted\n")
        code = 130
    except BrokenPipeError:
        sys.stderr.close()
        code = 0
    except Exception as error:
        if not hasattr(error, "format_message"):
            raise
        sys.stderr.write(f"{error.format_message()}\nSee `arena --help`.\n")
        code = 2
    sys.exit(code)
