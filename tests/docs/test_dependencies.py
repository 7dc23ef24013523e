"""The dependencies that DEVELOPERS.md lists are those of pyproject.toml, each with a reason and the licence it has."""

from __future__ import annotations

import re
import tomllib
from collections.abc import Iterator
from importlib import metadata
from pathlib import Path

import pytest
from packaging.requirements import Requirement

ROOT = Path(__file__).parents[2]
ALLOWED = {"MIT", "BSD", "ISC", "Apache", "PSF", "Zlib", "CC0"}
EXCEPTIONS = {"tqdm": "MPL", "pathspec": "MPL", "hypothesis": "MPL"}  # named in DEVELOPERS.md
WORDS = {  # as metadata spell them
    "MIT": "MIT|MIT-CMU", "BSD": "BSD|0BSD", "ISC": "ISC", "Apache": "Apache", "PSF": "PSF|Python Software Foundation",
    "Zlib": "Zlib", "CC0": "CC0", "MPL": "MPL|Mozilla Public", "GPL": r"A?L?GPL\b|General Public",
}  # fmt: skip


def listed() -> dict[str, tuple[str, str]]:
    """What for and licence, by package, as DEVELOPERS.md has it."""
    text = (ROOT / "DEVELOPERS.md").read_text(encoding="utf-8")
    rows = re.findall(r"^\| ([\w-]+) \| (.+) \| (\w+) \|$", text.partition("## Dependencies")[2], re.M)
    return {name: (why, licence) for name, why, licence in rows if name != "package"}


def required() -> list[str]:
    """Names of direct dependencies, those of the tests as well."""
    project = tomllib.loads((ROOT / "pyproject.toml").read_text(encoding="utf-8"))["project"]
    lines = [*project["dependencies"], *project["optional-dependencies"]["test"]]
    return [Requirement(line).name for line in lines]


def licences(package: str) -> set[str]:
    """Families of licences that a package's metadata name."""
    about = metadata.metadata(package)
    named = [about.get("License-Expression") or ""]
    named += [line for line in about.get_all("Classifier") or [] if line.startswith("License ::")]
    text = " ".join(named).strip() or (about.get("License") or "")[:200]
    return {family for family, words in WORDS.items() if re.search(rf"\b({words})", text)}


def brought_along(package: str, seen: set[str]) -> Iterator[str]:
    """A package and what it needs, as far as this environment does."""
    name = re.sub(r"[-_.]+", "-", package).lower()
    if name in seen:
        return
    seen.add(name)
    yield name
    for line in metadata.requires(name) or []:
        need = Requirement(line)
        if need.marker is None or need.marker.evaluate({"extra": ""}):
            yield from brought_along(need.name, seen)


def test_every_direct_dependency_is_listed_with_a_reason() -> None:
    assert list(listed()) == required()
    assert all(len(why) >= 5 for why, _ in listed().values())


@pytest.mark.parametrize("package", required())
def test_its_licence_is_the_one_listed(package: str) -> None:
    assert listed()[package][1] in licences(package)


def test_what_they_bring_along_is_free_enough() -> None:
    seen: set[str] = set()
    odd = {}
    for package in required():
        for name in brought_along(package, seen):
            found = licences(name)
            if not found or found - ALLOWED - {EXCEPTIONS.get(name)}:
                odd[name] = found
    assert odd == {} and len(seen) > len(required())
