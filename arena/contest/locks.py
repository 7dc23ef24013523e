"""One writer at a time: a lock that the operating system lets go of as soon as its holder ends, however it ends.

So nothing is ever stale: no grace is waited for after a kill, and no clock is asked. Where the system has no such
lock (outside POSIX) nothing is locked, and two processes must not be given the same folder.
"""

from __future__ import annotations

import os
from pathlib import Path

try:
    import fcntl
except ImportError:  # not a POSIX system
    fcntl = None  # type: ignore[assignment]

LOCKS = fcntl is not None


class FileLock:
    """A lock on one file, which is made if need be. Not held twice by one object."""

    def __init__(self, path: Path) -> None:
        self.path = path
        self.handle = -1

    def acquire(self, wait: bool = True) -> bool:
        """Take the lock; False if another holds it and `wait` is not wanted. Raises OSError where it cannot be had."""
        handle = os.open(self.path, os.O_RDWR | os.O_CREAT, 0o666)
        try:
            if fcntl is not None:
                fcntl.flock(handle, fcntl.LOCK_EX | (0 if wait else fcntl.LOCK_NB))
        except BlockingIOError:
            os.close(handle)
            return False
        except BaseException:
            os.close(handle)
            raise
        self.handle = handle
        return True

    def in_place(self) -> bool:
        """Whether the file that is locked is still the one at the path: false once its folder has moved on."""
        try:
            there, held = os.stat(self.path), os.fstat(self.handle)
        except OSError:
            return False
        return (there.st_ino, there.st_dev) == (held.st_ino, held.st_dev)

    def release(self) -> None:
        """Let go of it, if it is held; the file stays."""
        if self.handle >= 0:
            os.close(self.handle)
            self.handle = -1

    def __del__(self) -> None:
        self.release()


class JournalLock(FileLock):
    """The lock on a journal is on the journal itself; taking it cuts off the torn line that a killed writer left."""

    def acquire(self, wait: bool = True) -> bool:
        """Take the lock and mend the end of the journal."""
        taken = super().acquire(wait)
        if taken:
            try:
                cut_to_whole_lines(self.handle)
            except BaseException:
                self.release()
                raise
        return taken


def cut_to_whole_lines(handle: int) -> None:
    """Cut an open file back to its last newline."""
    size = os.fstat(handle).st_size
    end = size
    while end > 0:
        start = max(end - 65536, 0)
        found = os.pread(handle, end - start, start).rfind(b"\n")
        if found >= 0:
            end = start + found + 1
            break
        end = start
    if end < size:
        os.ftruncate(handle, end)
