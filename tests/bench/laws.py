"""Prints what each law costs of a step of the kernel: every shipped one, a user's, and a large duty table.

Run from the top folder: `python tests/bench/laws.py [--seconds S]`. Every lane has settings of its own, drawn from the
whole search box, so that neighbours take different turns. Beside it stands always-on, whose law returns a constant.
All are timed in turns within one run, processor time, the best of several: only the shares mean much.
"""

from __future__ import annotations

import argparse
import random
import sys
import tempfile
from collections.abc import Callable
from pathlib import Path

sys.path.insert(0, str(Path(__file__).parent))

import twin

from arena.contest.duty_table import MOST_BREAKPOINTS, strategy_of
from arena.contest.run import Contestant, Lanes, lay_out, play
from arena.plant import layout as at
from arena.plant.compile import CompiledOuting
from arena.strategies import load_strategy, shipped
from arena.strategies.base import Strategy

PLAIN = "always-on"
USERS = '''"""Duty by charge and coolant temperature, throttle and speed, with a memory."""

from typing import NamedTuple

from arena.strategies.base import Setting, Strategy, clip


class Sensed(NamedTuple):
    """Probes and pedals."""

    iat_c: float
    coolant_c: float
    throttle_pct: float
    speed_kmh: float


class Settings(NamedTuple):
    """Start and slope."""

    start_c: float
    per_k: float


class Memory(NamedTuple):
    """Duty before."""

    before: float


def duty(sensed: Sensed, settings: Settings, memory: Memory) -> tuple[float, Memory]:
    """Rises with temperature and throttle, smoothed."""
    wanted = settings.per_k * (sensed.iat_c - settings.start_c) + 0.004 * sensed.throttle_pct
    if sensed.speed_kmh < 5.0 and sensed.coolant_c < 50.0:
        wanted = 0.5 * wanted
    smooth = memory.before + 0.1 * (clip(wanted, 0.0, 1.0) - memory.before)
    return (smooth if smooth > 0.3 else 0.0), Memory(smooth)


STRATEGY = Strategy(
    name="smoothed",
    summary="smoothed",
    sensed=Sensed,
    settings_type=Settings,
    memory=Memory(0.0),
    law=duty,
    settings=(
        Setting("start_c", "degC", 10.0, 55.0, 30.0, "start"),
        Setting("per_k", "1/K", 0.01, 0.2, 0.05, "slope"),
    ),
)
'''


def strategies(folder: Path) -> list[Strategy]:
    """The laws to time; files of the user's ones are written to `folder`."""
    (folder / "smoothed.py").write_text(USERS, encoding="utf-8")
    points = [str(k) for k in range(MOST_BREAKPOINTS)]
    rows = [",".join([y, *(str(min(int(x) + int(y), 100)) for x in points)]) for y in points]
    (folder / "large.csv").write_text("\n".join(["iat_c\\throttle_pct," + ",".join(points), *rows]), encoding="utf-8")
    own = [load_strategy(folder / "smoothed.py"), strategy_of(folder / "large.csv")]
    return [shipped()[PLAIN], *(s for s in shipped().values() if s.name != PLAIN), *own]


def full_batch(strategy: Strategy) -> Lanes:
    """Every lane this law, with settings drawn from all it may be set to."""
    rng = random.Random(1)
    drawn = [{s.name: rng.uniform(s.low, s.high) for s in strategy.settings} for _ in range(at.LANES)]
    lanes = lay_out([Contestant(f"{strategy.name}{k}", strategy, settings) for k, settings in enumerate(drawn)])
    assert not lanes.interpreted, lanes.notes
    return lanes


def shares(outing: CompiledOuting, turns: int = 9) -> dict[str, float]:
    """Share of the step that each law costs, by name; nanoseconds a lane and tick of a step without are under ""."""
    with tempfile.TemporaryDirectory() as folder:
        laws = strategies(Path(folder))
        batches = [full_batch(s) for s in laws]
    runs: list[Callable[[], object]] = [lambda b=b: play(outing, b) for b in batches]  # type: ignore[misc]
    for run in runs:
        run()
    plain, *times = twin.in_turns(runs, turns)
    found = {s.name: (taken - plain) / taken for s, taken in zip(laws[1:], times, strict=True)}
    return {"": 1e9 * plain / (outing.ticks * at.LANES), **found}


def main() -> int:
    """Print the shares."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--seconds", type=float, default=900.0, help="seconds of the drive")
    outing, _ = twin.outing_and_lanes(parser.parse_args().seconds)
    found = shares(outing)
    print(f"a step with {PLAIN}: {found.pop(''):.1f} ns a lane")
    for name, share in found.items():
        print(f"{name:20s}{share:6.1%}")
    return 0


if __name__ == "__main__":
    raise SystemExit(main())
