"""Speed as ratios within one run: the kernel beside the same arithmetic in C, laws beside the plant, work beside work.

Not collected by default (no test of the default run depends on how busy the machine is): `pytest tests/bench`.
"""

from __future__ import annotations

import re
import sys
import tempfile
from collections.abc import Callable
from dataclasses import replace
from pathlib import Path
from typing import Any

import numpy as np
import pytest
from numba import float32, float64, int64, njit

sys.path.insert(0, str(Path(__file__).parent))

import laws
import twin

from arena.contest.run import Contestant, Lanes, lay_out, play, start_state
from arena.contest.tournament import entrants, make_plan
from arena.contest.tune import Search
from arena.contest.worlds import play_entry
from arena.plant import kernel
from arena.plant import layout as at
from arena.plant.compile import CompiledOuting
from arena.strategies import shipped

pytestmark = pytest.mark.slow
MOST_OF_C = 1.2
MOST_OF_STEP = 1.0 / 3.0
SECONDS = 900.0


@pytest.fixture(scope="module")
def batch() -> tuple[CompiledOuting, Lanes]:
    return twin.outing_and_lanes(SECONDS)


@pytest.fixture(scope="module")
def library():  # type: ignore[no-untyped-def]
    if twin.compiler() is None:
        pytest.skip("no C compiler here")
    with tempfile.TemporaryDirectory() as folder:
        yield twin.build_best(Path(folder))


def test_kernel_and_twin_agree(batch: tuple[CompiledOuting, Lanes], library: list[Any]) -> None:
    outing, lanes = batch
    mine = play(outing, lanes)
    for other in library:
        worst_k, worst_figure = twin.worst_differences(mine, twin.run_twin(other, outing, lanes))
        assert worst_k <= twin.AGREE_K and worst_figure <= 1e-9
    heavier = replace(outing, P=outing.P.copy())
    heavier.P[at.P_CORE_M] *= 1.01
    noticed, _ = twin.worst_differences(mine, twin.run_twin(library[0], heavier, lanes))
    assert noticed > 1e5 * twin.AGREE_K, "1 % more metal is noticed"


def test_kernel_costs_at_most_a_fifth_more_than_c(
    batch: tuple[CompiledOuting, Lanes], library: list[Any], benchmark: Callable[..., object]
) -> None:
    outing, lanes = batch
    runs: list[Callable[[], object]] = [lambda: play(outing, lanes)]
    runs += [lambda other=other: twin.run_twin(other, outing, lanes) for other in library]  # type: ignore[misc]
    mine, *others = twin.in_turns(runs, turns=9)
    benchmark(runs[0])
    assert mine <= MOST_OF_C * min(others), f"{mine / min(others):.2f} times C"


def test_a_tick_is_packed() -> None:
    """The loop over lanes holds vector arithmetic; single numbers are only what all lanes share, worked out once."""
    code = assembly_of(kernel.step, (FLAT,) * 6 + (int64, float32[::1], int64))
    packed, single = (len(re.findall(rf"\b{name}\w*\b", code)) for name in PACKED_AND_SINGLE)
    assert packed >= 300 and single == 0, "multiply-adds"
    for name in ("div", "sqrt", "mul"):
        packed, single = (len(re.findall(rf"\bv?{name}{kind}\b", code)) for kind in ("pd", "sd"))
        assert packed >= 5 and single <= SHARED * packed, name


PACKED_AND_SINGLE = (r"(?:vfn?m(?:add|sub)\d+pd|fmla)", r"(?:vfn?m(?:add|sub)\d+sd|fmadd)")
SHARED = 0.2
FLAT = float64[::1]


def assembly_of(part: Any, kinds: tuple[Any, ...]) -> str:
    """Assembly of a function of the kernel for arguments of those types; compiled here, since code read back from the
    cache has none.
    """
    made = njit(nogil=True, error_model="numpy")(part.py_func)
    made.compile(kinds)
    return str(made.inspect_asm(made.signatures[0]))


@pytest.mark.parametrize("count", [1, 8, 9, 64])
def test_buffer_lies_on_a_cache_line(batch: tuple[CompiledOuting, Lanes], count: int) -> None:
    lanes = lay_out([Contestant(f"p{k}", shipped()["proportional"]) for k in range(count)])
    assert all(start_state(batch[0], lanes).ctypes.data % 64 == 0 for _ in range(5))
    assert at.LANES * 8 % 64 == 0, "so does every row"


def test_a_law_costs_at_most_a_third_of_the_step(batch: tuple[CompiledOuting, Lanes]) -> None:
    """Beside always-on, whose law returns a constant: every shipped law, a user's with four senses, a large table."""
    found = laws.shares(batch[0], turns=7)
    assert found.pop("") > 0.0 and len(found) > len(shipped())
    assert all(share <= MOST_OF_STEP for share in found.values()), found


def test_a_wide_batch_costs_what_it_is_filled_with(batch: tuple[CompiledOuting, Lanes]) -> None:
    outing, full = batch
    part = lay_out([replace(c, name=f"q{k}") for k, c in enumerate(full.contestants[:16])])
    whole_s, part_s = twin.in_turns([lambda: play(outing, full), lambda: play(outing, part)])
    assert part_s < 0.5 * whole_s
    np.testing.assert_array_equal(play(outing, full).rows[:, :16], play(outing, part).rows)


def test_asking_for_candidates_costs_less_than_trying_them() -> None:
    """One generation of one strategy: Optuna's ask and tell beside 16 lanes over the shipped season."""
    contestant = next(c for c in entrants() if c.name == "proportional")
    plan = make_plan()
    outings = [play_entry(plan, e, 0, plan.car.numbers()).compiled for e in range(len(plan.season.entries))]
    search = Search(contestant, 1)
    search.ask(0)
    search.tell([float(k) for k in range(16)])

    def optimiser() -> None:
        asked = search.ask(len(search.values) // 16)
        search.tell([float(k) for k in range(len(asked))])

    lanes = lay_out([replace(c, name=str(k)) for k, c in enumerate(search.ask(1))])
    search.tell([float(k) for k in range(16)])
    asking, trying = twin.in_turns([optimiser, lambda: [play(o, lanes) for o in outings]], turns=4)
    assert asking <= trying, f"{1e3 * asking:.0f} ms to ask, {1e3 * trying:.0f} ms to try"
