"""Prints what `arena compare` says of synthetic before/after pairs whose true change is known.

Run from the top folder: `python tests/bench/pairs.py [PAIRS]`; some four seconds a pair. A pair is one random car on
two days (other weather, other traffic), with its core changed so that the charge on boost moves by 0, 1, 3 or 6 K,
either way. Right is the true sign, or "no change" for none; "cannot tell" is never wrong. Promised: of 40 at most 2
wrong.
Logs come from the kernel, with sensor noise of 0.15 K, 1 Hz polling, 0.5 K steps, outside air in whole degrees.
"""

from __future__ import annotations

import sys
import tempfile
from pathlib import Path

ROOT = Path(__file__).parents[2]
sys.path[:0] = [str(ROOT), str(ROOT / "tests" / "garage")]

import garage_builders as make  # noqa: E402

from arena.garage.before_after import compare_logs  # noqa: E402

CHANGES_K = (0.0, 1.0, 3.0, 6.0)
DAYS = (("mild", "warm-summer"), ("mild", "wet-autumn"), ("warm-summer", "mild"), ("winter", "mild"), ("mild", "mild"))
DRIVES = ("hill-pulls", "track-session")


def one_pair(seed: int, folder: Path) -> tuple[float, str, str]:
    """True change on boost (K), verdict on boost, and a line to print."""
    wanted = CHANGES_K[seed % 4] * (1.0 if (seed // 4) % 2 else -1.0)
    drive, days = DRIVES[(seed // 2) % 2], DAYS[seed % 5]
    car, _ = make.drawn_car(seed, 0.6)
    first = make.driven(car, drive, days[0], "always-on", seed, exact=False)
    changed, real = make.changed_core(car, first, wanted)
    second = make.driven(changed, drive, days[1], "always-on", seed + 1000, exact=False)
    logs = [
        make.write_log(folder / f"{seed}{k}.csv", truth, seed + k, duty=bool(seed % 2))
        for k, truth in enumerate((first, second))
    ]
    found = compare_logs(*logs).changes[0]
    span = (
        ""
        if found.low is None or found.high is None
        else f"{found.change:+.2f} ({found.low:+.2f} .. {found.high:+.2f})"
    )
    return real, found.verdict, f"{seed:3d} {drive} {days[0]}/{days[1]}: true {real:+.2f} K, {found.verdict} {span}"


def wrong(real_k: float, verdict: str) -> bool:
    """Whether a verdict contradicts the truth."""
    if verdict == "cannot tell":
        return False
    right = "no change" if abs(real_k) < 0.3 else ("worse" if real_k > 0.0 else "better")
    return verdict != right


def main() -> None:
    """All pairs, then the count."""
    pairs = int(sys.argv[1]) if len(sys.argv) > 1 else 40
    mistakes = told = 0
    with tempfile.TemporaryDirectory() as folder:
        for seed in range(pairs):
            real, verdict, line = one_pair(seed, Path(folder))
            mistakes += wrong(real, verdict)
            told += verdict != "cannot tell"
            print(line + ("  WRONG" if wrong(real, verdict) else ""), flush=True)
    print(f"{pairs} pairs: {told} told, {pairs - told} cannot tell, {mistakes} wrong (promised at most 2 of 40)")


if __name__ == "__main__":
    main()
