"""How every file of ours is written: whole or not at all, so that no fault leaves half a file under a good name."""

from __future__ import annotations

import os
import stat
from contextlib import suppress
from pathlib import Path


def write_whole(path: Path, content: str | bytes) -> None:
    """Write a file beside `path`, then put it there in one step. Raises OSError, and then `path` is as it was.

    What is no ordinary file (a terminal, a pipe, a device) is written to as it is, and stays what it is.
    """
    data = content.encode() if isinstance(content, str) else content
    with suppress(FileNotFoundError):
        if not stat.S_ISREG(os.stat(path).st_mode):
            path.write_bytes(data)
            return
    aside = path.with_name(f".{path.name}.new")
    try:
        with aside.open("wb") as handle:
            handle.write(data)
            handle.flush()
            os.fsync(handle.fileno())
        os.replace(aside, path)
    except OSError:
        with suppress(OSError):
            aside.unlink()
        raise
