"""Tuning that lasts and is shared: an Optuna study in a journal file or a database that several processes join.

Every process searches for itself and publishes each finished generation; before the next it takes over the best that
anyone has found. A killed process loses the generation it was on, no more. Shared studies are not same-bytes.
"""

from __future__ import annotations

import json
import secrets
import time
from collections.abc import Sequence
from concurrent.futures import ThreadPoolExecutor
from pathlib import Path
from typing import Any

import numpy as np

from arena.contest.axes import Axes
from arena.contest.entering import carries
from arena.contest.locks import LOCKS, JournalLock
from arena.contest.pool import Progress, Tell
from arena.contest.run import Contestant
from arena.contest.store import strategy_digests
from arena.contest.table_search import FINALISTS, TABLE_GENERATION, CellSearch, ShapeSearch
from arena.contest.table_tuning import TABLE_TRIALS, TunedTable, finish, split
from arena.contest.tune import GENERATION, Search, Training, Tuned, costs_of
from arena.contest.worlds import Plan, plan_digest
from arena.errors import BadInput
from arena.scenario.loading import digest_of

BUSY = "at work: "
PATIENCE = 3.0  # generations' time that is waited for others at the end of a stage


class SharedStudy:
    """One study of a storage. `name` is made of what is tuned and on what, so that only like joins like."""

    def __init__(self, storage: Any, name: str, must_exist: bool = False) -> None:
        import optuna

        if must_exist and name not in [s.study_name for s in optuna.get_all_study_summaries(storage)]:
            raise BadInput(
                f"--resume: the storage holds no study {name}",
                "Give the options it was begun with, or leave --resume out to begin.",
            )
        self.study = optuna.create_study(storage=storage, study_name=name, direction="minimize", load_if_exists=True)

    @property
    def finished(self) -> int:
        """Candidates scored by anyone so far."""
        return len(self._trials())

    def best(self, count: int = 1) -> list[tuple[float, dict[str, Any]]]:
        """The best so far, best first: value and what was noted of it."""
        noted = [t for t in self._trials() if "point" in t.user_attrs]
        best = sorted(noted, key=lambda t: (t.value, t.number))[:count]
        return [(float(t.value), json.loads(t.user_attrs["point"])) for t in best]

    def publish(self, values: Sequence[float], points: Sequence[Any]) -> None:
        """Add one generation's scored candidates; the best few carry what they are."""
        import optuna

        order = np.argsort(values, kind="stable")
        kept = {int(k) for k in order[:FINALISTS]}
        self.study.add_trials(
            [
                optuna.trial.create_trial(
                    value=float(value),
                    params={},
                    distributions={},
                    user_attrs={"point": json.dumps(point)} if k in kept else {},
                )
                for k, (value, point) in enumerate(zip(values, points, strict=True))
            ]
        )

    def at_work(self, who: int, busy: bool) -> None:
        """Note whether a process is on a generation of this study."""
        self.study.set_user_attr(f"{BUSY}{who}", busy)

    def others_at_work(self, who: int) -> bool:
        """Whether any other process says it is (one that was killed goes on saying so)."""
        marks = self.study.user_attrs
        return any(busy for key, busy in marks.items() if key.startswith(BUSY) and key != f"{BUSY}{who}")

    def _trials(self) -> list[Any]:
        import optuna

        return list(self.study.get_trials(deepcopy=False, states=(optuna.trial.TrialState.COMPLETE,)))


def open_storage(given: str) -> Any:
    """An Optuna storage: a database by its URL, anything else a journal file. Raises BadInput if it will not open.

    A kill leaves no lock behind that the next process would wait for, and the torn line it may leave is cut off.
    """
    import optuna
    from optuna.storages.journal import JournalFileBackend, JournalFileOpenLock

    optuna.logging.set_verbosity(optuna.logging.ERROR)
    try:
        if "://" in given:
            return optuna.storages.RDBStorage(given)
        path = Path(given)
        path.parent.mkdir(parents=True, exist_ok=True)
        check_journal(path)
        lock: Any = JournalLock(path) if LOCKS else JournalFileOpenLock(given)  # Optuna's own is stale after a kill
        backend = JournalFileBackend(given, lock_obj=lock)
        lock.acquire()  # once at the start, so that the end is mended before it is read
        lock.release()
        return optuna.storages.JournalStorage(backend)
    except BadInput:
        raise
    except Exception as error:  # whatever a database driver raises
        raise BadInput(
            f"--storage {given}: cannot be opened: {type(error).__name__}: {str(error).splitlines()[0]}",
            "Give a journal file such as study.log, or a database URL such as sqlite:///study.db.",
        ) from error


def check_journal(path: Path) -> None:
    """Raises BadInput for a file that is no journal, before anything in it is touched."""
    if path.is_file():
        with path.open("rb") as handle:
            head = handle.read(64).lstrip()
        if head and not head.startswith(b"{"):
            raise BadInput(f"--storage {path}: is not a journal of a study", "Name another file.")


def study_name(plan: Plan, contestant: Contestant, axes: Axes | None, stage: str) -> str:
    """A name that changes with everything the scores depend on."""
    frame = (
        ""
        if axes is None
        else repr((axes.down, axes.across, axes.duty_step, axes.floor(), axes.hysteresis, axes.reading))
    )
    strategy = strategy_digests([contestant])[contestant.name]
    digest = digest_of(plan_digest(plan), contestant.strategy.name, strategy, repr(carries(contestant)), frame)[:16]
    return f"{contestant.strategy.name} {digest} {stage}"


def tune_table_shared(
    storage: Any,
    resume: bool,
    training: Training,
    contestant: Contestant,
    axes: Axes,
    pool: ThreadPoolExecutor,
    trials: int = TABLE_TRIALS,
    tell: Tell | None = None,
) -> TunedTable:
    """Tune one table together with whoever else has joined; the budget is that of all together."""
    first, second = split(trials)
    plan, own = training.plan, secrets.randbits(31)
    shape = ShapeSearch("tuned-table", axes, own)
    shared = SharedStudy(storage, study_name(plan, contestant, axes, "shape"), resume)
    _together(shared, shape, training, first * TABLE_GENERATION, pool, tell, "shape of the table")
    for value, point in shared.best(FINALISTS):
        shape.meet(point, value)
    cells = CellSearch(shape, training, pool)
    cells.seed = own
    if second:
        shared = SharedStudy(storage, study_name(plan, contestant, axes, "cells"))
        _together(shared, cells, training, second * TABLE_GENERATION, pool, tell, "cells of the table")
    return finish(training, cells, shape, pool)


def tune_shared(
    storage: Any,
    resume: bool,
    training: Training,
    contestant: Contestant,
    pool: ThreadPoolExecutor,
    trials: int,
    tell: Tell | None = None,
) -> Tuned:
    """Tune one strategy's settings together with whoever else has joined."""
    search = Search(contestant, secrets.randbits(31), GENERATION)
    shared = SharedStudy(storage, study_name(training.plan, contestant, None, "settings"), resume)
    _together(shared, search, training, trials, pool, tell, "tuning")
    return search.result()


def _together(
    shared: SharedStudy,
    search: Search | CellSearch,
    training: Training,
    budget: int,
    pool: ThreadPoolExecutor,
    tell: Tell | None,
    stage: str,
) -> None:
    """Search until all together have scored the budget; the best of all is met before each generation and last."""
    generation, took = 0, 1.0
    who = secrets.randbits(31)
    while True:
        _meet_best(shared, search)
        done = shared.finished
        if tell and generation:
            tell(Progress(stage, min(done, budget), budget, ((search.name, search.best_score),)))
        if done >= budget:
            break
        began = time.monotonic()
        shared.at_work(who, True)
        asked = search.ask(generation)
        search.tell(costs_of(training, asked, pool))
        shared.publish(search.last_values(), search.last_points())
        shared.at_work(who, False)
        took = time.monotonic() - began
        generation += 1
    until = time.monotonic() + PATIENCE * took + 1.0
    while shared.others_at_work(who) and time.monotonic() < until:
        time.sleep(0.2)
    _meet_best(shared, search)


def _meet_best(shared: SharedStudy, search: Search | CellSearch) -> None:
    for value, point in shared.best():
        search.meet(point, value)
