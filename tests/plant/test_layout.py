"""What lies where in the kernel's buffer: nothing twice, nothing beyond its part."""

from __future__ import annotations

from collections import Counter

from arena.plant import layout as at

NOT_ROWS = {
    "LANES", "ROWS", "CORE_CELLS", "FRONT_CELLS", "HOSE_1", "HOSE_2", "HOSE_3", "FIGURES_FROM", "FIGURES_TO",
    "TRACE_COLUMNS", "DUTY_ROWS", "FLOW_ROWS", "SPEED_ROWS", "TEMP_COLUMNS", "MOST_FINER",
}  # fmt: skip


def numbers(prefix: str) -> dict[str, int]:
    """Names of one kind and their numbers: "P_" constants, "X_" columns, "" rows."""
    named = {k: v for k, v in vars(at).items() if k.isupper() and k[0] != "_" and type(v) is int}
    if prefix:
        return {k: v for k, v in named.items() if k.startswith(prefix)}
    return {k: v for k, v in named.items() if not k.startswith(("P_", "X_", "T_")) and k not in NOT_ROWS}


def test_no_row_column_or_constant_is_two_things() -> None:
    for prefix in ("", "P_", "X_", "T_"):
        found = {k: v for k, v in numbers(prefix).items() if k not in ("P_COUNT", "X_COLUMNS")}
        twice = {
            place: [k for k, v in found.items() if v == place] for place, n in Counter(found.values()).items() if n > 1
        }
        assert twice == {}


def test_everything_lies_within_its_part() -> None:
    rows = numbers("")
    cells = {k: v for k, v in rows.items() if k.endswith("_AT")}
    assert max(v for k, v in rows.items() if k not in cells) < min(cells.values())
    assert max(rows.values()) < at.ROWS
    figures = {k: v for k, v in rows.items() if at.FIGURES_FROM <= v < at.FIGURES_TO}
    assert len(figures) == at.FIGURES_TO - at.FIGURES_FROM
    assert max(v for k, v in numbers("X_").items() if k != "X_COLUMNS") < at.X_COLUMNS
    assert sorted(numbers("T_").values()) == list(range(at.TRACE_COLUMNS))
    assert max(v for k, v in numbers("P_").items() if k != "P_COUNT") < at.P_COUNT
