"""Faults of a scenario file as one line each: file, line, key, what is wrong, what was given and what is allowed.

`fault_line` is for checks made after validation, `fault_lines` turns what the models refuse.
"""

from __future__ import annotations

import json
import re
from collections.abc import Mapping, Sequence
from pathlib import Path
from typing import TYPE_CHECKING, Any, Final, get_args

from arena.scenario.toml_lines import index_lines
from arena.scenario.wording import Loc, did_you_mean, key_name, one_line, shown

if TYPE_CHECKING:
    from pydantic import BaseModel, ValidationError
    from pydantic_core import ErrorDetails

MOST_TOLD: Final = 100  # faults of one file


def fault_line(path: Path, text: str, loc: Loc, message: str) -> str:
    """One fault line in the common form, for checks made after validation; `loc` is the key's path, rows from 0."""
    return f"{_place(path, index_lines(text), loc)}: {key_name(loc)} {message}"


def fault_lines(
    path: Path, text: str, data: Mapping[str, Any], model: type[BaseModel], error: ValidationError
) -> list[str]:
    """What a model found in the data of a file, in the order of the file; after MOST_TOLD only how many more."""
    lines = index_lines(text)
    details = [detail for detail in error.errors(include_url=False) if not _follows_from_others(data, detail)]
    details.sort(key=lambda detail: _line(lines, _data_loc(data, detail["loc"], detail["type"])[0]) or 0)
    told = list(dict.fromkeys(_fault(path, lines, data, model, detail) for detail in details[:MOST_TOLD]))
    if len(details) > MOST_TOLD:
        told.append(f"{shown(path)}: {len(details) - MOST_TOLD} more faults are not listed")
    return told


def _fault(
    path: Path, lines: dict[Loc, int], data: Mapping[str, Any], model: type[BaseModel], detail: ErrorDetails
) -> str:
    """One pydantic error as one line: file:line: key what is wrong (given, allowed)."""
    loc, given = _data_loc(data, detail["loc"], detail["type"])
    kind = detail["type"]
    ctx = detail.get("ctx", {})
    if kind == "extra_forbidden":
        known = _known_keys(model, detail["loc"][:-1])
        inside = f" in {key_name(loc[:-1])}" if len(loc) > 1 else ""
        hint = did_you_mean(str(loc[-1]), known) or (f" (known: {', '.join(sorted(known))})" if known else "")
        return f'{_place(path, lines, loc)}: unknown key "{one_line(str(loc[-1]))}"{inside}{hint}'
    if kind == "missing":
        return f"{_place(path, lines, loc)}: {key_name(loc)} is missing"
    if kind in ("union_tag_invalid", "union_tag_not_found"):
        tag = str(ctx.get("discriminator", "'do'")).strip("'")
        words = re.findall(r"'([^']+)'", str(ctx.get("expected_tags", ""))) or _tags(model, detail["loc"])
        if kind == "union_tag_not_found":
            return f"{_place(path, lines, loc)}: {key_name((*loc, tag))} is missing (allowed: {', '.join(words)})"
        name = one_line(str(ctx.get("tag", "")))
        return (
            f'{_place(path, lines, (*loc, tag))}: {key_name((*loc, tag))} "{name}" is not known'
            f"{did_you_mean(name, words)} (allowed: {', '.join(words)})"
        )
    return (
        f"{_place(path, lines, loc)}: {key_name(loc) or 'the file'} {_message(kind, dict(ctx), detail['msg'], given)}"
    )


_BOUNDS: Final = {
    "greater_than": ("above", "gt"),
    "greater_than_equal": ("at least", "ge"),
    "less_than": ("below", "lt"),
    "less_than_equal": ("at most", "le"),
}


_TYPES: Final = {
    "float_type": "a number",
    "int_type": "a whole number",
    "int_from_float": "a whole number",
    "string_type": 'a text in "quotes"',
    "bool_type": "true or false",
    "tuple_type": "a list [ ... ]",
    "list_type": "a list [ ... ]",
    "dict_type": "a table",
    "model_type": "a table",
    "model_attributes_type": "a table",
    "finite_number": "a finite number",
}


def _message(kind: str, ctx: dict[str, Any], fallback: str, given: Any) -> str:
    """What is wrong and what is allowed; what was given stands behind it in brackets."""
    was = f" (given {_brief(given)})"
    least, need = ("least", ctx.get("min_length")) if kind.endswith("short") else ("most", ctx.get("max_length"))
    text = f"{fallback[:1].lower()}{fallback[1:]}{'' if isinstance(given, Mapping) else was}"
    if kind in _BOUNDS:
        side, key = _BOUNDS[kind]
        text = f"must be {side} {_brief(ctx[key])}{was}"
    elif kind in _TYPES:
        text = f"must be {_TYPES[kind]}{was}"
    elif kind == "literal_error":
        words = re.findall(r"'([^']+)'", str(ctx.get("expected", "")))
        text = f"must be one of {', '.join(words)}{was}{did_you_mean(str(given), words)}"
    elif kind in ("too_short", "too_long"):
        text = f"must have at {least} {need} entries (given {ctx.get('actual_length')})"
    elif kind == "json_invalid":
        said = str(ctx.get("error", ""))
        text = "is nested too deeply" if "recursion" in said else f"holds text that is no Unicode ({one_line(said)})"
    elif kind == "string_pattern_mismatch":
        text = f"must be one line without control characters{was}"
    elif kind in ("string_too_short", "string_too_long"):
        text = f"must have at {least} {need} characters{was}"
    return text


def _follows_from_others(data: Mapping[str, Any], detail: ErrorDetails) -> bool:
    """A list said to be too short only because its entries have faults, which are told anyway."""
    if detail["type"] != "too_short":
        return False
    given = _data_loc(data, detail["loc"], "too_short")[1]
    return isinstance(given, list) and len(given) >= int(detail.get("ctx", {}).get("min_length", 0))


def _data_loc(data: Any, loc: Sequence[int | str], kind: str) -> tuple[Loc, Any]:
    """The path through the file's own data: union tags that pydantic puts into a path are left out."""
    way: list[int | str] = []
    here = data
    for position, step in enumerate(loc):
        inside = isinstance(here, list) and isinstance(step, int) and 0 <= step < len(here)
        if inside or (isinstance(here, Mapping) and step in here):
            here = here[step]
            way.append(step)
        elif kind == "missing" and position == len(loc) - 1:
            way.append(step)
    return tuple(way), here


def _models_in(annotation: Any) -> list[type[BaseModel]]:
    from pydantic import BaseModel

    if isinstance(annotation, type) and issubclass(annotation, BaseModel):
        return [annotation]
    return [model for part in get_args(annotation) for model in _models_in(part)]


def _tag_of(model: type[BaseModel]) -> tuple[str, ...]:
    field = model.model_fields.get("do")
    return tuple(str(word) for word in get_args(field.annotation)) if field is not None else ()


def _tags(model: type[BaseModel], loc: Sequence[int | str]) -> list[str]:
    return [tag for option in _options(model, loc) for tag in _tag_of(option)]


def _options(model: type[BaseModel], loc: Sequence[int | str]) -> list[type[BaseModel]]:
    """The models that may stand at a pydantic path."""
    options = [model]
    for step in loc:
        tagged = [option for option in options if step in _tag_of(option)]
        if len(options) > 1 and tagged:
            options = tagged
        elif isinstance(step, str):
            fields = [option.model_fields[step].annotation for option in options if step in option.model_fields]
            options = [found for annotation in fields for found in _models_in(annotation)] or options
    return options


def _known_keys(model: type[BaseModel], loc: Sequence[int | str]) -> list[str]:
    return sorted({key for option in _options(model, loc) for key in option.model_fields})


def _place(path: Path, lines: dict[Loc, int], loc: Loc) -> str:
    """File and, where the key or a table round it was found, its line."""
    line = _line(lines, loc)
    return shown(path) if line is None else f"{shown(path)}:{line}"


def _line(lines: dict[Loc, int], loc: Loc) -> int | None:
    """Line of a key or of a table round it, None if there is none."""
    for length in range(len(loc), 0, -1):
        for here in (loc[:length], (*loc[:length], 0)):
            if here in lines:
                return lines[here]
    return None


def _brief(value: Any) -> str:
    if isinstance(value, bool):
        return "true" if value else "false"
    if isinstance(value, float):
        return f"{value:.10g}"
    if isinstance(value, Mapping):
        return "a table"
    return one_line(json.dumps(value, default=str, ensure_ascii=False))
