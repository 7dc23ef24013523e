"""The command line: parse, call, print.

Exit codes: 0 done, 1 a ranked contestant FAILED, 2 bad input, 130 interrupted.
"""

from __future__ import annotations

import errno
import io
import os
import sys
from functools import lru_cache
from pathlib import Path

import typer

from arena.cli import contests, files, garage  # noqa: F401  (each adds its commands)
from arena.cli.base import app
from arena.errors import BadInput, Interrupted
from arena.scenario.wording import one_line
from arena.strategies import base as laws

__all__ = ["app", "main"]


def main() -> None:
    """Entry point: runs a command and turns faults into lines and exit codes."""
    code = 0
    for stream in (sys.stdout, sys.stderr):
        if isinstance(stream, io.TextIOWrapper):
            stream.reconfigure(errors="replace")  # a terminal that cannot show a letter shows another
    laws.on_code[:] = [lru_cache(_code_said)]  # once a file
    try:
        code = app(standalone_mode=False) or 0
        if code == 130:  # ctrl-C is already an exit code here
            sys.stderr.write("interrupted\n")
        sys.stdout.flush()
    except BadInput as fault:
        code = _said(*fault.faults, fault.remedy)
    except Interrupted as stopped:
        _said("interrupted", stopped.remedy)
        code = 130
    except (KeyboardInterrupt, typer.Abort):
        _said("interrupted")
        code = 130
    except BrokenPipeError:  # whoever read the output has read enough
        _drop_output()
    except SystemExit as ended:  # typer's own way of ending on a closed pipe
        if not isinstance(ended.__context__, BrokenPipeError):
            raise
        _drop_output()
    except OSError as error:
        code = _said(*_disk_fault(error))
        _drop_output()
    except Exception as error:
        if not hasattr(error, "format_message"):
            raise
        code = _said(error.format_message(), "See `arena --help`.")
    sys.exit(code)


def _said(*lines: str) -> int:
    """Lines on stderr, one each; the exit code of bad input."""
    from arena.report.screen import complain

    complain([line for line in lines if line])
    return 2


def _code_said(path: Path) -> None:
    """Whoever enters a strategy of his own, or goes on with a result that has one, is told what that means."""
    sys.stderr.write(f"{one_line(str(path), 300)}: is code, and is run with all your rights\n")


def _disk_fault(error: OSError) -> tuple[str, str]:
    """What the system refused, and the remedy: what is written without a name is output or compiled code."""
    from arena.plant.cache import folder

    if error.errno not in {errno.ENOSPC, errno.EDQUOT, errno.EFBIG}:
        return f"{error.filename or 'output'}: {error.strerror or error}", "Give a place that can be read and written."
    places = error.filename or f"the output, or {folder()}, where compiled code is kept (ARENA_CACHE_DIR moves it)"
    return f"{error.strerror}: {places}", "Make room there."


def _drop_output() -> None:
    """What is still to be written to stdout goes nowhere, so that nothing is said of it at the very end."""
    nowhere = os.open(os.devnull, os.O_WRONLY)
    os.dup2(nowhere, sys.stdout.fileno())
    os.close(nowhere)
