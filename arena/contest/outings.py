"""An outing made ready to run: the drive played, compiled for a car, given its attainable envelope.

The last few are kept by content, for those who ask for the same again: another strategy or another setting on the same
drive, from a notebook or beside the ranking. Worlds of a tournament are all different and pass through.
"""

from __future__ import annotations

import ctypes
from collections import OrderedDict
from collections.abc import Hashable
from contextlib import suppress
from functools import cache
from threading import Lock
from typing import Final, NamedTuple

import numpy as np
from numpy.typing import NDArray

from arena.contest.faults import compile_under, drive_under
from arena.contest.run import Contestant, Lanes, lay_out, play
from arena.contest.standings import REFERENCES
from arena.plant import layout as at
from arena.plant.compile import CompiledOuting, compile_outing, set_goals
from arena.plant.numbers import CarNumbers, Goals
from arena.scenario.climate import Climate
from arena.scenario.drive import Drive
from arena.scenario.fault import Fault
from arena.strategies import shipped
from arena.timetable.outing import Played, outing_seed
from arena.timetable.outing import play as play_drive
from arena.timetable.standard import TAIL_OFF_S

MOST_KEPT: Final = 4  # outings; one of an hour holds 9 MB
_M_MMAP_THRESHOLD: Final = -3  # glibc's malloc.h


class Ready(NamedTuple):
    """A drive as it was played, and its arrays. Shared: copy `compiled.X` before writing into it."""

    played: Played
    compiled: CompiledOuting


_kept: OrderedDict[Hashable, Ready] = OrderedDict()
_lock = Lock()


def ready_outing(
    drive: Drive,
    climate: Climate,
    car: CarNumbers,
    goals: Goals,
    seed: tuple[int, str, int],
    fault: Fault | None = None,
    off_s: float = TAIL_OFF_S,
) -> Ready:
    """A drive in a climate on a car. `seed`: root, outing id, replicate. The same arguments give the same bytes."""
    content = (
        drive.digest, drive.name, climate.digest, car, goals, seed, (fault.digest, fault.name) if fault else None,
        off_s,
    )  # fmt: skip
    with _lock:
        if content in _kept:
            _kept.move_to_end(content)
            return _kept[content]
    made = _make(drive, climate, car, goals, seed, fault, off_s)
    with _lock:
        _kept[content] = made
        while len(_kept) > MOST_KEPT:
            _kept.popitem(last=False)
    return made


def _make(
    drive: Drive,
    climate: Climate,
    car: CarNumbers,
    goals: Goals,
    seed: tuple[int, str, int],
    fault: Fault | None,
    off_s: float,
) -> Ready:
    large_arrays_apart()
    root, name, replicate = seed
    met = drive_under(fault, drive) if fault else drive
    played = play_drive(met, climate, car, outing_seed(root, name, replicate), off_s)
    noise = int(outing_seed(root, f"noise {name}", replicate).generate_state(1, np.uint64)[0])
    compiled: CompiledOuting
    if fault:
        played, compiled = compile_under(fault, played, car, goals, noise)
    else:
        compiled = compile_outing(played, car, goals, noise)
    set_goals(compiled, goals, *envelope(compiled))
    return Ready(played, compiled)


def envelope(outing: CompiledOuting) -> tuple[NDArray[np.float64], NDArray[np.float64]]:
    """Lowest and highest attainable charge temperature by tick: pointwise of always-on and always-off.

    Approximate: a pump switched cleverly can at moments be outside. If always-off boils, its part up to there.
    """
    played = play(outing, _references(), trace_lanes=2, trace_columns=1)
    assert played.trace is not None
    on, off = played.trace[:, 0, at.T_IAT], played.trace[:, 1, at.T_IAT].copy()
    failed = played.row(at.FAILED)[1]
    if failed >= 0:
        off[int(failed) :] = on[int(failed) :]
    return np.minimum(on, off), np.maximum(on, off)


@cache
def _references() -> Lanes:
    return lay_out([Contestant(n, shipped()[n]) for n in REFERENCES])


@cache
def large_arrays_apart() -> None:
    """Have the C library map every array over a megabyte by itself and give it back when freed, where it is glibc.

    Left alone it raises that bound to the largest array freed; outings, each of another length, then leave the heap in
    pieces, and memory creeps up with their number though nothing is held.
    """
    with suppress(AttributeError, OSError, TypeError):
        ctypes.CDLL(None).mallopt(_M_MMAP_THRESHOLD, 1 << 20)
