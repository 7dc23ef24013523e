"""Prints how far the kernel's numbers are from an exact integration, from finer cells and from a finer tick.

Run from the top folder: `python tests/bench/convergence.py [--dop853] [--quick] [DRIVE/CLIMATE/TANK ...]`; all shipped
drives in all shipped climates take some twenty minutes on one core. Pump flow is replayed for the exact integration,
duty for the finer cells, so that what is compared is the physics and not the moment a threshold is crossed.
"""

from __future__ import annotations

import os
import subprocess
import sys
import tempfile
from collections.abc import Sequence
from dataclasses import replace
from pathlib import Path
from typing import Any

ROOT = Path(__file__).parents[2]
sys.path[:0] = [str(ROOT), str(ROOT / "tests" / "plant")]

import numpy as np  # noqa: E402
import plant_builders as make  # noqa: E402
import reference  # noqa: E402
from numpy.typing import NDArray  # noqa: E402

from arena.contest.figures import figures_of  # noqa: E402
from arena.contest.run import Contestant, lay_out  # noqa: E402
from arena.plant import layout as at  # noqa: E402
from arena.plant.compile import Goals, compile_outing  # noqa: E402
from arena.plant.jit import UNCOMPILED  # noqa: E402
from arena.scenario.loading import list_all  # noqa: E402
from arena.strategies import load_strategy  # noqa: E402

Floats = NDArray[np.float64]
Pairs = Sequence[tuple[str, str, str]]  # drive, climate, place of the tank
LANE_NAMES = ("every 30 s", "two-speed", "proportional", "always-on", "always-off")
FIGURES = ("tracking_k_h", "wear_hours", "energy_wh", "pump_hours")
EXACT_BAR_K, CELLS_BAR_K, TICK_BAR = 0.02, 0.3, 0.01
SEASON_CLIMATES = ("winter", "mild", "hot")


def names_of(kind: str) -> list[str]:
    """Names of everything shipped of a kind."""
    return sorted({entry.name for entry in list_all(kind)})


def recorded_lanes(trace: Floats, made: Any) -> list[Floats]:
    """Charge temperature of every lane played again open-loop from its recorded duty; one (ticks,) each."""
    law = load_strategy(ROOT / "tests" / "plant" / "as_recorded.py")
    by_resistor = replace(law, actuator="resistor", ohms=("resistor_ohm",))
    out = []
    for lane, name in enumerate(LANE_NAMES):
        x = made.X.copy()
        x[:, at.X_PEDAL] = 100.0 * trace[:, lane]
        again = lay_out([Contestant(name, by_resistor if name == "two-speed" else law)])
        out.append(make.trace_of(make.traced(replace(made, X=x), again))[:, 0, make.IAT_C])
    return out


def finer(pairs: Pairs, folder: Path) -> None:
    """In a process of its own with finer cells: play the recorded duties again, keep charge temperatures."""
    for pair in pairs:
        duty = np.load(folder / f"{'.'.join(pair)}.npy")
        iat = np.stack(recorded_lanes(duty, make.outing(*pair)), axis=1)
        np.save(folder / f"{'.'.join(pair)}.{at.CORE_CELLS}.npy", iat)


def at_other_tick(pairs: Pairs, folder: Path) -> None:
    """In a process of its own with a split tick: the same played drives, the law asked as often as before."""
    split = round(0.1 / at.TICK_S)
    for drive, climate, tank in pairs:
        car = make.with_tank(make.shipped_car(), tank)
        car = replace(car, control=replace(car.control, period_ticks=split * car.control.period_ticks))
        whole = make.played(drive, climate)
        noise = np.random.Generator(np.random.PCG64(1)).standard_normal(whole.ticks)
        rows = {
            name: np.repeat(value, split)
            for name, value in vars(whole).items()
            if isinstance(value, np.ndarray) and len(value) == whole.ticks
        }
        made = compile_outing(
            replace(whole, ticks=split * whole.ticks, score_from=split * whole.score_from, **rows), car, Goals(), 1
        )
        made.X[:, at.X_NOISE] = np.repeat(car.probe.noise_k * noise, split)
        result = make.traced(made, make.switching())
        figures = figures_of(result, made, car, Goals(), 1.5, 0.01)
        np.save(folder / f"{drive}.{climate}.{tank}.tick.npy", np.stack([figures.values[f] for f in FIGURES]))


def elsewhere(task: str, pairs: Pairs, folder: Path, **switches: str) -> None:
    """Run one of the tasks above in a process of its own with these environment switches."""
    names = ["/".join(pair) for pair in pairs]
    command = [sys.executable, str(Path(__file__)), "--task", task, str(folder), *names]
    subprocess.run(command, check=True, cwd=ROOT, env={**os.environ, **switches})


def season_change(pairs: Pairs, whole: dict[Any, Floats], split: dict[Any, Floats]) -> Floats:
    """Relative change of season sums (figures, lanes), every outing once; nothing where the sum is nothing."""
    before = np.sum([whole[pair] for pair in pairs], axis=0)
    after = np.sum([split[pair] for pair in pairs], axis=0)
    return np.abs(after - before) / np.maximum(np.abs(before), 1e-9) * (np.abs(before) > 1e-6)


def wanted_pairs(names: Sequence[str], quick: bool) -> list[tuple[str, str, str]]:
    """What to play: as named, or every drive in every climate with the tank in the flow, and some without."""
    if names:
        parts = [name.split("/") for name in names]
        return [(p[0], p[1], p[2] if len(p) > 2 else "in-flow") for p in parts]
    climates = SEASON_CLIMATES if quick else names_of("climates")
    pairs = [(d, c, "in-flow") for d in names_of("drives") for c in climates]
    return pairs + [(d, "hot", tank) for d in ("hill-pulls", "track-session") for tank in ("none", "side")]


def play_all(pairs: Pairs, folder: Path) -> tuple[dict[Any, Floats], dict[Any, Floats]]:
    """Charge temperature and flow (ticks, lanes, 2), and figures (figures, lanes) of every outing; duties to files."""
    traces, figures = {}, {}
    for pair in pairs:
        made = make.outing(*pair)
        result = make.traced(made, make.switching())
        trace = make.trace_of(result)
        np.save(folder / f"{'.'.join(pair)}.npy", trace[:, :, make.APPLIED_C])
        traces[pair] = trace[:, :, [make.IAT_C, make.FLOW_C]].copy()
        values = figures_of(result, made, make.shipped_car(), Goals(), 1.5, 0.01).values
        figures[pair] = np.stack([values[f] for f in FIGURES])
    return traces, figures


def off_exact(pair: Any, trace: Floats, dop: bool) -> tuple[Floats, str]:
    """Difference from the exact integration (ticks, lanes), K, and how well the two ways to integrate agree."""
    made, iat, flow = make.outing(*pair), trace[:, :, 0], trace[:, :, 1]
    exact = reference.integrate(made, flow, how=reference.by_series).iat_mean_k
    off = np.abs(iat - exact)
    if not dop:
        return off, "-"
    solved = reference.integrate(made, flow).iat_mean_k
    return np.maximum(off, np.abs(iat - solved)), f"{np.abs(solved - exact).max():.1e}"


def main(arguments: list[str]) -> int:
    """Print the table; returns 1 when a bar is missed."""
    assert not UNCOMPILED, "this takes hours uncompiled"
    pairs = wanted_pairs([a for a in arguments if not a.startswith("--")], "--quick" in arguments)
    every = "--dop853" in arguments
    missed = 0
    print("worst (and mean) difference of charge temperature, K; lanes: " + ", ".join(LANE_NAMES))
    print(f"{'outing':36s} {'exact':>18s} {'DOP853-series':>14s} {'2x cells':>17s} {'4x cells':>17s}  worst lane")
    with tempfile.TemporaryDirectory() as name:
        folder = Path(name)
        traces, figures = play_all(pairs, folder)
        for factor in ("2", "4"):
            elsewhere("cells", pairs, folder, ARENA_CELL_FACTOR=factor)
        seen: set[str] = set()
        for pair in pairs:
            off, agree = off_exact(pair, traces[pair], every or pair[0] not in seen)  # one climate of each drive
            seen.add(pair[0])
            stem = ".".join(pair)
            again = np.stack(recorded_lanes(np.load(folder / f"{stem}.npy"), make.outing(*pair)), axis=1)
            two, four = (np.abs(again - np.load(folder / f"{stem}.{f * at.CORE_CELLS}.npy")) for f in (2, 4))
            worst = LANE_NAMES[int(four.max(axis=0).argmax())]
            print(
                f"{' / '.join(pair):36s} {off.max():9.4f} ({off.mean():.5f}) {agree:>14s} "
                f"{two.max():8.3f} ({two.mean():.4f}) {four.max():8.3f} ({four.mean():.4f})  {worst}",
                flush=True,
            )
            missed += int(off.max() > EXACT_BAR_K) + int(four.max() > CELLS_BAR_K)
        elsewhere("tick", pairs, folder, ARENA_TICK_SPLIT="2")
        split = {pair: np.load(folder / f"{'.'.join(pair)}.tick.npy") for pair in pairs}
    change = season_change(pairs, figures, split)
    print("\nhalf the tick: change of the sum of a figure over these outings, %")
    print(f"{'':14s}" + "".join(f"{name:>14s}" for name in LANE_NAMES))
    for figure, row in zip(FIGURES, change, strict=True):
        print(f"{figure:14s}" + "".join(f"{100.0 * value:14.3f}" for value in row))
    missed += int(change.max() > TICK_BAR)
    bars = f"{EXACT_BAR_K} K exact, {CELLS_BAR_K} K cells, {100 * TICK_BAR:.0f} % tick"
    print(f"\n{f'{missed} bars missed' if missed else 'held'}: {bars}")
    return 1 if missed else 0


if __name__ == "__main__":
    if sys.argv[1:2] == ["--task"]:
        (finer if sys.argv[2] == "cells" else at_other_tick)(wanted_pairs(sys.argv[4:], False), Path(sys.argv[3]))
        raise SystemExit(0)
    raise SystemExit(main(sys.argv[1:]))
