"""Thousands of damaged files for every reader: `python tests/bench/fuzz.py [--minutes N] [--seed N] [KIND ...]`.

Twice over: by hypothesis, which damages whole files, and, where the package `atheris` can be imported, guided by which
lines of the readers a file reaches. Prints a line a kind with what became of the files, and every broken promise with
what to put into `FOUND` of tests/hardening/test_fuzz_readers.py. Exit code 1 if there is any.
"""

from __future__ import annotations

import importlib.util
import json
import random
import subprocess
import sys
import tempfile
import time
from collections import Counter
from pathlib import Path
from typing import Any

sys.path.insert(0, str(Path(__file__).resolve().parents[1] / "hardening"))
READERS = ("arena.scenario", "arena.contest.duty_table", "arena.contest.axes", "arena.garage.read_log",
           "arena.report.result", "arena.contest.worlds_file")  # fmt: skip


class Tally:
    """What became of the files of one kind."""

    def __init__(self, kind: Any, folder: Path) -> None:
        self.kind, self.folder = kind, folder
        self.counts: Counter[str] = Counter()
        self.worst_s = 0.0
        self.broken: dict[str, str] = {}

    def meet(self, data: bytes, how: str) -> bool:
        """One file; whether the promise was kept."""
        from fuzz_kinds import keeps_its_word

        began = time.perf_counter()
        try:
            told = keeps_its_word(self.kind, data, self.folder)
            self.counts["loaded" if told == "loaded" else "refused"] += 1
        except AssertionError as error:
            self.counts["broken"] += 1
            said = str(error).replace(str(self.folder), "")[:200]
            self.broken.setdefault(said[:60], f"{said} | {how}")
        self.worst_s = max(self.worst_s, time.perf_counter() - began)
        return self.counts["broken"] == 0

    def shown(self, name: str) -> str:
        """One line."""
        n = self.counts
        total = sum(n.values())
        return f"{name:32s} {total:8d} {n['loaded']:8d} {n['refused']:8d} {n['broken']:6d}   worst {self.worst_s:.2f} s"


def by_hypothesis(tally: Tally, seconds: float, root: int) -> None:
    """Whole files damaged in one to six steps, drawn by hypothesis, until the time is up."""
    from fuzz_damage import DAMAGES, Step, damaged
    from hypothesis import HealthCheck, Phase, given, seed, settings
    from hypothesis import strategies as st

    until, chunk = time.monotonic() + seconds, 0
    number = st.integers(0, 65535)
    steps_of = st.lists(st.tuples(st.integers(0, len(DAMAGES) - 1), number, number), min_size=1, max_size=6)
    while time.monotonic() < until:

        @seed(1_000_003 * root + chunk)
        @settings(max_examples=300, database=None, deadline=None, phases=[Phase.generate],
                  suppress_health_check=list(HealthCheck))  # fmt: skip
        @given(st.integers(0, len(tally.kind.seeds) - 1), steps_of)
        def damage(which: int, steps: list[Step]) -> None:
            if time.monotonic() < until:
                tally.meet(damaged(tally.kind.seeds[which], steps), f"seed {which}, steps {steps}")

        damage()
        chunk += 1


def by_coverage(name: str, seconds: float, folder: Path, root: int) -> Tally | None:
    """The same promise under atheris, in a process of its own, which it would end otherwise."""
    from fuzz_kinds import kinds

    report = folder / "report.json"
    command = [sys.executable, __file__, "--child", name, str(seconds), str(report), str(root)]
    done = subprocess.run(command, capture_output=True, text=True, timeout=seconds + 300, check=False)
    tally = Tally(kinds()[name], folder)
    if not report.is_file():
        print(done.stderr[-2000:], file=sys.stderr)
        return None
    found = json.loads(report.read_text(encoding="utf-8"))
    tally.counts.update(found["counts"])
    tally.worst_s, tally.broken = found["worst_s"], found["broken"]
    if done.returncode not in (0,):
        tally.counts["broken"] += 1
        tally.broken["ended"] = f"{name}: ended with {done.returncode}: {done.stderr[-400:]}"
    return tally


def child(name: str, seconds: float, report: Path, root: int) -> None:
    """One kind under atheris: half of the mutations are ours, half are its own."""
    import atheris

    with atheris.instrument_imports(include=list(READERS)):
        import fuzz_kinds
    from fuzz_damage import DAMAGES, damaged

    kind = fuzz_kinds.kinds()[name]
    place = Path(tempfile.mkdtemp(dir=report.parent))
    corpus = report.parent / "corpus"
    corpus.mkdir()
    for k, whole in enumerate(kind.seeds):
        (corpus / str(k)).write_bytes(whole)
    fuzz_kinds.lay_out(kind, place)
    tally = Tally(kind, place)
    written = time.monotonic()

    def one(data: bytes) -> None:
        nonlocal written
        tally.meet(data, f"data {data[:4000]!r}")
        if time.monotonic() - written > 1.0:
            written = time.monotonic()
            content = {"counts": tally.counts, "worst_s": tally.worst_s, "broken": tally.broken}
            report.write_text(json.dumps(content), encoding="utf-8")

    def mutate(data: bytes, most: int, given: int) -> bytes:
        rng = random.Random(given)
        if rng.random() < 0.5:
            return bytes(atheris.Mutate(data, most))
        steps = [(rng.randrange(len(DAMAGES)), rng.randrange(65536), rng.randrange(65536)) for _ in range(2)]
        return damaged(data, steps)[:most]

    options = [
        f"-max_total_time={seconds:.0f}",
        f"-seed={root}",
        "-rss_limit_mb=6000",
        "-max_len=60000",
        "-timeout=120",
    ]
    atheris.Setup([sys.argv[0], *options, str(corpus)], one, custom_mutator=mutate)
    atheris.Fuzz()


def main(arguments: list[str]) -> int:
    """Print the table; 1 when a promise was broken."""
    if arguments[:1] == ["--child"]:
        child(arguments[1], float(arguments[2]), Path(arguments[3]), int(arguments[4]))
        return 0
    import argparse

    import fuzz_kinds
    import fuzz_results

    options = argparse.ArgumentParser(description=__doc__)
    options.add_argument("kinds", nargs="*")
    options.add_argument("--minutes", type=float, default=10.0)
    options.add_argument("--seed", type=int, default=int(time.time()) % 100_000)
    asked = options.parse_args(arguments)
    have = importlib.util.find_spec("atheris") is not None
    print(f"seed {asked.seed}; atheris {'guides the second half' if have else 'is not installed: hypothesis alone'}")
    broken: list[str] = []
    with tempfile.TemporaryDirectory() as name:
        made = Path(name) / "made"
        made.mkdir()
        results = fuzz_results.kinds(*fuzz_results.make(made))
        everything = {**fuzz_kinds.kinds(), **results}
        chosen = {n: k for n, k in everything.items() if not asked.kinds or n in asked.kinds}
        guided = [n for n in chosen if have and n not in results]
        share = 60.0 * asked.minutes / (len(chosen) + len(guided))
        print(f"{'kind of file':32s} {'files':>8s} {'loaded':>8s} {'refused':>8s} {'broken':>6s}")
        for k, (kind_name, kind) in enumerate(chosen.items()):
            place = Path(name) / str(k)
            (place / "guided").mkdir(parents=True)
            (place / "drawn").mkdir()
            fuzz_kinds.lay_out(kind, place / "drawn")
            tally = Tally(kind, place / "drawn")
            by_hypothesis(tally, share, asked.seed)
            found = [(kind_name, tally)]
            if kind_name in guided and (other := by_coverage(kind_name, share, place / "guided", asked.seed)):
                found.append((f"{kind_name}, guided", other))
            for words, one in found:
                print(one.shown(words), flush=True)
                broken += one.broken.values()
    for line in broken:
        print(f"BROKEN: {line}")
    return 1 if broken else 0


if __name__ == "__main__":
    sys.exit(main(sys.argv[1:]))
