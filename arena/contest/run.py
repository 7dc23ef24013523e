"""Runs: contestants put into lanes, lanes played over compiled outings by the kernel."""

from __future__ import annotations

from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass, field, replace
from typing import Any

import numpy as np
from numpy.typing import NDArray

from arena.contest.laws import MOST_LAWS, callable_of, interpreted_law, law_of, nobody, why_unusable
from arena.contest.spans import spans_of
from arena.plant import layout as at
from arena.plant.compile import CompiledOuting
from arena.strategies import shipped
from arena.strategies.base import Strategy
from arena.strategies.contract import flat_table

Floats = NDArray[np.float64]
Table = tuple[Sequence[float], Sequence[float], Any]  # row breakpoints, column breakpoints, duties (rows, columns)


@dataclass(frozen=True)
class Contestant:
    """A strategy with settings. `name` is what the standings call it."""

    name: str
    strategy: Strategy
    settings: Mapping[str, float] = field(default_factory=dict)
    tuned: bool = False
    quiet_cap_pct: float = 100.0
    run_on_s: float = 0.0
    reference: bool = False
    held: frozenset[str] = frozenset()  # settings that were asked for by value: tuning leaves them alone
    table: Table | None = field(default=None, compare=False)  # instead of the strategy's own, for a law that reads one

    @property
    def ranked(self) -> bool:
        """Whether it takes part in the ranking or is a reference beside it."""
        return self.strategy.ranked and not self.reference


@dataclass(frozen=True)
class Lanes:
    """Up to LANES contestants laid out for the kernel; the order of `contestants` is the order of lanes."""

    contestants: tuple[Contestant, ...]
    control: Floats  # rows READING .. MEMORY + 8, flat
    cells: Floats
    laws: tuple[Any, ...]
    lows: NDArray[np.int64]
    highs: NDArray[np.int64]
    interpreted: tuple[tuple[Any, int, int], ...]
    notes: tuple[str, ...]


@dataclass(frozen=True)
class Accumulated:
    """What the kernel left of one batch on one outing; lane arrays of shape (contestants,)."""

    rows: Floats  # (figure rows, contestants), as accumulated
    boost_k: NDArray[np.float32]  # (boost rows, contestants)
    trace: Floats | None  # (ticks, traced lanes, columns)
    state: Floats  # (ROWS, LANES): the whole buffer at the end

    def row(self, number: int) -> Floats:
        """One accumulated figure by its layout row."""
        return np.asarray(self.rows[number - at.FIGURES_FROM])


def aligned(size: int, dtype: Any = np.float64) -> NDArray[Any]:
    """Zeroed flat array whose first element lies on a 64-byte boundary."""
    item = np.dtype(dtype).itemsize
    raw = np.zeros(size + 64 // item, dtype)
    start = (-raw.ctypes.data % 64) // item
    return raw[start : start + size]


def lay_out(contestants: Sequence[Contestant], interpret: bool = False) -> Lanes:
    """Put contestants into lanes, those of one law side by side. At most LANES of them, at most 16 laws.

    A batch costs by the 8 or 16 lanes begun. A lane's results do not depend on its place or company.
    """
    if not 0 < len(contestants) <= at.LANES:
        raise ValueError(f"{len(contestants)} contestants for {at.LANES} lanes")
    control = np.zeros((at.OMEGA, at.LANES))
    control[at.QUIET_CAP] = 1.0
    control[at.IS_PWM] = 1.0
    tables = [table_cells(c) for c in contestants]
    cells = np.zeros((max(len(t) for t in tables), at.LANES))
    lows, highs, laws, interpreted, notes = [], [], [], [], []
    first = 0
    for k, c in enumerate(contestants):
        fill_lane(control[:, k], c)
        cells[: len(tables[k]), k] = tables[k]
        last = k + 1 == len(contestants)
        if last or contestants[k + 1].strategy is not c.strategy:
            law = law_of(c.strategy) if not interpret else interpreted_law(c.strategy)
            if law.note:
                notes.append(law.note)
            if law.compiled:
                laws.append(law.batch)
                lows.append(first)
                highs.append(k + 1)
            else:
                interpreted.append((law.batch, first, k + 1))
            first = k + 1
    if len(laws) > MOST_LAWS:
        raise ValueError(f"{len(laws)} laws in one batch, at most {MOST_LAWS}")
    laws += [nobody()] * (MOST_LAWS - len(laws))
    return Lanes(
        tuple(contestants), control.ravel(), cells.ravel(), tuple(laws),
        np.array(lows, np.int64), np.array(highs, np.int64), tuple(interpreted), tuple(notes),
    )  # fmt: skip


def table_read(contestant: Contestant) -> Table | None:
    """Row breakpoints, column breakpoints and duties (0..1) of the table a contestant's law reads, if it reads one."""
    strategy = contestant.strategy
    if strategy.table is None:
        return None
    return contestant.table or strategy.table(strategy.make_settings(dict(contestant.settings)))


def table_cells(contestant: Contestant) -> Floats:
    """A contestant's table as `bilinear` reads it; one zero without a table."""
    made = table_read(contestant)
    if made is None:
        return np.zeros(1)
    return flat_table(*made)


def fill_lane(lane: Floats, contestant: Contestant) -> None:
    """Control rows of one lane: actuator, fail-safe, settings, memory."""
    strategy = contestant.strategy
    settings = strategy.make_settings(dict(contestant.settings))
    lane[at.IS_PWM] = 1.0 if strategy.actuator == "pwm" else 0.0
    ohms = [float(getattr(settings, name)) for name in strategy.ohms]
    lane[at.OHM_A] = ohms[0] if ohms else 0.0
    lane[at.OHM_B] = ohms[-1] if ohms else 0.0
    lane[at.FAILSAFE] = strategy.failsafe_duty
    lane[at.QUIET_CAP] = strategy.quiet_duty(0.01 * contestant.quiet_cap_pct)
    lane[at.RUN_ON_S] = contestant.run_on_s
    lane[at.SETTINGS : at.SETTINGS + len(settings)] = settings
    lane[at.MEMORY : at.MEMORY + len(strategy.memory)] = tuple(strategy.memory)


def start_state(outing: CompiledOuting, lanes: Lanes) -> Floats:
    """The flat buffer at tick 0: everything at the outing's start temperature, the pump at rest."""
    state = aligned(at.ROWS * at.LANES)
    table = state.reshape(at.ROWS, at.LANES)
    table[: at.OMEGA] = lanes.control.reshape(at.OMEGA, at.LANES)
    table[at.READING] = table[at.COOLANT_READING] = outing.start_k
    for row in (at.PROBE, at.LINK, at.LINK_OLD, at.SIDE):
        table[row] = outing.start_k
    table[at.CORE_AT :] = outing.start_k
    table[at.CORE_SUM] = at.CORE_CELLS * outing.start_k
    table[at.FRONT_SUM] = at.FRONT_CELLS * outing.start_k
    table[at.TORQUE_C] = outing.flow_table[1]
    table[at.REACHED] = table[at.FAILED] = -1.0
    return state


def play(outing: CompiledOuting, lanes: Lanes, trace_lanes: int = 0, trace_columns: int = 1) -> Accumulated:
    """Run all lanes over one outing. Releases the interpreter lock, so that batches can run in threads."""
    from arena.plant import kernel

    state = start_state(outing, lanes)
    assert state.ctypes.data % 64 == 0
    on_boost = aligned(max(outing.boost_rows, 1) * at.LANES, np.float32)
    trace = np.zeros(max(outing.ticks * trace_lanes * trace_columns, 1))
    x = outing.X.reshape(-1)
    rest = (
        lanes.cells, on_boost, trace, trace_lanes, trace_columns, lanes.laws, lanes.lows, lanes.highs,
        len(lanes.contestants),
    )  # fmt: skip
    for first, last, tables in spans_of(outing):
        arguments = (state, x, *tables, *rest)
        if lanes.interpreted:
            _play_interpreted(lanes, arguments, first, last)
        else:
            kernel.run(*arguments, first, last)
    count = len(lanes.contestants)
    table = state.reshape(at.ROWS, at.LANES)
    return Accumulated(
        table[at.FIGURES_FROM : at.FIGURES_TO, :count].copy(),
        on_boost.reshape(-1, at.LANES)[: outing.boost_rows, :count].copy(),
        trace.reshape(outing.ticks, trace_lanes, trace_columns) if trace_lanes else None,
        table,
    )


def _play_interpreted(lanes: Lanes, arguments: tuple[Any, ...], first: int, last: int) -> None:
    """Tick by tick, the laws called from Python; what `kernel.run` does otherwise."""
    from arena.plant import kernel

    state, x, p, duty_table, flow_table, exchanger_table, cells, on_boost, trace, trace_lanes, columns = arguments[:11]
    laws = [*lanes.interpreted, *((callable_of(b), int(low), int(high)) for b, low, high in _compiled_laws(lanes))]
    period = int(p[at.P_PERIOD])
    for tick in range(first, last):
        o = tick * at.X_COLUMNS
        if tick % period == 0:
            for batch, low, high in laws:
                batch(state, x, o, cells, low, high)
        kernel.step(state, x, p, duty_table, flow_table, exchanger_table, tick, on_boost, len(lanes.contestants))
        if trace_lanes:
            kernel.record(state, x, o, p, tick, trace, trace_lanes, columns)


def _compiled_laws(lanes: Lanes) -> Iterator[tuple[Any, int, int]]:
    return zip(lanes.laws, lanes.lows, lanes.highs, strict=False)


def why_failed(outing: CompiledOuting, contestant: Contestant, reason: str) -> list[str]:
    """Line and cause of a law that raised or answered nonsense, found by playing once more, interpreted.

    A user's law is looked at even if it did not fail: compiled, a division by zero goes on with infinity.
    """
    if reason != at.REASONS[3] and contestant.strategy in shipped().values():
        return []
    lanes = lay_out([contestant], interpret=True)
    batch = lanes.interpreted[0][0]
    told: list[str] = []

    def watched(S: Any, X: Any, o: int, cells: Any, low: int, high: int) -> None:
        why = "" if told else why_unusable(contestant.strategy, S, X, o, cells, low)
        if why:
            told.append(f"{o // at.X_COLUMNS * at.TICK_S:.1f} s: {why}")
        batch(S, X, o, cells, low, high)

    play(outing, replace(lanes, interpreted=((watched, 0, 1),)))
    return told
