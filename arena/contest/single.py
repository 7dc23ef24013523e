"""One run: one drive, one climate, one contestant, with everything recorded if asked."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from pathlib import Path

import numpy as np
from numpy.typing import NDArray

from arena.contest.entering import carries, contestant_of, notes_on, stall_note, without_carried
from arena.contest.figures import figures_of
from arena.contest.freezing import freezing_notes
from arena.contest.outings import Ready, ready_outing
from arena.contest.run import Contestant, lay_out, play, why_failed
from arena.errors import BadInput
from arena.plant import layout as at
from arena.plant.compile import CompiledOuting
from arena.plant.numbers import CarNumbers, Goals
from arena.scenario.car import Car, load_car
from arena.scenario.climate import Climate, load_climate
from arena.scenario.drive import Drive, load_drive
from arena.scenario.fault import Fault, load_fault
from arena.scenario.season import WearLaw
from arena.timetable.outing import Played, check_seed
from arena.timetable.standard import TAIL_OFF_S


@dataclass(frozen=True)
class SingleRun:
    """A run with its figures; `record` has shape (ticks, TRACE_COLUMNS) if kept, columns as in kernel.record."""

    drive: Drive
    climate: Climate
    car: Car
    contestant: Contestant
    seed: int
    goals: Goals
    played: Played
    compiled: CompiledOuting
    figures: dict[str, float | None]
    failed: str
    failed_s: float
    record: NDArray[np.float64] | None
    notes: tuple[str, ...]
    fault: Fault | None = None
    carried_cost: dict[str, float] | None = None  # each figure less the same without quiet cap and run-on


def settings_from(given: Sequence[str]) -> dict[str, float]:
    """NAME=VALUE words as a dictionary. Raises BadInput for words of another form."""
    out, faults = {}, []
    for word in given:
        name, equals, value = word.partition("=")
        try:
            number = float(value)
        except ValueError:
            number = float("nan")
        if not equals or not name or not np.isfinite(number):
            faults.append(f"--setting {word}: not of the form NAME=NUMBER")
        out[name] = number
    if faults:
        raise BadInput(faults, "Write for example --setting start_c=38.")
    return out


def drive_once(
    drive: str | Path | Drive,
    climate: str | Path | Climate = "mild",
    car: str | Path | Car = "invented-2200",
    strategy: str | Contestant = "always-on",
    settings: dict[str, float] | None = None,
    seed: int = 1,
    goals: Goals | None = None,
    record: bool = False,
    fault: str | Path | Fault | None = None,
) -> SingleRun:
    """Play one drive under one contestant, with a fault if wanted. Raises BadInput for whatever cannot be used.

    What a quiet cap or a run-on costs is in `carried_cost`: the contestant is played once more without them.
    """
    goals = goals or Goals()
    check_seed(seed)
    loaded_drive = drive if isinstance(drive, Drive) else load_drive(drive)
    loaded_climate = climate if isinstance(climate, Climate) else load_climate(climate)
    loaded_car = car if isinstance(car, Car) else load_car(car)
    numbers = loaded_car.numbers()
    contestant = strategy if isinstance(strategy, Contestant) else contestant_of(strategy, settings, car=numbers)
    broken = load_fault(fault) if isinstance(fault, str | Path) else fault
    off_s = max(TAIL_OFF_S, contestant.run_on_s)
    played, compiled = compile_one(loaded_drive, loaded_climate, numbers, seed, goals, broken, off_s)
    carried = bool(carries(contestant))
    lanes = lay_out([contestant, without_carried(contestant)] if carried else [contestant])
    found = play(compiled, lanes, trace_lanes=1 if record else 0, trace_columns=at.TRACE_COLUMNS)
    wear = WearLaw()
    figures = figures_of(found, compiled, numbers, goals, wear.exponent, wear.start_h)
    values = {n: float(v[0]) if np.isfinite(v[0]) else None for n, v in figures.values.items()}
    cost = {n: float(v[0] - v[1]) for n, v in figures.values.items() if np.isfinite(v).all()} if carried else None
    notes = [
        *played.notes,
        *lanes.notes,
        *notes_on(contestant, numbers),
        *why_failed(compiled, contestant, figures.failed[0]),
    ]
    ice = freezing_notes(numbers, [loaded_climate])
    notes += ice or stall_note(contestant, figures.failed[0], numbers)
    trace = found.trace[:, 0, :] if found.trace is not None else None
    return SingleRun(
        loaded_drive, loaded_climate, loaded_car, contestant, seed, goals, played, compiled, values,
        figures.failed[0], float(figures.failed_s[0]), trace, tuple(notes), broken, cost,
    )  # fmt: skip


def compile_one(
    drive: Drive,
    climate: Climate,
    numbers: CarNumbers,
    seed: int,
    goals: Goals,
    fault: Fault | None = None,
    off_s: float = TAIL_OFF_S,
) -> Ready:
    """A drive played and compiled, with its fault and its attainable envelope."""
    return ready_outing(drive, climate, numbers, goals, (seed, f"{drive.name}/{climate.name}", 0), fault, off_s)
