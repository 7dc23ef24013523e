"""Speed is judged only when asked for: `pytest tests/bench`."""

from __future__ import annotations

from pathlib import Path

import pytest


def pytest_ignore_collect(collection_path: Path, config: pytest.Config) -> bool | None:
    """Leave this folder out unless it, or a file of it, is named on the command line."""
    named = [Path(a.split("::")[0]).resolve() for a in config.args]
    here = Path(__file__).parent
    return None if any(here == p or here in p.parents for p in named) else True
