"""Mutation sample: small faults put into arena/contest and arena/plant one at a time; how many do the tests notice?

A mutant turns a comparison, swaps an operator, moves a number, negates a condition, swaps min and max or drops a sign.
Messages, annotations and docstrings are left alone. The sample is drawn by a seed; each meets, in a copy of the tree,
the tests of TESTS that touch its module, in order, until one fails. The closed-form parts of plant/ run uncompiled,
and so do a tick's parts of its kernel; where these notice nothing it is compiled anew (10 s), since whole drives judge
it. contest/ meets the kernel as it is.

    python tests/bench/mutants.py --count 200 --seed 1 --minutes 60     # survivors are listed at the end
    python tests/bench/mutants.py --only arena/plant/air.py --count 20
"""

from __future__ import annotations

import argparse
import ast
import copy
import importlib
import os
import random
import shutil
import sys
import tempfile
import time
from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from pathlib import Path

ROOT = Path(__file__).parents[2]
PACKAGES = ("contest", "plant")
NOT_MUTATED = {"__init__.py", "bench.py", "cache.py", "jit.py"}  # set-up and measuring, not what is ranked
LIBRARIES = ("CoolProp", "matplotlib", "numba", "optuna", "pandas", "pydantic", "scipy.optimize", "typer")
KINDS = ("", ", numbers declared at the top of modules")
LIMIT_S = 600.0  # a mutant that takes longer hangs, which is noticed
GOLDEN = "hardening/test_determinism.py::test_figures_are_those_that_were_accepted"
DRIVES = (GOLDEN, "contest/test_tournament.py")
TABLES = ("contest/test_tune_shape.py", "contest/test_tune_answers.py", "contest/test_tune_table.py")
PARTS = (  # quick as plain Python
    "plant/test_kernel_parts.py",
    "plant/test_columns.py",
    "plant/test_layout.py",
    "plant/test_freezing.py",
    "plant/test_breakaway.py",
    "plant/test_pump_current.py",
)
WHOLE = (  # whole drives: compiled
    GOLDEN,
    "plant/test_heat.py",
    "strategies/test_on_a_drive.py",
    "contest/test_faults.py",
    "hardening/test_extremes.py",
    "plant/test_numerics.py",
)
KERNEL = (*PARTS, *WHOLE)
TESTS: dict[str, tuple[str, ...]] = {  # quick ones first; below tests/
    "contest/aims": ("contest/test_axes.py", *TABLES), "contest/axes": ("contest/test_axes.py", *TABLES),
    "contest/comparing": (
        "contest/test_comparing.py", "contest/test_standings.py", "contest/test_tune_answers.py",
        "contest/test_tune_table.py", "hardening/test_schemas.py",
    ),
    "contest/duty_table": ("contest/test_duty_table.py", "hardening/test_text_oddities.py"),
    "contest/entering": (
        "contest/test_requests.py", "contest/test_tune_table.py", "strategies/test_on_a_drive.py", "cli/test_cli.py",
    ),
    "contest/faults": ("contest/test_protection.py", "contest/test_faults.py"),
    "contest/figures": ("contest/test_figures.py", *DRIVES, "timetable/test_fuel.py"),
    "contest/floor_law": TABLES,
    "contest/foresight": ("contest/test_figures.py", "contest/test_tune_table.py"),
    "contest/foresight_law": ("contest/test_tune_table.py",),
    "contest/freezing": ("contest/test_folder_files.py", "hardening/test_extremes.py"),
    "contest/laws": (
        "contest/test_lanes.py", "contest/test_duty_table.py", "strategies/test_contract.py",
        "strategies/test_on_a_drive.py",
    ),
    "contest/locks": (
        "contest/test_folder_files.py", "hardening/test_interrupt_journal.py", "hardening/test_interrupt_folders.py",
    ),
    "contest/outings": ("contest/test_outings.py", "contest/test_worlds.py", *DRIVES),
    "contest/pool": ("contest/test_requests.py", "contest/test_tournament.py"),
    "contest/protection": ("contest/test_protection.py", "contest/test_faults.py"),
    "contest/run": ("contest/test_lanes.py", "contest/test_worlds.py", *DRIVES, "strategies/test_on_a_drive.py"),
    "contest/seasonal": ("contest/test_lanes.py", "contest/test_tune_table.py"),
    "contest/single": ("contest/test_lanes.py", "contest/test_faults.py", "strategies/test_on_a_drive.py"),
    "contest/spans": ("contest/test_protection.py", "contest/test_faults.py"),
    "contest/standings": ("contest/test_standings.py", *DRIVES),
    "contest/store": (
        "contest/test_folder_files.py", "contest/test_inputs.py", "hardening/test_interrupt_folders.py",
        "contest/test_tournament.py",
    ),
    "contest/studies": ("contest/test_tune_shared.py", "hardening/test_interrupt_journal.py"),
    "contest/table_search": ("contest/test_table_moves.py", *TABLES),
    "contest/table_shape": ("contest/test_table_moves.py", *TABLES),
    "contest/table_tuning": ("contest/test_comparing.py", "contest/test_table_moves.py", *TABLES),
    "contest/table_visits": ("contest/test_table_moves.py", *TABLES), "contest/tables": DRIVES,
    "contest/tournament": ("contest/test_requests.py", *DRIVES, "strategies/test_on_a_drive.py"),
    "contest/tradeoff": ("contest/test_search.py", *TABLES),
    "contest/tune": ("contest/test_search.py", "contest/test_comparing.py", *DRIVES, "contest/test_tune_table.py"),
    "contest/tuning": ("contest/test_requests.py", "contest/test_tune_answers.py", *TABLES),
    "contest/tuning_files": (
        "contest/test_folder_files.py", "hardening/test_schemas.py", "contest/test_tune_table.py",
    ),
    "contest/views": ("contest/test_views.py", "report/test_page.py", "hardening/test_schemas.py"),
    "contest/worlds": ("contest/test_lanes.py", "contest/test_worlds.py", *DRIVES),
    "contest/worlds_file": (
        "contest/test_folder_files.py", "hardening/test_limits_of_files.py", "hardening/test_interrupt_folders.py",
    ),
    "plant/air": ("plant/test_air.py", "published/test_published_air.py"),
    "plant/compile": KERNEL, "plant/kernel": KERNEL, "plant/layout": KERNEL, "plant/rows": KERNEL,
    "plant/circuit": KERNEL, "plant/pumping": KERNEL, "plant/judging": KERNEL, "plant/look_ups": KERNEL,
    "plant/car_tables": KERNEL, "plant/values": KERNEL,
    "plant/electrics": (
        "plant/test_electrics.py", "published/test_published_electrics.py", "plant/test_breakaway.py",
        "garage/test_wiring.py",
    ),
    "plant/exchanger": ("plant/test_exchanger.py", "published/test_published_exchangers.py", "scenario/test_car.py"),
    "plant/film": ("plant/test_film.py", "plant/test_heat.py"),
    "plant/fluids": (
        "plant/test_fluids.py", "published/test_published_coolant.py", "plant/test_film.py", "plant/test_freezing.py",
    ),
    "plant/hydraulics": (
        "plant/test_hydraulics.py", "published/test_published_hydraulics.py", "plant/test_pump_current.py",
        "scenario/test_car.py",
    ),
    "plant/numbers": ("scenario/test_car.py", "plant/test_electrics.py", "plant/test_hydraulics.py", *KERNEL),
    "plant/probe": ("plant/test_probe.py", "published/test_published_sensors.py"),
}  # fmt: skip
SWAPS: dict[type[ast.AST], type[ast.AST]] = {
    ast.Lt: ast.GtE, ast.LtE: ast.Gt, ast.Gt: ast.LtE, ast.GtE: ast.Lt, ast.Eq: ast.NotEq, ast.NotEq: ast.Eq,
    ast.Is: ast.IsNot, ast.IsNot: ast.Is, ast.In: ast.NotIn, ast.NotIn: ast.In, ast.Add: ast.Sub, ast.Sub: ast.Add,
    ast.Mult: ast.Div, ast.Div: ast.Mult, ast.FloorDiv: ast.Mult, ast.Mod: ast.Mult, ast.And: ast.Or, ast.Or: ast.And,
}  # fmt: skip
NAMES = {"min": "max", "max": "min", "minimum": "maximum", "maximum": "minimum", "any": "all", "all": "any"}


@dataclass(frozen=True)
class Mutant:
    """One change: the `number`-th place of a file where something can be changed."""

    file: str
    number: int
    line: int
    what: str
    choice: bool = False  # a number declared at the top of a module: a budget, a default breakpoint, a limit


def places(tree: ast.Module) -> Iterator[tuple[ast.AST, str]]:
    """Nodes that can be changed and how, in a fixed order."""
    for node in code(tree):
        if isinstance(node, ast.Compare) and type(node.ops[0]) in SWAPS:
            yield node, f"{operator(node.ops[0])} -> {SWAPS[type(node.ops[0])].__name__}"
        elif isinstance(node, ast.BinOp | ast.AugAssign | ast.BoolOp) and type(node.op) in SWAPS:
            yield node, f"{operator(node.op)} -> {SWAPS[type(node.op)].__name__}"
        elif isinstance(node, ast.UnaryOp) and isinstance(node.op, ast.Not | ast.USub):
            yield node, f"{operator(node.op)} dropped"
        elif isinstance(node, ast.Constant) and isinstance(node.value, bool | int | float):
            yield node, f"{node.value!r} -> {moved(node.value)!r}"
        elif isinstance(node, ast.If | ast.IfExp):
            yield node, "condition negated"
        elif isinstance(node, ast.Name | ast.Attribute) and called(node) in NAMES:
            yield node, f"{called(node)} -> {NAMES[called(node)]}"


def code(tree: ast.Module) -> Iterator[ast.AST]:
    """Nodes that are run: no annotations, no defaults of imports under TYPE_CHECKING, no messages."""
    waiting: list[ast.AST] = [tree]
    while waiting:
        node = waiting.pop(0)
        if isinstance(node, ast.JoinedStr | ast.Raise | ast.Assert):
            continue
        if isinstance(node, ast.If) and isinstance(node.test, ast.Name) and node.test.id == "TYPE_CHECKING":
            continue
        if isinstance(node, ast.Call) and called(node.func) in {"tell", "Progress", "TypeVar"}:
            continue
        yield node
        for field, value in ast.iter_fields(node):
            if field in {"annotation", "returns", "type_params", "decorator_list"}:
                continue
            waiting += [v for v in (value if isinstance(value, list) else [value]) if isinstance(v, ast.AST)]


def called(node: ast.AST) -> str:
    """The last part of a name."""
    return node.id if isinstance(node, ast.Name) else node.attr if isinstance(node, ast.Attribute) else ""


def operator(node: ast.AST) -> str:
    """The name of an operator."""
    return type(node).__name__


def moved(value: bool | float) -> bool | float:
    """Another number."""
    if isinstance(value, bool):
        return not value
    return value + 1 if isinstance(value, int) else value * 1.25 if value else 1.0


def mutated(source: str, number: int) -> str:
    """The source with its `number`-th place changed."""
    tree = ast.parse(source)
    node = [n for n, _ in places(tree)][number]
    if isinstance(node, ast.Compare):
        node.ops[0] = SWAPS[type(node.ops[0])]()
    elif isinstance(node, ast.BinOp | ast.AugAssign | ast.BoolOp):
        node.op = SWAPS[type(node.op)]()
    elif isinstance(node, ast.UnaryOp):  # -x becomes --x, not x becomes not not x
        node.operand = ast.UnaryOp(copy.copy(node.op), node.operand)
    elif isinstance(node, ast.Constant):
        node.value = moved(node.value)
    elif isinstance(node, ast.If | ast.IfExp):
        node.test = ast.UnaryOp(ast.Not(), copy.deepcopy(node.test))
    elif isinstance(node, ast.Name):
        node.id = NAMES[node.id]
    elif isinstance(node, ast.Attribute):
        node.attr = NAMES[node.attr]
    return ast.unparse(ast.fix_missing_locations(tree)) + "\n"


def drawn(count: int, seed: int, only: str | None) -> list[Mutant]:
    """A sample over all places; every place is as likely."""
    found = []
    for package in PACKAGES:
        for path in sorted((ROOT / "arena" / package).glob("*.py")):
            file = f"arena/{package}/{path.name}"
            if path.name in NOT_MUTATED or (only is not None and file != only):
                continue
            tree = ast.parse(path.read_text(encoding="utf-8"))
            declared = {
                id(part)
                for node in tree.body
                if isinstance(node, ast.Assign | ast.AnnAssign)
                for part in ast.walk(node)
            }
            found += [
                Mutant(file, n, getattr(node, "lineno", 0), what, id(node) in declared)
                for n, (node, what) in enumerate(places(tree))
            ]
    draw = random.Random(seed)
    return draw.sample(found, min(count, len(found)))


def noticed(mutant: Mutant, place: Path) -> bool:
    """Whether a test fails with the mutant in the copy of the tree; the copy is put right again."""
    path = place / mutant.file
    source = path.read_text(encoding="utf-8")
    path.write_text(mutated(source, mutant.number), encoding="utf-8")
    try:
        return not passes(mutant.file, place)
    finally:
        path.write_text(source, encoding="utf-8")


def passes(file: str, place: Path) -> bool:
    """Whether the tests of a module pass in the copy of the tree: what runs as plain Python, then the rest."""
    tests = tests_of(file)
    plain = [t for t in tests if file.startswith("arena/plant/") and t.removeprefix("tests/") not in WHOLE]
    rest = [t for t in tests if t not in plain]
    return (not plain or pass_together(plain, True, place)) and (not rest or pass_together(rest, False, place))


def pass_together(tests: Sequence[str], plain: bool, place: Path) -> bool:
    """Whether tests pass in a process forked off this one."""
    child = os.fork()
    if child == 0:
        os._exit(tested(tests, plain, place))
    until = time.monotonic() + LIMIT_S
    while time.monotonic() < until:
        done, status = os.waitpid(child, os.WNOHANG)
        if done:
            return os.waitstatus_to_exitcode(status) == 0
        time.sleep(0.05)
    os.kill(child, 9)
    os.waitpid(child, 0)
    return False


def tested(tests: Sequence[str], plain: bool, place: Path) -> int:
    """Run tests here; the exit code."""
    import pytest

    silence = os.open(os.devnull, os.O_WRONLY)
    os.dup2(silence, 1)
    os.dup2(silence, 2)
    os.chdir(place)
    sys.path.insert(0, str(place))
    os.environ["PYTHONPATH"] = str(place)
    os.environ["ARENA_UNCOMPILED"] = "1" if plain else "0"
    os.environ["ARENA_CACHE_DIR"] = str(place.parent / "cache")
    return int(pytest.main(["-x", "-n", "0", "-p", "no:cacheprovider", *tests]))


def tests_of(file: str) -> tuple[str, ...]:
    """The tests that touch a module."""
    return tuple(f"tests/{t}" for t in TESTS[file.removeprefix("arena/").removesuffix(".py")])


def main() -> None:
    """Draw, try, count, print."""
    parser = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter)
    parser.add_argument("--count", type=int, default=200)
    parser.add_argument("--seed", type=int, default=1)
    parser.add_argument("--package", choices=PACKAGES, help="those of the sample in this package; to share it out")
    parser.add_argument("--minutes", type=float, default=1e9, help="stop after so long, and say how many were tried")
    parser.add_argument("--only", help="one file, as arena/plant/air.py")
    given = parser.parse_args()
    for library in LIBRARIES:  # once, for all processes forked off this one
        importlib.import_module(library)

    sample = drawn(given.count, given.seed, given.only)
    mutants = [m for m in sample if given.package is None or m.file.split("/")[1] == given.package]
    until = time.monotonic() + 60.0 * given.minutes
    survived: list[Mutant] = []
    tried = {f"{package}{kind}": [0, 0] for package in PACKAGES for kind in KINDS}
    with tempfile.TemporaryDirectory() as folder:
        place = Path(folder) / "tree"
        skip = shutil.ignore_patterns(".git", "__pycache__", "*.egg-info", ".*_cache", "results")
        shutil.copytree(ROOT, place, symlinks=True, ignore=skip)
        sound: set[tuple[str, ...]] = set()
        for mutant in mutants:
            if time.monotonic() > until:
                break
            if tests_of(mutant.file) not in sound and not passes(mutant.file, place):
                raise SystemExit(f"the tests of {mutant.file} fail without a mutant")
            sound.add(tests_of(mutant.file))
            killed = noticed(mutant, place)
            kind = tried[mutant.file.split("/")[1] + KINDS[mutant.choice]]
            kind[0] += 1
            kind[1] += killed
            print(f"{'killed  ' if killed else 'SURVIVED'} {mutant.file}:{mutant.line}: {mutant.what}", flush=True)
            if not killed:
                survived.append(mutant)
    for package, (all_, killed) in tried.items():
        if all_:
            print(f"{package}: {killed} of {all_} mutants killed, {100.0 * killed / all_:.0f} %")
    for mutant in sorted(survived, key=lambda m: (m.file, m.line)):
        print(f"  survived: {mutant.file}:{mutant.line}: {mutant.what}")


if __name__ == "__main__":
    main()
