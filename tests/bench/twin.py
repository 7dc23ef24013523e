"""Prints the kernel's speed beside that of the same arithmetic in C (twin.c), and checks that both agree.

Run from the top folder: `python tests/bench/twin.py [--seconds S]`. The C is built with the system's compiler for this
machine. Both are timed in turns within one run, processor time, the best of several: only the ratio means much.
"""

from __future__ import annotations

import argparse
import contextlib
import ctypes
import shutil
import subprocess
import sys
import tempfile
import time
from collections.abc import Callable
from pathlib import Path
from typing import Any

HERE = Path(__file__).parent
if str(HERE.parents[1]) not in sys.path:
    sys.path.insert(0, str(HERE.parents[1]))

import numpy as np  # noqa: E402
from numpy.typing import NDArray  # noqa: E402

from arena.contest.run import Accumulated, Contestant, Lanes, aligned, lay_out, play, start_state  # noqa: E402
from arena.contest.single import compile_one  # noqa: E402
from arena.plant import layout as at  # noqa: E402
from arena.plant.compile import CompiledOuting, Goals  # noqa: E402
from arena.scenario.car import load_car  # noqa: E402
from arena.scenario.climate import load_climate  # noqa: E402
from arena.scenario.drive import load_drive  # noqa: E402
from arena.strategies import shipped  # noqa: E402

FLAGS = ("-O3", "-march=native", "-ffp-contract=off", "-fno-math-errno", "-fno-trapping-math", "-shared", "-fPIC")
WIDER = "-mprefer-vector-width=512"  # where the machine has such vectors; otherwise it changes nothing
AGREE_K = 1e-9
TURNS = 7


def compiler() -> str | None:
    """The system's C compiler, None if it has none."""
    return next((found for name in ("cc", "gcc", "clang") if (found := shutil.which(name))), None)


def build(folder: Path, more: tuple[str, ...] = ()) -> Any:
    """The twin compiled in `folder` and loaded."""
    rows = {k: v for k, v in vars(at).items() if k.isupper() and isinstance(v, int | float)}
    text = "".join(f"#define {name} {value}\n" for name, value in rows.items())
    (folder / "rows.h").write_text(f"{text}", encoding="utf-8")
    library = folder / f"twin-{abs(hash(more))}.so"
    command = [compiler() or "cc", *FLAGS, *more, f"-I{folder}", str(HERE / "twin.c"), "-o", str(library), "-lm"]
    subprocess.run(command, check=True, capture_output=True)
    return ctypes.CDLL(str(library)).twin


def build_best(folder: Path) -> list[Any]:
    """The twin as the compiler would have it, and with the machine's widest vectors, where it takes that option."""
    found = [build(folder)]
    with contextlib.suppress(subprocess.CalledProcessError):
        found.append(build(folder, (WIDER,)))
    return found


def outing_and_lanes(seconds: float = 1e9) -> tuple[CompiledOuting, Lanes]:
    """A shipped drive on the shipped car, or its first seconds; a full batch of one law, every lane another start."""
    from dataclasses import replace

    _, outing = compile_one(load_drive("commute"), load_climate("hot"), load_car("invented-2200").numbers(), 1, Goals())
    outing = replace(outing, ticks=min(outing.ticks, round(seconds / at.TICK_S)))
    law = shipped()["proportional"]
    return outing, lay_out([Contestant(f"p{k}", law, {"start_c": 25.0 + 0.1 * k}) for k in range(at.LANES)])


def run_twin(twin: Any, outing: CompiledOuting, lanes: Lanes) -> tuple[NDArray[np.float64], NDArray[np.float32]]:
    """The twin's whole buffer and on-boost store after the outing."""
    state = start_state(outing, lanes)
    on_boost = aligned(max(outing.boost_rows, 1) * at.LANES, np.float32)
    tables = (outing.X, outing.P, outing.duty_table, outing.flow_table, outing.exchanger_table, on_boost)
    places = [ctypes.c_void_p(array.ctypes.data) for array in (state, *tables)]
    twin(*places, ctypes.c_long(0), ctypes.c_long(outing.ticks))
    return state.reshape(at.ROWS, at.LANES), on_boost.reshape(-1, at.LANES)[: outing.boost_rows]


def worst_differences(
    mine: Accumulated, theirs: tuple[NDArray[np.float64], NDArray[np.float32]]
) -> tuple[float, float]:
    """Worst difference of any temperature (K) and of any figure (relative to the largest of its kind)."""
    cells = np.abs(mine.state[at.CORE_AT :] - theirs[0][at.CORE_AT :]).max()
    boost = np.abs(mine.boost_k - theirs[1]).max(initial=0.0)
    figures = theirs[0][at.FIGURES_FROM : at.FIGURES_TO]
    scale = np.maximum(np.abs(figures).max(axis=1, keepdims=True), 1.0)
    return float(max(cells, boost)), float((np.abs(mine.rows - figures) / scale).max())


def in_turns(runs: list[Callable[[], object]], turns: int = TURNS) -> list[float]:
    """Best processor time of each, taken in turns."""
    best = [float("inf")] * len(runs)
    for _ in range(turns):
        for k, run in enumerate(runs):
            start = time.process_time()
            run()
            best[k] = min(best[k], time.process_time() - start)
    return best


def compare(seconds: float = 1e9, turns: int = TURNS) -> dict[str, float]:
    """Nanoseconds a lane and tick of the kernel and of the faster C, their ratio, and how well they agree."""
    outing, lanes = outing_and_lanes(seconds)
    with tempfile.TemporaryDirectory() as folder:
        twins = build_best(Path(folder))
        mine = play(outing, lanes)
        differences = [worst_differences(mine, run_twin(twin, outing, lanes)) for twin in twins]
        runs: list[Callable[[], object]] = [lambda: play(outing, lanes)]
        runs += [lambda twin=twin: run_twin(twin, outing, lanes) for twin in twins]  # type: ignore[misc]
        kernel_s, *twin_s = in_turns(runs, turns)
    per = 1e9 / (outing.ticks * at.LANES)
    return {
        "kernel_ns": per * kernel_s,
        "twin_ns": per * min(twin_s),
        "twin_default_ns": per * twin_s[0],
        "ratio": kernel_s / min(twin_s),
        "worst_k": max(d[0] for d in differences),
        "worst_figure": max(d[1] for d in differences),
    }


def main() -> int:
    """Print the comparison; 1 if the two do not agree."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--seconds", type=float, default=1e9, help="seconds of the drive, all of it by default")
    asked = parser.parse_args()
    if compiler() is None:
        print("no C compiler found", file=sys.stderr)
        return 1
    found = compare(asked.seconds)
    print(f"kernel {found['kernel_ns']:.1f} ns a lane and tick, C {found['twin_ns']:.1f}, ratio {found['ratio']:.2f}")
    print(f"C with the compiler's own choice of vectors {found['twin_default_ns']:.1f} ns")
    print(
        f"worst temperature difference {found['worst_k']:.1e} K, worst figure {found['worst_figure']:.1e} of its size"
    )
    return 0 if found["worst_k"] <= AGREE_K else 1


if __name__ == "__main__":
    raise SystemExit(main())
