"""Worlds are made, run and dropped one by one: what stays behind does not grow with their number."""

from __future__ import annotations

import gc
import tracemalloc
from collections.abc import Callable, Iterator
from concurrent.futures import ThreadPoolExecutor
from pathlib import Path

import pytest

from arena.contest import outings, tournament
from arena.contest.tournament import entrants, make_plan, run_world
from arena.contest.worlds import Outing, Plan, play_entry

DRIVE = """
[drive]
name = "round-the-block"
summary = "as short as a drive can be, for tests"
source = "invented"
start = "cold"

[[phase]]
do = "cruise"
speed_kmh = 40
seconds = 20
"""
OUTINGS_A_WORLD = 2
MOST_WAITING = 3e5  # bytes an outing, without the collector
MOST_KEPT = 30e3  # bytes an outing: figures of it may be kept, and tables of so many cars; its arrays are a megabyte


@pytest.fixture(scope="module")
def plan(small_season: Path, tmp_path_factory: pytest.TempPathFactory) -> Plan:
    folder = tmp_path_factory.mktemp("streaming")
    (folder / "block.toml").write_text(DRIVE, encoding="utf-8")
    head = small_season.read_text(encoding="utf-8").split("[[outing]]")[0]
    rows = [f'[[outing]]\ndrive = "{folder}/block.toml"\nclimate = "{c}"\nper_year = 50\n' for c in ("mild", "hot")]
    (folder / "season.toml").write_text(head + "\n".join(rows), encoding="utf-8")
    return make_plan(folder / "season.toml", spread=0.0)  # one car, whose tables are worked out once


def kept_an_outing(plan: Plan, few: int, many: int) -> float:
    """Bytes more an outing that are in use after `many` worlds than after `few`."""
    contestants = entrants(["always-on", "proportional"])
    infos: list[object] = []

    def after(worlds: Iterator[int]) -> int:
        with ThreadPoolExecutor(2) as pool:
            for world in worlds:
                infos.append(run_world(plan, contestants, world, pool))
        gc.collect()
        return tracemalloc.get_traced_memory()[0]

    tracemalloc.start(1)
    try:
        first = after(iter(range(few)))
        return (after(iter(range(few, many))) - first) / (OUTINGS_A_WORLD * (many - few))
    finally:
        tracemalloc.stop()


def test_memory_does_not_grow_with_the_number_of_outings(plan: Plan) -> None:
    assert kept_an_outing(plan, 2, 10) < MOST_KEPT


def test_outings_held_would_be_noticed(plan: Plan, monkeypatch: pytest.MonkeyPatch) -> None:
    held: list[Outing] = []

    def hoarding(*arguments: object, play: Callable[..., Outing] = play_entry) -> Outing:
        held.append(play(*arguments))
        return held[-1]

    monkeypatch.setattr(tournament, "play_entry", hoarding)
    assert kept_an_outing(plan, 1, 3) > 10.0 * MOST_KEPT


def test_an_outings_arrays_do_not_wait_for_the_garbage_collector(plan: Plan) -> None:
    """Processes of an event loop refer to one another; what they wrote on must not stay until they are collected."""
    play_entry(plan, 0, 0, plan.car.numbers())
    gc.collect()
    gc.disable()
    tracemalloc.start(1)
    try:
        before = tracemalloc.get_traced_memory()[0]
        for world in range(1, 7):
            play_entry(plan, 0, world, plan.car.numbers())
        outings._kept.clear()
        left = (tracemalloc.get_traced_memory()[0] - before) / 6
    finally:
        tracemalloc.stop()
        gc.enable()
    assert left < MOST_WAITING, f"{left / 1e6:.2f} MB an outing"
