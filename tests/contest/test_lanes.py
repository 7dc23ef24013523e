"""Contestants put into lanes and batches; the identity of a plan; what of an outing is kept once it has run."""

from __future__ import annotations

from collections import namedtuple
from dataclasses import replace
from types import SimpleNamespace
from typing import Any

import numpy as np
import pytest

from arena.contest import run
from arena.contest.laws import _met
from arena.contest.run import Accumulated, Contestant, aligned, fill_lane, lay_out, table_cells
from arena.contest.seasonal import part_of, short, unlike
from arena.contest.single import settings_from
from arena.contest.tournament import make_plan
from arena.contest.worlds import batches, plan_digest, play_entry, without_arrays
from arena.errors import BadInput
from arena.plant import layout as at
from arena.scenario.fault import load_fault
from arena.strategies import shipped

FIELD = {"always-on": 1, "proportional": 3, "two-speed": 2}


def lane_of(contestant: Contestant) -> np.ndarray:
    lane = np.zeros(at.OMEGA)
    fill_lane(lane, contestant)
    return lane


def test_a_lane_holds_what_the_contestant_is_and_carries() -> None:
    three = shipped()["three-speed"]
    settings = dict(zip(three.ohms, (2.5, 0.75), strict=True))
    lane = lane_of(Contestant("three", three, settings, quiet_cap_pct=60.0, run_on_s=12.0))
    assert (lane[at.IS_PWM], lane[at.OHM_A], lane[at.OHM_B]) == (0.0, 2.5, 0.75)
    assert (lane[at.QUIET_CAP], lane[at.RUN_ON_S], lane[at.FAILSAFE]) == (0.5, 12.0, 1.0)
    made = three.make_settings(settings)
    np.testing.assert_array_equal(lane[at.SETTINGS : at.SETTINGS + len(made)], made)
    np.testing.assert_array_equal(lane[at.MEMORY : at.MEMORY + len(three.memory)], three.memory)
    two = shipped()["two-speed"]
    lane = lane_of(Contestant("two", two, {two.ohms[0]: 1.5}))
    assert lane[at.OHM_A] == lane[at.OHM_B] == 1.5, "one resistor serves both steps"
    plain = Contestant("p", shipped()["proportional"])
    assert (plain.tuned, plain.reference, plain.ranked, plain.held, plain.table) == (
        False,
        False,
        True,
        frozenset(),
        None,
    )
    pwm = lane_of(replace(plain, quiet_cap_pct=35.0))
    assert (pwm[at.IS_PWM], pwm[at.OHM_A], pwm[at.OHM_B]) == (1.0, 0.0, 0.0)
    assert pwm[at.QUIET_CAP] == pytest.approx(0.35) and pwm[at.RUN_ON_S] == 0.0


def test_laws_lie_side_by_side_and_those_that_do_not_compile_beside_them() -> None:
    field = [Contestant(f"{n}-{k}", shipped()[n]) for n, count in FIELD.items() for k in range(count)]
    lanes = lay_out(field)
    assert lanes.lows.tolist() == [0, 1, 4] and lanes.highs.tolist() == [1, 4, 6] and lanes.interpreted == ()
    assert len(lanes.laws) == run.MOST_LAWS
    plain = lay_out(field, interpret=True)
    assert [(low, high) for _, low, high in plain.interpreted] == [(0, 1), (1, 4), (4, 6)]
    assert plain.lows.size == 0
    control = lanes.control.reshape(at.OMEGA, at.LANES)
    for k, c in enumerate(field):
        np.testing.assert_array_equal(control[:, k], lane_of(c))
    assert (control[at.QUIET_CAP, len(field) :] == 1.0).all() and (control[at.IS_PWM, len(field) :] == 1.0).all()


def test_a_table_instead_of_the_strategys_own_is_what_the_lane_reads() -> None:
    gated = shipped()["gated-table"]
    mine = Contestant("mine", gated, table=((20.0, 40.0), (0.0, 100.0), ((0.0, 0.25), (0.5, 1.0))))
    cells = table_cells(mine)
    assert {0.25, 0.5, 1.0} <= set(cells.tolist()) and not np.array_equal(cells, table_cells(Contestant("g", gated)))
    assert table_cells(Contestant("on", shipped()["always-on"])).tolist() == [0.0]
    lanes = lay_out([mine, Contestant("g", gated)])
    both = lanes.cells.reshape(-1, at.LANES)
    np.testing.assert_array_equal(both[: len(cells), 0], cells)
    assert (both[len(cells) :, 0] == 0.0).all() and (both[:, 2:] == 0.0).all()
    np.testing.assert_array_equal(both[:, 1], table_cells(Contestant("g", gated)))


@pytest.mark.parametrize("size", [1, 7, 8, 1000])
@pytest.mark.parametrize("dtype", [np.float64, np.float32])
def test_arrays_lie_on_a_line_of_the_cache(size: int, dtype: Any) -> None:
    for _ in range(20):
        made = aligned(size, dtype)
        assert made.ctypes.data % 64 == 0 and made.shape == (size,) and not made.any() and made.dtype == dtype


def test_more_contestants_than_lanes_make_a_second_batch() -> None:
    field = [Contestant(f"p{k}", shipped()["proportional"]) for k in range(at.LANES)]
    assert [len(b.contestants) for b in batches(field)] == [at.LANES]
    more = [Contestant("on", shipped()["always-on"]), *field, Contestant("late", shipped()["proportional"])]
    found = batches(more)
    assert [len(b.contestants) for b in found] == [at.LANES, 2]
    assert [c.name for b in found for c in b.contestants] == ["on", *(f"p{k}" for k in range(at.LANES)), "late"]


def test_a_batch_holds_no_more_laws_than_the_kernel_takes() -> None:
    laws = [replace(shipped()["always-on"], name=f"law-{k:02d}") for k in range(run.MOST_LAWS + 1)]
    found = batches([Contestant(s.name, s) for s in laws])
    assert [len(b.contestants) for b in found] == [run.MOST_LAWS, 1]
    with pytest.raises(ValueError, match="17 laws in one batch, at most 16"):
        lay_out([Contestant(s.name, s) for s in laws])


def test_a_row_is_counted_from_the_first_figure() -> None:
    rows = np.arange(3.0 * (at.FIGURES_TO - at.FIGURES_FROM)).reshape(-1, 3)
    found = Accumulated(rows, np.zeros((0, 3), np.float32), None, np.zeros((at.ROWS, at.LANES)))
    np.testing.assert_array_equal(found.row(at.FIGURES_FROM), [0.0, 1.0, 2.0])
    np.testing.assert_array_equal(found.row(at.HEAT_OUT), rows[-1])


@pytest.fixture(scope="module")
def plan() -> Any:
    return make_plan()


def test_a_plan_is_known_by_everything_a_world_depends_on(plan: Any) -> None:
    whole = plan_digest(plan)
    assert plan_digest(replace(plan)) == whole
    fault = load_fault("probe-open")
    others = [
        replace(plan, seed=2), replace(plan, spread=0.05), replace(plan, drives=plan.drives[1:]),
        replace(plan, climates=plan.climates[::-1]), replace(plan, season=replace(plan.season, digest="other")),
        replace(plan, car=replace(plan.car, digest="other")),
        replace(plan, faults=(fault, *[None] * (len(plan.drives) - 1))),
        replace(plan, faults=(load_fault("probe-short"), *[None] * (len(plan.drives) - 1))),
    ]  # fmt: skip
    assert len({whole, *(plan_digest(p) for p in others)}) == len(others) + 1


def test_a_part_of_a_plan_keeps_what_belongs_to_its_outings(plan: Any) -> None:
    fault = load_fault("probe-open")
    count = len(plan.drives)
    broken = replace(plan, faults=tuple(fault if e == 2 else None for e in range(count)))
    part = part_of(broken, [0, 2])
    assert part.season.entries == (plan.season.entries[0], plan.season.entries[2])
    assert part.drives == (plan.drives[0], plan.drives[2]) and part.climates == (plan.climates[0], plan.climates[2])
    assert [part.outing_id(e) for e in (0, 1)] == [broken.outing_id(e) for e in (0, 2)]
    assert part.outing_id(1).endswith("/probe-open")
    assert part_of(plan, [1]).faults == ()


def test_what_is_kept_of_an_outing_is_everything_but_its_arrays(plan: Any) -> None:
    outing = play_entry(plan, 0, 0, plan.car.numbers())
    kept = without_arrays(outing)
    assert outing.limit_s == pytest.approx(at.TICK_S * outing.compiled.X[:, at.X_LIMIT].sum())
    assert kept.limit_s == outing.limit_s > 0.0
    assert (kept.id, kept.entry, kept.weight, kept.drive_seconds) == (
        outing.id, outing.entry, outing.weight, outing.drive_seconds,
    )  # fmt: skip
    assert kept.compiled.X.size == kept.compiled.boost_weight.size == 0
    assert outing.compiled.X.size > 0


def test_settings_are_name_equals_number() -> None:
    assert settings_from(["start_c=38", "band_k=-1.5e0"]) == {"start_c": 38.0, "band_k": -1.5}
    for word in ("start_c", "start_c=", "=38", "start_c=warm", "start_c=nan", "start_c=inf"):
        with pytest.raises(BadInput, match=f"--setting {word}: not of the form"):
            settings_from(["band_k=1", word])


def test_a_climate_in_a_file_name() -> None:
    assert short("hot") == "hot" and short("My Town / 2026~2") == "my-town-2026-2" and short("x" * 99) == "x" * 30
    taken = ["table-hot", "table-hot-2", "table-winter"]
    assert [unlike(n, taken) for n in ("table-mild", "table-hot", "table-winter")] == [
        "table-mild", "table-hot-3", "table-winter-2",
    ]  # fmt: skip


def test_the_numbers_in_front_of_a_law_are_its_senses_settings_and_memory() -> None:
    memory_type = namedtuple("memory_type", "running")
    strategy: Any = SimpleNamespace(
        senses=("iat_c", "speed_kmh", "coolant_c"), settings=(1, 2), settings_type=lambda *v: v, memory=memory_type(9.0)
    )
    S, X = np.zeros(at.ROWS * at.LANES), np.zeros(3 * at.X_COLUMNS)
    for row, value in ((at.READING, 310.15), (at.COOLANT_READING, 290.15), (at.SETTINGS, 5.0), (at.SETTINGS + 1, 6.0),
                       (at.MEMORY, 7.0)):  # fmt: skip
        S[row * at.LANES + 4] = value
    X[at.X_COLUMNS + at.X_SPEED] = 88.0
    values, settings, memory = _met(strategy, S, X, at.X_COLUMNS, 4)
    assert values == pytest.approx([37.0, 88.0, 17.0]) and settings == (5.0, 6.0) and memory == memory_type(7.0)


def test_climates_of_one_name_are_told_apart_and_others_are_not(plan: Any) -> None:
    names = [c.name for c in plan.climates]
    assert plan.climate_names() == names
    mine = replace(plan.climates[0], digest="another file of that name")
    changed = replace(plan, climates=(*plan.climates[:-1], mine))
    assert changed.climate_names() == [*names[:-1], f"{mine.name}~2"]


def test_outings_last_as_long_as_the_longest_run_on_and_are_else_the_same(plan: Any) -> None:
    on = shipped()["always-on"]
    field = [Contestant("on", on), Contestant("after", on, run_on_s=90.0)]
    assert plan.for_run_on(field[:1]).off_s == plan.off_s == 30.0
    longer = plan.for_run_on(field)
    assert longer.off_s == 90.0 and plan_digest(longer) != plan_digest(plan)
    numbers = plan.car.numbers()
    usual, more = (play_entry(p, 0, 0, numbers).compiled for p in (plan, longer))
    assert more.ticks == usual.ticks + 600 and more.score_from == usual.score_from
    np.testing.assert_array_equal(more.X[: usual.ticks], usual.X)
    ticks = [run.play(outing, lay_out(field)).row(at.PUMP_TICKS) for outing in (usual, more)]
    assert ticks[0][0] == ticks[1][0] == ticks[0][1] - 300.0  # cut off at the end of the outing
    assert ticks[1][1] - ticks[1][0] in {899.0, 900.0}
