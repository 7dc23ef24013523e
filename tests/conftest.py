"""Settings for all tests, and what many of them ask for.

Hypothesis draws the same examples every time and sets no deadline on a busy machine. `--accept-golden` writes the
golden results anew instead of comparing with them. `conforms(name, document)` holds a document against its schema.
"""

from __future__ import annotations

import json
from collections.abc import Callable
from pathlib import Path
from typing import Any

import pytest
from hypothesis import settings

settings.register_profile("steady", deadline=None, derandomize=True)
settings.load_profile("steady")

SCHEMAS = Path(__file__).parents[1] / "arena" / "report" / "schemas"


def pytest_addoption(parser: pytest.Parser) -> None:
    parser.addoption("--accept-golden", action="store_true", help="write the golden results anew, as they are now")


@pytest.fixture(scope="session")
def conforms() -> Callable[[str, Any], None]:
    """Raises jsonschema.ValidationError if a document is not as its schema says; `tune#/properties/aims` is a part."""
    from jsonschema import Draft202012Validator
    from referencing import Registry, Resource

    from arena.writing import plain

    found = {p.name: json.loads(p.read_text(encoding="utf-8")) for p in SCHEMAS.glob("*.json")}
    registry = Registry().with_resources((name, Resource.from_contents(s)) for name, s in found.items())

    def check(name: str, document: Any) -> None:
        kind, _, part = name.partition("#")
        schema = {"$ref": f"{kind}.json#{part}"}
        for error in Draft202012Validator(schema, registry=registry).iter_errors(
            json.loads(json.dumps(plain(document)))
        ):
            raise error

    return check
