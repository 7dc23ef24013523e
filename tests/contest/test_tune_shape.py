"""Any table that tuning can come to is one a careful person would type in: shown by property, without simulating."""

from __future__ import annotations

from collections.abc import Sequence
from types import SimpleNamespace
from typing import Any

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from hypothesis.extra.numpy import arrays

from arena.contest import table_search, table_tuning
from arena.contest.axes import Axes, Axis, axes_starter, default_axes, load_axes
from arena.contest.table_search import CellSearch, Move, ShapeSearch, plain_tables, shifted
from arena.contest.table_shape import (
    SHAPE,
    acceptable,
    falling_of,
    filled,
    is_acceptable,
    roughness,
    shaped,
    upright,
)
from arena.errors import BadInput
from arena.plant.numbers import CarNumbers

OTHERS = ("throttle_pct", "pedal_pct", "map_kpa", "speed_kmh", "coolant_c")
RANGES = {s.name: (s.low, s.high) for s in SHAPE}


@st.composite
def frames(draw: st.DrawFn) -> Axes:
    """Axes of any size and orientation, with any duty step and lowest running duty."""
    iat = sorted(draw(st.sets(st.integers(-20, 90), min_size=2, max_size=9)))
    other = sorted(draw(st.sets(st.integers(0, 100), min_size=2, max_size=9)))
    axes = Axis("iat_c", tuple(map(float, iat))), Axis(draw(st.sampled_from(OTHERS)), tuple(map(float, other)))
    down, across = axes if draw(st.booleans()) else axes[::-1]
    step = draw(st.sampled_from([0.01, 0.02, 0.05, 0.1, 0.25]))
    return Axes("any", down, across, step, draw(st.floats(0.05, 0.9)))


@st.composite
def tables(draw: st.DrawFn) -> tuple[Axes, np.ndarray, np.ndarray]:
    """Axes, any cells at all, and any set of visited cells."""
    axes = draw(frames())
    cells = draw(arrays(np.float64, axes.shape, elements=st.floats(-0.5, 1.5)))
    return axes, cells, draw(arrays(np.bool_, axes.shape))


def promises(axes: Axes, cells: np.ndarray) -> None:
    """Never falling, nothing between zero and the lowest running duty, whole steps."""
    assert (np.diff(cells, axis=0) >= 0.0).all() and (np.diff(cells, axis=1) >= 0.0).all()
    running = cells[cells > 0.0]
    assert (running >= axes.floor() - 1e-12).all() and (running <= 1.0).all()
    steps = running / axes.duty_step
    assert np.abs(steps - np.round(steps)).max(initial=0.0) < 1e-6


@given(tables())
@settings(max_examples=200, deadline=None)
def test_any_cells_become_a_table_that_keeps_the_promises(given_: tuple[Axes, np.ndarray, np.ndarray]) -> None:
    axes, cells, _ = given_
    made = acceptable(axes, cells)
    promises(axes, made)
    assert (acceptable(axes, made) == made).all()


@given(tables(), st.floats(20.0, 60.0))
@settings(max_examples=200, deadline=None)
def test_filling_keeps_the_promises_and_every_visited_cell(
    given_: tuple[Axes, np.ndarray, np.ndarray], limit_c: float
) -> None:
    axes, cells, visited = given_
    table = acceptable(axes, cells)
    made = filled(axes, table, visited, limit_c)
    promises(axes, made)
    assert (made[visited] == table[visited]).all()


@given(frames(), st.fixed_dictionaries({n: st.floats(*r) for n, r in RANGES.items()}))
@settings(max_examples=200, deadline=None)
def test_six_numbers_always_shape_an_acceptable_table(axes: Axes, point: dict[str, float]) -> None:
    cells = shaped(axes, point)
    heat = cells if axes.heat == 0 else cells.T
    assert (np.diff(heat, axis=0) >= 0.0).all()
    other = (axes.down, axes.across)[1 - axes.heat].sense.name
    assert is_acceptable(axes, cells) or (other == "speed" and is_acceptable(axes, cells, falling=True))


@given(tables(), st.sampled_from(["rows", "columns"]), st.sampled_from([-1.0, -0.5, 0.5, 1.0]), st.integers(0, 8))
@settings(max_examples=100, deadline=None)
def test_shifting_a_line_stays_within_the_table(
    given_: tuple[Axes, np.ndarray, np.ndarray], kind: str, amount: float, line: int
) -> None:
    axes, cells, _ = given_
    table = acceptable(axes, cells)
    k = line % axes.shape[0 if kind == "rows" else 1]
    made = shifted(table, Move(kind, k, k, amount))
    assert made.min() >= table.min() - 1e-12 and made.max() <= table.max() + 1e-12


def test_never_visited_and_hot_is_full_and_cold_follows_its_neighbours() -> None:
    axes = default_axes()
    axes = Axes(axes.name, axes.down, axes.across, 0.01, 0.35)
    visited = np.zeros(axes.shape, dtype=bool)
    visited[3, 2] = True  # 30 degC, 20 %
    cells = np.where(visited, 0.4, 0.9)
    made = filled(axes, cells, visited, 45.0)
    assert made[2, 2] == 0.0 and made[3, 5] == 0.4 and made[5, 2] == 0.4 and made[3, 1] == 0.0
    assert (made[6:] == 1.0).all()


def test_a_plane_is_smooth_and_a_lone_spike_is_not() -> None:
    plane = np.add.outer(np.linspace(0, 0.5, 5), np.linspace(0, 0.5, 4))
    spike = plane.copy()
    spike[2, 2] += 0.3
    assert roughness(plane) == pytest.approx(0.0, abs=1e-20)
    assert roughness(spike) > 0.01


def test_the_starting_file_is_the_defaults(tmp_path) -> None:  # type: ignore[no-untyped-def]
    path = tmp_path / "mine.toml"
    path.write_text(axes_starter(), encoding="utf-8")
    made, default = load_axes(path), default_axes()
    assert (made.down, made.across, made.duty_step) == (default.down, default.across, default.duty_step)


@pytest.mark.parametrize(
    ("change", "said"),
    [
        (("[10, 20,", "[20, 10,"), "must rise"),
        (('sense = "throttle"', 'sense = "iat"'), "must differ"),
        (('sense = "throttle"', 'sense = "throtle"'), 'did you mean "throttle"'),
        (('sense = "iat"', 'sense = "speed"'), "no temperature"),
        (("duty_step_pct = 1 ", "duty_step_pct = 7 "), "does not go into 100"),
        (("duty_step_pct = 1 ", "duty_stp_pct = 1 "), "duty_step_pct"),
        (("0, 10, 20, 35", "0, 10, 20, 350"), "must rise"),
        (("hysteresis_pct = 10", "lowest_pct = 8\nhysteresis_pct = 10"), "must be below"),
    ],
)
def test_bad_axes_are_named_with_their_key(tmp_path, change, said) -> None:  # type: ignore[no-untyped-def]
    path = tmp_path / "mine.toml"
    text = axes_starter()
    assert change[0] in text
    path.write_text(text.replace(*change, 1), encoding="utf-8")
    with pytest.raises(BadInput) as fault:
        load_axes(path)
    assert said in "\n".join(fault.value.faults) and fault.value.remedy


def test_us_breakpoints_mean_the_same_temperatures(tmp_path) -> None:  # type: ignore[no-untyped-def]
    path = tmp_path / "us.toml"
    text = axes_starter().replace('units = "metric"', 'units = "us"', 1)
    path.write_text(text.replace("[10, 20, 25, 30, 35, 40, 45, 50, 55, 60]", "[50, 68, 86, 113]"), encoding="utf-8")
    made = load_axes(path)
    assert made.down.heading == "iat_f"
    assert made.down.points == pytest.approx((10.0, 20.0, 30.0, 45.0))


def test_a_table_in_us_units_is_read_back_to_the_bit(tmp_path) -> None:  # type: ignore[no-untyped-def]
    from arena.contest.duty_table import read_table
    from arena.contest.tuning_files import cells_csv

    axes = Axes("us", Axis("iat_f", (50.0, 77.0, 113.0)), Axis("map_psi", (4.5, 14.7, 29.1)), 0.01, 0.35)
    cells = acceptable(axes, np.add.outer(np.linspace(0, 0.7, 3), np.linspace(0, 0.3, 3)))
    path = tmp_path / "us.csv"
    path.write_text(cells_csv(axes, cells), encoding="utf-8")
    read = read_table(path)
    assert (read.rows, read.columns) == (axes.down.points, axes.across.points)
    assert (np.array(read.cells) == cells).all()


@given(frames(), st.integers(0, 2**31 - 1), st.floats(0.0, 1.0), st.floats(20.0, 60.0))
@settings(max_examples=10, deadline=None)
def test_every_table_tuning_asks_for_or_ends_with_keeps_the_promises(
    axes: Axes, seed: int, seen: float, limit_c: float
) -> None:
    """Both stages, with scores drawn at random in the place of simulated ones: whatever wins is acceptable."""
    rng = np.random.default_rng(seed)
    visited = rng.random(axes.shape) < seen
    season = SimpleNamespace(limit_c=limit_c, entries=(None,))
    training: Any = SimpleNamespace(plan=SimpleNamespace(seed=seed, season=season), outings=())
    pool: Any = None

    def visits(_: object, contestants: Sequence[object], *__: object) -> np.ndarray:
        return np.repeat(60.0 * visited[None], len(contestants), axis=0)

    def keeps(cells: np.ndarray, falling: bool) -> None:
        promises(axes, upright(axes, cells, falling))

    with pytest.MonkeyPatch.context() as patch:
        for module in (table_search, table_tuning):
            patch.setattr(module, "visits_of", visits)
        patch.setattr(table_tuning, "costs_of", lambda _, given_, *__: list(rng.random(len(given_))))
        shape = ShapeSearch("any", axes, seed)
        for generation in range(2):
            asked = shape.ask(generation)
            for contestant in asked:
                assert contestant.table is not None
                cells = np.asarray(contestant.table[2])
                keeps(cells, falling_of(axes, cells))
            shape.tell(list(rng.random(len(asked))))
        search = CellSearch(shape, training, pool)
        for generation in range(2):
            asked = search.ask(generation)
            for contestant in asked:
                assert contestant.table is not None
                keeps(np.asarray(contestant.table[2]), search.falling)
            search.tell(list(rng.random(len(asked))))
        made = table_tuning.finish(training, search, shape, pool)
    keeps(made.cells, made.falling)


def test_plain_tables_step_once_or_twice_at_every_temperature() -> None:
    axes = default_axes().for_car(CarNumbers())
    heat = len((axes.down, axes.across)[axes.heat].given)
    rows = [t[:, 0] if axes.heat == 0 else t[0] for t in plain_tables(axes)]
    full = {tuple(row) for row in rows}
    for first in range(heat):
        assert tuple(np.where(np.arange(heat) < first, 0.0, 1.0)) in full
    held = [row for row in rows if row.max() > 0.0 and np.any((row > 0.0) & (row < 1.0)) and row[-1] == 1.0]
    steps = {(int(np.argmax(row > 0.0)), int(np.argmax(row == 1.0))) for row in held}
    assert steps == {(a, b) for a in range(heat) for b in range(a + 2, heat, 2)}
    assert any(not row.any() for row in rows)
