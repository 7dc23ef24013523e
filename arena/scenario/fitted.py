"""The `[fitted]` table of a car file: which of its numbers come from a log, and how far each is known.

`arena fit` writes it. A mark holds only while the number stands as it was written: one put in by hand since is given.
"""

from __future__ import annotations

import math
from collections.abc import Mapping
from typing import Any, Literal

from pydantic import BaseModel, ConfigDict, Field

from arena.scenario.loading import ONE_LINE
from arena.scenario.wording import did_you_mean

Fault = tuple[tuple[str, ...], str]


class Mark(BaseModel):
    """How a number of the file is known; `value`, `low`, `high` in the unit of its key."""

    model_config = ConfigDict(extra="forbid", frozen=True, allow_inf_nan=False)

    status: Literal["measured", "guess"]
    value: float = Field(description="the number as it was written")
    low: float | None = Field(None, description="90 % interval")
    high: float | None = Field(None, description="90 % interval")
    by: str = Field(min_length=1, max_length=300, pattern=ONE_LINE, description="where it comes from")

    @property
    def why(self) -> str:
        """In words: "fitted to monday.csv, 90 % interval 300 to 420", or "guess: ..."."""
        if self.status == "guess":
            return f"guess: {self.by}"
        return f"{self.by}, 90 % interval {self.low:.4g} to {self.high:.4g}"


def marked(
    marks: Mapping[str, Mark], tables: Mapping[str, BaseModel], key_of_number: Mapping[str, str]
) -> tuple[dict[str, Mark], list[Fault], list[str]]:
    """Marks that hold, by number ("core.air_ha_w_k"); faults of the table; notes on marks that hold no more."""
    holding: dict[str, Mark] = {}
    faults: list[Fault] = []
    notes: list[str] = []
    number_of = {key: number for number, key in key_of_number.items()}
    for key, mark in marks.items():
        section, _, field = key.partition(".")
        value = getattr(tables.get(section), field, None)
        if key not in number_of:
            faults.append((("fitted", key), f"is no number of a car file{did_you_mean(key, list(number_of))}"))
        elif mark.status == "measured" and not _within(mark):
            faults.append((("fitted", key), "needs low and high with the value between them, since it is measured"))
        elif isinstance(value, float) and math.isclose(value, mark.value, rel_tol=1e-6, abs_tol=1e-12):
            holding[number_of[key]] = mark
        else:
            now = "not in the file" if value is None else f"{value:g} now" if isinstance(value, float) else "changed"
            notes.append(
                f"{key} was {mark.value:g} when it was fitted and is {now}: its mark in [fitted] is passed over"
            )
    return holding, faults, notes


def _within(mark: Mark) -> bool:
    return mark.low is not None and mark.high is not None and mark.low <= mark.value <= mark.high


def fitted_toml(marks: Mapping[str, Mapping[str, Any]]) -> str:
    """The table as text, one line a number; empty if there are no marks."""
    import json

    if not marks:
        return ""
    lines = ["", "[fitted]  # what `arena fit` found; a line stops counting once its number is changed by hand"]
    for key, mark in marks.items():
        inner = ", ".join(f"{name} = {json.dumps(value, ensure_ascii=False)}" for name, value in mark.items())
        lines.append(f"{json.dumps(key)} = {{ {inner} }}")
    return "\n".join(lines) + "\n"
