"""Data flows one way: who may import whom, who may print; and files and functions stay of a size to be read."""

from __future__ import annotations

import ast
from pathlib import Path

import pytest

ROOT = Path(__file__).parent.parent / "arena"
MAY_USE = {
    "plant": {"plant", "errors"},
    "strategies": {"strategies", "errors", "units"},
    "scenario": {"scenario", "plant", "errors", "units"},
    "timetable": {"timetable", "scenario", "plant", "errors"},
    "contest": {"contest", "strategies", "timetable", "scenario", "plant", "errors", "units", "writing"},
    "garage": {"garage", "contest", "strategies", "timetable", "scenario", "plant", "errors", "units", "writing"},
    "report": {
        "report", "garage", "contest", "strategies", "timetable", "scenario", "plant", "errors", "units", "writing",
    },
}  # fmt: skip
MOST_LINES, MOST_LINES_A_FUNCTION = 400, 65
FILES = sorted(p for p in ROOT.rglob("*.py") if "_scenarios" not in p.parts)


def imports(tree: ast.AST) -> set[str]:
    """First part below `arena` of every import of the project's own."""
    found = set()
    for node in ast.walk(tree):
        names = []
        if isinstance(node, ast.ImportFrom) and node.module:
            names = [node.module] if node.module != "arena" else [f"arena.{a.name}" for a in node.names]
        elif isinstance(node, ast.Import):
            names = [a.name for a in node.names]
        found |= {n.split(".")[1] for n in names if n.startswith("arena.")}
    return found


@pytest.mark.parametrize("path", FILES, ids=lambda p: str(p.relative_to(ROOT)))
def test_imports_go_one_way(path: Path) -> None:
    package = path.relative_to(ROOT).parts[0]
    if package not in MAY_USE:
        return
    used = imports(ast.parse(path.read_text(encoding="utf-8")))
    assert used <= MAY_USE[package], f"{package} may not use {sorted(used - MAY_USE[package])}"


@pytest.mark.parametrize("path", FILES, ids=lambda p: str(p.relative_to(ROOT)))
def test_only_cli_and_report_print(path: Path) -> None:
    if path.name == "__main__.py" or {"cli", "report"} & set(path.relative_to(ROOT).parts):
        return
    for node in ast.walk(ast.parse(path.read_text(encoding="utf-8"))):
        assert not (isinstance(node, ast.Call) and isinstance(node.func, ast.Name) and node.func.id == "print")
        of_sys = isinstance(node, ast.Attribute) and isinstance(node.value, ast.Name) and node.value.id == "sys"
        assert not (of_sys and getattr(node, "attr", "") in {"stdout", "stderr"})


@pytest.mark.parametrize("path", FILES, ids=lambda p: str(p.relative_to(ROOT)))
def test_every_file_says_what_it_is_for(path: Path) -> None:
    assert ast.get_docstring(ast.parse(path.read_text(encoding="utf-8")))


@pytest.mark.parametrize("path", FILES, ids=lambda p: str(p.relative_to(ROOT)))
def test_files_and_functions_can_be_read_at_one_go(path: Path) -> None:
    text = path.read_text(encoding="utf-8")
    assert text.count("\n") <= MOST_LINES
    for node in ast.walk(ast.parse(text)):
        if isinstance(node, ast.FunctionDef):
            assert (node.end_lineno or 0) - node.lineno < MOST_LINES_A_FUNCTION, node.name
