"""Where things that are slow to work out are kept between runs, and how they are written whole or not at all.

A folder named by ARENA_CACHE_DIR, else `charge-arena` in the user's cache folder, else one in the temporary folder.
"""

from __future__ import annotations

import os
import tempfile
from collections.abc import Callable
from pathlib import Path


def folder() -> Path:
    """The cache folder, made if need be; a temporary one where the usual place cannot be written."""
    named = os.environ.get("ARENA_CACHE_DIR")
    if named:
        places = [Path(named).expanduser()]
    else:
        base = os.environ.get("XDG_CACHE_HOME")
        try:
            places = [Path(base) if base else Path.home() / ".cache"]
        except RuntimeError:  # no home to be found
            places = []
        places = [place / "charge-arena" for place in places]
    for place in [*places, _temporary()]:
        try:
            place.mkdir(mode=0o700, parents=True, exist_ok=True)
        except OSError:
            continue
        if os.access(place, os.W_OK | os.X_OK) and (place != _temporary() or _is_ours(place)):
            return place
    return Path(tempfile.mkdtemp(prefix="charge-arena-"))


def write_whole(path: Path, write: Callable[[Path], None]) -> bool:
    """Have `write` fill a file beside `path`, then move it there in one step; False if that cannot be done.

    Two processes may write the same path at once: the last one stands, and no reader meets half a file.
    """
    aside: Path | None = None
    try:
        handle, name = tempfile.mkstemp(prefix=f".{path.stem}-", suffix=path.suffix, dir=path.parent)
        os.close(handle)
        aside = Path(name)
        write(aside)
        os.replace(aside, path)
    except OSError:
        if aside is not None:
            aside.unlink(missing_ok=True)
        return False
    return True


def _is_ours(place: Path) -> bool:
    """Not a folder that someone else put in the shared temporary folder: code may be read from it."""
    return not hasattr(os, "getuid") or (place.stat().st_uid == os.getuid() and not place.is_symlink())


def _temporary() -> Path:
    user = os.getuid() if hasattr(os, "getuid") else os.environ.get("USERNAME", "user")
    return Path(tempfile.gettempdir()) / f"charge-arena-{user}"
