"""Commands that only tell of something start without what the others need; a time would depend on the machine."""

from __future__ import annotations

import subprocess
import sys
from collections.abc import Sequence

import pytest

HEAVY = ("numpy", "pydantic", "scipy", "pandas", "numba", "llvmlite", "simpy", "optuna", "CoolProp", "tomlkit", "rich",
         "jinja2", "matplotlib")  # fmt: skip
_RUN = """
import sys
from arena.cli import main
sys.argv = ["arena", *sys.argv[1:]]
try:
    main()
except SystemExit as done:
    assert not done.code
print("\\n".join(sorted({name.partition(".")[0] for name in sys.modules})), file=sys.stderr)
"""


def run(arguments: Sequence[str]) -> tuple[str, set[str]]:
    """What a command prints, and the packages loaded by then."""
    done = subprocess.run([sys.executable, "-c", _RUN, *arguments], capture_output=True, text=True, check=True)
    return done.stdout, set(done.stderr.split())


@pytest.mark.parametrize("arguments", [("--help",), ("list",), ("list", "strategies"), ("list", "--json")])
def test_nothing_heavy_is_loaded(arguments: Sequence[str]) -> None:
    printed, loaded = run(arguments)
    assert printed
    assert "arena" in loaded
    assert not loaded & set(HEAVY), f"{' '.join(arguments)} loads {', '.join(sorted(loaded & set(HEAVY)))}"


def test_a_list_has_a_heading_a_kind_and_no_empty_line_under_it() -> None:
    printed, _ = run(["list"])
    blocks = [block.split("\n") for block in printed.rstrip("\n").split("\n\n")]
    assert [block[0] for block in blocks] == ["cars", "climates", "drives", "seasons", "strategies", "faults"]
    assert all(len(block) > 1 and all(line.strip() for line in block) for block in blocks)
    assert not any(line != line.rstrip() for block in blocks for line in block)
    alone, _ = run(["list", "cars"])
    assert alone.split("\n")[:-1] == blocks[0][1:]
