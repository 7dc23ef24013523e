"""What the documents show is run: Python snippets; links lead somewhere. Commands: test_docs_commands.py."""

from __future__ import annotations

import re
import subprocess
import sys
from pathlib import Path

import pytest

from arena.strategies.starter import strategy_starter

ROOT = Path(__file__).parents[2]
PAGES = sorted([ROOT / "README.md", ROOT / "DEVELOPERS.md", *(ROOT / "docs").glob("*.md")])


def snippets() -> list[tuple[str, str]]:
    """Every Python block, with where it stands."""
    found = []
    for page in PAGES:
        for number, block in enumerate(re.findall(r"```python\n(.*?)```", page.read_text(encoding="utf-8"), re.S)):
            found.append((f"{page.name}-{number}", block))
    return found


@pytest.mark.parametrize(("name", "code"), snippets(), ids=lambda x: x if len(x) < 40 else "")
def test_snippet_runs(name: str, code: str, tmp_path: Path) -> None:
    (tmp_path / "mylaw.py").write_text(strategy_starter(), encoding="utf-8")
    done = subprocess.run(
        [sys.executable, "-W", "error", "-W", "ignore:First-class", "-c", code],
        capture_output=True,
        text=True,
        cwd=tmp_path,
        check=False,
    )
    assert done.returncode == 0, f"{name}: {done.stderr}"
    assert done.stdout.strip() or "print(" not in code


@pytest.mark.parametrize("page", PAGES, ids=lambda p: p.name)
def test_links_lead_somewhere(page: Path) -> None:
    for target in re.findall(r"\]\(([^)#]+)\)", page.read_text(encoding="utf-8")):
        if "://" not in target:
            assert (page.parent / target).exists(), f"{page.name}: {target}"
