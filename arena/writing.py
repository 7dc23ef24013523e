"""How what is ours is written: files whole or not at all, so that no fault leaves half a file under a good name; values
as JSON can hold them.
"""

from __future__ import annotations

import math
import os
import stat
from contextlib import suppress
from pathlib import Path
from typing import Any


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


def plain(value: Any, digits: int = 0) -> Any:
    """A value strict JSON can hold: numpy unpacked, paths as text, None for what is not finite; floats to `digits`
    significant digits, 0 for all of them.
    """
    if isinstance(value, dict):
        return {str(k): plain(v, digits) for k, v in value.items()}
    if hasattr(value, "tolist"):
        value = value.tolist()
    if isinstance(value, list | tuple):
        return [plain(v, digits) for v in value]
    if isinstance(value, float):
        return (float(f"{value:.{digits}g}") if digits else value) if math.isfinite(value) else None
    return str(value) if isinstance(value, Path) else value
