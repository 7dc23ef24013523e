"""Which column of a log holds which quantity: as the user's mapping says, else as the headers let it be guessed."""

from __future__ import annotations

import re
from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass, replace
from typing import Final

from pydantic import BaseModel, ConfigDict, Field

from arena.errors import BadInput
from arena.scenario import loading
from arena.scenario.csv_table import Table
from arena.scenario.quantities import ATMOSPHERE_PA, OUR_COLUMNS, QUANTITIES, UNITS, mend, split_header


class ColumnSpec(BaseModel):
    """One column of a mapping: which header, in which unit, and how its range is rescaled.

    `from = [14.1, 100]`, `to = [0, 100]` maps the first range on the second in a straight line and holds the
    ends; both are in `unit`.
    """

    model_config = ConfigDict(extra="forbid", frozen=True, allow_inf_nan=False, populate_by_name=True)

    header: str = Field(min_length=1, description="the column's header, or a beginning of it that fits only one")
    unit: str = Field("", description="unit of the column when the header does not say it")
    from_range: tuple[float, float] | None = Field(None, alias="from")
    to: tuple[float, float] | None = None


Columns = Mapping[str, "str | ColumnSpec"]


@dataclass(frozen=True)
class Pick:
    """A column taken for a quantity, its unit, and the mapping that asked for it."""

    index: int
    unit: str  # "" when nobody said
    spec: ColumnSpec | None = None

    @property
    def ranges(self) -> tuple[tuple[float, float], tuple[float, float]] | None:
        """The range that is mapped and the one it is mapped on, in `unit`; None where nothing is rescaled."""
        if self.spec is None or self.spec.from_range is None or self.spec.to is None:
            return None
        return self.spec.from_range, self.spec.to


def pick_columns(table: Table, columns: Columns, keys: Sequence[str], place: Callable[[str], str]) -> dict[str, Pick]:
    """Which column holds which quantity: the mapping first, then what headers say."""
    faults: list[str] = []
    picks: dict[str, Pick] = {}
    for name, wanted in columns.items():
        key = OUR_COLUMNS.get(name)
        if key is None:
            near = loading.nearest(name, OUR_COLUMNS)
            hint = f', did you mean "{near}"?' if near else f" (known: {', '.join(OUR_COLUMNS)})"
            faults.append(f"{place(name)} is not a column of ours{hint}")
            continue
        spec = wanted if isinstance(wanted, ColumnSpec) else None
        pick = _by_header(table, spec.header if spec else str(wanted), spec)
        if isinstance(pick, str):
            faults.append(f"{place(name)} {pick}")
            continue
        pick = _gauge_if_boost(table, key, pick)
        fault = _bad_spec(key, pick)
        if fault:
            faults.append(f"{place(name)} {fault}")
        picks[key] = pick
    if faults:
        raise BadInput(
            faults, "Correct the columns; each names a header of the file or a beginning that fits only one."
        )
    taken = {pick.index for pick in picks.values()}
    for key in ("time", *keys):
        if key not in picks:
            found = _guess(table, key, taken)
            if found is not None:
                picks[key] = _gauge_if_boost(table, key, found)
                taken.add(found.index)
    if len(table.headers) == 2 and "speed" in keys:
        _of_two(table, picks, taken)
    return {key: pick for key, pick in picks.items() if key == "time" or key in keys}


def _gauge_if_boost(table: Table, key: str, pick: Pick) -> Pick:
    """Boost is over the outside air unless header or unit says "abs", whoever named the column; noted."""
    header, unit = table.headers[pick.index], pick.unit
    said = f"{header} {unit}".lower()
    if key != "map" or "boost" not in said or "abs" in said or not unit or f"{unit} gauge" not in UNITS["pressure"]:
        return pick
    table.notes.append(
        f'{table.shown}: "{loading.one_line(header)}" is taken as gauge, over {ATMOSPHERE_PA / 1e3:.1f} kPa; '
        f'if it is absolute, give map_kpa the unit "{unit} abs"'
    )
    return replace(pick, unit=f"{unit} gauge")


def _of_two(table: Table, picks: dict[str, Pick], taken: set[int]) -> None:
    """Two columns of which one at least has a name nobody knows: time, then speed, and said so."""
    for key in ("time", "speed"):
        left = [index for index in (0, 1) if index not in taken and not _is_known(table.headers[index])]
        if key in picks or not left or (key == "speed" and "time" not in picks):
            continue
        header = table.headers[left[0]]
        found = re.search(_ENDS_IN_UNIT[key], header.strip().lower())
        unit = "" if found is None else _SAME_UNIT.get(found[1].replace(" ", ""), found[1].replace(" ", ""))
        picks[key] = Pick(left[0], unit)
        taken.add(left[0])
        table.notes.append(f'{table.shown}: "{header}" is taken as {QUANTITIES[key].column}, one of only two columns')


def _is_known(header: str) -> bool:
    """Whether a header is one of ours or in the words of some quantity."""
    words = split_header(header)[0]
    return any(header.strip().lower() == q.column or re.fullmatch(q.words, words) for q in QUANTITIES.values())


_ENDS_IN_UNIT: Final = {
    "time": r"(?:^|[^a-z])(ms|min|minutes|s|secs?|seconds)[\])]?$",
    "speed": r"(mph|kph|km ?/ ?h|kmh|m ?/ ?s|mps)[\])]?$",
}
_SAME_UNIT: Final = {"mps": "m/s", "secs": "s", "minutes": "min"}


def _by_header(table: Table, text: str, spec: ColumnSpec | None) -> Pick | str:
    """The column that a mapping names, or what is wrong with the name."""
    wanted = mend(text)
    asked_unit = spec.unit.lower() if spec else ""
    exact = [index for index, head in enumerate(table.headers) if head == wanted]
    fits = exact or [index for index, head in enumerate(table.headers) if head.lower().startswith(wanted.lower())]
    if not fits:
        words, unit = split_header(wanted)
        fits = [index for index, head in enumerate(table.headers) if split_header(head)[0] == words]
        asked_unit = asked_unit or unit
    if not fits:
        near = loading.nearest(wanted, table.headers)
        return f'names the header "{loading.one_line(wanted)}", which is not in the file' + (
            f', did you mean "{near}"?' if near else ""
        )
    if len(fits) > 1:
        return f'"{wanted}" fits {len(fits)} headers: {", ".join(table.headers[index] for index in fits)}'
    return Pick(fits[0], asked_unit or split_header(table.headers[fits[0]])[1], spec)


def _bad_spec(key: str, pick: Pick) -> str:
    kind = QUANTITIES[key].kind
    if pick.unit and pick.unit not in UNITS[kind]:
        return f'has the unit "{pick.unit}", which is none for this (known: {", ".join(UNITS[kind])})'
    if pick.spec is not None and (pick.spec.from_range is None) != (pick.spec.to is None):
        return "has only one of from and to; give both ranges or none"
    if (
        pick.spec is not None
        and pick.spec.from_range is not None
        and pick.spec.from_range[0] == pick.spec.from_range[1]
    ):
        return "has a from range of no width"
    return ""


def _guess(table: Table, key: str, taken: set[int]) -> Pick | None:
    quantity = QUANTITIES[key]
    found: list[Pick] = []
    for index, header in enumerate(table.headers):
        words, unit = split_header(header)
        full = re.fullmatch(quantity.words, words)
        whole = header.strip().lower() == quantity.column
        if key == "gear" and not table.is_numeric(index):
            continue  # letters of an automatic's lever
        if index in taken or not (full or whole) or (unit and unit not in UNITS[quantity.kind] and not whole):
            continue
        found.append(Pick(index, unit if unit in UNITS[quantity.kind] else ""))
    if len(found) > 1:
        names = ", ".join(f'"{table.headers[pick.index]}"' for pick in found)
        table.notes.append(f"{table.shown}: {names} could all be {quantity.column}; the first is taken")
    return found[0] if found else None


def how_known(table: Table, columns: Columns, key: str, pick: Pick) -> str:
    """How a column's unit is known."""
    if pick.spec is not None and pick.spec.unit:
        return "given"
    ours = table.headers[pick.index].strip().lower() == QUANTITIES[key].column
    if QUANTITIES[key].column in columns and pick.unit:
        return "given"
    return "in the header" if pick.unit or ours else "guessed"
