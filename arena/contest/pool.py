"""Work shared out to threads (the kernel releases the interpreter lock), and how long work tells of itself."""

from __future__ import annotations

import os
from collections.abc import Callable, Sequence
from concurrent.futures import FIRST_COMPLETED, Future, ThreadPoolExecutor, wait
from dataclasses import dataclass
from typing import TypeVar

from arena.errors import BadInput

T = TypeVar("T")


@dataclass(frozen=True)
class Progress:
    """What a long work tells while it goes on: a word for the stage, steps done and in all, and how it stands.

    `standing`: best score of each contestant so far, if the stage has scores.
    """

    stage: str
    done: int
    total: int
    standing: tuple[tuple[str, float], ...] = ()
    detail: str = ""


Tell = Callable[[Progress], None]


def pool_of(workers: int | None) -> ThreadPoolExecutor:
    """Threads for the kernel: as many as the machine has cores, or as asked."""
    if workers is not None and not 1 <= workers <= 256:
        raise BadInput(f"--workers {workers} is outside 1..256", "Give the number of cores to use.")
    return ThreadPoolExecutor(workers or os.cpu_count() or 1)


def in_order(pool: ThreadPoolExecutor, work: Callable[[int], T], items: Sequence[int] | range) -> list[T]:
    """Results in the order of the items; ctrl-C is answered while waiting, and what has not begun is called off."""
    futures: list[Future[T]] = [pool.submit(work, item) for item in items]
    waiting = set(futures)
    try:
        while waiting:
            finished, waiting = wait(waiting, timeout=0.2, return_when=FIRST_COMPLETED)
            for future in finished:
                future.result()
    except BaseException:
        for future in futures:
            future.cancel()
        raise
    return [future.result() for future in futures]
