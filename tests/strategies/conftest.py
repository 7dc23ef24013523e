"""A user's files, written afresh for each test."""

from __future__ import annotations

from collections.abc import Callable
from pathlib import Path

import pytest

from arena.strategies.starter import strategy_starter

Write = Callable[..., Path]


@pytest.fixture
def law_file(tmp_path: Path) -> Write:
    """Writes the starting file with texts replaced, under a name of its own."""

    def write(*changes: tuple[str, str], name: str = "mine") -> Path:
        text = strategy_starter(name)
        for old, new in changes:
            assert old in text
            text = text.replace(old, new)
        path = tmp_path / f"{name}.py"
        path.write_text(text, encoding="utf-8")
        return path

    return write
