"""JSON documents and the JSON files of result folders against the schemas kept in arena/report/schemas.

What takes long to make (fits, parts, comparison of logs) is held against its schema by the tests that make it.
"""

from __future__ import annotations

import copy
import io
import json
from collections.abc import Callable, Iterator
from contextlib import redirect_stdout
from dataclasses import replace
from pathlib import Path
from typing import Any

import jsonschema
import numpy as np
import pytest
from interrupt_builders import here, kill_script

from arena.contest.aims import Aim, PairResult
from arena.contest.comparing import Interval
from arena.contest.figures import NAMES as FIGURE_NAMES
from arena.contest.foresight import Foresight
from arena.contest.seasonal import Abroad, Seasonal
from arena.contest.tradeoff import AIMS, HOT, Point, Tradeoff
from arena.contest.tuning import Asked, TuningResult, hold_tuning, make_job
from arena.contest.tuning_files import open_folder, write_tuning
from arena.report.tune_document import tuning_document
from arena.writing import plain

SCHEMAS = Path(__file__).parents[2] / "arena" / "report" / "schemas"
NAMES = sorted(p.stem for p in SCHEMAS.glob("*.json") if p.stem != "common")
MAY_BE_LEFT_OUT = {  # all others are required
    "list": {"cars", "climates", "drives", "seasons", "strategies", "faults"},
    "tournament": {"per_climate"},
    "tune": {"foresight", "seasonal", "axes", "aims", "tradeoff"},
    "parts": {"sensitivity"},
}
FREE = {  # below these the keys are names of contestants, files and the like
    "by_outing", "choices", "climates", "contents", "drives", "explain", "failed_s", "faults", "files_sha256",
    "minutes", "per_climate", "quantum", "settings", "shape", "shared", "strategies_sha256", "tables", "versions",
    "visits", "wrong_core",
}  # fmt: skip
kill = kill_script()
Conforms = Callable[[str, Any], None]


def objects(schema: Any) -> Iterator[dict[str, Any]]:
    """Every description of an object with named keys in a schema."""
    if isinstance(schema, dict):
        if "properties" in schema and schema.get("type") == "object":
            yield schema
        for part in schema.values():
            yield from objects(part)
    elif isinstance(schema, list):
        for part in schema:
            yield from objects(part)


@pytest.mark.parametrize("name", [*NAMES, "common"])
def test_every_key_is_named_and_asked_for(name: str) -> None:
    """No key beyond those named, none missing but those that are said to be optional."""
    schema = json.loads((SCHEMAS / f"{name}.json").read_text(encoding="utf-8"))
    jsonschema.Draft202012Validator.check_schema(schema)
    assert schema["$id"] == f"{name}.json" and schema["title"]
    found = list(objects(schema))
    assert found
    for part in found:
        assert part["additionalProperties"] is False
        left_out = set(part["properties"]) - set(part["required"])
        assert left_out <= MAY_BE_LEFT_OUT.get(name, set())
        assert set(part["required"]) <= set(part["properties"])


def test_figures_of_the_schema_are_the_figures() -> None:
    defs = json.loads((SCHEMAS / "common.json").read_text(encoding="utf-8"))["$defs"]
    assert tuple(defs["figures"]["properties"]) == tuple(defs["figure_name"]["enum"]) == FIGURE_NAMES
    assert defs["interval_figures"]["minProperties"] == len(FIGURE_NAMES)
    assert defs["interval_score_and_figures"]["minProperties"] == len(FIGURE_NAMES) + 1


@pytest.fixture(scope="module")
def documents(tmp_path_factory: pytest.TempPathFactory) -> dict[str, Any]:
    """What the quick commands print, and the JSON files of the folders they write."""
    place = kill.prepared(tmp_path_factory.mktemp("documents") / "here")
    field = ["--strategy", "gated-table", "--strategy", "two-speed", "--trials", "2", "--replicates", "2"]
    commands = {
        "list": ["list"],
        "list of one kind": ["list", "cars"],
        "new": ["new", "car", "mine.toml"],
        "check": ["check", "--quick", "mine.toml", "pulls.toml", "season.toml"],
        "drive": ["drive", "pulls.toml", "--strategy", "proportional"],
        "wiring": ["wiring", "--resistor-ohm", "1.2"],
        "tournament": ["tournament", "season.toml", *field, "--per-climate", "--out", "r"],
        "report": ["report", "r"],
    }
    found: dict[str, Any] = {}
    with pytest.MonkeyPatch.context() as patched:
        for name, words in commands.items():
            with redirect_stdout(io.StringIO()) as printed:
                assert here([*words, "--json"], place, patched) == 0, name
            found[name] = json.loads(printed.getvalue())
    result = tuned(place)
    found["tune"] = plain(tuning_document(result))
    found["tune with all answers"] = plain(tuning_document(with_all_answers(result)))
    for key, path in {
        "manifest": "r/manifest.json", "manifest of tune": "t/manifest.json", "views": "r/views.json",
        "tuning": "r/tuning/two-speed.json", "tuning of tune": "t/tuning/tuned-table-shape.json",
    }.items():  # fmt: skip
        found[key] = json.loads((place / path).read_text(encoding="utf-8"))
    named = {*place.glob("[rt]/**/*.json")} - {*place.glob("[rt]/tuning/*.json")}
    assert named == {place / "r/manifest.json", place / "t/manifest.json", place / "r/views.json"}
    return found


def tuned(place: Path) -> TuningResult:
    """A duty table tuned with next to no trials, and its folder."""
    job = make_job(["hot"], [str(place / "pulls.toml")], trials=2, replicates=2)
    request = {"climates": ["hot"], "drives": ["pulls.toml"], "season": None, "strategy": "gated-table", "trials": 2,
               "car": "invented-2200", "axes": None, "against": None, "seed": 1, "spread": 0.1}  # fmt: skip
    folder = open_folder(job, place / "t", False, request, ["tune"])
    assert folder is not None
    asked = Asked(foresight=False)
    return write_tuning(folder, hold_tuning(job, 1, None, folder.keep_generation, folder.kept_generation, asked))


def with_all_answers(result: TuningResult) -> TuningResult:
    """The same with every further answer, of figures that mean nothing: what counts here is their shape."""
    some, table = Interval(0.5, 0.4, 0.6), result.table
    assert table is not None
    point = Point({"start_c": 38.0}, dict.fromkeys((*AIMS, HOT), 1.0), 0.5)
    return replace(
        result,
        foresight=Foresight((), some, some, Interval(0.5, np.nan, np.nan), {"pulls/hot": 0.5}),
        seasonal=Seasonal({"hot": table}, table, (Abroad("tuned-table", "hot", some, some, 0),), some, some, some),
        pairs=(PairResult("iat, throttle", table, some, some, 0.5),),
        aims=(Aim(30.0, 45.0, some, some, some, some, 0, 0.0),),
        tradeoff=Tradeoff((point,), {"balanced": point}, {}, result.comparison, 2),
    )


QUICK = (
    "list", "list of one kind", "new", "check", "drive", "wiring", "tournament", "report", "tune",
    "tune with all answers", "manifest", "manifest of tune", "views", "tuning", "tuning of tune",
)  # fmt: skip


@pytest.mark.parametrize("name", QUICK)
def test_documents_are_as_the_schema_says(name: str, documents: dict[str, Any], conforms: Conforms) -> None:
    conforms(name.split(" ", maxsplit=1)[0], documents[name])


@pytest.mark.parametrize("name", QUICK)
def test_a_key_that_is_missing_or_new_is_noticed(name: str, documents: dict[str, Any], conforms: Conforms) -> None:
    document, kind = copy.deepcopy(documents[name]), name.split(" ", maxsplit=1)[0]
    tried: set[frozenset[str]] = set()  # objects of the same keys are alike
    for part in parts(document):
        if frozenset(part) in tried:
            continue
        tried.add(frozenset(part))
        part["unheard of"] = 1
        with pytest.raises(jsonschema.ValidationError):
            conforms(kind, document)
        del part["unheard of"]
        must = [key for key in part if key not in MAY_BE_LEFT_OUT.get(kind, set())]
        value = part.pop(must[0]) if must else None
        if must:
            with pytest.raises(jsonschema.ValidationError):
                conforms(kind, document)
            part[must[0]] = value
    assert tried


def test_every_schema_is_used_by_a_test() -> None:
    """The names that `conforms` is called with, here and in the tests of what takes long."""
    written = "\n".join(p.read_text(encoding="utf-8") for p in Path(__file__).parents[1].rglob("test_*.py"))
    used = {name.split(" ")[0] for name in QUICK} | {n for n in NAMES if f'conforms("{n}"' in written}
    assert set(NAMES) - used == set()


def parts(document: Any, free: bool = False) -> Iterator[dict[str, Any]]:
    """Every object with named keys in a document."""
    if isinstance(document, dict) and not free:
        yield document
    for key, value in document.items() if isinstance(document, dict) else enumerate(document):
        if isinstance(value, dict | list) and key != "lines":  # numbers by contestant and name
            yield from parts(value, isinstance(value, dict) and key in FREE)
