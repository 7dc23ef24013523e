"""The shape of manifest.json and views.json, as far as a page is made from them: what does not fit is told by its key.

Keys that are not named here are left alone: a later version may add some.
"""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from pathlib import Path
from typing import Annotated, Any

from pydantic import BaseModel, ConfigDict, Field

from arena.errors import BadInput
from arena.scenario import loading
from arena.strategies.base import SENSES

Number = Annotated[float, Field(ge=-1e15, le=1e15)]
Whole = Annotated[int, Field(ge=-(10**9), le=10**9)]
SenseName = Annotated[str, Field(pattern=f"^({'|'.join(SENSES)})$")]
Name = Annotated[str, Field(max_length=200)]
Plain = str | Number | bool


class _Strict(BaseModel):
    model_config = ConfigDict(frozen=True, allow_inf_nan=False, protected_namespaces=())


class ManifestFile(_Strict):
    """manifest.json."""

    command: list[str]
    request: dict[Name, Plain | list[str]]
    inputs_sha256: str
    files_sha256: dict[Name, str] = Field(default_factory=dict)
    strategies_sha256: dict[Name, str] = Field(default_factory=dict)
    versions: dict[Name, str]


class _Prices(_Strict):
    tracking_per_k_h: Number
    wear_per_h: Number
    energy_per_kwh: Number


class _Season(_Strict):
    name: Name
    summary: str
    target_c: Number
    limit_c: Number
    band_k: Number
    prices: _Prices
    reasoning: str
    drives: dict[Name, str]
    climates: dict[Name, str]
    faults: dict[Name, str]


class _Car(_Strict):
    name: Name
    summary: str
    known: list[tuple[str, str, str]]


class _Setting(_Strict):
    name: Name
    value: Number
    unit: str
    meaning: str
    low: Number
    high: Number
    default: Number


class _Table(_Strict):
    down: SenseName
    down_breakpoints: list[Number]
    across: SenseName
    across_breakpoints: list[Number]
    duty_pct: list[list[Number]]


class _Contestant(_Strict):
    name: Name
    summary: str
    ranked: bool
    tuned: bool
    actuator: str
    senses: list[str]
    failsafe_duty: Number
    settings: list[_Setting]
    table: _Table | None
    quiet_cap_pct: Number = 100.0
    run_on_s: Number = 0.0


class _WhatIf(_Strict):
    what: str
    order: list[Name]
    scores: list[Number]


class _Failed(_Strict):
    contestant: Name
    outing: Name
    replicate: Whole
    reason: str
    time_s: Number | None


class _Protection(_Strict):
    contestant: Name
    worst_c: Number | None
    worst_fault: str
    noticed: Whole
    seconds_over: Number
    failed: Whole
    of: Whole
    runs: list[tuple[Name, Number | None, str, str]]


class _View(_Strict):
    outing: Name
    drive: Name
    climate: Name
    fault: Name
    per_year: Number
    seconds: Number
    drive_s: Number
    step_s: Annotated[float, Field(gt=0, le=1e9)]
    engine_off_s: list[tuple[Number, Number]]
    phases: list[tuple[Number, str]]
    shared: dict[Name, list[Whole]]
    lines: dict[Name, dict[Name, list[Whole]]]
    failed_s: dict[Name, Number]
    notes: list[str]


class _Histogram(_Strict):
    from_c: Number
    bin_k: Annotated[float, Field(gt=0, le=1000)]
    minutes: dict[Name, list[Number]]


class ViewsFile(_Strict):
    """views.json."""

    season: _Season
    car: _Car
    spread: Number
    spread_over: list[tuple[str, Number]]
    worlds: Whole
    contestants: list[_Contestant]
    beats: list[tuple[Name, Name, Number]]
    what_if: list[_WhatIf]
    breaks_limit: list[Name]
    notes: list[str]
    failed: list[_Failed]
    protection: list[_Protection]
    quantum: dict[Name, Number]
    views: list[_View]
    histogram: _Histogram
    visits: dict[Name, list[list[Number]]]


def check_manifest(path: Path, data: dict[str, Any], remedy: str) -> None:
    """Raises BadInput, one line a fault, for a manifest a page cannot be made from."""
    loading.validate(path, "", data, ManifestFile, remedy)


def check_views(path: Path, data: dict[str, Any], remedy: str) -> None:
    """Raises BadInput, one line a fault, for views a page cannot be made from."""
    views = loading.validate(path, "", data, ViewsFile, remedy)
    faults = [f"{loading.shown(path)}: {said}" for said in _clashes(views)]
    if faults:
        raise BadInput(faults, remedy)


def _clashes(views: ViewsFile) -> Iterator[str]:
    """What does not fit together."""
    names = [c.name for c in views.contestants]
    if len(set(names)) < len(names):
        yield "contestants have the same name twice"
    for k, case in enumerate(views.what_if):
        if len(case.order) != len(case.scores) or not set(case.order) <= set(names):
            yield f"what_if[{k + 1}] does not go with the contestants"
    minutes = views.histogram.minutes
    if set(minutes) != set(names) or len({len(row) for row in minutes.values()}) > 1:
        yield "histogram.minutes does not go with the contestants"
    for k, one in enumerate(views.protection):
        same = [run[0] for run in one.runs] == [run[0] for run in views.protection[0].runs]
        if one.contestant not in names or not same:
            yield f"protection[{k + 1}] does not go with the others"
    for k, view in enumerate(views.views):
        if not {*view.lines, *view.failed_s} <= set(names):
            yield f"views[{k + 1}] names a contestant that is not there"
    for k, contestant in enumerate(views.contestants):
        table, visits = contestant.table, views.visits.get(contestant.name)
        if table is not None:
            shape = (len(table.down_breakpoints), len(table.across_breakpoints))
            if not _is(table.duty_pct, shape) or (visits is not None and not _is(visits, shape)):
                yield f"contestants[{k + 1}].table and its visits are not {shape[0]} by {shape[1]}"


def _is(rows: Sequence[Sequence[float]], shape: tuple[int, int]) -> bool:
    return len(rows) == shape[0] and all(len(row) == shape[1] for row in rows)
